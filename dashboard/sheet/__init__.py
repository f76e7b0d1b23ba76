"""The packaging sheet on screen, on paper and as text."""
