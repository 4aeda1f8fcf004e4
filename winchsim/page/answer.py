"""An assessment for the page: its first screen as HTML with bars, its actions as changes, its key
numbers."""

import math
from collections.abc import Iterable
from typing import Any

from winchsim.assessment.kinds import Assessment, Check, CheckKey, PartRow, ReadingKey, Status
from winchsim.frozen import replace
from winchsim.quantity_text import in_unit
from winchsim.report.document import Cell, Document, Face, Mark, Node, Paragraph, Text, Value
from winchsim.report.render.html import body
from winchsim.report.render.options import Options, cell_text, safe
from winchsim.report.words import advice
from winchsim.report.words.findings import finding
from winchsim.report.words.outcome import outcome
from winchsim.report.words.values import CHECKS, MARKS, limit_of, of_check, of_reading
from winchsim.simulation import Record

WIDEST = 8.0
"""Ratio to the limit at either end of a bar. [-]"""

_PARTS_OF = {
    CheckKey.WINDING: "motors",
    CheckKey.CONTINUOUS_CURRENT: "motors",
    CheckKey.START_COLD: "motors",
    CheckKey.START_HOT: "motors",
    CheckKey.SUPPLY: "supply",
    CheckKey.BATTERY: "supply",
    CheckKey.HOLD: "drum",
    CheckKey.HOLD_DISTURBED: "drum",
    CheckKey.ROPE_BEND: "rope",
    CheckKey.DRUM_CAPACITY: "drum",
    CheckKey.TARGET: "load",
    CheckKey.PROGRAMME: "phase",
    CheckKey.LIFT_TIME: "load",
}
"""Table of a scenario that a check is shown at."""

LEGEND = (
    "Factor: what a part carries over what is asked of it. Margin: what there is over what is "
    "needed. Disturbed: once a knock or a swing has set the load moving. Thin: misses the required "
    "or advised value, or its range reaches the limit."
)
"""Words of the tables."""

_COMPARED = (
    CheckKey.LIFT_TIME,
    CheckKey.START_HOT,
    CheckKey.HOLD,
    CheckKey.PARTS,
    CheckKey.JAM,
)
_FOLLOWED = (CheckKey.LIFT_TIME, CheckKey.START_HOT, CheckKey.PARTS)
"""Checks whose values are shown before and after a change."""
_READ = (ReadingKey.MEAN_CURRENT, ReadingKey.EFFICIENCY)
"""Checks and readings whose values stand in the table of variants."""


def words(cell: Cell | Text) -> str:
    """A cell or a sentence as escaped text."""
    return cell_text(cell, Options(), safe)


def mark(found: Mark) -> str:
    """A status in its word; the page's style puts a shape before it."""
    return f'<span class="mark {found.tone}">{found.word}</span>'


def answer(found: Assessment, record: Record) -> dict[str, Any]:
    """What the page shows of an assessment, ready for it.

    Parameters
    ----------
    found : Assessment
    record : Record
        That it was made of.
    """
    shown = MARKS[found.status] if found.trusted else Mark("no result", "bad")
    count = f" {found.counts[found.status]} of {len(found.checks)}" if found.trusted else ""
    checks = sorted(found.checks, key=lambda check: check.status.rank)
    tables = _table("Checks", "check", map(_check, checks))
    tables += _table("Weakest parts", "part", map(_part, found.weakest))
    sentence = f'<span class="sentence">{words(outcome(found))}</span>'
    return {
        "head": f"{mark(shown)}<b>{count}</b> {sentence}",
        "body": tables * found.trusted + "".join(body(Document("", "", _nodes(found)), Options())),
        "actions": [
            {"text": words(advice.action(a)), "changes": [(c.path, c.after) for c in a.changes]}
            for a in found.actions
        ],
        "assumed": {row.path: _assumed(row) for row in record.machine.assumed},
        "status": worst_by_table(found),
        "numbers": numbers(found),
        "followed": {
            CHECKS[check.key]: words(replace(of_check(check), low=None, high=None))
            for check in found.checks
            if check.key in _FOLLOWED
        },
        "last": words(advice.closing(found).text),
    }


def numbers(found: Assessment) -> dict[str, Any]:
    """Key numbers of a build for the table of variants: text, and a number to sort by."""
    checks = [check for check in found.checks if check.key in _COMPARED]
    readings = [reading for reading in found.readings if reading.key in _READ]
    shown = [(CHECKS[check.key], of_check(check), check.value) for check in checks]
    shown += [(r.key.value.replace("_", " "), of_reading(r), r.value) for r in readings]
    counts = f"{found.status.value} {found.counts[found.status]}"
    known = {name: (words(text), value) for name, text, value in shown if value is not None}
    return {"status": (counts, found.status.rank)} | known


