"""One room for each physical thing; the rooms do not import each other."""
