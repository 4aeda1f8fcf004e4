"""Random valid scenarios over the whole space that the reader lets through, extremes included.

Used by the fuzz command and by property tests; a scenario depends on its seed alone. All values are
invented.
"""

import math
from dataclasses import replace

import numpy as np

from winchsim import inputs as sc
from winchsim.scenario.materials_table import load_friction_pairs, load_materials, load_ropes

_MATERIALS, _ROPES, _PAIRS = load_materials(), load_ropes(), load_friction_pairs()
_GEAR_MATERIALS = ("PLA", "PETG", "ABS", "steel")

VARIED_FROM = 100_000
"""First seed whose scenarios have controllers, adapters, bearings, worms and motors known in other
ways; tests name some of the seeds below."""


class _Dice:
    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)

    def log(self, low: float, high: float) -> float:
        return float(math.exp(self.rng.uniform(math.log(low), math.log(high))))

    def uniform(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))

    def integer(self, low: int, high: int) -> int:
        return int(self.rng.integers(low, high + 1))

    def chance(self, p: float) -> bool:
        return bool(self.rng.random() < p)

    def pick(self, *values):
        return values[int(self.rng.integers(len(values)))]


def random_inputs(seed: int) -> sc.Inputs:
    """A scenario that passes every check of a single value; it may still be refused as a whole,
    with a reason."""
    d = _Dice(seed)
    d.chance(0.5)  # not used: with this draw the seeds that tests name keep their scenarios
    groups = tuple(_motors(d) for _ in range(d.pick(1, 1, 1, 2, 3)))
    if all(g.dead >= g.count for g in groups):
        groups = (sc.MotorGroup(**{**vars(groups[0]), "dead": 0}), *groups[1:])
    voltage = groups[0].voltage * d.uniform(0.3, 1.3)
    stalled = sum(g.count * g.stall_current for g in groups)
    supply = sc.Supply(
        voltage=voltage,
        resistance=d.pick(0.0, d.log(1e-3, 5)),
        current_limit=stalled * d.log(0.05, 3) if d.chance(0.5) else None,
        kind=d.pick("bench", "battery"),
        capacity=d.log(10, 1e5) if d.chance(0.15) else None,
        off=d.pick("common lead", "each motor"),
    )
    stages = _stages(d)
    drum = sc.Drum(
        diameter=d.log(0.003, 0.3),
        width=d.log(0.02, 0.5),
        layering=d.pick("stacked", "nested"),
        dead_turns=d.pick(0.0, 3.0, 5.0),
        drag=d.pick(0.0, d.log(1e-5, 1e-1)),
        bearing_efficiency=d.pick(1.0, d.uniform(0.8, 1)),
        cross_pin_diameter=None,
        support_span=d.pick(None, 0.1),
    )
    mass = _mass(d, groups, stages, drum, voltage)
    rope_d = min(d.log(2e-4, 0.012), drum.width / 2)
    falls = d.pick(1, 1, 1, 2, 3, 4)
    height = d.log(0.02, 20)
    hanging = d.chance(0.3)
    hang = mass * 9.8 / falls
    rope = sc.Rope(
        material=d.pick(*_ROPES),
        diameter=rope_d,
        damping_ratio=d.pick(0.0, 0.02, 0.05, 0.3),
        mass_per_length=d.pick(0.0, d.log(1e-4, 1)),
        falls=falls,
        sheave_efficiency=d.uniform(0.6, 1.0),
        slack=0.0 if hanging or d.chance(0.6) else d.log(1e-3, 0.1),
        lead=d.pick(0.0, d.uniform(0, 2)),
        axial_stiffness=hang * d.log(1.5, 1e9) if d.chance(0.3) else None,
        breaking_force=hang * (d.log(0.5, 30) if d.chance(0.4) else d.log(30, 1e7)),
    )
    start = d.uniform(0.05, 2) if hanging else 0.0
    sloped = d.chance(0.2)
    load = sc.Load(
        mass=mass,
        height=height,
        start_height=start,
        slope=d.uniform(math.radians(2), math.radians(89)) if sloped else math.pi / 2,
        slope_friction=d.pick(0.0, d.uniform(0, 0.6)) if sloped else 0.0,
        guide_friction=mass * 9.8 * d.log(1e-3, 0.5) if d.chance(0.2) else 0.0,
        snag_height=start + height * d.uniform(0.1, 0.9) if d.chance(0.1) else None,
        top_stop=start + height * d.uniform(0.3, 1.2) if d.chance(0.1) else None,
    )
    found = sc.Inputs(
        title=f"random {seed}",
        motors=groups,
        supply=supply,
        stage=stages,
        drum=drum,
        rope=rope,
        load=load,
        sheave=(sc.Sheave(efficiency=d.uniform(0.7, 1)),) if d.chance(0.2) else (),
        edge=(sc.Edge(friction=d.uniform(0, 0.4), angle=d.uniform(0, 3)),)
        if d.chance(0.15)
        else (),
        pawl=sc.Pawl() if d.chance(0.1) else None,
        brake=sc.Brake(torque=d.log(1e-3, 100), place="drum") if d.chance(0.15) else None,
        phase=_programme(d),
        settings=sc.Settings(breakaway=d.pick(1.0, 1.3, d.uniform(1, 2)), watch=d.pick(0.0, 10.0)),
        materials=_MATERIALS,
        ropes=_ROPES,
        friction_pairs=_PAIRS,
    )
    return found if seed < VARIED_FROM else _varied(d, found)


