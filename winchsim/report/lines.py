"""Lines of a printed report in the making: wrapped sentences, headings, marked items and tables, 100 columns at most.

Whatever is put in goes through `clean`; no line ends between a number and its unit.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable, Iterable, Sequence

from winchsim.quantity_text import PRINTED_UNITS, quantity
from winchsim.report.columns import aligned
from winchsim.report.paint import Paint
from winchsim.report.problems import WIDTH, clean
from winchsim.report.us import said
from winchsim.verdict.finding import Finding, Severity

LEAST_WORDS = 16
"""Columns that the last column of a table has at least: what is longer is wrapped. [-]"""

_UNITS = "|".join(re.escape(name) for name in sorted(PRINTED_UNITS, key=len, reverse=True) if name)
_QUANTITY = re.compile(rf"(?<=\d) (?=(?:{_UNITS})(?![\w·/²³]))")
_TIED = "\N{NO-BREAK SPACE}"


def wrapped(text: str, first: str = "", rest: str = "", width: int = WIDTH) -> list[str]:
    """Text in lines of a width; no line ends between a number and its unit.

    Parameters
    ----------
    text : str
    first, rest : str
        What stands before the first line and before the others.
    width : int
        Columns, what stands before included. [-]
    """
    tied = _QUANTITY.sub(_TIED, clean(text))
    lines = textwrap.wrap(tied, width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)
    return [line.replace(_TIED, " ") for line in lines]


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
        return said(sentence, self.us)

    def sentence(self, text: str, tone: Callable[[str], str] | None = None, indent: str = "") -> None:
        """A sentence over as many lines as it needs.

        Parameters
        ----------
        text : str
        tone : callable, optional
            Paints each line.
        indent : str
            What each line begins with.
        """
        lines = wrapped(self.said(text), indent, indent)
        self._lines += [tone(line) for line in lines] if tone else lines

    def heading(self, text: str) -> None:
        """A heading with a blank line above it."""
        self._lines += ["", self.paint.strong(text)]

    def item(self, mark: str, text: str, tone: Callable[[str], str] | None = None) -> None:
        """A sentence behind a mark, its further lines under its first word.

        Parameters
        ----------
        mark : str
        text : str
        tone : callable, optional
            Paints the mark.
        """
        lines = self._hung(f"  {mark} ", text)
        if tone is not None:
            lines[0] = "  " + tone(mark) + lines[0][2 + len(mark) :]
        self._lines += lines

    def labelled(self, label: str, text: str) -> None:
        """A sentence behind a label, its further lines under its first word."""
        self._lines += self._hung(f"  {clean(label)}  ", text)

    def _hung(self, head: str, text: str) -> list[str]:
        return wrapped(self.said(text), head, " " * len(head)) or [head.rstrip()]

    def table(self, rows: Sequence[Sequence[str]], right: str = "") -> None:
        """A table with aligned columns, the last one wrapped where it would run out of the page.

        Parameters
        ----------
        rows : sequence of sequences of str
            Cells, the same number in each row; without rows there is no table.
        right : str
            Columns that are aligned to the right, see `aligned`.
        """
        if not rows:
            return
        cells = [[clean(cell) for cell in row] for row in rows]
        *before, last = (max(len(cell) for cell in column) for column in zip(*cells, strict=True))
        gap, room = 2, 0
        for gap in (2, 1):  # two sets of units in a cell need the room
            room = WIDTH - 2 - sum(before) - gap * len(before)
            if room >= min(last, LEAST_WORDS):
                break
        table: list[Sequence[str]] = []
        for row in cells:
            first, *more = wrapped(row[-1], width=max(room, LEAST_WORDS)) or [""]
            table.append((*row[:-1], first))
            table += [(*("" for _ in before), line) for line in more]
        self._lines += ["  " + line for line in aligned(table, right, gap)]

    def findings(self, findings: Iterable[Finding]) -> None:
        """Findings with their severity and what would help; nothing where there are none."""
        found = list(findings)
        if not found:
            return
        self.heading("Findings, worst first")
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
