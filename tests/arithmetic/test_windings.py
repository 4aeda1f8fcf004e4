"""Layers and guide sheaves of whole lifts against sums worked out here."""

import math
from dataclasses import replace

import pytest

from winchsim.inputs import Drum, Phase, Sheave
from winchsim.model import Event, build
from winchsim.physics import chain, drum
from winchsim.simulation import simulate


class TestLayers:
    """Layered drum: 50 mm core, 60 mm wide, 6 mm rope, ten turns a layer.

    Exercise of a school-mathematics site (its own outer diameter uses another packing); lengths are
    the sum of n pi D over layers, recomputed. Nested layers rise by sqrt(3)/2 of a rope.
    """

    STACKED = (1.7593, 3.8956, 6.4089, 9.2991, 12.5664, 16.2106, 20.2319)
    NESTED = (1.7593, 3.8451, 6.2573, 8.9961, 12.0613, 15.4530, 19.1712, 23.2159)

    @pytest.mark.parametrize(("nested", "ends"), [(False, STACKED), (True, NESTED)])
    def test_lengths(self, nested, ends):
        stack = drum.layers(0.05, 0.06, 0.006, 20.0, nested=nested)
        assert [layer.end for layer in stack] == pytest.approx(ends, abs=6e-5)

    @pytest.mark.parametrize(("length", "count", "outer"), [(1.0, 1, 0.062), (20.0, 7, 0.134)])
    def test_outer_diameters(self, length, count, outer):
        stack = drum.layers(0.05, 0.06, 0.006, length)
        assert len(stack) == count
        assert 2 * stack[-1].radius + 0.006 == pytest.approx(outer)

    @pytest.mark.parametrize(("layering", "ends"), [("stacked", STACKED), ("nested", NESTED)])
    def test_radius_during_a_lift(self, ideal, make_motor, layering, ends):
        speed = 30.0
        inputs = ideal(
            motors=make_motor(0.01, 1.0, voltage=speed, rotor_inertia=1e-3),
            radius=0.028,
            span=12.0,
            rope={"axial_stiffness": 1e8},
            load={"mass": 5.0, "height": 10.0},
            phase=(Phase(action="raise", until="top"),),
        )
        inputs = replace(
            inputs,
            drum=Drum(
                diameter=0.05,
                width=0.06,
                layering=layering,
                dead_turns=0.0,
                inertia=0.0,
                anchor_hold=1e7,
            ),
            rope=replace(inputs.rope, diameter=0.006),
        )
        record = simulate(inputs)
        began = [e for e in record.events if e.event is Event.LAYER]
        assert len(began) == sum(end < 10.0 for end in ends) == 4
        rise = 0.006 * (1.0 if layering == "stacked" else math.sqrt(3) / 2)
        for number, event in enumerate(began, start=1):
            # The rope is stretched by less than a millionth: what is wound on is the load's rise.
            assert event.height == pytest.approx(ends[number - 1], abs=6e-5)
            inside = (record["layer"] == number + 1) & (
                record["height"] < min(ends[number], 10.0) - 0.01
            )
            ratio = record["speed"][inside][-1] / record["drum_speed"][inside][-1]
            assert ratio == pytest.approx(0.028 + number * rise, rel=1e-3)
        assert record.first(Event.TOP) is not None
        assert record.energy.error <= 1e-4


def test_guide_sheaves_multiply(ideal, make_motor):
    # Three sheaves keep the third power, and in reverse each 2 - 1/E.
    machine = build(
        ideal(
            motors=make_motor(1.0, 1.0),
            radius=0.05,
            span=5.0,
            sheave=(Sheave(efficiency=0.962, repeat=3),),
            load={"mass": 5.0},
        )
    )
    assert chain.demand(machine.chain, 1)(1.0) == pytest.approx(0.962**-3)
    assert chain.demand(machine.chain, -1)(1.0) == pytest.approx((2 - 1 / 0.962) ** 3)
