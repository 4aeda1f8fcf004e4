"""What one run comes to: checks with ranges, what breaks first, and what to change."""
