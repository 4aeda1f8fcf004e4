"""A jam in closed form against full simulations of a load that snags."""

from dataclasses import replace

import numpy as np
import pytest
from shipped import FOLDER

from winchsim import assess, read as load
from winchsim.assessment.jam import jam
from winchsim.assessment.kinds import NoLimit
from winchsim.inputs import with_value
from winchsim.model import Event, build
from winchsim.simulation import simulate


def _unbreakable(machine):
    links = tuple(
        replace(
            k,
            strength=replace(k.strength, value=k.strength.value * 1e3, high=k.strength.high * 1e3),
        )
        for k in machine.links
    )
    return replace(machine, links=links)


def _snagged(inputs, height):
    """Largest rope force after a snag, and the largest share of any part's capacity, simulated."""
    record = simulate(_unbreakable(build(with_value(inputs, "load.snag_height", height))))
    first = int(np.searchsorted(record.time, record.first(Event.SNAGGED).time))
    return float(record["tension"][first:].max()), max(
        demand.share for demand in record.demands
    ) * 1e3


@pytest.mark.parametrize(("inertia", "within"), [(1e-7, 4e-4), (1e-6, 4e-3), (1e-5, 0.015)])
def test_the_rope_force_of_a_jam_is_that_of_a_simulated_snag(small, inertia, within):
    inputs = small(rope={"breaking_force": 1500.0}, load={"drum_height": 0.5})
    inputs = with_value(inputs, "motors.1.rotor_inertia", inertia)
    tension, share = _snagged(inputs, 0.0999)
    found = jam(build(inputs))
    assert found.tension == pytest.approx(tension, rel=within)
    assert found.parts[0].dynamic == pytest.approx(1 / share, rel=within)


def test_rotors_alone_can_break_what_the_stall_torque_does_not(small):
    inputs = small(rope={"breaking_force": 600.0}, load={"drum_height": 0.5})
    found = jam(build(with_value(inputs, "motors.1.rotor_inertia", 1e-4)))
    assert found.breaks and not found.breaks_static
    assert found.no_limit is NoLimit.ROTORS


@pytest.mark.parametrize(("share", "breaks"), [(0.97, False), (1.1, True)])
def test_the_limit_of_a_jam_holds_in_a_simulated_snag(small, share, breaks):
    inputs = small(rope={"breaking_force": 165.0}, load={"drum_height": 0.5})
    found = jam(build(inputs))
    assert found.breaks and found.limit is not None
    limited = with_value(inputs, "supply.current_limit", found.limit * share)
    record = simulate(with_value(limited, "load.snag_height", 0.0999))
    assert (record.first(Event.OVERLOAD) is not None) is breaks


@pytest.mark.parametrize("falls", [1, 2])
def test_a_load_on_the_floor_pulls_no_harder_than_the_motors_can(small, falls):
    parts = {"rope": {"falls": falls}}
    inputs = small(load={"mass": 80.0 * falls}, **parts)
    found = assess(simulate(inputs), actions=False, ranges=False).jam
    hanging = small(load={"mass": 80.0 * falls, "start_height": 0.05}, **parts)
    hangs = jam(build(hanging)).static_tension
    pull = build(inputs).scales.pull / falls
    assert found.tension == found.static_tension < pull < 1.01 * hangs
    assert all(part.dynamic == part.static for part in found.parts)
    assert found.no_limit is NoLimit.NOT_NEEDED


def _lifting_by_hand(ideal, make_motor, make_stage, rope, **supply):
    """2 motors of 20 mN·m/A at 6 V and 2 ohm on 50:1 at 0.8 and a drum of 10 mm radius pull 480 N
    at rest: statics."""
    return build(
        ideal(
            motors=make_motor(2.0, 0.02, count=2, rotor_inertia=1e-12),
            radius=0.01,
            span=1.0,
            load={"mass": 4.0},
            stages=(make_stage(50.0, 0.8),),
            rope={"axial_stiffness": 1e5, "damping_ratio": 0.0, **rope},
            supply=supply,
        )
    )


