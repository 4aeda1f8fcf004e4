"""A series of lifts: warmth by the first law, charge and damage by counting."""

import math
from dataclasses import replace

import numpy as np
import pytest
from shipped import FOLDER

import winchsim
from winchsim.assessment.kinds import End
from winchsim.assessment.teeth import damage, tooth_lives
from winchsim.errors import DomainError
from winchsim.inputs import Phase, with_value
from winchsim.model import build
from winchsim.report.render.options import sentence_text
from winchsim.report.words.outcome import outcome
from winchsim.simulation import simulate
from winchsim.slow import lift_machine
from winchsim.studies.further_runs import repeat

LONG = 1e6


@pytest.fixture(scope="module")
def gate():
    return winchsim.read(next(FOLDER.glob("13-*.toml")))


def test_after_long_pauses_every_lift_is_the_first(small):
    found = repeat(small(), 4, LONG)
    assert found.done == 4 and found.settled and len(found.lifts) == 1


def test_a_programme_that_raises_for_a_time_goes_on_as_asked(small):
    found = repeat(small(phase=(Phase(action="raise", time=1.0),)), 2, LONG)
    assert found.done == 2 and found.lifts[0].end is End.DONE and found.lifts[0].time == 1.0


def test_without_pauses_the_windings_warm_from_lift_to_lift(gate):
    found = repeat(gate, 5, 0.0)
    starts = [lift.winding_start for lift in found.lifts]
    assert len(starts) == 5 and np.all(np.diff(starts) > 0)
    slower = [lift.time for lift in found.lifts]
    assert slower[-1] > slower[0]
    rested = repeat(gate, 5, 60.0)
    assert max(lift.winding for lift in rested.lifts) < max(lift.winding for lift in found.lifts)


def test_a_series_ends_with_the_lift_whose_windings_pass_their_limit(gate):
    warm = with_value(gate, "settings.ambient", 40.0)
    windings = [lift.winding for lift in repeat(warm, 3, 0.0).lifts]
    between = (windings[1] + windings[2]) / 2
    found = repeat(with_value(warm, "motors.1.winding_limit", between), 9, 0.0)
    assert found.done == 2 and [lift.too_hot for lift in found.lifts] == [False, False, True]
    once = outcome(winchsim.assess(simulate(gate), actions=False), series=found)
    shown = "Of 9 lifts in a row 2 reach the target; lift 3: windings too hot."
    assert sentence_text(once).startswith(shown)


def test_heat_is_kept_from_one_lift_to_the_next(gate):
    """First law over a lift and a pause in which nothing reaches the air: what the motors lose is
    in winding and case."""
    inputs = gate
    inputs = replace(inputs, motors=(replace(inputs.motors[0], case_to_ambient=1e4),))
    found = repeat(inputs, 2, 300.0)
    record, group = simulate(inputs), build(inputs).groups[0]
    heads = {"copper", "brushes", "motor drag", "motor friction"}
    heat = (
        sum(work for head, work in record.energy.spent.items() if str(head) in heads) / group.count
    )
    warmed = found.lifts[1].winding_start - inputs.settings.ambient
    stored = warmed * (group.heat.winding_capacity + group.heat.case_capacity)
    assert heat > 0 and stored == pytest.approx(heat, rel=0.01)


def test_a_warm_case_counts_alike_in_both_models(small):
    inputs = with_value(
        with_value(small(), "motors.1.winding_start", 80.0), "motors.1.case_start", 70.0
    )
    slow, record = lift_machine(build(inputs)), simulate(inputs)
    assert record["motor_1_case"][0] == 70.0
    assert slow["case_end"] == pytest.approx(record["motor_1_case"].max(), abs=0.5)


def test_the_battery_lasts_as_many_lifts_as_its_charge_holds(small):
    charge = repeat(small(), 1, LONG).lifts[0].charge
    inputs = small()
    supply = replace(inputs.supply, kind="battery", capacity=5.4 * charge)
    found = repeat(replace(inputs, supply=supply), 20, LONG)
    own = found.lifts[0].charge
    assert found.done == math.floor(5.4 * charge / own) and found.charge_left < own


def test_damage_of_unlike_lifts_adds_and_goes_with_the_power_of_the_line(gate):
    """Printed PLA: N = 2e6 (0.1/share)^5.5 cycles. O. H. Ezeh and L. Susmel, Int. J. Fatigue 126
    (2019) 319-326 (second-hand); the sum M. A. Miner, J. Appl. Mech. 12 (1945) A159-A164 (from
    memory)."""
    light, heavy = (simulate(with_value(gate, "load.mass", mass)) for mass in (2.0, 4.0))
    one, two, both = damage([light]), damage([heavy]), damage([light, heavy, heavy])
    for place, life in enumerate(tooth_lives(light)):
        assert both[life.label] == pytest.approx(
            [a + 2 * b for a, b in zip(one[life.label], two[life.label], strict=True)]
        )
        link = next(n for n, k in enumerate(light.machine.links) if k.label == life.label)
        shares = [record.demands[link].share for record in (light, heavy)]
        cycles = [tooth_lives(r)[place].cycles_per_lift for r in (light, heavy)]
        for share, number, sums in zip(shares, cycles, (one, two), strict=True):
            expected = number / (2e6 * (0.1 / share) ** 5.5)
            assert sums[life.label][1] == pytest.approx(expected, rel=1e-6)


def test_a_series_counts_the_lifts_to_the_first_broken_tooth(gate):
    found = repeat(gate, 30, LONG)
    assert found.damage == pytest.approx(
        [30 / n for n in (found.life.high, found.life.lifts, found.life.low)]
    )
    assert found.life.lifts == min(life.lifts for life in tooth_lives(simulate(gate)))
    assert found.damage[0] < 1 < found.damage[2]  # holds in one series, breaks in another


def test_a_series_ends_with_the_lift_that_fails(small):
    found = repeat(small(load={"mass": 300.0}), 5, 10.0)
    assert found.done == 0 and found.lifts[-1].end is not End.REACHED and found.life is None
    with pytest.raises(DomainError, match="number is 0; expected at least 1"):
        repeat(small(), 0, 1.0)
