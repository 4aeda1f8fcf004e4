"""Table of materials, ropes and pairs in friction, a source on every value."""
