"""Sentences that pages and messages share, made from typed results."""
