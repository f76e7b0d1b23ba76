"""What the words mean and how it is judged."""
