"""Snags: what breaks, and the current limit that saves it, each found by full simulation."""

from dataclasses import replace

import pytest
from four_motors import FOUR_MOTORS

from winchsim.assessment.kinds import NoLimit
from winchsim.inputs import (
    Drum,
    Inputs,
    Load,
    Phase,
    Rope,
    Settings,
    Stage,
    Supply,
    with_value,
)
from winchsim.model import Event
from winchsim.scenario.materials_table import load_friction_pairs, load_materials, load_ropes
from winchsim.simulation import simulate
from winchsim.studies.further_runs import snag_study


def _winch(**rope) -> Inputs:
    return Inputs(
        motors=(FOUR_MOTORS,),
        supply=Supply(voltage=6.0, resistance=0.1),
        stage=(Stage(kind="planetary", ratio=600.0, efficiency=0.6, shaft_drag=0.0),),
        drum=Drum(diameter=0.01, width=0.06, inertia=1e-6, anchor_hold=1e4),
        rope=Rope(diameter=0.003, **rope),
        load=Load(mass=20.0, height=0.4),
        settings=Settings(),
        materials=load_materials(),
        ropes=load_ropes(),
        friction_pairs=load_friction_pairs(),
    )


def test_a_weak_rope_breaks_and_a_current_limit_saves_it():
    inputs = _winch(breaking_force=1500.0, knot_efficiency=0.5)
    found = snag_study(inputs)
    assert found.height == pytest.approx(0.2)
    assert "rope" in found.as_built.broke
    assert found.safe is not None
    snagged = with_value(
        with_value(inputs, "load.snag_height", 0.2),
        "supply.current_limit",
        found.safe.current_limit,
    )
    record = simulate(snagged)
    assert record.first(Event.OVERLOAD) is None
    assert record.first(Event.STALLED) is not None
    over = simulate(with_value(snagged, "supply.current_limit", found.safe.current_limit * 1.1))
    assert over.first(Event.OVERLOAD) is not None


def test_a_strong_build_needs_no_limit():
    found = snag_study(_winch(breaking_force=50_000.0))
    assert not found.as_built.broke
    assert found.safe is None
    assert found.no_limit is NoLimit.NOT_NEEDED


def test_rotors_alone_can_break_what_the_stall_torque_would_not():
    inputs = _winch(breaking_force=700.0, knot_efficiency=0.5)
    found = snag_study(replace(inputs, motors=(replace(inputs.motors[0], rotor_inertia=2e-5),)))
    assert found.as_built.broke
    assert found.safe is None
    assert found.no_limit is NoLimit.ROTORS


def _breaks_at_its_second_layer(snag_height: float) -> Inputs:
    """The reduction bears the first layer of rope, which ends less than 0.2 m up, with the load on
    it, but not the second."""
    inputs = _winch(breaking_force=2e5)
    weak = replace(inputs.stage[0], torque_limit=1.55 * 20.0 * 9.80665 * 0.0065)
    inputs = replace(inputs, stage=(weak,), drum=replace(inputs.drum, width=0.021))
    broke = simulate(inputs).first(Event.OVERLOAD)
    assert broke is not None and 0.15 < broke.height < 0.2
    return with_value(inputs, "load.snag_height", snag_height)


@pytest.mark.parametrize(("height", "snagged"), [(0.1, True), (0.35, False)])
def test_a_lift_that_breaks_the_link_by_itself_blames_neither_rotors_nor_a_snag_above(
    height, snagged
):
    found = snag_study(_breaks_at_its_second_layer(height))
    assert found.as_built.broke and found.as_built.snagged is snagged and found.safe is None
    assert found.no_limit is NoLimit.RAISING_BREAKS


def test_a_lift_that_never_comes_to_the_snag_has_no_study():
    assert snag_study(replace(_winch(), load=Load(mass=400.0, height=0.4))) is None


def test_a_programme_of_its_own_is_cut_to_its_raise():
    inputs = replace(
        _winch(),
        phase=(Phase(action="raise", until="top", voltage=5.0), Phase(action="off", time=2.0)),
    )
    assert snag_study(inputs).as_built.snagged
