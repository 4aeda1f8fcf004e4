"""Findings, cures and cautions, and the sentence made of them."""