def _varied(d: _Dice, inputs: sc.Inputs) -> sc.Inputs:
    """The scenario with more kinds of supply, motor data, bearings and stages, and fewer values
    that are sure to be refused."""
    stages = tuple(_varied_stage(d, stage) for stage in inputs.stage[:5])
    pull = inputs.load.mass * inputs.settings.gravity / inputs.rope.falls
    stiffness, load = inputs.rope.axial_stiffness, inputs.load
    hanging = (load.start_height + load.height + inputs.rope.lead) * inputs.rope.mass_per_length
    least = pull + hanging * inputs.settings.gravity
    rope = replace(
        inputs.rope,
        damping_ratio=max(inputs.rope.damping_ratio, 0.02),
        diameter=min(max(inputs.rope.diameter, math.sqrt(pull / 2e7)), inputs.drum.width / 2),
        breaking_force=max(0.7 * least, min(inputs.rope.breaking_force, 1e4 * pull)),
        axial_stiffness=None
        if stiffness is None
        else max(10 * pull, 6 * least, min(stiffness, 1e6 * pull)),
    )
    drum = inputs.drum
    if d.chance(0.6):
        rod = d.pick(None, drum.diameter * d.uniform(0.3, 1))
        drum = replace(drum, bearing=_bearing(d), bearing_efficiency=None, shaft_diameter=rod)
    supply = inputs.supply
    if d.chance(0.3):
        limit = (supply.current_limit or d.log(0.1, 100)) if d.chance(0.7) else None
        duty, side = d.pick(1.0, d.uniform(0.05, 1)), d.pick("motor", "battery")
        supply = replace(
            supply,
            current_limit=None,
            controller=sc.Controller(
                duty=duty,
                limit=limit,
                limit_side=side if limit else "motor",
                braking=d.chance(0.3),
            ),
        )
    elif supply.current_limit is not None:
        supply = _adapter(d, supply)
    groups = tuple(_varied_motors(d, group) for group in inputs.motors)
    if supply.controller is not None and d.chance(0.4):
        own = supply.controller.limit or d.log(0.1, 100)
        controller = replace(supply.controller, limit=None, limit_side="motor")
        supply = _adapter(d, replace(supply, current_limit=own, controller=controller))
    return replace(inputs, motors=groups, supply=supply, stage=stages, drum=drum, rope=rope)


def _adapter(d: _Dice, supply: sc.Supply) -> sc.Supply:
    """A supply with a limit, as one that holds it, folds back or trips."""
    limit, what = supply.current_limit, d.pick("hold", "foldback", "trip")
    fold = limit * d.uniform(0.02, 0.9) if what == "foldback" and d.chance(0.5) else None
    delay = d.log(1e-3, 5) if what == "trip" and d.chance(0.5) else None
    return replace(supply, over_current=what, fold_current=fold, trip_delay=delay)


