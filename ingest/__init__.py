"""From the wire to the store: decode, validate, keep, read back."""
