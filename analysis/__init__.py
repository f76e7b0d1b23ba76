"""Pure fermentation analysis: numbers in, answers out."""
