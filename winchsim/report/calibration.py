"""The report of a calibration: what the tests show, how well the model meets them, and what comes next."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from winchsim.inputs import Inputs, Spec, spec_at, with_value
from winchsim.quantity_text import number, quantity
from winchsim.report.json_out import finding_facts
from winchsim.report.json_text import document
from winchsim.report.lines import Lines
from winchsim.report.paint import Paint
from winchsim.report.si_keys import key
from winchsim.scenario import rewrite
from winchsim.studies.calibrate import (
    Bound,
    Broken,
    Calibration,
    Interval,
    Kind,
    LiftTest,
    Note,
    NoteKind,
    Parameter,
    Residual,
    Side,
)
from winchsim.studies.calibrate.calibration import changes
from winchsim.studies.calibrate.evidence import UNITS
from winchsim.verdict.finding import Finding
from winchsim.verdict.words import capital, counted, fixed_percent, given, listed, percent

_PLAIN = Paint()

LABELS = {
    Kind.TIME: "lift time",
    Kind.CURRENT: "current",
    Kind.VOLTAGE: "voltage at the motors",
    Kind.STALL_CURRENT: "current while stalled",
}

_SIDES = {Side.LIFTED: "was lifted", Side.STALLED: "stalled", Side.HELD: "held", Side.RAN_BACK: "ran back"}

_SHARES = {
    Side.LIFTED: "torque_share",
    Side.STALLED: "torque_share",
    Side.HELD: "spare_friction_share",
    Side.RAN_BACK: "spare_friction_share",
}
"""Key of `SideCheck.share` in JSON."""

FACTORS = {
    "mesh_friction": "friction of the gear meshes",
    "efficiency": "loss of the given efficiencies",
    "form_loss": "loss of form of the gears",
    "bearings": "loss of the bearings",
    "shaft_drag": "constant drag of the shafts",
    "drag": "constant drag of the drum",
    "motor_constant": "torque constant of the motors",
    "motor_resistance": "resistance of the motors",
    "motor_no_load_current": "no-load current of the motors",
    "supply": "resistance of supply and leads",
    "breakaway": "friction at rest",
    "reverse_efficiency": "back-driving of the gears",
}
"""Labels of factors; of others their name with spaces."""


def factor_label(name: str) -> str:
    """A factor in words."""
    return FACTORS.get(name, name.replace("_", " "))


def load_of(test: LiftTest) -> str:
    """The load of a test: "8 kg", or "no load"."""
    return "no load" if test.bare else given(test.mass, "kg")


DIGITS = 4
"""Significant digits of a calibrated value in the scenario. [-]"""


ENTANGLED = 0.9
"""Correlation from which two factors count as not separated. [-]"""

SAME = 1e-4
"""Change of a value up to which it stays as it was written. [-]"""


def rounded(found: Calibration, before: Inputs) -> Calibration:
    """Calibration whose scenario has no more digits than its values deserve.

    Parameters
    ----------
    found : Calibration
    before : Inputs
        The scenario as it was.
    """
    inputs = found.inputs
    for path, old, value in found.changes:
        if isinstance(value, float):
            same = isinstance(old, float) and math.isclose(old, value, rel_tol=SAME)
            inputs = with_value(inputs, path, old if same else rewrite.rounded(spec_at(inputs, path), value, DIGITS))
    return replace(found, inputs=inputs, changes=changes(before, inputs))


def remarks(found: Calibration) -> dict[str, str]:
    """Comment behind each changed value of the calibrated scenario, by path."""
    tests = counted(len({row.test.number for row in found.residuals if not row.is_outlier}), "test")
    said = {path: f"calibrated with {tests}" for path, _, _ in found.changes}
    for bound in found.bounds:
        said[bound.set_path] = f"at least: survived test {bound.test.number}"
    for row in found.broken:
        at = quantity(row.upper, row.broke.link.strength.unit)
        said[row.set_path] = f"lower bound: the part broke at {at} in test {row.test.number}"
    return {path: remark for path, remark in said.items() if path}


def headline(found: Calibration) -> str:
    """The result of a calibration in a few sentences."""
    kept = [row for row in found.residuals if not row.is_outlier]
    tests = counted(len({row.test.number for row in kept}), "test")
    good = [factor_label(row.factor.name) for row in found.parameters if row.determined]
    text = f"{tests} determine {'the ' + listed(good) if good else 'none of the assumed values on its own'}"
    times = [row for row in kept if row.kind is Kind.TIME and math.isfinite(row.predicted)]
    if times:
        off = math.sqrt(sum((row.measured / row.predicted - 1) ** 2 for row in times) / len(times))
        text += f"; the lift times agree within {percent(off)}"
    if found.outliers:
        names = [f"the {LABELS[row.kind]} of test {row.test.number}" for row in found.outliers]
        text += f". {capital(listed(names))} {'does' if len(names) == 1 else 'do'} not fit the others: left out"
    for row in found.against:
        text += f". But test {row.test.number} {_SIDES[row.side]}, and the calibrated model disagrees"
    return text + "."


def note_sentence(note: Note) -> str:
    """A note in words."""
    test = note.test
    name = f"Test {test.number} ({load_of(test)})" if test else ""
    if test is None or note.kind is NoteKind.PAWL_HOLDS:
        return "The scenario has a pawl: that a load held or ran back is no evidence of friction, and is not used."
    if note.kind is NoteKind.NOT_A_LIFT_TIME:
        how = {"stalled": "stalled", "stopped": "was stopped"}.get(test.outcome or "", "broke something")
        return f"{name} {how}: its time is no lift time and is not used."
    if note.kind is NoteKind.UNKNOWN_PART:
        what = f'"{test.broke_link}" is no part of this scenario' if test.broke_link else "what broke is missing"
        return f"{name}: {what}. Write one of: {', '.join(part for part, _ in note.choices)}."
    parts = [f"{part} ({percent(share)})" for part, share in note.choices]
    return f'{name}: which part is meant by "{test.broke_link}"? By likelihood: {", ".join(parts)}.'


def calibration_text(
    found: Calibration,
    before: Inputs,
    cautions: tuple[str, ...],
    findings: tuple[Finding, ...] = (),
    *,
    name: str = "",
    us: bool = False,
    paint: Paint = _PLAIN,
) -> str:
    """Report of a calibration as text.

    Parameters
    ----------
    found : Calibration
    before : Inputs
        Scenario that it started from.
    cautions : tuple of str
        What closes every report.
    findings : tuple of Finding
        What has to be said of the sheet.
    name : str
        File of the scenario, as the user typed it.
    us : bool
        Whether to print US units beside the SI ones.
    paint : Paint
        Colours, off by default.
    """
    page = Lines(us, paint)
    page.sentence(headline(found), paint.good if not found.outliers else paint.warn)
    page.sentence(": ".join(part for part in (name, before.title) if part), paint.faint)
    if not found.complete:
        page.sentence(
            "Partial: the runs in full were cut short, and those that were not made are not taken into account.", paint.warn
        )
    _parameters(page, found)
    _changes(page, found)
    _entangled(page, found)
    if found.notes:
        page.heading("Not used, or to be asked")
        for note in found.notes:
            page.item("-", note_sentence(note))
    _residuals(page, found)
    _sides(page, found)
    _next(page, found)
    for broken in found.broken:
        page.heading(f"What broke: {broken.broke.name}")
        for sentence in broken_sentences(broken):
            page.item("-", sentence)
    if found.bounds:
        page.heading("Stronger than estimated")
        for bound in found.bounds:
            page.item("-", bound_sentence(bound))
    page.findings(findings)
    page.cautions(cautions)
    return page.text()


def _parameters(page: Lines, found: Calibration) -> None:
    page.heading(f"Fitted values, with {percent(found.level)} intervals")
    rows: list[tuple[str, ...]] = [("", "was", "is", "from", "to", "prior left")]
    for row in found.parameters:
        if row.determined:
            rows += _parameter(row)
    page.table(rows, "lrrrrr")
    open_ = [factor_label(row.factor.name) for row in found.parameters if not row.determined]
    if open_:
        page.sentence(f"Not determined by these tests: {listed(open_)}.", indent="  ")
    basis = f"{number(found.dof, 2)} degrees of freedom" if found.dof >= 1 else "the scatter expected of such measurements"
    page.sentence(f"Intervals from {basis}; scatter {number(found.scatter, 2)} times the expected.", indent="  ")


def _parameter(row: Parameter) -> list[tuple[str, ...]]:
    """One line for each value of a factor, its label on the first."""
    lines = []
    for place, value in enumerate(row.values):
        numbers = [_amount(value.path, x) for x in (value.before, value.after, value.low, value.high)]
        left = percent(row.width) if place == 0 else ""
        lines.append((value.path if "." in value.path else factor_label(value.path), *numbers, left))
    return lines


def _amount(path: str, value: float) -> str:
    return f"× {number(value)}" if "." not in path else number(value)


def _changes(page: Lines, found: Calibration) -> None:
    assumed = {value.path: value.before for row in found.parameters for value in row.values}
    page.heading("In the calibrated scenario")
    rows = []
    for path, old, new in found.changes:
        spec = spec_at(found.inputs, path)
        was = f"was {_shown(old, spec)}" if old is not None else "was not given"
        if old is None and path in assumed:
            was = f"was assumed as {_shown(assumed[path], spec)}"
        rows.append((path, _shown(new, spec), was))
    page.table(rows or [("nothing changes", "", "")])


def _shown(value: Any, spec: Spec) -> str:
    return quantity(value, spec.unit, 4) if isinstance(value, float) else str(value)


def _entangled(page: Lines, found: Calibration) -> None:
    """Factors of which one makes up for the other."""
    for i, j in itertools.combinations(range(len(found.parameters)), 2):
        if abs(found.correlation[i, j]) > ENTANGLED:
            one, other = (factor_label(found.parameters[k].factor.name) for k in (i, j))
            page.sentence(f"These tests hardly separate the {one} from the {other}.", indent="  ")


def _residuals(page: Lines, found: Calibration) -> None:
    page.heading("Measured and predicted")
    rows = [("test", "load", "", "measured", "predicted", "before", "off by", "")]
    for row in found.residuals:
        unit = UNITS[row.kind]
        off = row.measured / row.predicted - 1 if row.predicted and math.isfinite(row.predicted) else math.nan
        rows.append(
            (
                str(row.test.number), page.said(load_of(row.test)), LABELS[row.kind], quantity(row.measured, unit),
                _time_or_stall(row.predicted, unit), _time_or_stall(row.before, unit),
                "" if math.isnan(off) else fixed_percent(off, 1, signed=True),
                f"left out, {number(abs(row.size), 2)} times its scatter" if row.is_outlier else "",
            )
        )  # fmt: skip
    page.table(rows, "rrlrrrr")
    if found.quasi_static_off is not None:
        page.sentence(
            f"The quasi-static model behind the fit was {percent(found.quasi_static_off)} off the full simulation at most; "
            "that is taken into account.", indent="  ",
        )  # fmt: skip


def _time_or_stall(value: float, unit: str) -> str:
    return "stalls" if math.isinf(value) else quantity(value, unit)


def _sides(page: Lines, found: Calibration) -> None:
    if not found.sides:
        return
    page.heading("Stalls and holds: each is a bound from one side")
    rows = []
    for row in found.sides:
        said = "agrees" if row.agrees else "the model says otherwise"
        if row.side in (Side.LIFTED, Side.STALLED):
            has = f"{number(row.share, 2)} times the torque for lifting"
        else:
            has = f"{percent(abs(row.share))} of the lifting torque {'to spare' if row.share >= 0 else 'too little'}"
        rows.append((str(row.test.number), page.said(load_of(row.test)), _SIDES[row.side], said, has))
    page.table(rows, "rr")


def _next(page: Lines, found: Calibration) -> None:
    if not found.predictions:
        return
    page.heading(f"Tests to come, each with the interval that holds {percent(found.level)} of such measurements")
    rows = [("load", "time", "from", "to", "current", "from", "to", "may stall", "holds", "")]
    for row in found.predictions:
        t, i = row.time, row.current
        rows.append(
            (
                page.said(load_of(row.test)), _time_or_stall(t.value, "s"), _end(t, t.low), _end(t, t.high),
                quantity(i.value, "A"), quantity(i.low, "A"), quantity(i.high, "A"), chance(row.stall_chance),
                "yes" if row.holds else "no",
                f"not before the part of test {row.blocked_by[0]} is mended" if row.blocked_by else "",
            )
        )  # fmt: skip
    page.table(rows, "rrrrrrrrl")
    worst = max((row.time.open_share for row in found.predictions), default=0.0)
    if worst > 0.2:
        page.sentence("Much of these intervals comes from what the tests do not determine.", indent="  ")
    falling = [given(row.test.mass, "kg") for row in found.predictions if not row.holds]
    if falling:
        page.sentence(
            f"With the power off {listed(falling)} {'runs' if len(falling) == 1 else 'run'} back: fit a pawl or a brake first.",
            page.paint.warn, indent="  ",
        )  # fmt: skip


def _end(time: Interval, value: float) -> str:
    if math.isinf(time.value):
        return ""
    return "unbounded" if math.isinf(value) else quantity(value, "s")


def chance(value: float) -> str:
    """A probability in words: "under 0.1 %", "12 %"."""
    if value < 0.001:
        return "under 0.1 %"
    return "over 99.9 %" if value > 0.999 else percent(value)


def broken_sentences(broken: Broken) -> tuple[str, ...]:
    """What a breakage shows, in sentences."""
    link, unit = broken.broke.link, broken.broke.link.strength.unit
    upper, lower = quantity(broken.upper, unit), quantity(broken.lower, unit)
    found = [f"It broke in test {broken.test.number} ({given(broken.test.mass, 'kg')}) at {upper}."]
    if broken.survived_mass is not None:
        found.append(f"It survived {lower} with {given(broken.survived_mass, 'kg')}: its capacity is {lower} to {upper}.")
    else:
        found.append(f"No test bounds its capacity from below; {lower} is taken from the estimate.")
    if broken.weakened:
        found.append("It survived as much before: wear, heat or fatigue may have weakened it.")
    strength = link.strength
    estimate = quantity(strength.value, unit)
    if strength.low < strength.high:
        estimate += f" ({quantity(strength.low, unit)} to {quantity(strength.high, unit)})"
    found.append(f"The estimate was {estimate}: it broke at {percent(broken.share_of_estimate)} of that at most.")
    if broken.next is not None:
        found.append(f"The next part to break here: {broken.next.name}, factor {number(broken.next.factor, 2)}.")
    if broken.set_path:
        found.append(f"The calibrated scenario has the lower bound: {broken.set_path}.")
    return tuple(found)


def bound_sentence(bound: Bound) -> str:
    """A raised lower bound in words."""
    strength = bound.at.link.strength
    values = (quantity(value, strength.unit) for value in (bound.at.demand, strength.low, strength.value))
    demand, low, value = values
    return f"The {bound.at.name} survived {demand} in test {bound.test.number}; the estimate was {value}, low end {low}."


# --- JSON -------------------------------------------------------------------------------------------------------------


def calibration_json(
    found: Calibration,
    before: Inputs,
    cautions: tuple[str, ...],
    findings: tuple[Finding, ...] = (),
    *,
    digest: str | None = None,
    files: tuple[str, ...] = (),
) -> str:
    """JSON text of a calibration, with the arguments of `calibration_text`."""
    return document(
        digest=digest,
        verdict=headline(found),
        findings=[finding_facts(finding) for finding in findings],
        cautions=cautions,
        rows=[_residual_facts(row) for row in found.residuals],
        complete=found.complete,
        level=found.level,
        degrees_of_freedom=found.dof,
        scatter=found.scatter,
        parameters=[_parameter_facts(found.inputs, row) for row in found.parameters],
        correlation={"of": [row.factor.name for row in found.parameters], "matrix": found.correlation},
        notes=[_note_facts(note) for note in found.notes],
        changes=[
            {"path": path, key("before", spec.unit): old, key("after", spec.unit): new}
            for path, old, new in found.changes
            for spec in [spec_at(found.inputs, path)]
        ],
        sides=[
            {**_test_facts(row.test), "side": row.side.value, "agrees": row.agrees, _SHARES[row.side]: row.share}
            for row in found.sides
        ],
        quasi_static_off=found.quasi_static_off,
        predictions=[
            {
                **_test_facts(row.test),
                **_interval_facts("lift_time", "s", row.time),
                **_interval_facts("current", "A", row.current),
                "margin": row.margin,
                "stall_chance": row.stall_chance,
                "holds": row.holds,
                "blocked_by_tests": row.blocked_by,
            }
            for row in found.predictions
        ],
        broken=[_broken_facts(row) for row in found.broken],
        bounds=[_bound_facts(row) for row in found.bounds],
        files=files,
    )


def _test_facts(test: LiftTest) -> dict[str, Any]:
    return {"test": test.number, "rung": test.rung, "mass_kg": test.mass}


def _residual_facts(row: Residual) -> dict[str, Any]:
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
    for value in row.values:
        unit = spec_at(inputs, value.path).unit if "." in value.path else ""
        numbers = {"before": value.before, "after": value.after, "low": value.low, "high": value.high}
        values.append({"path": value.path, **{key(name, unit): x for name, x in numbers.items()}})
    return {
        "name": row.factor.name, "label": factor_label(row.factor.name), "determined": row.determined,
        "width_over_prior": row.width, "place": row.place, "values": values,
    }  # fmt: skip


def _note_facts(note: Note) -> dict[str, Any]:
    choices = [{"part": part, "probability": share} for part, share in note.choices]
    return {
        "kind": note.kind.value, "test": note.test.number if note.test else None, "choices": choices,
        "sentence": note_sentence(note),
    }  # fmt: skip


def _bound_facts(row: Bound) -> dict[str, Any]:
    unit = row.at.link.strength.unit
    return {
        **_test_facts(row.test), "link": row.at.name, key("survived", unit): row.at.demand,
        key("estimated_strength", unit): row.at.link.strength.value, "set_path": row.set_path or None,
    }  # fmt: skip


def _interval_facts(name: str, unit: str, interval: Interval) -> dict[str, Any]:
    return {
        key(name, unit): interval.value,
        key(f"{name}_low", unit): interval.low,
        key(f"{name}_high", unit): interval.high,
        f"{name}_open_share": interval.open_share,
    }


def _broken_facts(row: Broken) -> dict[str, Any]:
    unit = row.broke.link.strength.unit
    return {
        **_test_facts(row.test),
        "link": row.broke.name,
        key("upper_bound", unit): row.upper,
        key("lower_bound", unit): row.lower,
        key("survived", unit): row.survived,
        "weakened": row.weakened,
        key("estimated_strength", unit): row.broke.link.strength.value,
        "share_of_estimate": row.share_of_estimate,
        "next_link": row.next.name if row.next else None,
        "next_factor": row.next.factor if row.next else None,
        "set_path": row.set_path or None,
        "sentences": broken_sentences(row),
    }
