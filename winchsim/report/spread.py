"""A spread of builds as a document, as JSON, and every build as a row of CSV."""

from __future__ import annotations

from typing import Any

from winchsim.csv_text import csv_text
from winchsim.report import frame
from winchsim.report.document import (
    Document,
    FigureRef,
    Items,
    Node,
    Paragraph,
)
from winchsim.report.json_out import facts
from winchsim.report.json_text import document
from winchsim.report.render.options import sentence_text, sentences
from winchsim.report.si_keys import key
from winchsim.report.words import advice, spread
from winchsim.report.words.outcome import outcome
from winchsim.report.words.values import MARKS
from winchsim.studies.spread import LEVELS, QUANTITIES, Spread
from winchsim.studies.spread.outcomes import Ending

FIGURE = FigureRef(
    "spread", "Lift times and influences",
    "Share of the builds below each lift time, and the inputs that move the results most.",
)  # fmt: skip


def build(found: Spread, *, title: str, name: str, command: str = "") -> Document:
    """Document of a spread.

    Parameters
    ----------
    found : Spread
    title, name : str
        Title of the scenario and name of its file.
    command : str
        That shows all details.
    """
    as_given = found.as_given
    body: tuple[Node, ...] = (
        frame.headline(MARKS[found.status], "", spread.sentence(found), name),
        spread.event_table(found),
        Paragraph(spread.LEGEND, faint=True),
        Paragraph(outcome(as_given), label="As given, without differences:"),
        Paragraph(spread.most_influence(found), label="Most influence on"),
        advice.closing(as_given),
        FIGURE,
        *frame.details(
            {
                **spread.sections(found),
                "Method": (Items(spread.method(found)),),
                "Cautions": (frame.cautions(as_given),),
            }
        ),
    )
    return Document(title or name, name, body, command)


def spread_json(found: Spread, *, digest: str | None = None) -> str:
    """JSON text of a spread; `digest` is the SHA-256 of the scenario."""
    ranks = {id(influence.row): influence.ranks for influence in found.influences}
    rows = []
    for row in found.plan.rows:
        ends = {key(name, row.unit): getattr(row, name) for name in ("center", "low", "high")}
        more = {"shape": row.shape, "assumed": row.assumed, "each_motor": row.each}
        rows.append({"input": row.path, **ends, **more, "rank_correlation": ranks[id(row)]})
    probabilities = {name: _facts(p) for name, p in found.probabilities.items()}
    percentiles = {
        key(name, unit): [
            {"share": level, "value": value}
            for level, value in zip(LEVELS, found.percentiles[name], strict=True)
        ]
        for name, unit in QUANTITIES.items()
    }
    motors = [
        {
            "group": row.group, "place": row.place, "torque_share": row.share[0],
            "torque_share_low": row.share[1], "torque_share_high": row.share[2],
            "current_a": row.current[0], "current_low_a": row.current[1],
            "current_high_a": row.current[2], "dragged": _facts(row.dragged),
        }
        for row in found.motors
    ]  # fmt: skip
    return document(
        digest=digest,
        random_seed=found.random_seed,
        verdict=sentence_text(spread.sentence(found)),
        cautions=sentences(frame.cautions(found.as_given).items),
        rows=rows,
        command="spread",
        status=found.status.value,
        complete=found.complete,
        builds_asked=found.asked,
        builds=len(found.outcomes),
        not_built=found.not_built,
        simulated=found.simulated,
        level=found.level,
        probabilities=probabilities,
        percentiles=percentiles,
        rank_noise=found.noise,
        first_to_break=found.first_to_break,
        motors=motors,
        slow_difference=found.slow_difference,
    )


def _facts(p: Any) -> dict[str, Any]:
    return {**facts(p), "share": p.share if p.of else None}


def spread_csv(found: Spread) -> str:
    """Every build as a row: what was drawn, and what became of it; SI with the unit in each
    head."""
    names = {
        "time": "lift_time_s", "current": "mean_current_a", "winding": "winding_over_limit_k",
        "factor": "factor", "teeth": "tooth_factor", "weakest": "weakest", "held": "held",
    }  # fmt: skip
    o = found.outcomes
    endings = [Ending(ending).name.lower() for ending in o.ending]
    columns: dict[str, Any] = {"build": range(1, len(o) + 1), "outcome": endings}
    columns |= {head: getattr(o, name) for name, head in names.items()}
    for row, paths, values in zip(found.plan.rows, found.plan.columns, found.values, strict=True):
        own = paths if row.each and paths else (row.path,)
        columns |= zip((key(path, row.unit) for path in own), values.T, strict=True)
    for place, owner in enumerate(found.plan.owners):
        motor = f"group_{owner}_motor_{place + 1}"
        columns |= {
            f"{motor}_torque_n_m": o.torques[:, place],
            f"{motor}_current_a": o.currents[:, place],
        }
    return csv_text(columns, zip(*columns.values(), strict=True))
