"""The broker, ours or another, and the session with it."""
