"""Judging many slow lifts: limits, reasons, bands, and the choice among them."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from winchsim.errors import TrustError
from winchsim.model import build
from winchsim.slow import End, lift_all, vary
from winchsim.verdict.candidates import Limit, Wanted, bands, edge_of, judge_all, not_up, without_snag
from winchsim.verdict.choice import checked, choose, sharpened, why
from winchsim.verdict.crosscheck import WORTH_SAYING, FullRun, differences, largest_difference, run_full
from winchsim.verdict.finding import FindingKind


@pytest.fixture(scope="module")
def loads(small):
    inputs = small()
    variants = vary(inputs, {"load.mass": np.linspace(1.0, 20.0, 20)})
    return variants, lift_all(variants), build(inputs)


def test_what_works_keeps_every_hard_limit(loads):
    _, lifts, machine = loads
    judged = judge_all(lifts, machine, Wanted())
    assert judged.works.any() and not judged.works.all()
    by_hand = (
        lifts.lifted
        & (lifts.stall_margin_cold >= 1.2)
        & (lifts.stall_margin_hot >= 1)
        & (lifts.factor >= 1)
        & ~lifts.over_limit
    )
    assert judged.works.tolist() == by_hand.tolist()
    assert np.all(judged.keeps_every_limit <= judged.works)
    assert judged.obstacle(0) is None


def test_reasons_say_what_stands_against_a_candidate(loads):
    _, lifts, machine = loads
    judged = judge_all(lifts, machine, Wanted(margin=1.5))
    stalled = int(np.flatnonzero(lifts.end == End.STALLED)[-1])
    assert judged.reason(stalled) == "the motors stall before the load lifts off"
    tight = int(np.flatnonzero((lifts.stall_margin_cold < 1.5) & (lifts.stall_margin_hot >= 1))[0])
    assert "times the torque that starts it, less than the required 1.5" in judged.reason(tight)
    timed = judge_all(lifts, machine, Wanted(target_time=0.1))
    assert not timed.works.any() and "the target is 0.100 s" in timed.reason(0)


def test_a_link_that_breaks_is_named(small):
    inputs = small(rope={"breaking_force": 120.0, "knot_efficiency": 0.5})
    judged = judge_all(lift_all(inputs, {"load.mass": [2.0, 8.0]}), build(inputs), Wanted())
    assert judged.works.tolist() == [True, False]
    assert judged.reason(1).startswith("the rope at its knot breaks at ") and judged.reason(1).endswith("% of its load")
    assert judged.reason(0).endswith("below the required 7") and not judged.keeps_every_limit[0]


@pytest.mark.parametrize("end", [End.BATTERY_EMPTY, End.OVERFLOW, End.BLOCKED, End.LATE, End.CANNOT_BE_BUILT])
def test_every_other_end_has_its_words(loads, end):
    _, lifts, _ = loads
    changed = dataclasses.replace(lifts, end=np.full(len(lifts), int(end)))
    assert len(not_up(changed, 0)) > 10


def test_bands_and_their_edges(loads):
    variants, lifts, machine = loads
    judged = judge_all(lifts, machine, Wanted())
    ((first, last),) = bands(judged)
    masses = variants.columns["load.mass"]
    low, high = (edge_of(masses, judged, at, at + step, {}) for at, step in ((first, -1), (last, 1)))
    assert low.beyond is None and low.limit == "" and high.beyond == masses[last + 1] and high.reason
    broken = edge_of(masses, judged, last, last + 1, {last + 1: "load.mass: too much"})
    assert broken.reason == "it cannot be built: load.mass: too much"


def test_sharpened_edges_are_near(small):
    inputs = small()
    machine = build(inputs)

    def judge(values):
        variants = vary(inputs, {"load.mass": values})
        return judge_all(lift_all(variants), machine, Wanted()), variants

    values, judged, _ = sharpened(np.geomspace(1.0, 20.0, 8), judge)
    ((_, last),) = bands(judged)
    assert len(values) > 8 and values[last + 1] / values[last] < 1.02
    same, _, _ = sharpened(np.array([1.0, 2.0]), judge)
    assert same.tolist() == [1.0, 2.0]


def test_of_equal_tightest_limits_the_next_one_decides(loads):
    _, lifts, machine = loads
    n = len(lifts)
    same = Limit("the same for all", "same", True, np.full(n, 1.01), lambda i: "")
    rising = Limit("rising", "rising", True, np.linspace(1.2, 3.0, n), lambda i: "")
    judged = judge_all(lifts, machine, Wanted(margin=1.0), (same, rising))
    best = judged.best()
    assert best is not None and 0 < best < n - 1  # neither the lightest nor the heaviest: two limits meet there
    assert judged.best(np.zeros(n, dtype=bool)) is None


def test_a_choice_that_fails_in_full_is_given_up(loads, monkeypatch):
    variants, lifts, machine = loads
    judged = judge_all(lifts, machine, Wanted())
    values = variants.columns["load.mass"]
    every = np.ones(len(values), dtype=bool)
    monkeypatch.setattr(FullRun, "sound", property(lambda self: self.index != 0))
    choice = choose(variants, judged, values, lambda i: f"{values[i]:g} kg", (every,), lambda *_: None, rank=values)
    assert choice.recommended == 1 and [run.index for run in choice.runs[:2]] == [0, 1] and choice.good
    monkeypatch.setattr(FullRun, "sound", property(lambda self: False))
    nothing = choose(variants, judged, values, lambda i: "", (every,), lambda *_: None, rank=values)
    assert not nothing.good and len(nothing.runs) >= 3


def test_words_of_a_choice(loads):
    variants, lifts, machine = loads
    judged = judge_all(lifts, machine, Wanted())
    values = variants.columns["load.mass"]
    choice = choose(variants, judged, values, lambda i: "", (np.ones(len(values), dtype=bool),), lambda *_: None)
    assert why(choice, "loads").startswith("Of the loads it ")
    assert "run in full; largest difference in lift time" in checked(choice)


# --- full runs beside it --------------------------------------------------------------------------------------------


def test_a_full_run_beside_the_quasi_static_model(loads):
    variants, lifts, _ = loads
    told = []
    runs = run_full([(3, variants.one(3)), (19, variants.one(19))], lifts, lambda *step: told.append(step))
    assert runs[0].sound and abs(runs[0].difference) < 0.01
    assert not runs[1].sound and runs[1].difference is None
    assert told == [(1, 2), (2, 2)]
    assert largest_difference(runs) == abs(runs[0].difference) and largest_difference(runs[1:]) is None
    assert differences(runs, str) == ()


def test_a_difference_over_a_hundredth_is_a_finding(loads):
    variants, lifts, _ = loads
    (run,) = run_full([(3, variants.one(3))], lifts)
    off = dataclasses.replace(run, slow_time=run.full_time * (1 + 2 * WORTH_SAYING), in_range=False)
    (finding,) = differences([off], lambda i: "4.00 kg")
    assert finding.kind is FindingKind.MODELS_DIFFER
    assert finding.sentence.startswith("At 4.00 kg the lift times of this study are 2.0 % too long, outside its range")
    short = dataclasses.replace(run, slow_time=run.full_time * 0.9, in_range=True)
    assert "10 % too short: the full run takes" in differences([short], str)[0].sentence
    other = dataclasses.replace(run, slow_time=None)
    (finding,) = differences([other], str)
    assert finding.kind is FindingKind.MODELS_DIFFER and "the full run differs: Lifts 4 kg" in finding.sentence


def test_a_scenario_loses_its_snag(small):
    inputs, notes = without_snag(small(load={"snag_height": 0.05}))
    assert inputs.load.snag_height is None and len(notes) == 1
    assert without_snag(small())[1] == ()


def test_a_full_run_that_cannot_be_made_does_not_end_the_study(loads, small, monkeypatch):
    variants, lifts, _ = loads
    (refused,) = run_full([(3, small(load={"drum_height": 0.01}))], lifts)
    assert refused.verdict is None and not refused.sound and refused.held is None
    assert refused.sentence.startswith("It cannot be run: load.drum_height")

    def no_trust(_):
        raise TrustError("The solver gave up.", "")

    monkeypatch.setattr("winchsim.verdict.crosscheck.simulate", no_trust)
    (lost,) = run_full([(3, variants.one(3))], lifts)
    assert lost.sentence == "No trustworthy result: The solver gave up."
    assert "the full run differs: No trustworthy result" in differences([lost], str)[0].sentence


def test_a_lift_of_over_a_day_does_not_work(small):
    """So high a ratio that half a day at 6 V becomes days at 1 V."""
    stage = dataclasses.replace(small().stage[0], efficiency=1.0, ratio=120.0, shaft_drag=0.0)
    inputs = small(stage=stage, load={"mass": 1.0})
    lifts = lift_all(inputs, {"supply.voltage": [6.0, 1.0]})
    assert lifts.end.tolist() == [End.LIFTED, End.LATE] and lifts.lift_time[1] > 24 * 3600
    judged = judge_all(lifts, build(inputs), Wanted(margin=1.0))
    assert judged.works.tolist() == [True, False] and "longer than its phase or a day allows" in judged.reason(1)
