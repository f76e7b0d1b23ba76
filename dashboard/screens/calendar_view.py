def show() -> None:
    raise NotImplementedError
