"""From a checked scenario to a machine: every missing value filled in and noted, every length and
force worked out."""

import math
from collections.abc import Sequence
from functools import reduce
from typing import Any, NamedTuple

from winchsim.elementwise import larger
from winchsim.errors import Code, DomainError, InputError, refuse_if, refused
from winchsim.frozen import replace
from winchsim.inputs import (
    LEAST_ROOM,
    LIMIT_PER_ESTIMATE,
    LIMIT_TEXT,
    ROOM_SHARE,
    ROOM_TEXT,
    SHORTEST_LIMIT,
    USUAL_ROOM,
    Inputs,
    check as check_inputs,
    in_force,
)
from winchsim.model.assumptions import Assumptions, look_up, unit_of
from winchsim.model.estimate import raise_time
from winchsim.model.links import build_links
from winchsim.model.machine import DriveGroup, Machine, PhaseStep, Scales
from winchsim.model.motors import drive_groups
from winchsim.model.train import Train, build_train
from winchsim.physics import drum as drum_geometry, load, rope
from winchsim.physics.chain import group_push, group_ratio, output_torques
from winchsim.physics.supply import LimitSide, Source
from winchsim.quantity_text import quantity
from winchsim.strength import line as line_strength

LEAST_LEFT = 0.02
"""Rope left between load and top sheave at which the load counts as having run into it. [m] Own
assumption."""

LONGEST_RAISE = 24 * 3600.0
"""A raise that would take longer is refused. [s]"""

LEAST_DAMPING = 0.003
MOST_BOUNCES = 5000
"""A rope damped less than this is refused where the programme leaves it time for more bounces than
this. [-], [-]"""

LEAST_STRAIN = 1e-8
"""Strain of the rope under the hanging load below which it counts as rigid and its bounce cannot be
followed. [-]"""

DEEPEST_BOUNCE = 10.0
"""Bounce, in static stretches, whose speed is the largest that tolerances are taken from: beside
the free speed of fast motors, what moves a stiff rope under a resting load would be lost. [-] Own
choice."""


def build(inputs: Inputs, *, strict: bool = True, linked: bool = True) -> Machine:
    """Machine of a scenario.

    Parameters
    ----------
    inputs : Inputs
        Each value within its own bounds.
    strict : bool
        Whether motor data that contradict each other are refused; in builds whose given values are
        varied the stall torque gives way instead.
    linked : bool
        Whether with its links and with what was assumed: what is asked of speeds, margins and
        holding alone needs neither.

    Returns
    -------
    Machine

    Raises
    ------
    InputError
        Values that contradict each other, or that no winch can be built from; each fault names its
        path.
    """
    faults = check_inputs(inputs)
    if faults:
        raise InputError(faults)
    try:
        return _build(inputs, strict, linked)
    except DomainError as error:
        value, key = error.value, error.argument
        if value is None:
            raise refused("missing", key, expected=error.expected, code=Code.MISSING) from error
        plain = isinstance(value, (int, float)) and not isinstance(value, bool)
        raise refused(
            "no winch can be built with this value",
            key,
            got=quantity(value, unit_of(inputs, key), 4) if plain else str(value),
            expected=error.expected,
            code=Code.CONTRADICTION,
        ) from error


def rebuild(inputs: Inputs, base: Machine) -> Machine:
    """Machine of a scenario that differs from that of another in neither capacities nor programme:
    those are taken over.

    Parameters
    ----------
    inputs : Inputs
    base : Machine
        Of the other scenario.

    Raises
    ------
    DomainError
        No winch can be built with one of its values.
    """
    machine, _ = _unlinked(inputs, Assumptions(), strict=False)
    return replace(machine, links=base.links, phases=base.phases)


def _unlinked(inputs: Inputs, assumptions: Assumptions, strict: bool) -> tuple[Machine, Train]:
    """Machine without its links, with a programme whose time limits are not filled in; and its
    train."""
    units = drive_groups(inputs, assumptions, strict)
    train = build_train(inputs, units, assumptions)
    units = [replace(unit, ratio=group_ratio(train.chain, k)) for k, unit in enumerate(units)]
    return _assemble(inputs, assumptions, units, train), train


