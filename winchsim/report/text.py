"""The printed report of a lift: the answer first, then what it rests on, 100 columns at most."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable, Sequence

from winchsim.model import Machine
from winchsim.model.machine import Assumed
from winchsim.quantity_text import PRINTED_UNITS, number, quantity
from winchsim.report import tables
from winchsim.report.columns import aligned
from winchsim.report.paint import Paint
from winchsim.report.problems import WIDTH
from winchsim.report.tables import Say
from winchsim.simulate import EnergyBooks, Record
from winchsim.verdict.finding import Finding, FullPull, LinkRow, Severity, Verdict
from winchsim.verdict.snag import SnagStudy
from winchsim.verdict.words import given

MOST_LINKS = 10
"""Rows of the weakest-link table that are printed. [-]"""

_PLAIN = Paint()


def lift_text(
    record: Record, verdict: Verdict, *, name: str = "", us: bool = False, paint: Paint = _PLAIN, snag: SnagStudy | None = None
) -> str:
    """Report of a lift as text.

    Parameters
    ----------
    record : Record
    verdict : Verdict
    name : str
        File of the scenario, as the user typed it.
    us : bool
        Whether to print US units beside the SI ones.
    paint : Paint
        Colours, off by default; they are never the only sign of anything.
    snag : SnagStudy, optional
        What a simulated snag does, where that was asked for.

    Returns
    -------
    str
        The verdict is the first line (and its continuation, where it is long).
    """
    page = _Page(us, paint)
    tone = paint.good if verdict.passes else paint.bad
    page.lines += [tone(line) for line in page.wrapped(verdict.sentence)]
    title = record.machine.title
    page.lines += [paint.faint(line) for line in page.wrapped(": ".join(part for part in (name, title) if part))]
    _timeline(page, record)
    if verdict.trusted:
        _numbers(page, record, verdict)
        _margins(page, record, verdict)
        _links(page, verdict.rows)
        _life(page, record)
        _full_pull(page, verdict.full_pull)
        _snag(page, snag)
        _energy(page, record.energy)
    _findings(page, verdict.findings)
    _cures(page, verdict)
    _assumed(page, record.machine.assumed)
    _notes(page, record.machine, verdict.rows)
    page.heading("Cautions")
    for caution in verdict.cautions:
        page.item("-", caution)
    return "\n".join(page.lines) + "\n"


_UNITS = "|".join(re.escape(name) for name in sorted(PRINTED_UNITS, key=len, reverse=True) if name)
_QUANTITY = re.compile(rf"(?<=\d) (?=(?:{_UNITS})(?![\w·/²³]))")
_TIED = "\N{NO-BREAK SPACE}"


def wrapped(text: str, first: str = "", rest: str = "") -> list[str]:
    """Text in lines of the page's width; no line ends between a number and its unit.

    Parameters
    ----------
    text : str
    first, rest : str
        What stands before the first line and before the others.
    """
    tied = _QUANTITY.sub(_TIED, text)
    lines = textwrap.wrap(tied, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)
    return [line.replace(_TIED, " ") for line in lines]


class _Page:
    """Lines of a report in the making."""

    def __init__(self, us: bool, paint: Paint) -> None:
        self.say = Say(us)
        self.paint = paint
        self.lines: list[str] = []

    def said(self, text: str) -> str:
        return self.say.text(text)

    def wrapped(self, text: str, first: str = "", rest: str = "") -> list[str]:
        return wrapped(self.said(text), first, rest)

    def heading(self, text: str) -> None:
        self.lines += ["", self.paint.strong(text)]

    def item(self, mark: str, text: str, paint: Callable[[str], str] | None = None) -> None:
        """A sentence behind a mark, its further lines under its first word."""
        head = f"  {mark} "
        lines = self.wrapped(text, head, " " * len(head)) or [head.rstrip()]
        if paint is not None:
            lines[0] = "  " + paint(mark) + lines[0][2 + len(mark) :]
        self.lines += lines

    def table(self, rows: Sequence[Sequence[str]], right: str = "") -> None:
        """Aligned columns; the last one is wrapped where it would run out of the page."""
        fixed = sum(max(len(row[i]) for row in rows) + 2 for i in range(len(rows[0]) - 1))
        wrapped: list[Sequence[str]] = []
        for row in rows:
            first, *more = textwrap.wrap(row[-1], max(WIDTH - 2 - fixed, 12), break_on_hyphens=False) or [""]
            wrapped.append((*row[:-1], first))
            wrapped += [(*("" for _ in row[:-1]), line) for line in more]
        self.lines += ["  " + line for line in aligned(wrapped, right)]


# --- parts ----------------------------------------------------------------------------------------------------------


def _timeline(page: _Page, record: Record) -> None:
    page.heading("Timeline")
    rows = tables.moments(record, page.say)
    if rows:
        page.table(rows, "rr")


def _numbers(page: _Page, record: Record, verdict: Verdict) -> None:
    page.heading("Key numbers")
    page.table(tables.key_numbers(record, verdict, page.say))


def _margins(page: _Page, record: Record, verdict: Verdict) -> None:
    page.heading("Margins")
    page.table([("", "reached", "limit", ""), *tables.margin_rows(record, verdict, page.say)], "lrr")


def _links(page: _Page, rows: Sequence[LinkRow]) -> None:
    if not rows:
        return
    page.heading("Weakest links, worst first")
    shown, left = rows[:MOST_LINKS], rows[MOST_LINKS:]
    table: list[Sequence[str]] = [tables.LINK_HEADS]
    for factor, *cells in tables.link_rows(shown, page.say):
        table.append((factor if factor.endswith("<") else factor + "  ", *cells))
    without_times = [(*row[:4], row[5]) for row in table]
    page.table(without_times if page.say.us else table, "rrll" if page.say.us else "rrllr")  # two sets of units take the room
    if left:
        page.lines.append(f"  and {len(left)} more, factor {number(left[0].link.factor, 2)} and over")
    page.lines += ["  " + remark for remark in tables.link_remarks(shown)]


def _life(page: _Page, record: Record) -> None:
    text = tables.life(record)
    page.lines += page.wrapped(text, "  ", "  ") if text else []


def _snag(page: _Page, snag: SnagStudy | None) -> None:
    if snag is not None:
        page.lines += page.wrapped(tables.snag_text(snag), "  ", "  ")


def _full_pull(page: _Page, found: FullPull) -> None:
    page.heading("If it stalls or snags with the power on")
    page.lines += page.wrapped(found.sentence, "  ", "  ")
    if not found.rows:
        return
    if tables.is_limited(found):
        page.table([("factor", "without limit", "link"), *tables.full_pull_rows(found)], "rr")
    else:
        page.table([("factor", "link"), *((row[0], row[2]) for row in tables.full_pull_rows(found))], "r")
    page.lines += page.wrapped(tables.full_pull_current(found), "  ", "  ")


def _energy(page: _Page, books: EnergyBooks) -> None:
    page.heading("Energy")
    page.table(tables.energy_rows(books, page.say), "lrr")
    page.lines.append("  " + tables.energy_remark(books))


def _findings(page: _Page, findings: Sequence[Finding]) -> None:
    page.heading("Findings, worst first")
    tones = {Severity.DANGER: page.paint.bad, Severity.CAUTION: page.paint.warn, Severity.NOTE: page.paint.faint}
    for finding in findings:
        page.item(f"{finding.severity.value.upper():7}", finding.sentence, tones[finding.severity])
        if finding.help:
            page.lines += page.wrapped(f"What would help: {finding.help}", " " * 10, " " * 10)


def _cures(page: _Page, verdict: Verdict) -> None:
    if not verdict.cures:
        return
    page.heading("Single changes, each tried in a full run")
    for cure in verdict.cures:
        page.item("-" if cure.confirmed else "x", cure.sentence)


def _assumed(page: _Page, rows: Sequence[Assumed]) -> None:
    if not rows:
        return
    page.heading("Assumed, because the scenario does not give it")
    table = []
    for row in rows:
        value = row.value if isinstance(row.value, str) else given(float(row.value), row.unit)
        span = ""
        if row.low is not None and row.high is not None and row.high > row.low:
            span = f" ({quantity(row.low, row.unit)} to {quantity(row.high, row.unit)})"
        table.append((row.path, value + span, "" if row.why == "default" else row.why))
    wide = max(len(row[0]) for row in table)
    for path, value, why in table:
        line = f"{value}, {why}" if why else value
        head = f"  {path.ljust(wide)}  "
        page.lines += wrapped(page.said(line), head, " " * len(head))


def _notes(page: _Page, machine: Machine, rows: Sequence[LinkRow]) -> None:
    notes = tables.notes(machine, rows)
    if notes:
        page.heading("Good to know")
    for note in notes:
        page.item("-", note)
