"""Panel."""

from __future__ import annotations


class TestDay:
    """Panel."""

    def __init__(self, tab) -> None:
        self.tab = tab
