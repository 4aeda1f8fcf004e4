"""A spread of builds as a document, as JSON, and every build as a row of CSV: how often the load is
lifted, what goes wrong, and which inputs matter."""

import math
from typing import Any

from winchsim.assessment.kinds import Holding, Status
from winchsim.quantity_text import csv_text, key
from winchsim.report import frame, json_text
from winchsim.report.document import (
    Cell,
    Document,
    FigureRef,
    Items,
    Paragraph,
    Table,
    Text,
    Value,
    joined,
    say,
)
from winchsim.report.json_text import facts
from winchsim.report.render.options import sentence_text, sentences
from winchsim.report.words.outcome import outcome
from winchsim.report.words.values import MARKS, percent, value
from winchsim.scenario.read import Scenario
from winchsim.studies.spread import (
    FAILURES,
    LEVELS,
    QUANTITIES,
    TOLERATED,
    Ending,
    MotorsApart,
    Probability,
    Spread,
    Uncertain,
)

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

FIGURE = FigureRef(
    "spread",
    "Lift times and influences",
    "Share of the builds below each lift time, and the inputs that move the results most.",
    "spread:spread_figure",
)


def build(found: Spread, scenario: Scenario, command: str = "") -> Document:
    """Document of a spread; `command` shows all details."""
    body = (
        _event_table(found),
        Paragraph(LEGEND, faint=True),
        Paragraph(outcome(found.as_given), label="As given, without differences:"),
        Paragraph(_most_influence(found), label="Most influence on"),
        FIGURE,
    )
    sections = {
        "Percentiles": (_percentile_table(found),),
        "First to break": (_break_table(found),),
        "Motors among themselves, just after lift-off": (_motor_table(found),),
        "Influence: rank correlation, −1 to 1; blank: no more than chance": (
            _influence_table(found),
        ),
        "What differs from build to build": (_difference_table(found),),
        "Method": (Items(_method(found)),),
    }
    return frame.document(
        scenario,
        frame.headline(MARKS[found.status], "", _sentence(found), scenario.name),
        body,
        sections,
        found.as_given,
        command,
    )


def _sentence(found: Spread) -> Text:
    """How many builds lift the load, in which time, and how many run back."""
    p, back = found.probabilities["lifted"], found.probabilities["ran_back"]
    times = [value(time, "s") for time in found.percentiles["time"]]
    texts = {
        say(f"Interrupted after {len(found.outcomes)} of {found.asked} builds."): (
            not found.complete
        ),
        say(f"{{}} of {p.of} builds lift the load.", _share(p)): True,
        say("Half within {}, nine in ten from {} to {}.", times[2], times[0], times[4]): p.count,
        say("Power off: {} run back.", _share(back)): back.count,
    }
    return joined([text for text, is_shown in texts.items() if is_shown])


def _event_table(found: Spread) -> Table:
    """How often each event happened, with its interval and status."""
    rows: list[tuple[Cell, ...]] = [
        (
            words,
            *_share(p).pair,
            f"{p.count} of {p.of}",
            "" if name in ("lifted", "tooth_overload") else MARKS[_status(name, p)],
        )
        for name, words in EVENTS.items()
        for p in [found.probabilities[name]]
        if p.of and (p.count or name not in ("other", "tooth_overload"))
    ]
    heads = ("event", "share", f"{100 * found.level:.3g} % interval", "builds", "status")
    return Table(heads, tuple(rows))


def _status(name: str, p: Probability) -> Status:
    fails = name in FAILURES and p.share > TOLERATED
    return Status.FAILS if fails else Status.THIN if p.count else Status.OK


def _share(p: Probability) -> Value:
    return Value(p.share, "%", p.low, p.high)


def _percentile_table(found: Spread) -> Table:
    """Percentiles of the results over the builds that are lifted."""
    return Table(
        ("below, of the lifted builds", *(f"{100 * level:.0f} %" for level in LEVELS)),
        tuple(
            (_QUANTITIES[name], *(value(number, unit) for number in found.percentiles[name]))
            for name, unit in QUANTITIES.items()
            if math.isfinite(found.percentiles["time"][0])
        ),
    )


def _most_influence(found: Spread, most: int = 2) -> Text:
    """The inputs with most influence on each result."""
    texts = []
    secured = found.as_given.held in (Holding.PAWL, Holding.BRAKE)
    for name in (name for name in RESULTS if not (secured and name == "hold")):
        most_moving = sorted(_influences(found), key=lambda pair: -abs(pair[1][name]))[:most]
        names = [_input_name(row) for row, r in most_moving if abs(r[name]) > found.noise[name]]
        texts += [say(f"{RESULTS[name]}: {', '.join(names)}")] if names else []
    return (*joined(texts, "; "), ".") if texts else say("no input stands out.")


def _influences(found: Spread) -> list[tuple[Uncertain, dict[str, float]]]:
    """Inputs with their rank correlations, the most influential on any result first."""
    pairs = zip(found.plan.rows, found.ranks, strict=True)
    return sorted(pairs, key=lambda pair: -max(map(abs, pair[1].values())))


def _input_name(row: Uncertain) -> str:
    """Path of an uncertain input, and whether every motor has its own value."""
    return row.path + (" (each motor)" if row.each else "")


