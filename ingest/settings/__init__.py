"""Settings: file, environment, and what is wrong with them."""
