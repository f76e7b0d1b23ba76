"""Parts that every screen is built of."""
