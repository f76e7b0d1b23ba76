"""One module a page: layout and calls, no formula, no SQL."""
