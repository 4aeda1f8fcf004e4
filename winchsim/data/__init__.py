"""Tables of materials and parts, a source on every row."""
