"""Findings of the analysis as whole sentences, in the person's units."""
