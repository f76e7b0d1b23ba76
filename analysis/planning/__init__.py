"""Which day to hop and which day to package."""