def _break_table(found: Spread) -> Table:
    """Parts by how many builds they break first in."""
    counts, total = found.first_to_break.items(), len(found.outcomes)
    return Table(
        ("part", "builds"), tuple((label, f"{count} of {total}") for label, count in counts)
    )


def _motor_table(found: Spread) -> Table:
    """Torque and current of the motors of each group among themselves."""
    return Table(
        ("group", "motor", "torque over the mean", "current", "dragged by the others"),
        tuple(
            (
                str(row.group),
                str(row.place),
                Value(row.share[0], "", *row.share[1:]),
                Value(row.current[0], "A", *row.current[1:]),
                percent(row.dragged.share),
            )
            for row in found.motors
        ),
    )


def _influence_table(found: Spread) -> Table:
    """Rank correlations of inputs with results, those beyond chance."""
    rows = [
        (
            _input_name(row),
            *(f"{r[name]:+.2f}" if abs(r[name]) > found.noise[name] else "" for name in RESULTS),
        )
        for row, r in _influences(found)[:MOST_INFLUENCES]
    ]
    heads = ("input", "time", "current", "winding", "teeth", "holding")
    return Table(heads, tuple(row for row in rows if any(row[1:])))


def _difference_table(found: Spread) -> Table:
    """What differs from build to build, and how far."""
    return Table(
        ("input", "value", "range", "basis"),
        tuple(
            (
                _input_name(row),
                *Value(row.center, "%" if row.links else row.unit, row.low, row.high).pair,
                {"normal": "usual tolerance"}.get(row.shape, "estimate")
                if row.assumed
                else f"given, {row.shape}",
            )
            for row in found.plan.rows
        ),
    )


def _method(found: Spread) -> tuple[Text, ...]:
    """How the builds were made and lifted."""
    how = "the full simulation" if found.simulated else "the quasi-static model"
    differ = "Lift times of three builds simulated in full differ by {} at most."
    off, motors, missing = found.slow_difference, found.plan.motors, found.not_built
    texts = {
        say(f"Random seed {found.random_seed}. Each build is lifted by {how}."): True,
        say(differ, percent(off or 0.0)): off is not None,
        say(f"Motors: {motors.value}."): motors is not MotorsApart.EQUAL,
        say(f"{missing} draws that no build can have are left out."): missing > 0,
    }
    return tuple(text for text, is_shown in texts.items() if is_shown)


# --- data

_ENDS = ("", "_low", "_high")


def spread_json(found: Spread, digest: str | None = None) -> str:
    """JSON text of a spread; `digest` is the SHA-256 of the scenario."""
    return json_text.document(
        digest=digest,
        random_seed=found.random_seed,
        verdict=sentence_text(_sentence(found)),
        cautions=sentences(frame.cautions(found.as_given).items),
        rows=[
            {
                "input": row.path,
                **{key(name, row.unit): getattr(row, name) for name in ("center", "low", "high")},
                "shape": row.shape,
                "assumed": row.assumed,
                "each_motor": row.each,
                "rank_correlation": ranks,
            }
            for row, ranks in zip(found.plan.rows, found.ranks, strict=True)
        ],
        command="spread",
        status=found.status.value,
        complete=found.complete,
        builds_asked=found.asked,
        builds=len(found.outcomes),
        not_built=found.not_built,
        simulated=found.simulated,
        level=found.level,
        probabilities={name: _facts(p) for name, p in found.probabilities.items()},
        percentiles={
            key(name, unit): [
                {"share": level, "value": value}
                for level, value in zip(LEVELS, found.percentiles[name], strict=True)
            ]
            for name, unit in QUANTITIES.items()
        },
        rank_noise=found.noise,
        first_to_break=found.first_to_break,
        motors=[
            {
                "group": row.group,
                "place": row.place,
                **{f"torque_share{end}": row.share[i] for i, end in enumerate(_ENDS)},
                **{f"current{end}_a": row.current[i] for i, end in enumerate(_ENDS)},
                "dragged": _facts(row.dragged),
            }
            for row in found.motors
        ],
        slow_difference=found.slow_difference,
    )


def _facts(p: Any) -> dict[str, Any]:
    return {**facts(p), "share": p.share if p.of else None}


def spread_csv(found: Spread) -> str:
    """Every build as a row: what was drawn, and what became of it; SI with the unit in each
    head."""
    names = {
        "time": "lift_time_s",
        "current": "mean_current_a",
        "winding": "winding_over_limit_k",
        "factor": "factor",
        "teeth": "tooth_factor",
        "weakest": "weakest",
        "held": "held",
    }
    o = found.outcomes
    endings = [Ending(ending).name.lower() for ending in o.ending]
    columns: dict[str, Any] = {"build": range(1, len(o) + 1), "outcome": endings}
    columns |= {head: getattr(o, name) for name, head in names.items()}
    for (row, paths), values in zip(found.plan.draws, found.values.T, strict=True):
        columns[key(paths[0] if row.each and paths else row.path, row.unit)] = values
    for place, owner in enumerate(found.plan.owners):
        motor = f"group_{owner}_motor_{place + 1}"
        columns |= {
            f"{motor}_torque_n_m": o.torques[:, place],
            f"{motor}_current_a": o.currents[:, place],
        }
    return csv_text(columns, zip(*columns.values(), strict=True))
