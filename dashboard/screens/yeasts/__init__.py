"""Which yeast is quicker, and which goes further."""
