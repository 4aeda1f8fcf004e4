"""The reductions of a scenario, one by one: ratio, efficiency both ways and at rest, from what is
given of each."""

from functools import lru_cache
from math import atan
from typing import Any

from winchsim.assumption import Estimate
from winchsim.constants import INCH
from winchsim.elementwise import by_value
from winchsim.errors import DomainError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, MotorGroup, Stage
from winchsim.model.assumptions import Assumptions, look_up
from winchsim.physics import bearings, gears, worm
from winchsim.physics.chain import reverse_of
from winchsim.quantity_text import in_unit
from winchsim.strength.materials import Material, find_friction

USUAL_EFFICIENCY = {
    "belt": Estimate(
        0.95,
        0.90,
        0.98,
        "V-belts 0.95 to 0.98 new, 0.93 slack, toothed 0.98: US DOE, motor tip sheet on belts",
    ),
    "chain": Estimate(0.95, 0.81, 0.986, "J. B. Spicer and others, 1999 to 2001, from memory"),
    "planetary": Estimate(
        0.81, 0.70, 0.90, "0.81 a stage: Citizen Micro, technical notes on geared motors"
    ),
}
"""Efficiency of a stage with its bearings, where none is given. [-]"""

PRINTED_PLANETARY = Estimate(
    0.75,
    0.60,
    0.82,
    "printed, one stage: 0.60 to 0.80, COMPAct, arXiv 2510.07197; 0.795 measured on an 8:1",
)

MANY_MESHES = ("planetary", "other")
"""Kinds of stages whose efficiency may be that of several meshes in a row: they pass more back than
one mesh of that efficiency does."""

FORM_LOSS = {
    "printed": Estimate(0.03, 0.0, 0.08, "own assumption for printed teeth"),
    "moulded": Estimate(0.01, 0.0, 0.03, "own assumption for moulded teeth"),
    "cut": Estimate(0.01, 0.0, 0.03, "own assumption for cut teeth"),
}
"""Share of the torque that teeth of no true form lose, by how they were made. [-]"""

MADE_OF = {"printed polymer": "printed", "moulded polymer": "moulded", "metal": "cut"}

DIAMETER_QUOTIENTS = (10.0, 14.0, 8.0)
"""Pitch diameter of a worm in modules, where its lead angle is not given, with those of the least
and the largest angle. [-] From memory."""

WORM_FRICTION = Estimate(
    0.06, 0.03, 0.10, "steel on oiled bronze at 0.1 to 2 m/s: roymech, table of worm friction"
)
WORM_AT_REST = Estimate(
    worm.REST_FRICTION, 0.08, 0.15, "steel on oiled bronze at rest, own assumption from worm boxes"
)


@dataclass(frozen=True)
class Reduction:
    """One reduction of the unrolled train.

    Attributes
    ----------
    stage : Stage
    path, label : str
        ``stage.2``, and ``stage 2`` or ``stage 2, 3rd of 5`` for people.
    pinion_teeth : int or None
        None for a stage that is not a spur pair. [-]
    ratio : float
        Input speed over output speed. [-]
    forward, reverse : float
        Efficiency when the motors drive it, and when the load does. [-]
    rest : tuple of float or None
        The same two at rest, where friction at rest is known by itself; None where the losses grow
        as everywhere. [-]
    locking : Locking or None
        Of a worm: whether it locks against its load.
    """

    stage: Stage
    path: str
    label: str
    pinion_teeth: int | None
    ratio: float
    forward: float
    reverse: float
    rest: tuple[float, float] | None = None
    locking: worm.Locking | None = None

    @property
    def module(self) -> float | None:
        """None for a stage that is not a spur pair. [m]"""
        return module_of(self.stage) if self.stage.kind == "spur" else None

    @property
    def gear_teeth(self) -> int | None:
        """None for a stage that is not a spur pair. [-]"""
        return self.stage.gear if self.stage.kind == "spur" else None

    @property
    def gear_radius(self) -> float | None:
        """Pitch radius of a spur gear; None where it is not known. [m]"""
        return _pitch_radius(self.gear_teeth, self.module)

    @property
    def pinion_radius(self) -> float | None:
        """Pitch radius of a spur pinion; None where it is not known. [m]"""
        return _pitch_radius(self.pinion_teeth, self.module)


def _pitch_radius(teeth: Any, module: Any) -> Any:
    return None if teeth is None or module is None else teeth * module / 2


def module_of(stage: Stage) -> float | None:
    """Module of a stage, from its diametral pitch where that is given. [m]"""
    if stage.module is not None or stage.diametral_pitch is None:
        return stage.module
    return INCH / in_unit(stage.diametral_pitch, "1/in")


def pinion_material_name(stage: Stage) -> str:
    """Material of a stage's pinion."""
    return stage.material if stage.pinion_material is None else stage.pinion_material