def _bearing(d: _Dice) -> str:
    return d.pick("polymer bore", "metal bush", "ball")


def _varied_stage(d: _Dice, stage: sc.Stage) -> sc.Stage:
    if stage.kind == "spur":
        root = (stage.gear - 3) * stage.module
        return replace(
            stage,
            bearing=d.pick(None, _bearing(d)),
            shaft_diameter=d.pick(None, root * d.uniform(0.1, 0.7)),
        )
    if stage.kind == "worm" and d.chance(0.7):
        lead = d.pick(None, math.radians(d.uniform(2, 30)))
        return replace(
            stage,
            ratio=None,
            gear=d.integer(10, 80),
            starts=d.integer(1, 4),
            lead_angle=lead,
            efficiency=None,
            bearing_efficiency=None,
            worm_diameter=d.pick(None, d.log(5e-3, 0.04)),
            friction=d.pick(None, d.uniform(0.01, 0.3)),
            bearing=d.pick(None, _bearing(d)),
        )
    if stage.kind == "belt":
        return replace(
            stage,
            kind=d.pick("belt", "chain"),
            ratio=None,
            pinion=d.integer(8, 20),
            gear=d.integer(20, 60),
            efficiency=d.pick(None, stage.efficiency),
        )
    return replace(stage, efficiency=None) if d.chance(0.5) and stage.kind == "planetary" else stage


def _varied_motors(d: _Dice, group: sc.MotorGroup) -> sc.MotorGroup:
    group = replace(group, stall_torque=0.9 * group.stall_torque)
    free, held = group.no_load_speed, group.stall_torque
    way = d.pick("data sheet", "bench", "lever", "points", "label", "turns")
    if way == "bench":
        return replace(
            group,
            known_by="bench",
            stall_torque=None,
            stall_current=None,
            brush_drop=0.0,
            gearbox=None,
            terminal_resistance=group.voltage / group.stall_current,
        )
    if way == "lever":
        share = max(d.uniform(0.2, 0.9), 1.2 * group.no_load_current / group.stall_current)
        return replace(
            group,
            known_by="bench",
            stall_torque=None,
            stall_current=None,
            no_load_speed=None,
            brush_drop=0.0,
            gearbox=None,
            lever_voltage=share * group.voltage,
            lever_current=share * group.stall_current,
            lever_force=share * held / 0.1,
            lever_arm=0.1,
        )
    if way == "points":
        shares = sorted(d.uniform(0, 0.9) for _ in range(d.integer(2, 5)))
        span = group.stall_current - group.no_load_current
        idle, off = group.no_load_current, d.uniform(0.98, 1)
        points = tuple(
            sc.MotorPoint(torque=x * held, speed=(1 - x) * free * off, current=idle + x * span)
            for x in shares
        )
        return replace(
            group,
            known_by="points",
            points=points,
            no_load_speed=None,
            no_load_current=None,
            stall_torque=None,
            stall_current=None,
            gearbox=None,
        )
    if way == "label":
        wide = d.log(0.01, 0.06)
        return replace(
            group,
            known_by="label",
            no_load_current=None,
            stall_torque=None,
            stall_current=None,
            gearbox=None,
            body_diameter=wide,
            body_length=wide * d.uniform(1, 2.5),
            brush_drop=0.0,
        )
    if way == "turns":
        turns = d.log(5, 100)
        return replace(
            group,
            no_load_speed=None,
            output_turns=turns,
            output_time=turns * 2 * math.pi / free,
            gearbox=None,
        )
    box = sc.Gearbox(
        ratio=d.log(2, 200), kind=d.pick("spur", "planetary"), data_at=d.pick("output", "motor")
    )
    return replace(group, gearbox=box) if d.chance(0.4) else group