def _build(inputs: Inputs, strict: bool, linked: bool) -> Machine:
    assumptions = Assumptions()
    machine, train = _unlinked(inputs, assumptions, strict)
    if linked:
        machine = replace(
            machine,
            links=build_links(inputs, train, machine.layers, machine.scales.drum_speed),
        )
    machine = replace(machine, phases=_phases(inputs, machine, assumptions))
    _refuse_endless_bounce(inputs, machine)
    return (
        replace(machine, assumed=assumptions.rows(inputs), notes=tuple(assumptions.notes))
        if linked
        else machine
    )


# --- supply


FOLD_SHARE = (0.2, 0.1, 0.5)
"""Current that a supply folds back to over its limit, and its range. [-] Own assumption."""

TRIP_DELAY = (0.1, 0.01, 1.0)
"""Time at the limit after which a supply switches off, and its range. [s] Own assumption."""


def _source(inputs: Inputs, assumptions: Assumptions) -> Source:
    s, controller = in_force(inputs.supply), inputs.supply.controller
    fold, delay = s.fold_current, math.inf
    if s.over_current == "foldback" and s.current_limit is not None:
        ends = (share * s.current_limit for share in FOLD_SHARE)
        why = "a fifth of the limit, own assumption"
        fold = assumptions.fill_in(fold, "supply.fold_current", *ends, why=why)
    if s.over_current == "trip":
        why = "own assumption"
        delay = assumptions.fill_in(s.trip_delay, "supply.trip_delay", *TRIP_DELAY, why=why)
    return Source(
        s.resistance,
        current_limit(inputs),
        s.kind == "battery" and (controller is None or controller.braking),
        math.inf if s.capacity is None else s.capacity,
        controller.duty if controller else 1.0,
        LimitSide(controller.limit_side) if controller and controller.limit is not None else None,
        fold,
        delay,
    )


def current_limit(inputs: Inputs) -> float:
    """Limit of the supply, or of its controller where that limits; infinite for none. [A]"""
    controller = inputs.supply.controller
    found = (
        controller.limit
        if controller and controller.limit is not None
        else inputs.supply.current_limit
    )
    return math.inf if found is None else found


# --- drum, rope, load


def _assemble(
    inputs: Inputs,
    assumptions: Assumptions,
    units: list[DriveGroup],
    train: Train,
) -> Machine:
    """Machine without its programme and its links."""
    live = [unit for unit in units if unit.runs]
    where = places(inputs, assumptions)
    bare = _undamped_line(inputs, assumptions)
    left = where.reach - where.start_travel
    body = _body(inputs, bare, left)
    free, hang = rope.span(bare, left), _hanging_pull(inputs, bare, body, left)
    line = replace(
        bare,
        damping=inputs.rope.damping_ratio
        * rope.critical_damping(bare.stiffness, free, load.inertia(body), bare.falls),
    )
    hung = rope.unstretched_length(bare, free, hang)
    stack, at_start = wound_layers(inputs, where)
    scales = _scales(inputs, train, live, line, body, stack[0].radius, free, hung, hang)
    return Machine(
        title=inputs.title,
        groups=tuple(live),
        dragged=tuple(units[len(live) :]),
        source=_source(inputs, assumptions),
        off_each=inputs.supply.off == "each motor",
        chain=train.chain,
        braked_chain=train.braked,
        drum_element=train.drum_element,
        meshes=train.meshes,
        layers=stack,
        wound_at_start=at_start,
        lowest_wound=-bare.falls * where.start_travel,
        line=line,
        free_rope=hung if where.start_travel > 0 else free + inputs.rope.slack,
        body=body,
        **where._asdict(),
        pawl=inputs.pawl is not None and inputs.pawl.fitted,
        phases=_bare_phases(inputs),
        links=(),
        breakaway=inputs.settings.breakaway,
        ambient=inputs.settings.ambient,
        stall_watch=inputs.settings.stall_watch,
        scales=scales,
        assumed=(),
        notes=(),
    )


def _body(inputs: Inputs, line: rope.Line, left: float) -> load.Body:
    """The load, with the rope that moves with it at its start."""
    return load.make_body(
        inputs.load.mass,
        inputs.load.slope,
        inputs.load.slope_friction,
        inputs.load.guide_friction,
        inputs.settings.gravity,
        rope_mass=rope.moving_mass(line, left),
        rope_mass_per_length=line.mass_per_length,
        falls=line.falls,
    )


