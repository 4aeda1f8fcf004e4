"""What a ladder of test loads says: its answer, its dangers, what to measure first and how the gears were printed."""

from __future__ import annotations

from winchsim.inputs import Inputs
from winchsim.model import Machine
from winchsim.quantity_text import number, quantity
from winchsim.studies.ladder.rung import Rung
from winchsim.verdict.finding import Finding, FindingKind, Severity
from winchsim.verdict.words import counted, given, length

FAR = 0.01
"""Way past the mark that is worth a caution. [m]"""

MEASURABLE = frozenset({
    "stall_current", "stall_torque", "no_load_current", "no_load_speed", "terminal_resistance", "friction", "shaft_drag",
    "axial_stiffness", "drum_height",
})  # fmt: skip
"""Assumed values that can be measured before the first rung."""


def sentence(rungs: list[Rung], masses: list[float]) -> str:
    """The answer: how far to climb, how long it takes, and whether it holds."""
    last, planned = rungs[-1], len(masses) + 1
    if not last.up:
        reached = rungs[-2].mass
        upto = f"Climb to {given(reached, 'kg')} only" if reached > 0 else "Do not load it"
        return f"{upto}. At {given(last.mass, 'kg')}: {last.sentence}"
    minutes = sum(rung.rest_before + 2 * (rung.lift_time or 0.0) for rung in rungs) / 60
    text = (
        f"{counted(planned, 'rung')} from an unloaded run to {given(last.mass, 'kg')}, about "
        f"{number(max(minutes, 1.0), 2)} min with the waits for cooling; every rung comes up"
    )
    if any(rung.held is False for rung in rungs):
        first = next(rung for rung in rungs if rung.held is False)
        return f"{text}, but from {given(first.mass, 'kg')} on the load runs back when the power goes off."
    return text + "."


def dangers(rungs: list[Rung]) -> tuple[Finding, ...]:
    """What the rungs show that has to be known before the first of them."""
    found, last = [], rungs[-1]
    if not last.up:
        found.append(
            Finding(last.cause or FindingKind.NO_TRUST, Severity.DANGER,
                    f"At {given(last.mass, 'kg')}: {last.sentence}", value=last.mass, unit="kg",
                    help="Do not test this load; winchsim heaviest says what the build bears.")
        )  # fmt: skip
    for rung in rungs:
        if rung.held is False:
            found.append(
                Finding(FindingKind.RAN_BACK, Severity.CAUTION,
                        f"From {given(rung.mass, 'kg')} on the load runs back when the power goes off.",
                        value=rung.mass, unit="kg", help="Fit a pawl or a brake, or keep a second line taut.")
            )  # fmt: skip
            break
    for rung in [rung for rung in rungs if rung.knock_proof is False][:1]:
        found.append(
            Finding(FindingKind.HELD_BY_FRICTION_ONLY, Severity.CAUTION,
                    f"From {given(rung.mass, 'kg')} on friction holds the load at rest only: once knocked it runs back.",
                    value=rung.mass, unit="kg", help="Fit a pawl or a brake, or keep a second line taut.")
        )  # fmt: skip
    breaks = [rung for rung in rungs if rung.up and not rung.sound]
    for rung in breaks[:1]:
        found.append(
            Finding(rung.cause or FindingKind.NO_TRUST, Severity.DANGER,
                    f"At {given(rung.mass, 'kg')}, after it is up: {rung.sentence}", value=rung.mass, unit="kg",
                    help="Leave this rung out, or switch off early; it coasts on.")
        )  # fmt: skip
    far = max(rungs, key=lambda rung: rung.coast)
    if far.coast > FAR:
        found.append(
            Finding(FindingKind.COASTS_PAST, Severity.CAUTION,
                    f"At {given(far.mass, 'kg')} the load coasts {length(far.coast)} past the mark when the power goes off.",
                    value=far.coast, unit="m", help="Switch off that much earlier, and leave room above.")
        )  # fmt: skip
    short = next((rung for rung in rungs if rung.sound and rung.factor < rung.required_factor), None)
    if short is not None:
        found.append(
            Finding(FindingKind.LINK_BELOW_REQUIRED, Severity.CAUTION,
                    f"From {given(short.mass, 'kg')} on the {short.weakest} has less than its required factor "
                    f"({number(short.factor, 3)} of {short.required_factor:g}).",
                    value=short.factor, limit=short.required_factor)
        )  # fmt: skip
    return tuple(found)


def measure_first(inputs: Inputs, machine: Machine) -> tuple[str, ...]:
    """What the prediction rests on and anybody can measure, with the value it was made with."""
    height = machine.height(machine.top_travel - machine.start_travel)
    lines = [
        "every test load, on a scale",
        f"bare drum, diameter ({quantity(inputs.drum.diameter, 'mm')})",
        f"rope, diameter under a light pull ({quantity(inputs.rope.diameter, 'mm')})",
        f"height between two marks ({length(height)})",
        f"supply, voltage with nothing connected ({quantity(inputs.supply.voltage, 'V')})",
        f"air ({quantity(inputs.settings.ambient, '°C')})",
    ]
    for place, group in enumerate(inputs.motors, start=1):
        name = f"motor group {place}" if len(inputs.motors) > 1 else "each motor"
        idle = machine.groups[0].fit.no_load_current
        for g in machine.groups:
            idle = g.fit.no_load_current if g.number == place else idle
        lines.append(f"{name}, current running free at {quantity(group.voltage, 'V')} ({quantity(idle, 'A')})")
    for row in machine.assumed:
        if row.path.rpartition(".")[2] not in MEASURABLE or row.low is None:
            continue
        lines.append(f"{row.path}: assumed {quantity(float(row.value), row.unit)}")
    return tuple(lines)


def prints(inputs: Inputs) -> tuple[str, ...]:
    """Print settings of each stage's gears, as the prediction took them."""
    lines = []
    for place, stage in enumerate(inputs.stage, start=1):
        if stage.kind != "spur":
            continue
        pairs = "" if stage.repeat == 1 else f", {stage.repeat} pairs"
        walls = "solid" if stage.walls is None and stage.infill is None else f"{stage.walls or 0} walls"
        infill = "" if stage.infill is None else f", {100 * stage.infill:g} % infill"
        lines.append(
            f"stage {place} ({stage.pinion}:{stage.gear}{pairs}): {stage.material}, {walls}{infill}, "
            f"{quantity(stage.line_width, 'mm', 2)} lines, printed {stage.print_direction}, "
            f"{quantity(stage.width, 'mm', 2)} wide" + (", greased" if stage.greased else "")
        )  # fmt: skip
    return tuple(lines)
