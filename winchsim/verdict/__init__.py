"""Findings, remedies and cautions, and the sentence made of them."""