def _motors(d: _Dice) -> sc.MotorGroup:
    voltage = d.pick(3.0, 6.0, 12.0, 24.0)
    power = d.log(0.05, 500)  # greatest mechanical power
    speed = d.log(100, 3000)
    stall_torque = 4 * power / speed
    share = d.log(0.002, 0.3)
    efficiency = d.uniform(0.6, 0.98)
    stall_current = stall_torque * speed / voltage / efficiency
    count = d.pick(1, 1, 2, 4, 7)
    group = sc.MotorGroup(
        count=count,
        dead=d.integer(0, count - 1) if count > 1 and d.chance(0.2) else 0,
        voltage=voltage,
        no_load_speed=speed,
        no_load_current=share * stall_current,
        stall_torque=stall_torque,
        stall_current=stall_current,
        brush_drop=d.pick(0.0, 0.0, 0.05 * voltage),
        drag_speed_share=d.pick(0.0, 0.5),
        gearbox=sc.Gearbox(ratio=d.log(2, 200), efficiency=d.uniform(0.4, 0.95), data_at="output")
        if d.chance(0.1)
        else None,
    )
    # So that the torque constant is the drawn share of the speed constant, whatever drag and
    # brushes take.
    kept = (
        (1 - share) * (1 - share * (1 - group.drag_speed_share)) * (1 - group.brush_drop / voltage)
    )
    return replace(group, stall_torque=stall_torque * kept)


def _stages(d: _Dice) -> tuple[sc.Stage, ...]:
    if d.chance(0.05):
        return ()
    total = d.log(1, 1e6)
    found, ratio = [], 1.0
    efficiency = d.pick(None, 0.9999, d.uniform(0.4, 0.99))
    while ratio < total and len(found) < 12:
        if d.chance(0.2):
            step = d.log(1.5, 60)
            e = d.uniform(0.25, 0.98)
            found.append(
                sc.Stage(
                    kind=d.pick("belt", "worm", "planetary"),
                    ratio=step,
                    efficiency=e,
                    bearing_efficiency=d.pick(1.0, 0.98),
                    shaft_drag=d.pick(None, 0.0),
                )
            )
        else:
            pinion = d.integer(10, 30)
            gear = d.integer(pinion, 80)
            step = gear / pinion
            found.append(
                sc.Stage(
                    pinion=pinion,
                    gear=gear,
                    module=d.log(3e-4, 4e-3),
                    width=d.log(3e-3, 3e-2),
                    material=d.pick(*_GEAR_MATERIALS),
                    walls=d.pick(None, 2, 5),
                    infill=d.pick(None, 0.2),
                    efficiency=efficiency,
                    tested_tooth_force=d.pick(None, 1e7),
                    shaft_drag=d.pick(None, 0.0),
                    greased=d.chance(0.5),
                )
            )
        ratio *= step
    return tuple(found)


def _mass(d: _Dice, groups, stages, drum: sc.Drum, voltage: float) -> float:
    """Mostly near what the motors can carry, sometimes anything from grams to tonnes."""
    if d.chance(0.2):
        return d.log(1e-3, 5e3)
    ratio = 1.0
    for stage in stages:
        ratio *= stage.ratio if stage.ratio is not None else stage.gear / stage.pinion
    torque = sum((g.count - g.dead) * g.stall_torque for g in groups) * voltage / groups[0].voltage
    return min(max(torque * ratio * 0.5 / (drum.diameter / 2) / 9.8 * d.log(0.02, 2), 1e-3), 1e5)


def _programme(d: _Dice) -> tuple[sc.Phase, ...]:
    if d.chance(0.6):
        return ()
    found = []
    for _ in range(d.integer(1, 12)):
        action = d.pick("raise", "raise", "lower", "off", "short")
        until = {"raise": d.pick("top", "time"), "lower": d.pick("floor", "time")}.get(
            action, "time"
        )
        powered = action in ("raise", "lower")
        found.append(
            sc.Phase(
                action=action,
                until=until,
                time=d.log(0.01, 30) if until == "time" or d.chance(0.3) else None,
                ramp=d.pick(0.0, d.log(0.01, 3)) if powered else 0.0,
                current_limit=d.log(0.05, 50) if powered and d.chance(0.2) else None,
            )
        )
    return tuple(found)
