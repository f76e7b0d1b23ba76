"""From what a device said to what it meant."""
