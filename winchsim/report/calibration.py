"""A calibration as a document, as JSON, and as remarks in the calibrated scenario: what tests
determine, how well the model meets them, and what comes next."""

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from winchsim.frozen import replace
from winchsim.inputs import spec_at, with_values
from winchsim.model import build as build_machine
from winchsim.quantity_text import key, keyed, quantity
from winchsim.report import frame, json_text
from winchsim.report.document import (
    Cell,
    Document,
    FigureRef,
    FindingText,
    Items,
    Mark,
    Paragraph,
    Table,
    Text,
    Value,
    joined,
    say,
)
from winchsim.report.measured import (
    LABELS,
    SIDES,
    residual_facts,
    residual_row,
    side_row,
    test_facts,
)
from winchsim.report.render.options import sentence_text
from winchsim.report.words.advice import CAUTIONS, last_line
from winchsim.report.words.findings import NOTICE
from winchsim.report.words.values import TIMES, cause, load, percent, rough, suited
from winchsim.scenario import change
from winchsim.scenario.read import Scenario
from winchsim.studies.calibrate import (
    Calibration,
    Capacity,
    FittedValue,
    Interval,
    Kind,
    Note,
    NoteKind,
    Parameter,
    Prediction,
)

DIGITS = 4
"""Significant digits of a calibrated value in the scenario. [-]"""

SAME = 1e-4
"""Change of a value up to which it stays as it was written. [-]"""

OPEN = 0.2
"""Share of an interval's square from undetermined factors that is worth a sentence. [-]"""

FAR_OFF = ", whatever the assumed values (is it in the unit of its column?),"
"""Said of a measurement that no values within their ranges explain."""

FIGURE = FigureRef(
    "calibration",
    "Measured and predicted",
    "On the line, both are equal.",
    "overlay:measured_and_predicted",
)


def rounded(found: Calibration) -> Calibration:
    """Calibration whose scenario has no more digits than its values deserve.

    Parameters
    ----------
    found : Calibration
    """
    values = {
        path: old
        if isinstance(old, float) and math.isclose(old, new, rel_tol=SAME)
        else change.rounded(spec_at(found.inputs, path), new, DIGITS)
        for path, old, new in found.changes
        if isinstance(new, float)
    }
    return replace(found, inputs=with_values(found.inputs, values))


def remarks(found: Calibration) -> dict[str, str]:
    """Comment behind each changed value of the calibrated scenario, by path."""
    count = count_of_tests(found)
    texts = {
        path: f"calibrated with {count} test{'s' * (count != 1)}" for path, _, _ in found.changes
    }
    texts |= {row.set_path: f"at least: survived test {row.test.number}" for row in found.bounds}
    for row in found.broken:
        at = quantity(row.at.demand, row.at.link.strength.unit)
        texts[row.set_path] = f"lower bound: the part broke at {at} in test {row.test.number}"
    return {path: remark for path, remark in texts.items() if path}


def with_cautions(text: str) -> str:
    """A scenario's text with the cautions as comments at its end, each once."""
    lines = [f"# {caution}" for caution in CAUTIONS.values()]
    missing = [line for line in lines if line not in text.splitlines()]
    return text.rstrip("\n") + "\n\n" + "\n".join(missing) + "\n" if missing else text