def _nodes(found: Assessment) -> tuple[Node, ...]:
    """What stands below the tables."""
    findings = map(finding, found.findings)
    if not found.trusted:
        return tuple(findings)
    jam, unchecked = advice.jam(found), advice.unchecked(found)
    return (
        Paragraph((LEGEND,), faint=True),
        *([Paragraph(unchecked, faint=True)] if unchecked else []),
        *([Paragraph(jam, label="If it jams:")] if jam else []),
        *findings,
        Paragraph(advice.assumed(found), faint=True),
    )


def _table(caption: str, name: str, rows: Iterable[str]) -> str:
    heads = "".join(
        f'<th scope="col">{head}</th>'
        for head in (name, "value", "range against its limit", "limit", "status")
    )
    head = f"<caption>{caption}</caption><thead><tr>{heads}</tr></thead>"
    return f'<table class="checks">{head}<tbody>{"".join(rows)}</tbody></table>'


def _check(check: Check) -> str:
    limit = check.hard if check.hard is not None else check.required
    drawn = bar(of_check(check), limit, check.required, check.side == "at least", check.status)
    return _row(CHECKS[check.key], of_check(check), drawn, limit_of(check), check.status)


def _part(part: PartRow) -> str:
    factor = Value(part.factor, "", part.low, part.high, part.required)
    drawn = bar(factor, 1.0, part.required, True, part.status)
    return _row(part.label, factor, drawn, ("≥ ", Value(part.required)), part.status)


def _row(label: str, value: Value, drawn: str, limit: Text, status: Status) -> str:
    middle, span = (words(replace(value, face=face)) for face in (Face.VALUE, Face.RANGE))
    cells = f"<td>{middle}</td><td>{drawn}<small>{span}</small></td><td>{words(limit)}</td>"
    return f'<tr><th scope="row">{safe(label)}</th>{cells}<td>{mark(MARKS[status])}</td></tr>'


def bar(
    value: Value, limit: float | None, required: float | None, at_least: bool, status: Status
) -> str:
    """A value and its range on a logarithmic line: to the right is better, the limit is upright.

    Parameters
    ----------
    value : Value
    limit, required : float or None
        In SI, as the value.
    at_least : bool
        Whether the value has to lie above the limit.
    status : Status
    """
    now = value.value
    if now is None or not limit or limit < 0:
        return ""

    def place(given: float | None) -> float:
        number = now if given is None else given
        ratio = number / limit if at_least else limit / max(number, 1e-9)
        share = math.log(min(max(ratio, 1e-9), 1e9)) / math.log(WIDEST)
        return min(100.0, max(0.0, 50 + 50 * share))

    start, end = sorted((place(value.low), place(value.high)))
    wanted = "" if required in (None, limit) else _tick("want", place(required), 4, 14)
    return (
        '<svg class="bar" viewBox="-3 0 106 18" preserveAspectRatio="none" aria-hidden="true">'
        '<rect class="short" x="0" y="7" width="50" height="4"/>'
        '<path class="line" d="M0 9H100"/>'
        f'<rect class="span {MARKS[status].tone}" x="{start:.1f}" y="5" '
        f'width="{max(1.0, end - start):.1f}" height="8"/>'
        f"{wanted}{_tick('limit', 50, 0, 18)}{_tick('now', place(now), 2, 16)}</svg>"
    )


def _tick(kind: str, x: float, top: float, bottom: float) -> str:
    return f'<path class="{kind}" d="M{x:.1f} {top}V{bottom}"/>'


def _assumed(row: Any) -> str:
    if isinstance(row.value, str):
        return f"assumed {row.value}: {row.source}"
    value, low, high = (
        None if number is None else f"{in_unit(number, row.unit):.3g}"
        for number in (row.value, row.low, row.high)
    )
    span = f" ({low} to {high})" if low is not None and low != high else ""
    return f"assumed {value}{span} {row.unit}".rstrip() + f": {row.source}"


def worst_by_table(found: Assessment) -> dict[str, str]:
    """Worst status by table of the scenario: ``motors``, ``stage``, ``stage.2``, ``drum`` …"""
    rows = [(_PARTS_OF.get(check.key, ""), check.status) for check in found.checks]
    for part in found.parts:
        rows += [(path, part.status) for path in {part.path.partition(".")[0], part.path}]
    rows.sort(key=lambda row: -row[1].rank)
    return {table: MARKS[status].word for table, status in rows if table}
