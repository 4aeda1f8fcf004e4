"""Figures of a lift: the only rooms that draw."""
