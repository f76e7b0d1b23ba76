"""Addresses beside the pages."""
