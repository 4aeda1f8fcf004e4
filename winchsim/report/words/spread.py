"""A spread in words: how often the load is lifted, what goes wrong, and which inputs matter."""

from __future__ import annotations

import math

from winchsim.assessment.enums import Holding, Status
from winchsim.report.document import Cell, Table, Text, Value, joined, say
from winchsim.report.words.values import MARKS, percent, value
from winchsim.studies.spread import LEVELS, QUANTITIES, Spread, Uncertain
from winchsim.studies.spread.builds import Motors
from winchsim.studies.spread.statistics import Probability
from winchsim.studies.spread.study import FAILURES, TOLERATED

EVENTS = {
    "lifted": "load lifted",
    "stalled": "stalls",
    "overload": "a part breaks",
    "tooth_overload": "of these, a tooth",
    "overheated": "a winding passes its limit",
    "ran_back": "back-drives, power off",
    "other": "another end",
}
"""Names of the probabilities of a spread."""

RESULTS = {
    "time": "lift time",
    "current": "mean current",
    "winding": "winding temperature",
    "teeth": "tooth factor",
    "hold": "holding",
}
"""Names of the results that inputs influence."""

_QUANTITIES = {
    "time": "lift time",
    "current": "mean supply current",
    "winding": "winding over its limit",
    "factor": "factor of the weakest part",
}

MOST_INFLUENCES = 15
"""Inputs in the table of influences. [-]"""


LEGEND = say("fails: in more than {} of the builds; thin: in some of them.", percent(TOLERATED))
"""What the statuses of the events mean."""


def sentence(found: Spread) -> Text:
    """How many builds lift the load, in which time, and how many run back."""
    p, back, times = (
        found.probabilities["lifted"],
        found.probabilities["ran_back"],
        [value(time, "s") for time in found.percentiles["time"]],
    )
    texts = [
        say(f"Interrupted after {len(found.outcomes)} of {found.asked} builds."),
        say(f"{{}} of {p.of} builds lift the load.", _share(p)),
        say("Half within {}, nine in ten from {} to {}.", times[2], times[0], times[4]),
        say("Power off: {} run back.", _share(back)),
    ]
    shown = (not found.complete, True, p.count, back.count)
    return joined([text for text, is_shown in zip(texts, shown, strict=True) if is_shown])


def event_table(found: Spread) -> Table:
    """How often each event happened, with its interval and status."""
    heads = ("event", "share", f"{100 * found.level:.3g} % interval", "builds", "status")
    rows: list[tuple[Cell, ...]] = []
    for name, p in ((name, found.probabilities[name]) for name in EVENTS):
        if p.of and (p.count or name not in ("other", "tooth_overload")):
            status: Cell = "" if name in ("lifted", "tooth_overload") else MARKS[_status(name, p)]
            rows.append((EVENTS[name], *_share(p).pair, f"{p.count} of {p.of}", status))
    return Table(heads, tuple(rows))


def _status(name: str, p: Probability) -> Status:
    if name in FAILURES and p.share > TOLERATED:
        return Status.FAILS
    return Status.THIN if p.count else Status.OK


def _share(p: Probability) -> Value:
    return Value(p.share, "%", p.low, p.high)


def percentile_table(found: Spread) -> Table:
    """Percentiles of the results over the builds that are lifted."""
    heads = [f"{100 * level:.0f} %" for level in LEVELS]
    columns = ("below, of the lifted builds", *heads)
    rows: list[tuple[Cell, ...]] = [
        (_QUANTITIES[name], *(value(number, unit) for number in found.percentiles[name]))
        for name, unit in QUANTITIES.items()
        if math.isfinite(found.percentiles["time"][0])
    ]
    return Table(columns, tuple(rows))


def most_influence(found: Spread, most: int = 2) -> Text:
    """The inputs with most influence on each result."""
    texts = []
    secured = found.as_given.held in (Holding.PAWL, Holding.BRAKE)
    for name in (name for name in RESULTS if not (secured and name == "hold")):
        rows = sorted(found.influences, key=lambda row: -abs(row.ranks[name]))[:most]
        names = [input_name(row.row) for row in rows if abs(row.ranks[name]) > found.noise[name]]
        texts += [say(f"{RESULTS[name]}: {', '.join(names)}")] if names else []
    return (*joined(texts, "; "), ".") if texts else say("no input stands out.")


def input_name(row: Uncertain) -> str:
    """Path of an uncertain input, and whether every motor has its own value."""
    return row.path + (" (each motor)" if row.each else "")


def break_table(found: Spread) -> Table:
    """Parts by how many builds they break first in."""
    total = len(found.outcomes)
    rows = [(label, f"{count} of {total}") for label, count in found.first_to_break.items()]
    return Table(("part", "builds"), tuple(rows))


def motor_table(found: Spread) -> Table:
    """Torque and current of the motors of each group among themselves."""
    heads = ("group", "motor", "torque over the mean", "current", "dragged by the others")
    rows = [
        (
            str(row.group),
            str(row.place),
            Value(row.share[0], "", *row.share[1:]),
            Value(row.current[0], "A", *row.current[1:]),
            percent(row.dragged.share),
        )
        for row in found.motors
    ]
    return Table(heads, tuple(rows))


def influence_table(found: Spread) -> Table:
    """Rank correlations of inputs with results, those beyond chance."""
    rows = [
        (
            input_name(influence.row),
            *(f"{r[n]:+.2f}" if abs(r[n]) > found.noise[n] else "" for n in RESULTS),
        )
        for influence in found.influences[:MOST_INFLUENCES]
        for r in [influence.ranks]
    ]
    heads = ("input", "time", "current", "winding", "teeth", "holding")
    return Table(heads, tuple(row for row in rows if any(row[1:])))


def difference_table(found: Spread) -> Table:
    """What differs from build to build, and how far."""
    rows: list[tuple[Cell, ...]] = []
    for row in found.plan.rows:
        shown = Value(row.center, "%" if row.is_strength else row.unit, row.low, row.high)
        basis = f"given, {row.shape}"
        if row.assumed:
            basis = "usual tolerance" if row.shape == "normal" else "estimate"
        rows.append((input_name(row), *shown.pair, basis))
    heads = ("value", "range", "basis")
    return Table(("input", *heads), tuple(rows))


def method(found: Spread) -> tuple[Text, ...]:
    """How the builds were made and lifted."""
    how = "the full simulation" if found.simulated else "the quasi-static model"
    texts = [say(f"Random seed {found.random_seed}. Each build is lifted by {how}.")]
    if found.slow_difference is not None:
        differ = "Lift times of three builds simulated in full differ by {} at most."
        texts.append(say(differ, percent(found.slow_difference)))
    if found.plan.motors is not Motors.EQUAL:
        texts.append(say(f"Motors: {found.plan.motors.value}."))
    if found.not_built:
        texts.append(say(f"{found.not_built} draws that no build can have are left out."))
    return tuple(texts)


def sections(found: Spread) -> dict[str, tuple[Table]]:
    """Details of a spread, by heading."""
    return {
        "Percentiles": (percentile_table(found),),
        "First to break": (break_table(found),),
        "Motors among themselves, just after lift-off": (motor_table(found),),
        "Influence: rank correlation, −1 to 1; blank: no more than chance": (
            influence_table(found),
        ),
        "What differs from build to build": (difference_table(found),),
    }
