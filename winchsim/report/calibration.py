"""A calibration as a document, as JSON, and as remarks in the calibrated scenario."""

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from winchsim.assessment.kinds import Caution
from winchsim.frozen import replace
from winchsim.inputs import Inputs, spec_at, with_value
from winchsim.model import build as build_machine
from winchsim.quantity_text import quantity
from winchsim.report import frame
from winchsim.report.document import Document, FigureRef, Finding, Items, Mark, Paragraph, Text
from winchsim.report.json_text import document
from winchsim.report.render.options import sentence_text
from winchsim.report.si_keys import key
from winchsim.report.words import calibration as words
from winchsim.report.words.advice import CAUTIONS, last_line
from winchsim.scenario import rewrite
from winchsim.scenario.read import Scenario
from winchsim.studies.calibrate import (
    Calibration,
    Capacity,
    Interval,
    Kind,
    LiftTest,
    Note,
    Parameter,
    Prediction,
    Reading,
)  # fmt: skip
from winchsim.studies.calibrate.evidence import UNITS

DIGITS = 4
"""Significant digits of a calibrated value in the scenario. [-]"""

SAME = 1e-4
"""Change of a value up to which it stays as it was written. [-]"""

FIGURE = FigureRef("calibration", "Measured and predicted", "On the line, both are equal.")


def rounded(found: Calibration) -> Calibration:
    """Calibration whose scenario has no more digits than its values deserve.

    Parameters
    ----------
    found : Calibration
    """
    inputs = found.inputs
    for path, old, new in found.changes:
        if isinstance(new, float):
            same = isinstance(old, float) and math.isclose(old, new, rel_tol=SAME)
            inputs = with_value(
                inputs, path, old if same else rewrite.rounded(spec_at(inputs, path), new, DIGITS)
            )
    return replace(found, inputs=inputs)


def remarks(found: Calibration) -> dict[str, str]:
    """Comment behind each changed value of the calibrated scenario, by path."""
    count = words.count_of_tests(found)
    texts = {
        path: f"calibrated with {count} test{'s' * (count != 1)}" for path, _, _ in found.changes
    }
    for bound in found.bounds:
        texts[bound.set_path] = f"at least: survived test {bound.test.number}"
    for row in found.broken:
        at = quantity(row.at.demand, row.at.link.strength.unit)
        texts[row.set_path] = f"lower bound: the part broke at {at} in test {row.test.number}"
    return {path: remark for path, remark in texts.items() if path}


def with_cautions(text: str) -> str:
    """A scenario's text with the cautions as comments at its end, each once."""
    lines = [f"# {CAUTIONS[kind]}" for kind in Caution if kind in CAUTIONS]
    missing = [line for line in lines if line not in text.splitlines()]
    return text.rstrip("\n") + "\n\n" + "\n".join(missing) + "\n" if missing else text


def build(
    found: Calibration,
    scenario: Scenario,
    *,
    findings: Mapping[str, Finding] = MappingProxyType({}),
    command: str = "",
) -> Document:
    """Document of a calibration.

    Parameters
    ----------
    found : Calibration
    scenario : Scenario
        That it started from.
    findings : Mapping of str to Finding
        Cautions about the sheet.
    command : str
        That shows all details.
    """
    agree = all(row.agrees for row in (*found.residuals, *found.sides))
    clean = agree and not found.notes and "other_version" not in findings
    mark = Mark("calibrated", "good" if clean else "warn")
    answer = frame.headline(mark, "", words.sentence(found), scenario.name)
    body = (
        *findings.values(),
        Items(tuple(map(words.note, found.notes))),
        words.predictions(found),
        *words.warnings(found.predictions),
        words.fitted(found),
        Paragraph(words.undetermined(found), label="Not determined by these tests:"),
        Paragraph(words.basis(found), label="Rests on"),
        FIGURE,
    )
    sections = {
        "In the calibrated scenario": (words.changes(found),),
        "Measured and predicted": (words.residuals(found),),
        "Stalls and holds": (words.sides(found),),
        "Capacities": (words.capacities(found),),
    }
    return frame.document(scenario, answer, body, sections, _closing(found), command)


def _closing(found: Calibration) -> Text:
    """Drop energy of the calibrated build, area below, codes and people in charge."""
    m = build_machine(found.inputs)
    height = m.height(m.top_travel)
    return last_line(height, m.body.mass * m.body.gravity * height)


# --- JSON

_SHARES = {
    Kind.LIFTED: "torque_share", Kind.STALLED: "torque_share",
    Kind.HELD: "spare_friction_share", Kind.RAN_BACK: "spare_friction_share",
}  # fmt: skip
"""Key of what is predicted of a stall or a hold."""


