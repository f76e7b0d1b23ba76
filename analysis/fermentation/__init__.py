"""How extract falls and what warmth does to it."""
