"""Figures: the only room with matplotlib."""
