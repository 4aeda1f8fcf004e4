"""Lines of a printed report in the making: wrapped sentences, headings, marked items and tables, 100 columns at most."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Sequence

from winchsim.quantity_text import quantity
from winchsim.report.columns import aligned
from winchsim.report.paint import Paint
from winchsim.report.problems import WIDTH, clean
from winchsim.report.us import beside_us
from winchsim.verdict.finding import Finding, Severity


class Lines:
    """Lines of one report.

    Parameters
    ----------
    us : bool
        Whether US units are written beside the SI ones.
    paint : Paint
        Colours; never the only sign of anything.
    """

    def __init__(self, us: bool, paint: Paint) -> None:
        self.us = us
        self.paint = paint
        self._lines: list[str] = []

    def text(self) -> str:
        """All of it, with a line end."""
        return "\n".join(self._lines) + "\n"

    def q(self, value: float | None, unit: str, digits: int = 3) -> str:
        """A number with its unit."""
        return quantity(value, unit, digits, us=self.us)

    def said(self, sentence: str) -> str:
        """A finished sentence, with US units beside the SI ones where asked for."""
        return beside_us(sentence) if self.us else sentence

    def sentence(self, text: str, tone: Callable[[str], str] | None = None, indent: str = "") -> None:
        """A sentence over as many lines as it needs."""
        lines = textwrap.wrap(
            clean(self.said(text)), WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
        )
        self._lines += [tone(line) for line in lines] if tone else lines

    def heading(self, text: str) -> None:
        """A heading with a blank line above it."""
        self._lines += ["", self.paint.strong(text)]

    def item(self, mark: str, text: str, tone: Callable[[str], str] | None = None) -> None:
        """A sentence behind a mark, its further lines under its first word."""
        head = f"  {mark} "
        lines = textwrap.wrap(
            clean(self.said(text)), WIDTH, initial_indent=head, subsequent_indent=" " * len(head), break_on_hyphens=False
        )
        lines = lines or [head.rstrip()]
        if tone is not None:
            lines[0] = "  " + tone(mark) + lines[0][2 + len(mark) :]
        self._lines += lines

    def table(self, rows: Sequence[Sequence[str]], right: str = "") -> None:
        """A table with aligned columns."""
        gap = 1 if self.us else 2  # two units in a cell need the room
        self._lines += ["  " + line for line in aligned(rows, right, gap)] if rows else []

    def findings(self, findings: Iterable[Finding]) -> None:
        """Findings with their severity and what would help; nothing where there are none."""
        found = list(findings)
        if not found:
            return
        self.heading("Findings")
        tones = {Severity.DANGER: self.paint.bad, Severity.CAUTION: self.paint.warn, Severity.NOTE: self.paint.faint}
        for finding in sorted(found, key=lambda f: -f.severity.rank):
            self.item(f"{finding.severity.value.upper():7}", finding.sentence, tones[finding.severity])
            if finding.help:
                self.sentence(f"What would help: {finding.help}", indent=" " * 10)

    def cautions(self, cautions: Iterable[str]) -> None:
        """The cautions that close every report."""
        self.heading("Cautions")
        for caution in cautions:
            self.item("-", caution)