def build(
    found: Calibration,
    scenario: Scenario,
    findings: Mapping[str, FindingText],
    command: str,
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
    answer = frame.headline(mark, "", sentence(found), scenario.name)
    body = (
        *findings.values(),
        Items(tuple(map(note, found.notes))),
        predictions(found),
        *warnings(found.predictions),
        fitted(found),
        Paragraph(undetermined(found), label="Not determined by these tests:"),
        Paragraph(basis(found), label="Rests on"),
        FIGURE,
    )
    sections = {
        "In the calibrated scenario": (changes(found),),
        "Measured and predicted": (
            Table(
                ("test", "load", "quantity", "measured", "predicted", "before", "difference", ""),
                tuple(map(residual_row, found.residuals)),
                name="measurements",
            ),
        ),
        "Stalls and holds": (
            Table(
                ("test", "load", "seen", "model", "by the model"), tuple(map(side_row, found.sides))
            ),
        ),
        "Capacities": (
            Table(
                ("part", "test", "load", "broke at", "survived", "estimate", ""),
                tuple(map(_capacity, (*found.broken, *found.bounds))),
                name="parts",
            ),
        ),
    }
    return frame.document(scenario, answer, body, sections, closing(found), command)


def closing(found: Calibration) -> Text:
    """Drop energy of the calibrated build, area below, codes and people in charge."""
    m = build_machine(found.inputs)
    height = m.height(m.top_travel)
    return last_line(height, m.body.mass * m.body.gravity * height)


# --- sentences


def listed(names: Iterable[str]) -> str:
    """Names in a row, with "and" before the last."""
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def count_of_tests(found: Calibration) -> int:
    """Tests of which a measurement counts."""
    return len({row.test.number for row in found.residuals if not row.is_outlier})


def sentence(found: Calibration) -> Text:
    """The result of a calibration in a few sentences."""
    count = count_of_tests(found)
    good = [cause(row.factor.name) for row in found.parameters if row.determined]
    what = listed(good) if good else "none of the assumed values on its own"
    apart = [
        row.measured / row.predicted - 1
        for row in found.residuals
        if row.kind is Kind.TIME and not row.is_outlier and math.isfinite(row.predicted)
    ]
    outliers = [
        ((row.kind, row.far), str(row.test.number)) for row in found.residuals if row.is_outlier
    ]
    left_out = {kind: [test for other, test in outliers if other == kind] for kind, _ in outliers}
    off = percent(math.sqrt(sum(share**2 for share in apart) / max(1, len(apart))))
    return joined(
        [
            say(f"{count} test{'s determine' if count != 1 else ' determines'} {what}."),
            say("The lift times agree within {}.", off) if apart else (),
            *(
                say(
                    f"The {LABELS[kind]} of test{'s' * (len(tests) > 1)} {listed(tests)} does not "
                    f"fit{FAR_OFF * far} and is left out."
                )
                for (kind, far), tests in left_out.items()
            ),
            *(
                say(f"Test {r.test.number} {SIDES[r.kind]}, but the calibrated model disagrees.")
                for r in found.sides
                if not r.agrees
            ),
        ]
    )


_NOTES = {
    NoteKind.PAWL_HOLDS: (
        "With a pawl, a load that held or ran back says nothing about friction. It is not used."
    ),
    NoteKind.NOT_A_LIFT_TIME: "{test} {how}. Its time is no lift time and is not used.",
    NoteKind.UNKNOWN_PART: "{test}: {what}. Write one of: {names}.",
    NoteKind.WHICH_PART: '{test}: which part is "{part}"? By likelihood: {likely}.',
}

_HOW = {"stalled": "stalled", "stopped": "was stopped"}


def note(found: Note) -> Text:
    """What could not be used, or has to be asked."""
    test = found.test
    if test is None:
        return say(_NOTES[NoteKind.PAWL_HOLDS])
    unknown = f'"{test.broke_link}" is no part of this scenario'
    return say(
        _NOTES[found.kind],
        test=say(f"Test {test.number} ({{}})", load(test)),
        how=_HOW.get(test.outcome or "", "broke a part"),
        what=unknown if test.broke_link else "the broken part is missing",
        names=", ".join(part for part, _ in found.choices),
        part=test.broke_link or "",
        likely=joined([say("{} ({})", part, percent(p)) for part, p in found.choices], ", "),
    )


# --- fitted values


def fitted(found: Calibration) -> Table:
    """Values of the factors that the tests determine."""
    return Table(
        ("determined", "was", "is", f"{100 * found.level:.3g} % interval", "width over prior"),
        tuple(
            _fitted(found, v, "" if place else percent(row.width))
            for row in found.parameters
            if row.determined
            for place, v in enumerate(row.values)
        ),
        name="values",
    )


def _fitted(found: Calibration, v: FittedValue, width: Cell) -> tuple[Cell, ...]:
    name, sign = (v.path, "") if "." in v.path else (cause(v.path), TIMES)
    unit = suited(unit_at(found, v.path), v.after)
    before, after = Value(v.before, unit, sign=sign), Value(v.after, unit, v.low, v.high, sign=sign)
    return name, before, *after.pair, width


def unit_at(found: Calibration, path: str) -> str:
    """Unit of a fitted value; none of a multiple of motors' data."""
    return spec_at(found.inputs, path).unit if "." in path else ""


def undetermined(found: Calibration) -> Text:
    """Factors that keep what was assumed of them, and those that tests do not tell apart."""
    names = [cause(row.factor.name) for row in found.parameters if not row.determined]
    together = [listed(map(cause, names)) for names in found.together]
    return joined(
        [
            say(f"{', '.join(names)}.") if names else (),
            *(say(f"Determined only in combination: {each}.") for each in together),
        ]
    )


def basis(found: Calibration) -> Text:
    """What the intervals rest on."""
    count, scatter = sum(not row.is_outlier for row in found.residuals), Value(rough(found.scatter))
    free = say(" with {} degrees of freedom", Value(rough(found.dof))) if found.dof >= 1 else ()
    return say(
        f"{count} measurement{'s' * (count != 1)}; scatter {{}} times the expected{{}}.",
        scatter,
        free,
    )


def changes(found: Calibration) -> Table:
    """Values that the calibrated scenario has and the scenario had not."""
    assumed = {v.path: v.before for row in found.parameters for v in row.values}
    rows = []
    for path, old, new in found.changes:
        unit, before = unit_at(found, path), assumed.get(path) if old is None else old
        was = "not given" if before is None else _shown(before, unit)
        was += ", assumed" if old is None and path in assumed else ""
        rows.append((path, _shown(new, unit), was))
    return Table(("value", "calibrated", "before"), tuple(rows), name="values")


def _shown(item: object, unit: str) -> str:
    return quantity(item, unit, 4) if isinstance(item, float) else str(item)


# --- tests


def predictions(found: Calibration) -> Table:
    """Tests to come, with intervals."""
    span = f"{100 * found.level:.3g} % interval"
    return Table(
        ("next test", "time", span, "steady current", span, "stall chance", "power off"),
        tuple(
            (
                load(row.test),
                *_interval(row.time, "s"),
                *_interval(row.current, "A"),
                chance(row.stall_chance),
                "holds" if row.holds else "runs back",
            )
            for row in found.predictions
        ),
        name="tests",
    )


def _interval(found: Interval, unit: str) -> tuple[Value | str, Value | str]:
    return (
        ("stalls", "")
        if math.isinf(found.value)
        else Value(found.value, unit, found.low, found.high, endless="never").pair
    )


def chance(share: float) -> Cell:
    """A probability, which is never none and never certain."""
    return "< 0.1 %" if share < 1e-3 else "> 99.9 %" if share > 1 - 1e-3 else percent(share)


def warnings(rows: Sequence[Prediction]) -> list[FindingText]:
    """What has to be done before the tests to come."""
    falling = joined([(load(row.test),) for row in rows if not row.holds], ", ")
    back = say("With the power off {} may run back.", falling)
    broke = "Lift {{}} only after the part that broke in test {} is replaced."
    text = "Much of the next interval comes from what the tests do not determine."
    is_open = any(row.time.open_share > OPEN for row in rows)
    return [
        *([FindingText(NOTICE, back, say("Fit a pawl or a brake first."))] if falling else []),
        *(
            FindingText(NOTICE, say(broke.format(row.blocked_by[0]), load(row.test)))
            for row in rows
            if row.blocked_by
        ),
        *([FindingText(NOTICE, say(text))] if is_open else []),
    ]


# --- parts


def _capacity(row: Capacity) -> tuple[Cell, ...]:
    """What a broken or surviving part shows of its capacity."""
    s = row.at.link.strength
    return (
        row.at.link.label,
        str(row.test.number),
        load(row.test),
        Value(row.at.demand, s.unit) if row.broke else "",
        "" if row.survived_mass is None else Value(row.lower, s.unit),
        Value(s.value, s.unit, s.low, s.high),
        _about(row) if row.broke else "",
    )


def _about(row: Capacity) -> Text:
    """What else a break shows: its share of the estimate, wear, and the part that is next."""
    texts = [
        say("at most {} of the estimate", percent(1 / row.at.factor)),
        say("wear, heat or fatigue may have weakened it") if row.weakened else (),
        say(f"next to break: {row.next.link.label}, factor {{}}", Value(row.next.factor))
        if row.next
        else (),
    ]
    return joined(texts, "; ")


# --- JSON

_SHARES = {
    Kind.LIFTED: "torque_share",
    Kind.STALLED: "torque_share",
    Kind.HELD: "spare_friction_share",
    Kind.RAN_BACK: "spare_friction_share",
}
"""Key of what is predicted of a stall or a hold."""


def calibration_json(
    found: Calibration, findings: Mapping[str, FindingText], *, digest: str, files: tuple[str, ...]
) -> str:
    """JSON text of a calibration; `digest` is the SHA-256 of the scenario."""
    return json_text.document(
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
