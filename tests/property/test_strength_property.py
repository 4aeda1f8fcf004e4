"""What must hold for the strength of any gear: more material never weakens it, and load counts in
proportion."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings, strategies as st

from winchsim.strength.materials import Material, Origin
from winchsim.strength.printed import PrintedBody, body_strength
from winchsim.strength.teeth import Tooth, tooth_force, tooth_strength

ORIGINS = {
    key: Origin("a paper")
    for key in ("tensile_strength", "flexural_strength", "softening", "across_layers")
}
PRINT = Material(
    "print",
    "printed polymer",
    1270.0,
    50e6,
    2e9,
    flexural_strength=80e6,
    softening=71.0,
    across_layers=0.6,
    origins=ORIGINS,
)

bodies = st.builds(
    PrintedBody,
    walls=st.integers(1, 12),
    line_width=st.floats(0.2e-3, 1.2e-3),
    infill=st.floats(0.0, 1.0),
    direction=st.sampled_from(["lying", "standing"]),
)
teeth = st.builds(
    Tooth,
    teeth=st.integers(8, 120),
    module=st.floats(0.4e-3, 4e-3),
    width=st.floats(2e-3, 40e-3),
    shift=st.floats(0.0, 0.3),
)
grown = st.floats(1.0, 3.0)
SLACK = 1 - 1e-9
modest = settings(max_examples=40, deadline=None, derandomize=True)


def factor(
    tooth: Tooth,
    body: PrintedBody,
    torque: float = 1.0,
    sharing: int = 1,
    temperature: float = 23.0,
) -> float:
    """Factor of a tooth whose gear carries a torque [N·m]."""
    strength = tooth_strength(tooth, PRINT, body=body, temperature=temperature)
    demand = float(tooth_force(torque, tooth.teeth * tooth.module, sharing))
    return strength.value / demand if demand > 0.0 else math.inf


def hub(body: PrintedBody, width: float = 10e-3, temperature: float = 23.0) -> float:
    """Torque that the body of a gear bears. [N·m]"""
    return body_strength(PRINT, body, width, 8e-3, 60e-3, temperature).value


@modest
@given(bodies, st.integers(1, 6))
def test_more_walls_never_weaken_the_body(body, more):
    assert hub(replace(body, walls=body.walls + more)) >= SLACK * hub(body)


@modest
@given(bodies, st.floats(0.0, 1.0), st.floats(0.0, 60.0))
def test_more_infill_never_weakens_the_body_and_warmth_never_strengthens_it(body, share, warmer):
    denser = replace(body, infill=min(1.0, body.infill + share * (1.0 - body.infill)))
    assert hub(denser) >= SLACK * hub(body) >= SLACK**2 * hub(body, temperature=23.0 + warmer)


@modest
@given(teeth, bodies, grown)
def test_a_wider_face_never_weakens(tooth, body, by):
    assert factor(replace(tooth, width=by * tooth.width), body) == pytest.approx(
        by * factor(tooth, body)
    )


@modest
@given(teeth, bodies, grown)
def test_a_larger_module_never_weakens_at_the_same_torque(tooth, body, by):
    assert factor(replace(tooth, module=by * tooth.module), body) >= SLACK * factor(tooth, body)


@modest
@given(teeth, bodies, st.floats(1e-3, 1e3), grown)
def test_factors_fall_inversely_with_the_load(tooth, body, torque, by):
    assert factor(tooth, body, by * torque) == pytest.approx(factor(tooth, body, torque) / by)


@modest
@given(teeth, bodies, st.integers(1, 30))
def test_sharing_among_pinions_multiplies_the_factor(tooth, body, pinions):
    assert factor(tooth, body, sharing=pinions) == pytest.approx(pinions * factor(tooth, body))


@modest
@given(teeth, bodies, st.floats(23.0, 120.0), st.floats(0.0, 60.0))
def test_warmth_never_strengthens(tooth, body, temperature, more):
    warmer = factor(tooth, body, temperature=temperature + more)
    assert warmer <= factor(tooth, body, temperature=temperature) / SLACK


@modest
@given(teeth, bodies, st.floats(1.0, 2.5), st.floats(23.0, 70.0))
def test_the_range_holds_the_best_estimate_and_at_least_a_factor_of_two(
    tooth, body, ratio, temperature
):
    found = tooth_strength(tooth, PRINT, body=body, contact_ratio=ratio, temperature=temperature)
    assert found.low <= found.value / 2 / SLACK and found.high >= 2 * found.value * SLACK
    assert (
        found.value
        >= SLACK * tooth_strength(tooth, PRINT, body=body, temperature=temperature).value
    )
