"""A jam in closed form against full simulations of a load that snags."""

from dataclasses import replace

import numpy as np
import pytest

from winchsim.assessment.evaluate import assess
from winchsim.assessment.jam import jam
from winchsim.assessment.kinds import NoLimit
from winchsim.inputs import with_value
from winchsim.model import Event, build
from winchsim.simulation import simulate


def _unbreakable(machine):
    links = tuple(
        replace(k, strength=replace(k.strength, value=k.strength.value * 1e3, high=k.strength.high * 1e3)) for k in machine.links
    )
    return replace(machine, links=links)


def _snagged(inputs, height):
    """Largest rope force after a snag, and the largest share of any part's capacity, simulated."""
    machine = _unbreakable(build(with_value(inputs, "load.snag_height", height)))
    record = simulate(machine)
    event = record.first(Event.SNAGGED)
    first = int(np.searchsorted(record.time, event.time))
    return float(record["tension"][first:].max()), max(demand.share for demand in record.demands) * 1e3


@pytest.mark.parametrize("inertia", [1e-7, 1e-6, 1e-5])
def test_the_rope_force_of_a_jam_is_that_of_a_simulated_snag(small, inertia):
    inputs = small(rope={"breaking_force": 1500.0}, load={"drum_height": 0.5})
    inputs = with_value(inputs, "motors.1.rotor_inertia", inertia)
    tension, share = _snagged(inputs, 0.0999)
    found = jam(build(inputs))
    assert found.tension == pytest.approx(tension, rel=0.03)
    assert found.parts[0].dynamic == pytest.approx(1 / share, rel=0.03)


def test_rotors_alone_can_break_what_the_stall_torque_does_not(small):
    inputs = small(rope={"breaking_force": 600.0}, load={"drum_height": 0.5})
    heavy = with_value(inputs, "motors.1.rotor_inertia", 1e-4)
    found = jam(build(heavy))
    assert found.breaks and not found.breaks_static
    assert found.no_limit is NoLimit.ROTORS


def test_the_limit_of_a_jam_holds_in_a_simulated_snag(small):
    inputs = small(rope={"breaking_force": 165.0}, load={"drum_height": 0.5})
    found = jam(build(inputs))
    assert found.breaks and found.limit is not None
    for share, breaks in ((0.97, False), (1.1, True)):
        limited = with_value(inputs, "supply.current_limit", found.limit * share)
        record = simulate(with_value(limited, "load.snag_height", 0.0999))
        assert (record.first(Event.OVERLOAD) is not None) is breaks


def test_a_strong_build_needs_no_limit(small):
    found = jam(build(small()))
    assert not found.breaks
    assert found.no_limit is NoLimit.NOT_NEEDED


def test_a_load_on_the_floor_pulls_no_harder_than_the_motors_can(small):
    inputs = small(load={"mass": 80.0})
    found = assess(simulate(inputs), actions=False, ranges=False).jam
    machine = build(inputs)
    assert found.static_tension < machine.scales.pull
    assert found.no_limit is NoLimit.NOT_NEEDED
