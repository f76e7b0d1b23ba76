"""What wants you today, then every vessel."""