def calibration_json(
    found: Calibration,
    findings: Mapping[str, Finding] = MappingProxyType({}),
    *,
    digest: str | None = None,
    files: tuple[str, ...] = (),
) -> str:
    """JSON text of a calibration; `digest` is the SHA-256 of the scenario."""
    return document(
        digest=digest,
        verdict=sentence_text(words.sentence(found)),
        findings=[
            {"kind": kind, "severity": f.mark.word, "sentence": sentence_text(f.text)}
            for kind, f in findings.items()
        ],
        cautions=[*CAUTIONS.values(), sentence_text(_closing(found))],
        rows=[_residual_facts(row) for row in found.residuals],
        level=found.level,
        degrees_of_freedom=found.dof,
        scatter=found.scatter,
        parameters=[_parameter_facts(found.inputs, row) for row in found.parameters],
        correlation={
            "of": [row.factor.name for row in found.parameters],
            "matrix": found.correlation,
        },
        determined_together=found.together,
        notes=[_note_facts(note) for note in found.notes],
        changes=[
            {"path": path, key("before", spec.unit): old, key("after", spec.unit): new}
            for path, old, new in found.changes
            for spec in [spec_at(found.inputs, path)]
        ],
        sides=[_side_facts(row) for row in found.sides],
        predictions=[_prediction_facts(row) for row in found.predictions],
        broken=[_broken_facts(row) for row in found.broken],
        bounds=[
            {**_part_facts(row), key("survived", row.at.link.strength.unit): row.at.demand}
            for row in found.bounds
        ],
        files=files,
    )


def _test_facts(test: LiftTest) -> dict[str, Any]:
    return {"test": test.number, "rung": test.rung, "mass_kg": test.mass}


def _side_facts(row: Reading) -> dict[str, Any]:
    shown = {"side": row.kind.value, "agrees": row.agrees, _SHARES[row.kind]: row.predicted}
    return {**_test_facts(row.test), **shown}


def _prediction_facts(row: Prediction) -> dict[str, Any]:
    return {
        **_test_facts(row.test),
        **_interval_facts("lift_time", "s", row.time),
        **_interval_facts("current", "A", row.current),
        "margin": row.margin,
        "stall_chance": row.stall_chance,
        "holds": row.holds,
        "blocked_by_tests": row.blocked_by,
    }


def _residual_facts(row: Reading) -> dict[str, Any]:
    unit = UNITS[row.kind]
    name = "lift_time" if row.kind is Kind.TIME else row.kind.value
    return {
        **_test_facts(row.test),
        "kind": row.kind.value,
        key(f"measured_{name}", unit): row.measured,
        key(f"predicted_{name}", unit): row.predicted,
        key(f"before_{name}", unit): row.before,
        "standardised_residual": row.size,
        "outlier": row.is_outlier,
    }


def _parameter_facts(inputs: Inputs, row: Parameter) -> dict[str, Any]:
    values = []
    for own in row.values:
        unit = spec_at(inputs, own.path).unit if "." in own.path else ""
        numbers = {
            "before": own.before,
            "after": own.after,
            "low": own.low,
            "high": own.high,
        }
        values.append({"path": own.path, **{key(name, unit): x for name, x in numbers.items()}})
    return {
        "name": row.factor.name,
        "label": words.label(row.factor.name),
        "determined": row.determined,
        "width_over_prior": row.width,
        "determined_share": row.alone,
        "place": row.place,
        "values": values,
    }


def _note_facts(note: Note) -> dict[str, Any]:
    choices = [{"part": part, "probability": share} for part, share in note.choices]
    return {
        "kind": note.kind.value,
        "test": note.test.number if note.test else None,
        "choices": choices,
        "sentence": sentence_text(words.note(note)),
    }


def _interval_facts(name: str, unit: str, interval: Interval) -> dict[str, Any]:
    return {
        key(name, unit): interval.value,
        key(f"{name}_low", unit): interval.low,
        key(f"{name}_high", unit): interval.high,
        f"{name}_open_share": interval.open_share,
    }


def _part_facts(row: Capacity) -> dict[str, Any]:
    """What every part that broke or survived has."""
    unit = row.at.link.strength.unit
    return {
        **_test_facts(row.test),
        "link": row.at.link.label,
        key("estimated_strength", unit): row.at.link.strength.value,
        "set_path": row.set_path or None,
    }


def _broken_facts(row: Capacity) -> dict[str, Any]:
    unit = row.at.link.strength.unit
    return {
        **_part_facts(row),
        key("upper_bound", unit): row.at.demand,
        key("lower_bound", unit): row.lower,
        key("survived", unit): row.survived,
        "weakened": row.weakened,
        "share_of_estimate": 1 / row.at.factor,
        "next_link": row.next.link.label if row.next else None,
        "next_factor": row.next.factor if row.next else None,
    }
