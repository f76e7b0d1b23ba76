"""Cellars that earlier versions of tunroom wrote, by version of their tables, and the program that wrote them."""