def test_a_jam_by_hand(ideal, make_motor, make_stage):
    found = jam(_lifting_by_hand(ideal, make_motor, make_stage, {"breaking_force": 1000.0}))
    pull = 2 * 0.02 * 3.0 * 50.0 * 0.8 / 0.01
    knot = next(part for part in found.parts if part.kind == "rope_knot")
    assert pull == pytest.approx(480.0) and found.current == pytest.approx(6.0)
    assert found.static_tension == pytest.approx(pull) and knot.static == pytest.approx(
        1000.0 / pull
    )
    assert not found.breaks and found.limit is None and found.no_limit is NoLimit.NOT_NEEDED
    assert found.needed_current == pytest.approx(6.0 * 4.0 * 9.81 / pull, rel=1e-6)
    # At rest a fifth more is lost than the quarter of the load's torque that motion takes.
    sticks = replace(_lifting_by_hand(ideal, make_motor, make_stage, {}), breakaway=1.2)
    assert jam(sticks).needed_current == pytest.approx(1.3 / 1.25 * found.needed_current, rel=1e-6)


def test_the_current_limit_is_where_the_weakest_part_just_holds(ideal, make_motor, make_stage):
    """120 N are a quarter of the 480 N of 6 A; rotors of next to no inertia on a rope without
    damping add nothing."""
    rope = {"breaking_force": 240.0, "knot_efficiency": 0.5}
    found = jam(_lifting_by_hand(ideal, make_motor, make_stage, rope))
    assert found.breaks and found.breaks_static and found.parts[0].label == "rope at its knot"
    assert found.limit == pytest.approx(1.5, rel=0.02) and found.limit <= 1.5
    limited = jam(_lifting_by_hand(ideal, make_motor, make_stage, rope, current_limit=1.5))
    assert limited.parts[0].static == pytest.approx(
        1.0
    ) and limited.unlimited_current == pytest.approx(6.0)
    saved = jam(
        _lifting_by_hand(ideal, make_motor, make_stage, rope, current_limit=0.99 * found.limit)
    )
    assert not saved.breaks


def test_no_limit_helps_a_part_that_the_load_itself_breaks(ideal, make_motor, make_stage):
    found = jam(_lifting_by_hand(ideal, make_motor, make_stage, {"breaking_force": 30.0}))
    assert found.breaks and found.limit is None and found.no_limit is NoLimit.RAISING_BREAKS


def test_a_slow_stall_pulls_what_the_balance_says(small):
    """Against the full simulation: the rope of a load that cannot move is pulled taut until the
    motors stand still."""
    winch = small(
        load={"snag_height": 0.01},
        rope={"axial_stiffness": 500.0, "damping_ratio": 0.5},
        settings={"stall_watch": 0.2},
    )
    record = simulate(winch)
    assert record.first(Event.STALLED) is not None
    assert record["tension"].max() == pytest.approx(jam(record.machine).static_tension, rel=1e-4)


@pytest.mark.parametrize("number", ["01", "09", "12"])
def test_the_range_of_a_jam_holds_light_and_heavy_rotors(number):
    inputs = load(str(next(FOLDER.glob(f"{number}-*.toml"))))
    (rotor,) = (row for row in build(inputs).assumed if row.path.endswith("rotor_inertia"))
    found = assess(simulate(inputs), actions=False).jam
    heavy, light = (
        {row.label: row.dynamic for row in jam(build(with_value(inputs, rotor.path, end))).parts}
        for end in (rotor.high, rotor.low)
    )
    for part in found.parts[:3]:
        ends = heavy[part.label], light[part.label]
        assert 0.99 * part.low < ends[0] <= part.dynamic <= ends[1] < 1.01 * part.high
    worst = found.parts[0].label
    assert light[worst] > 1.2 * heavy[worst]