def _hanging_pull(inputs: Inputs, line: rope.Line, body: load.Body, left: float) -> float:
    """Rope force under the load that hangs at its start; refused where the rope is too stiff or too
    soft for it. [N]"""
    hang = load.pull_needed(body, left) / line.falls
    strain = hang / line.stiffness
    if strain < LEAST_STRAIN:
        raise DomainError(
            "rope.axial_stiffness",
            line.stiffness,
            f"a rope that the load stretches by more than {LEAST_STRAIN:g} of its "
            f"length: a softer rope or a heavier load",
        )
    refuse_if(
        strain > 0.5 and inputs.rope.axial_stiffness is not None,
        "rope.axial_stiffness",
        line.stiffness,
        "a rope that the load stretches by less than half its length",
    )
    if strain > 0.5:
        raise DomainError(
            "load.mass",
            body.mass,
            f"at most {quantity(0.5 / strain * body.mass, 'kg', 2)}, or a stronger rope",
        )
    return hang


def _undamped_line(inputs: Inputs, assumptions: Assumptions) -> rope.Line:
    """The rope, with what the table of ropes knows of its kind where the scenario does not say
    it."""
    r, row = inputs.rope, look_up(inputs.ropes, inputs.rope.material, "rope.material")
    force = line_strength.rope_strength(row, r.diameter, r.breaking_force).value
    stiffness = assumptions.fill_in(
        r.axial_stiffness,
        "rope.axial_stiffness",
        float(row.stiffness_ratio * force),
        *(force * ratio for ratio in row.span("stiffness_ratio")),
        why=f"{row.name} rope, {row.basis('stiffness_ratio')}",
    )
    mass = assumptions.fill_in(
        r.mass_per_length,
        "rope.mass_per_length",
        float(row.mass_per_volume * r.diameter**2),
        *(density * r.diameter**2 for density in row.span("mass_per_volume")),
        why=f"{row.name} rope, {row.basis('mass_per_volume')}",
    )
    return rope.Line(stiffness, 0.0, r.falls, mass, r.lead)


class Places(NamedTuple):
    """Where things are along the load's path, as travel from the floor; see `Machine`. [m]"""

    reach: float
    start_travel: float
    top_travel: float
    stop_travel: float
    snag_travel: float


def places(inputs: Inputs, assumptions: Assumptions) -> Places:
    """Where start, top, stop, snag and drum are along the load's path.

    Parameters
    ----------
    inputs : Inputs
    assumptions : Assumptions
        Takes what is assumed.

    Raises
    ------
    DomainError
        Too little rope is left at the top.
    """
    l = inputs.load  # noqa: E741
    rise = math.sin(l.slope)
    start = l.start_height / rise
    if l.drum_height is not None:
        reach = start + l.drum_height / rise
    elif inputs.rope.free_length is not None:
        reach = start + (inputs.rope.free_length - inputs.rope.lead) / inputs.rope.falls
    else:
        above = l.height + max(USUAL_ROOM, ROOM_SHARE * l.height)
        reach = start + assumptions.assume("load.drum_height", above, why=f"the {ROOM_TEXT}") / rise
    top = start + l.height / rise
    if reach - top < LEAST_ROOM:
        key = "rope.free_length" if l.drum_height is None else "load.drum_height"
        raise DomainError(
            key,
            quantity(reach - start, "m"),
            f"{1e3 * LEAST_ROOM:g} mm or more left between load and drum at the top",
        )
    stop = min(reach - LEAST_LEFT, math.inf if l.top_stop is None else l.top_stop / rise)
    return Places(
        reach, start, top, stop, math.inf if l.snag_height is None else l.snag_height / rise
    )


def wound_layers(inputs: Inputs, where: Places) -> tuple[tuple[drum_geometry.Layer, ...], float]:
    """Layers that the flanges leave room for, and rope wound on at the start.

    Parameters
    ----------
    inputs : Inputs
        Only its drum and rope are looked at.
    where : Places

    Raises
    ------
    DomainError
        The drum is too narrow, or its flanges hold not even the rope of the start.
    """
    d, r = inputs.drum, inputs.rope
    stack = drum_geometry.layers(
        d.diameter,
        d.width,
        r.diameter,
        1.1 * (r.falls * where.stop_travel),
        nested=d.layering == "nested",
        dead_turns=d.dead_turns,
    )
    dead = drum_geometry.dead_length(stack, d.dead_turns, d.width, r.diameter)
    if d.flange_diameter is not None:
        stack = tuple(
            layer for layer in stack if 2 * layer.radius + r.diameter <= d.flange_diameter
        )
        if not stack:
            raise DomainError(
                "drum.flange_diameter",
                quantity(d.flange_diameter, "mm"),
                "room for one layer of rope at least",
            )
    at_start = dead + r.falls * where.start_travel
    refuse_if(
        at_start >= stack[-1].end,
        "drum.flange_diameter",
        d.flange_diameter,
        "room for the dead turns and the rope of the start",
    )
    return stack, at_start


