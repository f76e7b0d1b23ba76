"""What is watched, and who is told."""
