"""The printed report of a lift: the answer first, then what it rests on, 100 columns at most."""

from __future__ import annotations

from collections.abc import Sequence

from winchsim.model import Machine
from winchsim.model.machine import Assumed
from winchsim.quantity_text import number, quantity
from winchsim.report import tables
from winchsim.report.lines import Lines
from winchsim.report.paint import Paint
from winchsim.simulation import Record
from winchsim.verdict.finding import LinkRow, StallPull, Verdict
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
    page = Lines(us, paint)
    page.sentence(verdict.sentence, paint.good if verdict.passes else paint.bad)
    page.sentence(": ".join(part for part in (name, record.machine.title) if part), paint.faint)
    _timeline(page, record)
    if verdict.trusted:
        _numbers(page, record, verdict)
        _margins(page, record, verdict)
        _links(page, verdict.rows)
        _life(page, record)
        _stall_pull(page, verdict.stall_pull)
        _snag(page, snag)
        _energy(page, record)
    page.findings(verdict.findings)
    _remedies(page, verdict)
    _assumed(page, record.machine.assumed)
    _notes(page, record.machine, verdict.rows)
    page.cautions(verdict.cautions)
    return page.text()


# --- parts ----------------------------------------------------------------------------------------------------------


def _timeline(page: Lines, record: Record) -> None:
    page.heading("Timeline")
    rows = tables.moments(record, us=page.us)
    if rows:
        page.table(rows, "rr")


def _numbers(page: Lines, record: Record, verdict: Verdict) -> None:
    page.heading("Key numbers")
    page.table(tables.key_numbers(record, verdict, us=page.us))


def _margins(page: Lines, record: Record, verdict: Verdict) -> None:
    page.heading("Margins")
    page.table([("", "reached", "limit", ""), *tables.margin_rows(record, verdict, us=page.us)], "lrr")


def _links(page: Lines, rows: Sequence[LinkRow]) -> None:
    if not rows:
        return
    page.heading("Weakest links, worst first")
    shown, left = rows[:MOST_LINKS], rows[MOST_LINKS:]
    table: list[Sequence[str]] = [tables.LINK_HEADS]
    for factor, *cells in tables.link_rows(shown, us=page.us):
        table.append((factor if factor.endswith("<") else factor + "  ", *cells))
    without_times = [(*row[:4], row[5]) for row in table]
    page.table(without_times if page.us else table, "rrll" if page.us else "rrllr")  # two sets of units take the room
    if left:
        page.sentence(f"and {len(left)} more, factor {number(left[0].link.factor, 2)} and over", indent="  ")
    for remark in tables.link_remarks(shown):
        page.sentence(remark, indent="  ")


def _life(page: Lines, record: Record) -> None:
    text = tables.life(record)
    if text:
        page.sentence(text, indent="  ")


def _snag(page: Lines, snag: SnagStudy | None) -> None:
    if snag is not None:
        page.sentence(tables.snag_text(snag), indent="  ")


def _stall_pull(page: Lines, found: StallPull) -> None:
    page.heading("Stalled with the power on")
    page.sentence(found.sentence, indent="  ")
    if not found.rows:
        return
    if tables.is_limited(found):
        page.table([("factor", "without limit", "link"), *tables.stall_pull_rows(found)], "rr")
    else:
        page.table([("factor", "link"), *((row[0], row[2]) for row in tables.stall_pull_rows(found))], "r")
    page.sentence(tables.stall_pull_current(found), indent="  ")


def _energy(page: Lines, record: Record) -> None:
    page.heading("Energy")
    page.table(tables.energy_rows(record.energy, us=page.us), "lrr")
    page.sentence(tables.energy_remark(record), indent="  ")


def _remedies(page: Lines, verdict: Verdict) -> None:
    if not verdict.remedies:
        return
    page.heading("Remedies: single changes, each tried in a full run")
    for remedy in verdict.remedies:
        page.item("-" if remedy.confirmed else "x", remedy.sentence)


def _assumed(page: Lines, rows: Sequence[Assumed]) -> None:
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
        page.labelled(path.ljust(wide), line)


def _notes(page: Lines, machine: Machine, rows: Sequence[LinkRow]) -> None:
    notes = tables.notes(machine, rows)
    if notes:
        page.heading("Notes")
    for note in notes:
        page.item("-", note)
