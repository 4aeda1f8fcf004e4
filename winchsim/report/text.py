"""The printed report of a lift: the answer first, then what it rests on, 100 columns at most."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Callable, Sequence

from winchsim.model import Machine
from winchsim.model.machine import Assumed
from winchsim.quantity_text import PRINTED_UNITS, number, quantity
from winchsim.report.columns import aligned
from winchsim.report.paint import Paint
from winchsim.report.problems import WIDTH
from winchsim.report.timeline import timeline
from winchsim.report.us import beside_us
from winchsim.simulate import EnergyBooks, Record
from winchsim.verdict.balance import holding
from winchsim.verdict.finding import Finding, FullPull, LinkRow, Severity, Verdict
from winchsim.verdict.life import sentence as life_sentence
from winchsim.verdict.life import tooth_lives
from winchsim.verdict.snag import SnagStudy
from winchsim.verdict.words import duration, given, length, percent, speed

MOST_LINKS = 10
"""Rows of the weakest-link table that are printed. [-]"""

LEAST_SHARE = 5e-4
"""Share of the energy below which heads of the books are put together. [-]"""

MEMORY = "*"
"""Stands behind a strength that rests on a value from memory."""

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
        _margins(page, record.machine, verdict)
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
        self.us = us
        self.paint = paint
        self.lines: list[str] = []

    def said(self, text: str) -> str:
        return beside_us(text) if self.us else text

    def q(self, value: float | None, unit: str, digits: int = 3) -> str:
        return quantity(value, unit, digits, us=self.us)

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
    rows = []
    for moment in timeline(record):
        time = "" if moment.time is None else f"{moment.time:.2f} s"
        height = "" if moment.height is None else f"{moment.height:.3f} m"
        rows.append((time, page.said(height), page.said(moment.text)))
    if rows:
        page.table(rows, "rr")


def _numbers(page: _Page, record: Record, verdict: Verdict) -> None:
    s = verdict.summary
    page.heading("Key numbers")
    rows = [
        ("lift time", duration(s.lift_time) if s.lift_time is not None else "not up"),
        ("steady speed", page.said(speed(s.steady_speed)) if s.steady_speed is not None else "none"),
        ("highest, final height", page.said(f"{length(s.highest)}, {length(s.final_height)}")),
        ("supply current", f"{page.q(s.peak_current, 'A')} at most, {page.q(s.mean_current, 'A')} on average"),
        ("rope tension", f"{page.q(s.peak_tension, 'N')} at most"),
        ("hottest winding", page.q(s.peak_winding, "°C")),
        ("energy from the supply", page.q(s.energy_in, "J")),
        ("charge drawn", page.q(s.charge, "A·h")),
        ("efficiency of the lift", percent(s.efficiency, 3) if s.efficiency is not None else "none"),
        ("ratio, motor to drum", f"{record.machine.groups[0].ratio:.4g}:1"),
    ]
    page.table(rows)


def _margins(page: _Page, machine: Machine, verdict: Verdict) -> None:
    s = verdict.summary
    page.heading("Margins")
    rows = [("", "reached", "limit", "")]
    rows.append(("torque to start it, cold", f"{number(s.stall_margin_cold)} x", "1", "below it the motors stall"))
    rows.append(("same, windings at limit", f"{number(s.stall_margin_hot)} x", "1", ""))
    hold = holding(machine, machine.top_travel, _top_layer(machine))
    for words, value in (("holding, power off", hold.resting), ("same, once set going", hold.moving)):
        rows.append((words, "locks" if math.isinf(value) else f"{number(value)} x", "1", "times this load; no pawl counted"))
    for group in machine.groups:
        where = f", group {group.number}" if len(machine.groups) > 1 else ""
        rows.append((f"winding{where}", page.q(s.peak_winding, "°C"), page.q(group.winding_limit, "°C"), ""))
        if len(machine.groups) > 1:
            rows[-1] = (f"hottest winding against group {group.number}", *rows[-1][1:])
    limit = next((step.current_limit for step in machine.phases if step.action == "raise"), math.inf)
    rows.append(
        ("supply current", page.q(s.peak_current, "A"), page.q(limit, "A"), "" if math.isinf(limit) else "limits itself")
    )
    if verdict.rows:
        worst = min(verdict.rows, key=lambda row: row.link.factor / row.link.required)
        rows.append(("factor of a link", number(worst.link.factor, 2), f"{worst.link.required:g}", worst.label))
    page.table(rows, "lrr")


def _top_layer(machine: Machine) -> int:
    wound = machine.wound_at_start + machine.line.falls * (machine.top_travel - machine.start_travel)
    return next((i for i, layer in enumerate(machine.layers) if wound < layer.end), len(machine.layers) - 1)


def _links(page: _Page, rows: Sequence[LinkRow]) -> None:
    if not rows:
        return
    page.heading("Weakest links, worst first")
    table = [("factor", "wanted", "asked", "bears", "at", "link")]
    shown = rows[:MOST_LINKS]
    for row in shown:
        link, strength = row.link, row.link.strength
        asked = ("≤ " if link.bound and link.demand > 0 else "") + page.q(link.demand, strength.unit)
        bears = page.q(strength.value, strength.unit) + (MEMORY if strength.basis == "from memory" else "")
        when = f"{link.time:.1f} s" if link.time is not None and link.demand > 0 else ""
        factor = number(link.factor, 2) + (" <" if link.factor < link.required else "  ")
        table.append((factor, f"{link.required:g}", asked, bears, when, row.label + (", broke" if row.broke else "")))
    without_times = [(*row[:4], row[5]) for row in table]
    page.table(without_times if page.us else table, "rrll" if page.us else "rrllr")  # two sets of units take the room
    left = rows[MOST_LINKS:]
    if left:
        page.lines.append(f"  and {len(left)} more, factor {number(left[0].link.factor, 2)} and over")
    page.lines.append("  factor = bears / asked; below 1 it breaks")
    if any(row.link.bound and row.link.demand > 0 for row in shown):
        page.lines.append("  ≤ the train is held there, and friction leaves open how much of it the link carries")
    if any(row.link.strength.basis == "from memory" for row in shown):
        page.lines.append(f"  {MEMORY} from memory, not looked up")


def _life(page: _Page, record: Record) -> None:
    text = life_sentence(tooth_lives(record))
    page.lines += page.wrapped(text, "  ", "  ") if text else []


def _snag(page: _Page, snag: SnagStudy | None) -> None:
    if snag is not None:
        page.lines += page.wrapped(f"Snag at {length(snag.height)}: {snag.sentence}", "  ", "  ")


def _full_pull(page: _Page, found: FullPull) -> None:
    page.heading("If it stalls or snags with the power on")
    page.lines += page.wrapped(found.sentence, "  ", "  ")
    if not found.rows:
        return
    limited = found.current < found.unlimited_current * (1 - 1e-6)
    head = ("factor", "without limit", "link") if limited else ("factor", "link")
    table = [head]
    for row in found.rows[:3]:
        cells = (number(row.link.factor, 2), number(row.unlimited_factor, 2), row.label)
        table.append(cells if limited else (cells[0], cells[2]))
    page.table(table, "rr" if limited else "r")
    current = f"Supply current then: {quantity(found.current, 'A')}"
    if limited:
        current += f"; without its limit {quantity(found.unlimited_current, 'A')}"
    page.lines += page.wrapped(current + ". At rest; rotors caught while they turn add to it.", "  ", "  ")


def _energy(page: _Page, books: EnergyBooks) -> None:
    page.heading("Energy")
    gained = {head: books.stored_after[head] - books.stored_before[head] for head in books.stored_after}
    heads = [("lifted" if head == "potential" else f"stored, {head}", amount) for head, amount in gained.items()]
    heads += list(books.spent.items())
    scale = max(abs(books.source), books.scale)
    shown = [(head, amount) for head, amount in heads if abs(amount) >= LEAST_SHARE * scale]
    rest = sum(amount for _, amount in heads) - sum(amount for _, amount in shown)
    rows = [("from the supply", page.q(books.source, "J"), "")]
    for head, amount in sorted(shown, key=lambda pair: -abs(pair[1])):
        rows.append((head, page.q(amount, "J"), percent(amount / scale) if scale > 0 else ""))
    if len(shown) < len(heads) and abs(rest) > 0:
        rows.append(("all others", page.q(rest, "J", 2), percent(rest / scale, 1)))
    page.table(rows, "lrr")
    page.lines.append(f"  The books close to {books.error:.0e} of the energy; the limit is 1e-04.")


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
    """What was noted while building, and of the links what was noted of the weakest that has notes."""
    of_links = {note for row in rows for note in row.link.strength.notes}
    notes = [note for note in machine.notes if note not in of_links]
    weakest = next((row for row in rows if row.link.strength.notes), None)
    if weakest is not None:
        notes += [f"The {weakest.label}: {note[:1].lower()}{note[1:]}" for note in weakest.link.strength.notes]
    if notes:
        page.heading("Good to know")
    for note in notes:
        page.item("-", note)
