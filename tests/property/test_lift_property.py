"""Properties of whole lifts over many winches."""

import math
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from functools import partial

import numpy as np
import pytest
from hypothesis import assume, given, settings, strategies as st

from winchsim.assessment.margins import hardest_margins
from winchsim.face import parse as loads
from winchsim.hybrid import run
from winchsim.inputs import walk
from winchsim.model import Event, build, raise_time
from winchsim.simulation import simulate

from ..model.conftest import must_be_sound

QUICK = settings(max_examples=20, deadline=None)

WINCHES = st.fixed_dictionaries(
    {
        "mass": st.floats(1.0, 14.0),
        "ratio": st.floats(3.5, 6.0),
        "efficiency": st.floats(0.7, 1.0),
        "idle": st.floats(0.0, 0.3),
        "drag": st.floats(0.0, 5e-4),
        "stiffness": st.floats(3e3, 1e5),
        "damping": st.floats(0.02, 1.0),
        "falls": st.integers(1, 2),
        "layers": st.booleans(),
        "slack": st.sampled_from([0.0, 0.003]),
        "guide": st.sampled_from([0.0, 5.0]),
    }
)


@pytest.fixture(scope="module")
def winch(small, make_motor, make_stage):
    """Maker of a small winch from the numbers drawn."""

    def make(
        *,
        mass,
        ratio,
        efficiency,
        idle,
        drag,
        stiffness,
        damping,
        falls,
        layers,
        slack,
        guide,
        **more,
    ):
        return small(
            motors=make_motor(4.0, 0.005, idle_current=idle, count=2),
            stage=make_stage(ratio, efficiency, shaft_drag=drag, repeat=3),
            drum={"width": 0.008 if layers else 0.040},
            rope={
                "axial_stiffness": stiffness,
                "damping_ratio": damping,
                "falls": falls,
                "slack": slack,
            },
            load={"mass": mass, "height": 0.06, "guide_friction": guide},
            **more,
        )

    return make


@QUICK
@given(drawn=WINCHES)
def test_books_close_and_nothing_held_creeps(winch, drawn):
    """Whatever becomes of the lift: energy closes, ropes pull, time runs on, and a drum that is
    held stands still."""
    record = must_be_sound(simulate(winch(**drawn)))
    assert all(
        value >= -1e-6 * record.energy.scale
        for head, value in record.energy.spent.items()
        if "stretch" not in head
    )


@QUICK
@given(drawn=WINCHES, more=st.floats(1.02, 1.5))
def test_more_load_never_lifts_faster(winch, drawn, more):
    times = []
    for mass in (drawn["mass"], drawn["mass"] * more):
        top = simulate(winch(**{**drawn, "mass": mass})).first(Event.TOP)
        times.append(math.inf if top is None else top.time)
    assert times[0] <= times[1] * (1 + 1e-6)


@settings(max_examples=8, deadline=None)
@given(drawn=WINCHES)
def test_two_methods_agree_on_the_lift_time(winch, drawn):
    tops = [simulate(winch(**drawn), rtol=1e-6).first(Event.TOP)]
    with pytest.MonkeyPatch.context() as changed:
        changed.setattr("winchsim.simulation.run", partial(run, method="Radau"))
        tops.append(simulate(winch(**drawn), rtol=1e-6).first(Event.TOP))
    assert (tops[0] is None) is (tops[1] is None)
    if tops[0] is not None:
        assert tops[0].time == pytest.approx(tops[1].time, rel=2e-4)


@QUICK
@given(drawn=WINCHES)
def test_lift_time_is_near_the_closed_form(winch, drawn):
    """The steady speed of each layer gives the time of a lift that is long enough, on a stiff rope
    and clear of a stall."""
    machine = build(winch(**{**drawn, "stiffness": 1e5}))
    estimate = raise_time(machine)
    assume(0.5 < estimate < 30.0 and hardest_margins(machine).resting > 1.3)
    record = simulate(machine)
    top, lifted = record.first(Event.TOP), record.first(Event.LIFT_OFF)
    # The rope that stretch and slack ask for is wound on before lift-off; then the height, at the
    # steady speed.
    assert top.time - lifted.time == pytest.approx(estimate, rel=0.05)