def unroll(
    inputs: Inputs, group: MotorGroup, assumptions: Assumptions, top_speed: float = 0.0
) -> tuple[Reduction, ...]:
    """All reductions from a group's motors to the drum, repeated stages one by one.

    Parameters
    ----------
    inputs : Inputs
    group : MotorGroup
        Its pinion replaces the first stage's.
    assumptions : Assumptions
        Takes what is assumed.
    top_speed : float
        Of the input of the first reduction; 0 where it is not known. [rad/s]
    """
    found: list[Reduction] = []
    for number, stage in enumerate(inputs.stage, start=1):
        for turn in range(stage.repeat):
            found.append(reduction(inputs, group, number, turn, assumptions, top_speed))
            top_speed /= found[-1].ratio
    return tuple(found)


def reduction(
    inputs: Inputs,
    group: MotorGroup,
    number: int,
    turn: int,
    assumptions: Assumptions,
    speed: float = 0.0,
) -> Reduction:
    """One reduction: which stage, from 1, and which of its repeats, from 0; `speed` is that of its
    input. [rad/s]"""
    stage, path = inputs.stage[number - 1], f"stage.{number}"
    pinion = stage.pinion if (number, turn) != (1, 0) or group.pinion is None else group.pinion
    th = "th" if 10 <= (turn + 1) % 100 <= 20 else _ORDINALS.get((turn + 1) % 10, "th")
    label = f"stage {number}" + f", {turn + 1}{th} of {stage.repeat}" * (stage.repeat > 1)
    if stage.kind == "worm":
        return _worm(inputs, stage, path, label, assumptions, speed)
    forward = _efficiency(inputs, stage, path, pinion, assumptions)
    reverse, most = reverse_of(forward), None
    why = "2 - 1/efficiency: the same friction torque both ways"
    if stage.efficiency is not None and stage.kind in MANY_MESHES:
        most, why = forward**0.5, "2 - 1/efficiency of one mesh, up to the root of it of many"
    reverse = assumptions.fill_in(
        stage.reverse_efficiency,
        f"{path}.reverse_efficiency",
        reverse,
        None if most is None else reverse,
        most,
        why=why,
    )
    return Reduction(
        stage,
        path,
        label,
        pinion if stage.kind == "spur" else None,
        stage.speed_ratio(pinion),
        forward,
        reverse,
    )


_ORDINALS = {1: "st", 2: "nd", 3: "rd"}


def stages_ratio(inputs: Inputs, group: MotorGroup) -> float:
    """Speed of the shaft behind a group's motors and their gearboxes over that of the drum. [-]"""
    total = 1.0
    for number, stage in enumerate(inputs.stage):
        own = group.pinion if number == 0 and group.pinion is not None else stage.pinion
        total *= stage.speed_ratio(own) * stage.speed_ratio(stage.pinion) ** (stage.repeat - 1)
    return total


def _efficiency(
    inputs: Inputs, stage: Stage, path: str, pinion: int | None, assumptions: Assumptions
) -> float:
    if stage.efficiency is not None:
        return stage.efficiency
    if stage.kind != "spur":
        gear = look_up(inputs.materials, stage.material, f"{path}.material")
        printed = stage.kind == "planetary" and gear.family == "printed polymer"
        return assumptions.assume(
            f"{path}.efficiency",
            **(PRINTED_PLANETARY if printed else USUAL_EFFICIENCY[stage.kind])._asdict(),
        )
    assert pinion is not None and stage.gear is not None
    return by_value(
        lambda pinion, gear, *materials: _by_sliding(
            inputs,
            replace(stage, gear=gear, material=materials[0], pinion_material=materials[1]),
            path,
            pinion,
            assumptions,
        ),
        pinion,
        stage.gear,
        stage.material,
        pinion_material_name(stage),
    )


def _by_sliding(
    inputs: Inputs, stage: Stage, path: str, pinion: int, assumptions: Assumptions
) -> float:
    """Efficiency of one pair of spur gears from friction, form and number of teeth."""
    gear = look_up(inputs.materials, stage.material, f"{path}.material")
    friction = _flank_friction(inputs, stage, path, gear, assumptions)
    form = assumptions.fill_in(
        stage.form_loss,
        f"{path}.form_loss",
        **FORM_LOSS[stage.making or MADE_OF[gear.family]]._asdict(),
    )
    try:
        sliding = _sliding(
            pinion, stage.gear, friction, stage.pressure_angle, stage.pinion_shift, stage.gear_shift
        )
    except DomainError as error:
        raise DomainError(
            f"{path}.pinion", pinion, f"teeth that mesh: {error.argument} {error.expected}"
        ) from error
    if not 0 < sliding <= 1:
        raise DomainError(f"{path}.friction", friction, "a coefficient that leaves some efficiency")
    return assumptions.assume(
        f"{path}.efficiency",
        sliding * (1 - form),
        why="from the friction, the form and the number of the teeth",
    )


@lru_cache(maxsize=1024)
def _sliding(
    pinion: int, gear: int, friction: float, angle: float, shift1: float, shift2: float
) -> float:
    """Efficiency of a mesh by its sliding; kept, because most variants of a winch have its
    meshes."""
    return float(
        gears.mesh_efficiency(
            pinion, gear, friction, pressure_angle=angle, shift1=shift1, shift2=shift2
        )
    )


