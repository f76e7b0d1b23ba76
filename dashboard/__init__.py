"""Screens, words, pictures and the command line."""


def version() -> str:
    """The installed version."""
    from ingest.program import version as of_the_program

    return of_the_program()