@QUICK
@given(
    drawn=WINCHES,
    mass=st.floats(0.1, 20.0),
    length=st.floats(0.2, 5.0),
    time=st.floats(0.3, 4.0),
)
def test_similar_winches_lift_alike(winch, drawn, mass, length, time):
    """The same winch in other units of mass, length and time (gravity with them) tells the same
    story."""
    force, torque = mass * length / time**2, mass * length**2 / time**2
    first = winch(**drawn)
    first = replace(first, load=replace(first.load, drum_height=0.36))
    (motors,), (stage,) = first.motors, first.stage
    power = torque / time  # amperes stay, so this scales volts and watts alike
    other = replace(
        first,
        motors=(
            replace(
                motors,
                voltage=motors.voltage * power,
                no_load_speed=motors.no_load_speed / time,
                stall_torque=motors.stall_torque * torque,
                rotor_inertia=motors.rotor_inertia * mass * length**2,
                winding_heat_capacity=motors.winding_heat_capacity * torque,
                case_heat_capacity=motors.case_heat_capacity * torque,
                winding_to_case=motors.winding_to_case / power,
                case_to_ambient=motors.case_to_ambient / power,
            ),
        ),
        supply=replace(
            first.supply,
            voltage=first.supply.voltage * power,
            resistance=first.supply.resistance * power,
        ),
        stage=(replace(stage, shaft_drag=stage.shaft_drag * torque),),
        drum=replace(
            first.drum,
            diameter=first.drum.diameter * length,
            width=first.drum.width * length * (1 + 1e-9),
            inertia=first.drum.inertia * mass * length**2,
        ),
        rope=replace(
            first.rope,
            diameter=first.rope.diameter * length,
            axial_stiffness=first.rope.axial_stiffness * force,
            breaking_force=first.rope.breaking_force * force,
            slack=first.rope.slack * length,
        ),
        load=replace(
            first.load,
            mass=first.load.mass * mass,
            height=first.load.height * length,
            drum_height=first.load.drum_height * length,
            guide_friction=first.load.guide_friction * force,
        ),
        settings=replace(
            first.settings,
            gravity=first.settings.gravity * length / time**2,
            watch=first.settings.watch * time,
        ),
    )
    assume(first.load.drum_height * length - first.load.height * length > 0.05)
    a, b = simulate(first, rtol=1e-7), simulate(other, rtol=1e-7)
    tops = [r.first(Event.TOP) for r in (a, b)]
    assert (tops[0] is None) is (tops[1] is None)
    if tops[0] is not None:
        assert tops[1].time == pytest.approx(tops[0].time * time, rel=3e-5)
        assert b["tension"].max() == pytest.approx(a["tension"].max() * force, rel=1e-4)
        assert b["current"].max() == pytest.approx(a["current"].max(), rel=1e-6)
        assert b.energy.source == pytest.approx(a.energy.source * torque, rel=1e-4)


SCENARIO = """
[[motors]]
count = 4
voltage = "6 V"
no_load_speed = "11500 rpm"
no_load_current = "90 mA"
stall_torque = "6.1 mN*m"
stall_current = "1.4 A"
[supply]
voltage = "6 V"
[[stage]]
kind = "other"
ratio = 400
efficiency = 0.7
[drum]
diameter = "{core}"
width = "{width}"
[rope]
diameter = "{rope}"
[load]
mass = "5 kg"
height = "{height}"
"""


@QUICK
@given(
    core=st.integers(4, 16),
    width=st.integers(8, 64),
    rope=st.integers(1, 2),
    height=st.integers(16, 64),
)
def test_inches_and_millimetres_give_the_same_floats(core, width, rope, height):
    """Thirty-seconds and sixteenths of an inch, as fractions and as the millimetres that they
    exactly are."""
    sizes = {
        "core": Fraction(core, 16),
        "width": Fraction(width, 16),
        "rope": Fraction(rope, 16),
        "height": Fraction(height, 16),
    }
    inches = loads(SCENARIO.format(**{key: f"{size} in" for key, size in sizes.items()}))
    exact = {
        key: Decimal(size.numerator) / Decimal(size.denominator) * Decimal("25.4")
        for key, size in sizes.items()
    }
    metric = loads(SCENARIO.format(**{key: f"{size} mm" for key, size in exact.items()}))
    assert list(walk(inches)) == list(walk(metric))
    a, b = simulate(inches), simulate(metric)
    assert a.events == b.events
    assert np.array_equal(a["height"], b["height"]) and np.array_equal(a["current"], b["current"])