def _scales(
    inputs: Inputs,
    train: Train,
    live: list[DriveGroup],
    line: rope.Line,
    body: load.Body,
    radius: float,
    free: float,
    hung: float,
    hang: float,
) -> Scales:
    speed = free_speed(inputs, live)
    stalled = [
        g.count * g.motor.constant * inputs.supply.voltage / g.motor.resistance for g in live
    ]
    stalled += [0.0] * (len(train.chain.groups) - len(live))
    stretch = hang / line.stiffness * free
    period = rope.bounce_period(line, hung, load.inertia(body))
    return Scales(
        stretch=stretch,
        drum_speed=speed,
        rope_speed=min(speed * radius, DEEPEST_BOUNCE * 2 * math.pi / period * stretch),
        pull=hang * line.falls,
        torque=max(
            output_torques(train.chain, 1, hang * radius)[0],
            abs(group_push(train.chain, 1, stalled)),
            1e-12,
        ),
        bounce_period=period,
    )


def free_speed(inputs: Inputs, live: Sequence[DriveGroup]) -> Any:
    """Speed of the drum without load. [rad/s]"""
    s = inputs.supply
    voltage = s.voltage * (s.controller.duty if s.controller else 1.0)
    return reduce(larger, [voltage / (g.motor.constant * g.ratio) for g in live])


def _refuse_endless_bounce(inputs: Inputs, machine: Machine) -> None:
    """Refuse a rope that bounces undamped more often than can be followed."""
    bounces = sum(phase.time for phase in machine.phases[:-1]) / machine.scales.bounce_period
    if inputs.rope.damping_ratio < LEAST_DAMPING and bounces > MOST_BOUNCES:
        raise DomainError(
            "rope.damping_ratio",
            inputs.rope.damping_ratio,
            f"{LEAST_DAMPING:g} or more: this load could bounce {bounces:.0f} times, "
            f"more than can be followed one by one",
        )


# --- programme


def _bare_phases(inputs: Inputs) -> tuple[PhaseStep, ...]:
    """Programme without its time limits, and the watch behind it."""
    limit = current_limit(inputs)
    found = []
    for phase in map(in_force, inputs.phase):
        voltage = inputs.supply.voltage if phase.voltage is None else phase.voltage
        signed = {"raise": voltage, "lower": -voltage}.get(phase.action, 0.0 * voltage)
        found.append(
            PhaseStep(
                phase.action,
                phase.until,
                phase.time or math.nan,
                signed,
                limit if phase.current_limit is None else phase.current_limit,
                phase.ramp,
            )
        )
    watch = PhaseStep("off", "time", inputs.settings.watch, 0.0, math.inf, 0.0)
    if not found:
        found = [PhaseStep("raise", "top", math.nan, inputs.supply.voltage, limit, 0.0)]
        if watch.time > 0:
            found.append(watch)
    return (*found, watch)


def _phases(inputs: Inputs, machine: Machine, assumptions: Assumptions) -> tuple[PhaseStep, ...]:
    """Programme with its time limits filled in."""
    found = []
    for number, phase in enumerate(machine.phases, start=1):
        if math.isnan(phase.time):
            estimate = raise_time(machine, phase if phase.action == "raise" else None)
            if LONGEST_RAISE < estimate < math.inf:
                raise DomainError(
                    "load.height",
                    quantity(inputs.load.height, "m"),
                    f"a raise of less than 24 h; this one would take {estimate / 3600:.3g} h at "
                    f"{machine.groups[0].ratio:.4g}:1",
                )
            limit = (
                SHORTEST_LIMIT
                if math.isinf(estimate)
                else max(SHORTEST_LIMIT, LIMIT_PER_ESTIMATE * estimate)
            )
            limit += phase.ramp
            if inputs.phase:
                assumptions.assume(f"phase.{number}.time", limit, why=LIMIT_TEXT)
            phase = replace(phase, time=limit)
        found.append(phase)
    return tuple(found)
