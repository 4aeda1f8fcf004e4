"""What one run comes to: checks with their ranges, the part that breaks first, and what to change."""
