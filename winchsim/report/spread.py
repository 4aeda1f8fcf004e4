"""The report of a spread: how often what happens, how far results lie apart, and which inputs matter."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

from winchsim.quantity_text import number, quantity
from winchsim.report.csv_out import cell
from winchsim.report.json_out import finding_facts
from winchsim.report.json_text import document
from winchsim.report.lines import Lines
from winchsim.report.paint import Paint
from winchsim.report.si_keys import key
from winchsim.studies.spread import LEVELS, RESULTS, Probability, Spread, Uncertain, describe, findings
from winchsim.studies.spread.intervals import interval_text, share_text
from winchsim.studies.spread.outcomes import Ending
from winchsim.verdict.words import percent

_PLAIN = Paint()

EVENTS = {
    "lifted": "come up, nothing broken",
    "stalled": "stall",
    "tooth_overload": "break a tooth",
    "overload": "break any link",
    "other": "fail otherwise",
    "overheated": "overheat a motor",
    "ran_back": "run back, power off",
}
"""What is counted, in words, in the order of the report."""

RESULT_NAMES = {"time": "time", "current": "current", "winding": "winding", "teeth": "teeth", "hold": "holding"}
QUANTITY_NAMES = {
    "time": "lift time",
    "current": "mean current",
    "winding": "hottest winding, over its limit",
    "factor": "least factor of any link",
}

MOST_INFLUENCES = 10
"""Inputs that are printed. [-]"""


def spread_text(
    found: Spread, cautions: tuple[str, ...], *, title: str = "", name: str = "", us: bool = False, paint: Paint = _PLAIN
) -> str:
    """Report of a spread as text.

    Parameters
    ----------
    found : Spread
    cautions : tuple of str
        What closes every report.
    title, name : str
        Of the scenario, and its file as the user typed it.
    us : bool
        Whether to print US units beside the SI ones.
    paint : Paint
        Colours, off by default.
    """
    page = Lines(us, paint)
    page.sentence(found.sentence, paint.good if found.good else paint.bad)
    page.sentence(": ".join(part for part in (name, title) if part), paint.faint)
    if not found.complete:
        page.sentence(f"Partial: stopped after {len(found.outcomes)} of {found.asked} builds.", paint.warn)
    _how_often(page, found)
    _how_far(page, found)
    _breaks(page, found)
    _motors(page, found)
    _influences(page, found)
    _differs(page, found)
    for note in found.notes:
        page.item("-", note)
    page.sentence(_how(found), indent="  ")
    page.findings(findings(found))
    page.cautions(cautions)
    return page.text()


def _how(found: Spread) -> str:
    what = "the full simulation" if found.in_full else "the quasi-static model"
    text = f"Seed {found.random_seed}; each build lifted by {what}."
    if found.quasi_static_off is not None:
        text += f" Three builds run in full were {percent(found.quasi_static_off)} off in the lift time at most."
    return text


def _how_often(page: Lines, found: Spread) -> None:
    page.heading("How often")
    rows = [("", "share", f"{percent(found.level)} interval", "")]
    for name, words in EVENTS.items():
        p = found.probabilities[name]
        among = "builds" if name not in ("overheated", "ran_back") else "lifts"
        if p.of and not (name == "other" and not p.count):
            rows.append((words, share_text(p), interval_text(p), f"{p.count} of {p.of} {among}"))
    page.table(rows, "lrr")


def _how_far(page: Lines, found: Spread) -> None:
    if not found.probabilities["lifted"].count:
        return
    page.heading("How far apart: of the builds that come up this share lies below")
    rows = [("", *(percent(level) for level in LEVELS))]
    for row in found.quantities:
        rows.append((QUANTITY_NAMES[row.name], *(_shown(page, value, row.unit) for value in row.values)))
    page.table(rows, "lrrrrr")


def _shown(page: Lines, value: float, unit: str) -> str:
    if unit == "K":  # a temperature difference; in °F as well it would burst the table
        return quantity(value, unit)
    return "none" if math.isinf(value) else page.q(value, unit)


def _breaks(page: Lines, found: Spread) -> None:
    if found.first_to_break:
        page.heading("What breaks first")
        total = len(found.outcomes)
        page.table([(label, f"{count} of {total} builds") for label, count in found.first_to_break.items()], "lr")


def _motors(page: Lines, found: Spread) -> None:
    if not found.motors:
        return
    page.heading("The motors of a group among themselves, just after lift-off, weakest first")
    rows = [("group", "motor", "torque over the mean", "9 in 10 builds", "current", "9 in 10 builds", "dragged")]
    for row in found.motors:
        share, current = row.share, row.current
        rows.append(
            (
                str(row.group), str(row.place), number(share[0], 2), f"{number(share[1], 2)} to {number(share[2], 2)}",
                quantity(current[0], "A"), f"{number(current[1], 3)} to {number(current[2], 3)} A", share_text(row.dragged),
            )
        )  # fmt: skip
    page.table(rows, "rrrrrrr")
    page.sentence("All turn at one speed; one whose torque is below 0 is dragged by the others.", indent="  ")


def input_name(row: Uncertain) -> str:
    """An uncertain input in words: its path, and whether every motor has its own."""
    return row.path + (" (each motor)" if row.each else "")


def _influences(page: Lines, found: Spread) -> None:
    page.heading("What matters: rank correlation of each input with each result, -1 to 1")
    rows = [("", *RESULT_NAMES.values())]
    for influence in found.influences[:MOST_INFLUENCES]:
        cells = []
        for name in RESULTS:
            value = influence.ranks[name]
            cells.append(f"{value:+.2f}" if abs(value) > found.noise[name] else ".")
        if set(cells) != {"."}:
            rows.append((input_name(influence.row), *cells))
    page.table(rows, "lrrrrr")
    page.sentence("A dot: no more than chance. Time and holding: + means longer, + means holds better.", indent="  ")


def _differs(page: Lines, found: Spread) -> None:
    page.heading("What differs from build to build")
    rows = []
    for row in found.plan.rows:
        rows.append((input_name(row), describe(row), row.shape, "assumed" if row.assumed else "given"))
    page.table(rows)


# --- machine-readable ---------------------------------------------------------------------------------------------------


def spread_json(found: Spread, cautions: tuple[str, ...], *, digest: str | None = None) -> str:
    """JSON text of a spread.

    Parameters
    ----------
    found : Spread
    cautions : tuple of str
        What closes every report.
    digest : str, optional
        SHA-256 of the scenario.
    """
    ranks = {id(influence.row): influence.ranks for influence in found.influences}
    return document(
        digest=digest,
        random_seed=found.random_seed,
        verdict=found.sentence,
        findings=[finding_facts(finding) for finding in findings(found)],
        cautions=cautions,
        rows=[
            {**_input_facts(row), "rank_correlation": ranks[id(row)]} for row in found.plan.rows
        ],
        complete=found.complete,
        builds_asked=found.asked,
        builds=len(found.outcomes),
        in_full=found.in_full,
        level=found.level,
        probabilities={name: _probability_facts(p) for name, p in found.probabilities.items()},
        quantiles={
            key(row.name, row.unit): [{"share": level, "value": value} for level, value in zip(LEVELS, row.values, strict=True)]
            for row in found.quantities
        },
        rank_noise=found.noise,
        first_to_break=found.first_to_break,
        motors=[
            {
                "group": row.group, "place": row.place, "torque_share": row.share[0], "torque_share_low": row.share[1],
                "torque_share_high": row.share[2], "current_a": row.current[0], "current_low_a": row.current[1],
                "current_high_a": row.current[2], "dragged": _probability_facts(row.dragged),
            }
            for row in found.motors
        ],
        quasi_static_off=found.quasi_static_off,
        notes=found.notes,
    )  # fmt: skip


def _probability_facts(p: Probability) -> dict[str, Any]:
    return {"count": p.count, "of": p.of, "share": p.share if p.of else None, "low": p.low, "high": p.high}


def _input_facts(row: Uncertain) -> dict[str, Any]:
    return {
        "input": row.path, key("center", row.unit): row.center, key("low", row.unit): row.low, key("high", row.unit): row.high,
        "shape": row.shape, "assumed": row.assumed, "each_motor": row.each,
    }  # fmt: skip


def spread_csv(found: Spread) -> str:
    """Every build as a row: what was drawn, and what became of it; SI with the unit in each head."""
    heads = [
        "build",
        "outcome",
        "lift_time_s",
        "mean_current_a",
        "winding_over_limit_k",
        "factor",
        "tooth_factor",
        "weakest",
        "held",
    ]
    columns: list[Any] = []
    o = found.outcomes
    for row, paths, values in zip(found.plan.rows, found.plan.columns, found.values, strict=True):
        names = paths if row.each and paths else (row.path,)
        heads += [key(name, row.unit) for name in names]
        columns += list(values.T)
    for place, single in enumerate(found.plan.singles):
        heads += [f"group_{single.group}_motor_{place + 1}_torque_n_m", f"group_{single.group}_motor_{place + 1}_current_a"]
        columns += [o.torques[:, place], o.currents[:, place]]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(heads)
    for i in range(len(o)):
        own = [o.time[i], o.current[i], o.winding[i], o.factor[i], o.teeth[i]]
        cells = [i + 1, Ending(o.ending[i]).name.lower(), *own, o.weakest[i], o.held[i], *(column[i] for column in columns)]
        writer.writerow([cell(value) for value in cells])
    return text.getvalue()
