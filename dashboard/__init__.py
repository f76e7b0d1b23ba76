"""Screens, words, pictures and the command line."""
