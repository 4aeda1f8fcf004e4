"""Version of the program, stamped on everything that it writes."""

__version__ = "0.2.0"
