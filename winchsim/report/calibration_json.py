"""A calibration as JSON."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from winchsim.quantity_text import key, keyed
from winchsim.report.calibration import closing, note, sentence, unit_at
from winchsim.report.document import FindingText
from winchsim.report.json_text import document
from winchsim.report.measured import residual_facts, test_facts
from winchsim.report.render.options import sentence_text
from winchsim.report.words.advice import CAUTIONS
from winchsim.report.words.checks import cause
from winchsim.studies.calibrate import (
    Calibration,
    Capacity,
    Interval,
    Kind,
    Note,
    Parameter,
    Prediction,
)

_SHARES = {
    Kind.LIFTED: "torque_share",
    Kind.STALLED: "torque_share",
    Kind.HELD: "spare_friction_share",
    Kind.RAN_BACK: "spare_friction_share",
}
"""Key of what is predicted of a stall or a hold."""


def calibration_json(
    found: Calibration,
    findings: Mapping[str, FindingText] = MappingProxyType({}),
    *,
    digest: str | None = None,
    files: tuple[str, ...] = (),
) -> str:
    """JSON text of a calibration; `digest` is the SHA-256 of the scenario."""
    return document(
        digest=digest,
        verdict=sentence_text(sentence(found)),
        findings=[
            {"kind": kind, "severity": f.mark.word, "sentence": sentence_text(f.text)}
            for kind, f in findings.items()
        ],
        cautions=[*CAUTIONS.values(), sentence_text(closing(found))],
        rows=[residual_facts(row) for row in found.residuals],
        level=found.level,
        degrees_of_freedom=found.dof,
        scatter=found.scatter,
        parameters=[_parameter_facts(found, row) for row in found.parameters],
        correlation={
            "of": [row.factor.name for row in found.parameters],
            "matrix": found.correlation,
        },
        determined_together=found.together,
        notes=[_note_facts(row) for row in found.notes],
        changes=[
            {"path": path, key("before", unit): old, key("after", unit): new}
            for path, old, new in found.changes
            for unit in [unit_at(found, path)]
        ],
        sides=[
            {
                **test_facts(row.test),
                "side": row.kind.value,
                "agrees": row.agrees,
                _SHARES[row.kind]: row.predicted,
            }
            for row in found.sides
        ],
        predictions=[_prediction_facts(row) for row in found.predictions],
        broken=[_part_facts(row) for row in found.broken],
        bounds=[_part_facts(row) for row in found.bounds],
        files=files,
    )


def _prediction_facts(row: Prediction) -> dict[str, Any]:
    return {
        **test_facts(row.test),
        **_interval_facts("lift_time", "s", row.time),
        **_interval_facts("current", "A", row.current),
        "margin": row.margin,
        "stall_chance": row.stall_chance,
        "holds": row.holds,
        "blocked_by_tests": row.blocked_by,
    }


def _parameter_facts(found: Calibration, row: Parameter) -> dict[str, Any]:
    names = ("before", "after", "low", "high")
    return {
        "name": row.factor.name,
        "label": cause(row.factor.name),
        "determined": row.determined,
        "width_over_prior": row.width,
        "determined_share": row.alone,
        "place": row.place,
        "values": [
            {"path": v.path, **keyed(dict.fromkeys(names, unit_at(found, v.path)), v)}
            for v in row.values
        ],
    }


def _note_facts(row: Note) -> dict[str, Any]:
    return {
        "kind": row.kind.value,
        "test": row.test.number if row.test else None,
        "choices": [{"part": part, "probability": share} for part, share in row.choices],
        "sentence": sentence_text(note(row)),
    }


def _interval_facts(name: str, unit: str, interval: Interval) -> dict[str, Any]:
    return {
        key(name, unit): interval.value,
        key(f"{name}_low", unit): interval.low,
        key(f"{name}_high", unit): interval.high,
        f"{name}_open_share": interval.open_share,
    }


def _part_facts(row: Capacity) -> dict[str, Any]:
    unit = row.at.link.strength.unit
    facts = {
        **test_facts(row.test),
        "link": row.at.link.label,
        key("estimated_strength", unit): row.at.link.strength.value,
        "set_path": row.set_path or None,
    }
    if not row.broke:
        return {**facts, key("survived", unit): row.at.demand}
    return {
        **facts,
        key("upper_bound", unit): row.at.demand,
        key("lower_bound", unit): row.lower,
        key("survived", unit): row.survived,
        "weakened": row.weakened,
        "share_of_estimate": 1 / row.at.factor,
        "next_link": row.next.link.label if row.next else None,
        "next_factor": row.next.factor if row.next else None,
    }
