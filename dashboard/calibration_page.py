"""Calibration of one device."""


def show(device: object, word: object, say: object) -> None: ...
