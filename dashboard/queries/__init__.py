"""What screens ask, and what is kept of the answers."""
