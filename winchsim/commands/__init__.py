"""One module for each command: its options, and the call of the rooms that do the work."""
