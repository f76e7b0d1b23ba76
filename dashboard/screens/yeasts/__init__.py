"""Which yeast did best."""
