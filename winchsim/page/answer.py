"""An assessment for the page: its first screen as HTML with bars, its actions as changes, its key
numbers."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from winchsim.assessment.kinds import Assessment, Check, CheckKey, ReadingKey, Status
from winchsim.page.facts import SIGNS
from winchsim.quantity_text import in_unit, quantity
from winchsim.report.document import Cell, Face, Text, Value
from winchsim.report.plain_text import safe
from winchsim.report.render.options import Options, cell_text
from winchsim.report.words import advice
from winchsim.report.words.checks import CHECKS
from winchsim.report.words.findings import finding
from winchsim.report.words.outcome import outcome
from winchsim.report.words.values import MARKS, limit_of, of_check
from winchsim.simulation import Record

WIDEST = 8.0
"""Ratio to the limit at either end of a bar. [-]"""

_PLAIN = Options()

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
    CheckKey.LIFT_TIME: "load",
}
"""Table of a scenario that a check is shown at."""


def words(cell: Cell | Text) -> str:
    """A cell or a sentence as escaped text."""
    return cell_text(cell, _PLAIN, safe)


def mark(status: Status) -> str:
    """A status as a shape and its word."""
    found = MARKS[status]
    return (
        f'<span class="mark {found.tone}"><i '
        f'aria-hidden="true">{SIGNS[found.tone]}</i> {found.word}</span>'
    )


def answer(found: Assessment, record: Record) -> dict[str, Any]:
    """What the page shows of an assessment, ready for it.

    Parameters
    ----------
    found : Assessment
    record : Record
        That it was made of.
    """
    status = found.status
    return {
        "tone": MARKS[status].tone if found.trusted else "bad",
        "head": _head(found),
        "body": "".join(_body(found)),
        "actions": [_action(action) for action in found.actions],
        "assumed": {row.path: _assumed(row) for row in record.machine.assumed},
        "tables": _tables(found),
        "numbers": numbers(found),
        "last": words(advice.last_line(found)),
        "exit_code": found.exit_code,
    }


def numbers(found: Assessment) -> dict[str, Any]:
    """Key numbers of a build for the table of variants: text, and a number to sort by."""
    rows: dict[str, Any] = {
        "status": (f"{found.status.value} {found.counts[found.status]}", found.status.rank)
    }
    for key in (
        CheckKey.LIFT_TIME,
        CheckKey.START_HOT,
        CheckKey.HOLD,
        CheckKey.PARTS,
        CheckKey.JAM,
    ):
        check = found.check(key)
        known = None if check is None or check.value is None else check
        rows[CHECKS[key]] = (
            ("", None) if known is None else (words(of_check(known)), float(known.value or 0.0))
        )
    for name in (ReadingKey.MEAN_CURRENT, ReadingKey.EFFICIENCY):
        reading = found.reading(name)
        value = None if reading is None else reading.value
        text = "" if value is None else quantity(value, "A" if name == "mean_current" else "%")
        rows[name.value.replace("_", " ")] = (text, value)
    return rows


def _head(found: Assessment) -> str:
    status = found.status
    count = f" {found.counts[status]} of {len(found.checks)}" if found.trusted else ""
    return f'{mark(status)}<b>{count}</b> <span class="sentence">{words(outcome(found))}</span>'


def _body(found: Assessment) -> Iterator[str]:
    if not found.trusted:
        for one in found.findings:
            yield _finding(one)
        return
    yield '<table class="checks"><caption>Checks</caption><thead><tr>'
    for head in ("quantity", "value", "range against its limit", "limit", "status"):
        yield f'<th scope="col">{head}</th>'
    yield "</tr></thead><tbody>"
    for check in sorted(found.checks, key=lambda check: check.status.rank):
        yield _check(check)
    yield "</tbody></table>"
    if advice.unchecked(found):
        yield f'<p class="remark">{words(advice.unchecked(found))}</p>'
    yield from _weakest(found)
    if found.jam is not None:
        jam = advice.jam(found.jam, found.check(CheckKey.JAM))
        yield f"<p><strong>If it jams:</strong> {words(jam)}</p>"
    for one in found.findings:
        yield _finding(one)
    yield f'<p class="remark">{words(advice.assumed(found))}</p>'


def _finding(one: Any) -> str:
    shown = finding(one)
    act = f" <em>Action: {words(shown.action)}</em>" if shown.action else ""
    sign = f'<i aria-hidden="true">{SIGNS[shown.mark.tone]}</i> {safe(shown.mark.word)}'
    return (
        f'<p class="finding"><span class="mark '
        f'{shown.mark.tone}">{sign}</span> {words(shown.text)}{act}</p>'
    )


def _check(check: Check) -> str:
    known = check.value is not None
    value = words(of_check(check, Face.VALUE)) if known else ""
    span = words(of_check(check, Face.RANGE)) if known else ""
    limit = check.hard if check.hard is not None else check.required
    drawn = bar(
        check.value,
        check.low,
        check.high,
        limit,
        check.required,
        check.side == "at least",
        MARKS[check.status].tone,
    )
    cells = (
        f"<td>{value}</td><td>{drawn}<small>{span}</small></td><td>{words(limit_of(check))}</td>"
    )
    return (
        f"<tr><th "
        f'scope="row">{safe(CHECKS[check.key])}</th>{cells}<td>{mark(check.status)}</td></tr>'
    )


def _weakest(found: Assessment) -> Iterator[str]:
    if not found.weakest:
        return
    yield '<table class="checks"><caption>Weakest parts</caption><thead><tr>'
    for head in ("part", "factor", "range against 1", "required", "status"):
        yield f'<th scope="col">{head}</th>'
    yield "</tr></thead><tbody>"
    for part in found.weakest:
        shown = Value(part.factor, "", part.low, part.high, part.required, face=Face.VALUE)
        span = Value(part.factor, "", part.low, part.high, part.required, face=Face.RANGE)
        tone = MARKS[part.status].tone
        drawn = bar(part.factor, part.low, part.high, 1.0, part.required, True, tone)
        cells = f"<td>{words(shown)}</td><td>{drawn}<small>{words(span)}</small></td><td>{words(Value(part.required))}</td>"
        yield f'<tr><th scope="row">{safe(part.label)}</th>{cells}<td>{mark(part.status)}</td></tr>'
    yield "</tbody></table>"


def bar(
    value: float | None,
    low: float | None,
    high: float | None,
    limit: float | None,
    required: float | None,
    at_least: bool,
    tone: str,
) -> str:
    """A value and its range on a logarithmic line: to the right is better, the limit is upright.

    Parameters
    ----------
    value, low, high, limit, required : float or None
        In one unit.
    at_least : bool
        Whether the value has to lie above the limit.
    tone : str
        Class of its colour.
    """
    if value is None or not limit or limit < 0:
        return ""

    def place(number: float | None) -> float:
        ratio = 1.0 if number is None else number / limit if at_least else limit / max(number, 1e-9)
        if not ratio > 0:
            return 0.0
        return min(100.0, max(0.0, 50 + 50 * math.log(min(ratio, 1e9)) / math.log(WIDEST)))

    at, ends = (
        place(value),
        sorted(
            (place(low if low is not None else value), place(high if high is not None else value))
        ),
    )
    want = (
        f'<path class="want" d="M{place(required):.1f} 4V14"/>'
        if required not in (None, limit)
        else ""
    )
    return (
        '<svg class="bar" viewBox="-3 0 106 18" preserveAspectRatio="none" aria-hidden="true" focusable="false">'
        '<rect class="short" x="0" y="7" width="50" height="4"/><path class="line" d="M0 9H100"/>'
        f'<rect class="span {tone}" x="{ends[0]:.1f}" y="5" width="{max(1.0, ends[1] - ends[0]):.1f}" height="8"/>'
        f'{want}<path class="limit" d="M50 0V18"/><path class="now" d="M{at:.1f} 2V16"/></svg>'
    )


def _action(action: Any) -> dict[str, Any]:
    changes = [(change.path, change.after) for change in action.changes]
    return {"text": words(advice.action(action)), "changes": changes}


def _assumed(row: Any) -> str:
    if isinstance(row.value, str):
        return f"assumed {row.value}: {row.why}"
    span = ""
    if row.low is not None and row.high is not None and row.low != row.high:
        span = f" ({in_unit(row.low, row.unit):.3g} to {in_unit(row.high, row.unit):.3g})"
    return f"assumed {in_unit(float(row.value), row.unit):.3g}{span} {row.unit}: {row.why}"


def _tables(found: Assessment) -> dict[str, str]:
    """Worst status by table of the scenario: ``motors``, ``stage``, ``drum`` …"""
    worst: dict[str, Status] = {}
    rows = [(_PARTS_OF.get(check.key, ""), check.status) for check in found.checks]
    rows += [(part.path.partition(".")[0], part.status) for part in found.parts]
    rows += [(part.path, part.status) for part in found.parts if "." in part.path]
    for table, status in rows:
        if table and (table not in worst or status.rank < worst[table].rank):
            worst[table] = status
    return {table: status.value for table, status in worst.items()}
