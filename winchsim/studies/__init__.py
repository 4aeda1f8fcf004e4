"""Studies over many lifts; they do not import each other, return values and write nothing."""
