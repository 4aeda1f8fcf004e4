"""The report of a calibration: what the tests told, how well the model meets them now, and what comes next."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from winchsim.inputs import Inputs, Spec, walk, with_value
from winchsim.quantity_text import number, quantity
from winchsim.report.json_out import finding_facts
from winchsim.report.json_text import document
from winchsim.report.lines import Lines
from winchsim.report.paint import Paint
from winchsim.report.si_keys import key
from winchsim.scenario import rewrite
from winchsim.studies.calibrate import Broken, Calibration, Interval, Kind, LiftTest, Parameter, Residual, Side
from winchsim.studies.calibrate.calibration import to_error
from winchsim.studies.calibrate.evidence import LABELS, UNITS, load_of
from winchsim.studies.calibrate.knobs import knobs, turned
from winchsim.verdict.finding import Finding
from winchsim.verdict.words import fixed_percent, given, listed, percent

_PLAIN = Paint()

_SIDES = {
    Side.LIFTED: "was lifted",
    Side.STALLED: "stalled",
    Side.HELD: "held",
    Side.RAN_BACK: "ran back",
}

_SHARES = {
    Side.LIFTED: "torque_share",
    Side.STALLED: "torque_share",
    Side.HELD: "spare_friction_share",
    Side.RAN_BACK: "spare_friction_share",
}
"""Key of `SideCheck.share` in JSON."""


def changes(before: Inputs, after: Inputs) -> dict[str, tuple[Any, Any, Spec]]:
    """Values that differ between two scenarios with the same tables: old, new and declaration, by path."""
    old = {path: value for path, value, _ in walk(before)}
    return {path: (old.get(path), value, spec) for path, value, spec in walk(after) if old.get(path) != value}


DIGITS = 4
"""Significant digits of a calibrated value in the scenario. [-]"""


def rounded(found: Calibration, before: Inputs) -> Calibration:
    """Calibration whose scenario has no more digits than its values deserve.

    Parameters
    ----------
    found : Calibration
    before : Inputs
        The scenario as it was.
    """
    inputs = found.inputs
    for path, (_, value, spec) in changes(before, inputs).items():
        if isinstance(value, float):
            inputs = with_value(inputs, path, rewrite.rounded(spec, value, DIGITS))
    return replace(found, inputs=inputs)


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
    page.sentence(found.sentence, paint.good if not found.outliers else paint.warn)
    page.sentence(": ".join(part for part in (name, before.title) if part), paint.faint)
    if not found.complete:
        page.sentence(
            "Partial: the runs in full were cut short, and those that were not made are not taken into account.", paint.warn
        )
    _parameters(page, found)
    _changes(page, before, found)
    _correlation(page, found)
    if found.sentences:
        page.heading("What these tests do not tell")
        for sentence in found.sentences:
            page.item("-", sentence)
    _residuals(page, found)
    _sides(page, found)
    _next(page, found)
    for broken in found.broken:
        page.heading(f"What broke: {broken.broke.name}")
        for sentence in broken_sentences(broken):
            page.item("-", sentence)
    page.findings(findings)
    page.cautions(cautions)
    return page.text()


def _parameters(page: Lines, found: Calibration) -> None:
    page.heading("The numbers of the model, as multiples of what the scenario had")
    rows: list[tuple[str, ...]] = [("", "factor", "std. error", f"{percent(found.level)} interval")]
    for row in found.parameters:
        rows.append(_parameter(row))
    page.table(rows, "lrr")
    basis = f"{found.dof} more measurements than fitted numbers" if found.dof else "the scatter expected of such measurements"
    page.sentence(f"Errors from {basis}; scatter {number(found.scatter, 2)} times the expected.", indent="  ")


def _parameter(row: Parameter) -> tuple[str, ...]:
    if not row.fitted:
        return row.knob.label, "1", "not fitted", ""
    if row.error is None or row.low is None or row.high is None:
        return row.knob.label, number(row.factor), "on its bound", ""
    factor, low, high = (to_error(value, row.error) for value in (row.factor, row.low, row.high))
    return row.knob.label, factor, number(row.error, 2), f"{low} to {high}"


def _changes(page: Lines, before: Inputs, found: Calibration) -> None:
    taken = _taken(before, found)
    page.heading("In the calibrated scenario")
    rows = []
    for path, (old, new, spec) in changes(before, found.inputs).items():
        was = f"was {_shown(old, spec)}" if old is not None else "was not given"
        if old is None and taken.get(path) is not None:
            was = f"was assumed as {_shown(taken[path], spec)}"
        rows.append((path, _shown(new, spec), was))
    page.table(rows or [("nothing changes", "", "")])


def _taken(before: Inputs, found: Calibration) -> dict[str, Any]:
    """Values that the fit started from, by path: what was assumed among them, in the terms of the calibrated scenario."""
    available, _ = knobs(before)
    started = turned(before, {row.knob.name: 1.0 for row in found.parameters if row.fitted}, available)
    return {path: value for path, value, _ in walk(started)}


def _shown(value: Any, spec: Spec) -> str:
    return quantity(value, spec.unit, 4) if isinstance(value, float) else str(value)


def _correlation(page: Lines, found: Calibration) -> None:
    names = [row.knob.name for row in found.parameters if row.fitted]
    if len(names) < 2:
        return
    page.heading("Correlation")
    rows = [("", *names)]
    rows += [(name, *(f"{value:.2f}" for value in row)) for name, row in zip(names, found.correlation, strict=True)]
    page.table(rows, "l" + "r" * len(names))


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
    rows = [("load", "time", "from", "to", "current", "from", "to", "may stall", "holds")]
    for row in found.predictions:
        t, i = row.time, row.current
        rows.append(
            (
                page.said(load_of(row.test)), _time_or_stall(t.value, "s"), _end(t, t.low), _end(t, t.high),
                quantity(i.value, "A"), quantity(i.low, "A"), quantity(i.high, "A"), chance(row.stall_chance),
                "yes" if row.holds else "no",
            )
        )  # fmt: skip
    page.table(rows, "rrrrrrrr")
    worst = max((row.time.untold for row in found.predictions), default=0.0)
    if worst > 0.2:
        page.sentence("Much of these intervals comes from what the tests do not tell.", indent="  ")
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
    """What a breakage says, in sentences."""
    link, unit = broken.broke.link, broken.broke.link.strength.unit
    bore = quantity(broken.implied, unit)
    load = given(broken.test.mass, "kg")
    found = [f"The {broken.broke.name} broke in test {broken.test.number} ({load}), which loaded it with {bore}."]
    if broken.survived_mass is not None:
        found[0] += f" With {given(broken.survived_mass, 'kg')} it bore {quantity(broken.survived, unit)}."
        found.append(f"So its strength is between {quantity(broken.survived, unit)} and {bore}, as it is now.")
    else:
        found.append(f"So its strength is {bore} at most, as it is now.")
    strength = link.strength
    share = broken.share_of_estimate
    compare = f"The estimate was {quantity(strength.value, unit)}"
    if strength.low < strength.high:
        compare += f" ({quantity(strength.low, unit)} to {quantity(strength.high, unit)})"
    if share < 0.95:
        compare += f": it broke at {percent(share)} of that or less."
    elif share <= 1.05:
        compare += ": about where it broke."
    else:
        compare += f": it bore up to {percent(share)} of that."
    found.append(compare)
    if broken.next is not None:
        factor = number(broken.next.factor, 2)
        found.append(f"Were it stronger, the {broken.next.name} would be next: it bears {factor} times its own load here.")
    if broken.set_path and broken.set_value is not None:
        found.append(f'To put it into the scenario: --set {broken.set_path}="{quantity(broken.set_value, unit)}".')
    return tuple(found)


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
    fitted = [row.knob.name for row in found.parameters if row.fitted]
    return document(
        digest=digest,
        verdict=found.sentence,
        findings=[finding_facts(finding) for finding in findings],
        cautions=cautions,
        rows=[_residual_facts(row) for row in found.residuals],
        complete=found.complete,
        level=found.level,
        degrees_of_freedom=found.dof,
        scatter=found.scatter,
        parameters=[_parameter_facts(row) for row in found.parameters],
        correlation={"of": fitted, "matrix": found.correlation},
        not_told=found.sentences,
        changes=_change_facts(before, found.inputs),
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
            }
            for row in found.predictions
        ],
        broken=[_broken_facts(row) for row in found.broken],
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


def _parameter_facts(row: Parameter) -> dict[str, Any]:
    return {
        "name": row.knob.name, "label": row.knob.label, "fitted": row.fitted, "on_bound": row.on_bound, "factor": row.factor,
        "standard_error": row.error, "low": row.low, "high": row.high,
    }  # fmt: skip


def _change_facts(before: Inputs, after: Inputs) -> list[Mapping[str, Any]]:
    rows: list[Mapping[str, Any]] = []
    for path, (old, new, spec) in changes(before, after).items():
        rows.append({"path": path, key("before", spec.unit): old, key("after", spec.unit): new})
    return rows


def _interval_facts(name: str, unit: str, interval: Interval) -> dict[str, Any]:
    return {
        key(name, unit): interval.value,
        key(f"{name}_low", unit): interval.low,
        key(f"{name}_high", unit): interval.high,
        f"{name}_untold_share": interval.untold,
    }


def _broken_facts(row: Broken) -> dict[str, Any]:
    unit = row.broke.link.strength.unit
    return {
        **_test_facts(row.test),
        "link": row.broke.name,
        key("implied_strength", unit): row.implied,
        key("survived", unit): row.survived,
        key("estimated_strength", unit): row.broke.link.strength.value,
        "share_of_estimate": row.share_of_estimate,
        "next_link": row.next.name if row.next else None,
        "next_factor": row.next.factor if row.next else None,
        "set_path": row.set_path or None,
        "sentences": broken_sentences(row),
    }