def _flank_friction(
    inputs: Inputs, stage: Stage, path: str, gear: Material, assumptions: Assumptions
) -> float:
    if stage.friction is not None:
        return stage.friction
    pair = find_friction(
        inputs.friction_pairs,
        look_up(inputs.materials, pinion_material_name(stage), f"{path}.pinion_material"),
        gear,
        stage.greased,
    )
    return assumptions.assume(
        f"{path}.friction",
        pair.friction,
        *pair.span("friction"),
        why=f"{pair.name}, {pair.basis('friction')}",
    )


# --- worms ----------------------------------------------------------------------------------------
# ------------------


def _worm(
    inputs: Inputs, stage: Stage, path: str, label: str, assumptions: Assumptions, speed: float
) -> Reduction:
    if stage.efficiency is not None and stage.lead_angle is None:
        return _worm_by_efficiency(stage, path, label, assumptions)
    leads = (atan((stage.starts or 1) / quotient) for quotient in DIAMETER_QUOTIENTS)
    lead = assumptions.fill_in(
        stage.lead_angle,
        f"{path}.lead_angle",
        *leads,
        why="a diameter of 10 modules, usual 8 to 14, from memory",
    )
    friction, friction_at_rest = _worm_friction(inputs, stage, path, assumptions, speed, lead)
    collar = _collar(stage, path, assumptions)
    moving = worm.screw_efficiency(lead, friction, flank=stage.pressure_angle, collar=collar)
    rest = worm.screw_efficiency(
        lead,
        friction_at_rest,
        flank=stage.pressure_angle,
        collar=collar * inputs.settings.breakaway,
    )
    if not moving.forward > 0 or not rest.forward > 0:
        raise DomainError(f"{path}.friction", friction, "a friction at which the worm can drive")
    forward, reverse = moving
    if stage.efficiency is not None:  # the friction follows from it, the lead angle being known
        reverse = worm.screw_reverse(lead, stage.efficiency)
        forward = stage.efficiency
        rest = worm.ScrewEfficiency(min(rest.forward, forward), min(rest.reverse, reverse))
    else:
        assumptions.assume(
            f"{path}.efficiency",
            forward,
            why="from the lead angle, the friction and the thrust bearing",
        )
    reverse = assumptions.fill_in(
        stage.reverse_efficiency, f"{path}.reverse_efficiency", reverse, why="by the screw formula"
    )
    at_rest = rest.forward, min(rest.reverse, reverse)
    locking = worm.Locking.DRIVES_BACK if at_rest[1] > 0 else worm.Locking.LOCKS
    if reverse > 0 >= at_rest[1]:
        locking = worm.Locking.UNCERTAIN
    return Reduction(
        stage, path, label, None, stage.speed_ratio(), forward, reverse, at_rest, locking
    )


def _worm_by_efficiency(stage: Stage, path: str, label: str, assumptions: Assumptions) -> Reduction:
    forward = stage.efficiency
    assert forward is not None
    low = reverse_of(forward)
    reverse = assumptions.fill_in(
        stage.reverse_efficiency,
        f"{path}.reverse_efficiency",
        low,
        low,
        worm.largest_reverse(forward),
        why="2 - 1/efficiency of a flat worm, up to that of the steepest worm of this efficiency",
    )
    ratio, locking = stage.speed_ratio(), worm.locking(forward)
    return Reduction(stage, path, label, None, ratio, forward, reverse, None, locking)


def _worm_friction(
    inputs: Inputs, stage: Stage, path: str, assumptions: Assumptions, speed: float, lead: float
) -> tuple[float, float]:
    """Friction of a worm in motion and at rest. [-]"""
    gear = look_up(inputs.materials, stage.material, f"{path}.material")
    plastic = f"{path}.material" in inputs.given and gear.family != "metal"
    if plastic or stage.friction is not None:
        running = _flank_friction(inputs, stage, path, gear, assumptions)
    elif stage.worm_diameter is None or not speed:
        running = assumptions.assume(f"{path}.friction", **WORM_FRICTION._asdict())
    else:
        running = worm.running_friction(worm.sliding_speed(stage.worm_diameter, speed, lead))
        assumptions.assume(
            f"{path}.friction",
            running,
            0.7 * running,
            1.5 * running,
            why="steel on oiled bronze at its sliding speed: Childs, Mechanical Design Handbook",
        )
    if stage.rest_friction is not None:
        return running, max(running, stage.rest_friction)
    if plastic:
        return running, running * inputs.settings.breakaway
    return running, max(
        running, assumptions.assume(f"{path}.rest_friction", **WORM_AT_REST._asdict())
    )


def _collar(stage: Stage, path: str, assumptions: Assumptions) -> float:
    """Friction of the thrust bearing times its radius over that of the worm. [-]"""
    own = bearings.bearing_friction(stage.bearing or "ball", stage.greased)
    friction = assumptions.fill_in(
        stage.bearing_friction,
        f"{path}.bearing_friction",
        own.value,
        own.low,
        own.high if stage.bearing else bearings.bearing_friction("metal bush", False).value,
        why=f"thrust bearing: {own.why}",
    )
    return (
        friction
        if stage.collar_diameter is None or stage.worm_diameter is None
        else friction * stage.collar_diameter / stage.worm_diameter
    )
