"""The verdict sentence, the summary, and the cautions."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from winchsim.hybrid import Outcome
from winchsim.inputs import Brake, Pawl, Phase
from winchsim.model import build
from winchsim.simulation import simulate
from winchsim.verdict.case import shortfall
from winchsim.verdict.cautions import cautions, fall
from winchsim.verdict.judge import judge
from winchsim.assessment.margins import Margins
from winchsim.verdict.summary import summarise

SENTENCES = {
    "holds by friction": ({}, "Lifts 8 kg by 0.1 m in 4.77 s and holds it with the power off, by friction only."),
    "pawl": ({"pawl": Pawl()}, "Lifts 8 kg by 0.1 m in 4.77 s and holds it with the power off, on its pawl."),
    "brake": (
        {"brake": Brake(torque=1.0)},
        "Lifts 8 kg by 0.1 m in 4.77 s and holds it with the power off, on its brake.",
    ),
    "stalls on the floor": (
        {"load": {"mass": 80.0}},
        "Stalls: the load never leaves the floor; the motors give 18 % of the torque that raising the load takes.",
    ),
    "not in time": (
        {"phase": (Phase(action="raise", until="top", time=0.5),)},
        "Not up in time: after 0.500 s the load is at 9.5 mm.",
    ),
    "rope breaks": (
        {"rope": {"breaking_force": 140.0, "knot_efficiency": 0.5}},
        "Breaks the rope at its knot after 47.7 ms, before the load lifts off.",
    ),
    "up and down": (
        {"phase": (Phase(action="raise", until="top"), Phase(action="lower", until="floor"))},
        "Lifts 8 kg by 0.1 m in 4.77 s and lowers it again in 1.06 s.",
    ),
    "hangs": (
        {"load": {"start_height": 0.1}, "phase": (Phase(action="off", until="time", time=3.0),)},
        "Holds 8 kg 0.100 m up for 3.00 s, by friction only.",
    ),
    "lowers": (
        {"load": {"start_height": 0.1}, "phase": (Phase(action="lower", until="floor"),)},
        "Lowers 8 kg in 1 phase of 1.05 s; it ends on the floor.",
    ),
    "stays down": (
        {"phase": (Phase(action="off", until="time", time=2.0),)},
        "Leaves 8 kg on the floor for 2.00 s.",
    ),
    "overflows": (
        {"drum": {"width": 0.006, "flange_diameter": 0.020}, "load": {"height": 0.4}},
        "Does not come up: at 0.149 m the rope climbs over the drum's flange.",
    ),
    "battery": (
        {"supply": {"kind": "battery", "capacity": 1.0}},
        "Does not come up: the battery is empty after 0.593 s, with the load at 11 mm.",
    ),
}


@pytest.mark.parametrize("name", SENTENCES)
def test_sentence(ran, name):
    parts, sentence = SENTENCES[name]
    assert ran(**parts).verdict.sentence == sentence


@pytest.mark.parametrize(
    ("margins", "text"),
    [
        (Margins(0.7112, 0.5), "71 % of the torque that raising the load takes"),
        (Margins(0.99987, 0.8), "99.9 % of the torque that raising the load takes"),
        (Margins(-0.5, -0.9), "none of the torque that raising the load takes"),
        (Margins(1.3, 0.955), "95.5 % of the torque that starting it from rest takes"),
    ],
)
def test_shortfall_is_never_told_as_all_or_less_than_none(margins, text):
    assert shortfall(margins) == text


def test_sentence_of_a_run_back(ran, make_stage):
    sentence = ran(stage=make_stage(5.0, 0.97, repeat=2), load={"mass": 3.0}).verdict.sentence
    assert sentence.startswith("Lifts 3 kg by 0.1 m in ") and ", but runs back to the floor at up to " in sentence
    assert sentence.endswith(" when the power goes off.")


def test_sentence_of_a_snag_says_what_stopped_it(ran):
    assert ran(load={"snag_height": 0.05}).verdict.sentence.startswith("Stalls: the load has snagged 50 mm up, after 2.53 s")


@pytest.mark.parametrize(
    ("parts", "passes"),
    [({}, True), ({"load": {"mass": 80.0}}, False), ({"load": {"top_stop": 0.05}}, False)],
    ids=["lifts", "stalls", "danger"],
)
def test_passes_when_as_asked_and_safe(ran, parts, passes):
    assert ran(**parts).verdict.passes is passes


def test_an_untrusted_run_has_no_answer(ran):
    verdict = judge(replace(ran().record, outcome=Outcome.CHATTER))
    assert not verdict.trusted and not verdict.passes and not verdict.lifted and verdict.held is None
    assert verdict.sentence.startswith("No trustworthy result: The modes kept switching")
    assert len(verdict.findings) == 1


# --- summary --------------------------------------------------------------------------------------------------------


def test_summary_of_a_lift(ran):
    run = ran()
    s, record = summarise(run.history), run.record
    assert s.lift_time == run.history.lift_time
    assert s.peak_current == record["current"].max() and s.peak_tension == record["tension"].max()
    assert s.energy_in == record.energy.source and s.charge == record["charge"][-1]
    assert s.mean_current == pytest.approx(s.charge / s.lift_time, rel=1e-9)
    assert s.efficiency == pytest.approx(8.0 * 9.80665 * 0.1 / s.energy_in, rel=1e-6), "the power is off after the lift"


def test_mean_current_is_that_of_the_lift_alone(ran):
    """What comes before the raise and after the top, here a letting down and a pause, does not dilute it."""
    plain = summarise(ran().history)
    phases = (
        Phase(action="raise", until="time", time=1.0), Phase(action="lower", until="floor"),
        Phase(action="raise", until="top"), Phase(action="lower", until="floor"),
    )  # fmt: skip
    run = ran(phase=phases)
    s, record = summarise(run.history), run.record
    lift = (record.time >= run.history.lift_began) & (record.time <= run.history.up.time)
    over = np.trapezoid(record["current"][lift], record.time[lift]) / s.lift_time
    assert s.mean_current == pytest.approx(over, rel=2e-3)
    assert s.mean_current == pytest.approx(plain.mean_current, rel=0.01)
    powered = sum(span.end - span.start for span in run.history.spans if span.step.powered)
    assert s.charge / powered < 0.95 * s.mean_current


def test_mean_current_of_a_load_that_does_not_come_up_is_that_of_all_time_under_power(ran):
    run = ran(load={"mass": 80.0})
    s = summarise(run.history)
    powered = sum(span.end - span.start for span in run.history.spans if span.step.powered)
    assert run.history.up is None
    assert s.mean_current == pytest.approx(s.charge / powered, rel=1e-9) and s.mean_current > 0.0


def test_steady_speed_is_that_of_the_middle(ran):
    run = ran()
    height, time = run.record["height"], run.record.time
    raising = run.history.spans[0].samples
    t = np.interp([0.025, 0.075], height[raising], time[raising])
    assert run.verdict.summary.steady_speed == pytest.approx(0.05 / (t[1] - t[0]), rel=1e-3)


def test_summary_of_a_load_that_stayed_down(ran):
    s = ran(load={"mass": 80.0}).verdict.summary
    assert s.lift_time is None and s.steady_speed is None and s.efficiency is None
    assert s.highest == pytest.approx(0.0, abs=1e-9)


def test_summary_with_a_ramp(ran):
    """Energy of the source over a ramp, from voltage and current: the books say the same."""
    run = ran(phase=(Phase(action="raise", until="top", ramp=1.0), Phase(action="off", until="time", time=1.0)))
    s = run.verdict.summary
    gained = 8.0 * 9.80665 * 0.1
    assert s.efficiency == pytest.approx(gained / run.record.energy.source, rel=2e-3)


# --- cautions -------------------------------------------------------------------------------------------------------


def test_fall_energy_and_speed_by_hand(small):
    energy, speed = fall(build(small(load={"mass": 25.0, "height": 0.5})))
    assert energy == pytest.approx(25.0 * 9.80665 * 0.5)
    assert speed == pytest.approx(math.sqrt(2 * 9.80665 * 0.5))


def test_fall_counts_from_the_floor(small):
    energy, _ = fall(build(small(load={"start_height": 1.0, "height": 0.5})))
    assert energy == pytest.approx(8.0 * 9.80665 * 1.5)


@pytest.mark.parametrize(
    "said",
    ["not rated lifting equipment", "under or beside", "people", "Friction is not a brake", "teeth and the rope",
     "ladder", "how the load comes down", "Local codes", "licensed or competent person", "falls with 7.85 J",
     "at 1.40 m/s"],
)  # fmt: skip
def test_cautions_say(small, said):
    assert sum(said in caution for caution in cautions(build(small()))) == 1


def test_cautions_close_every_verdict(small):
    record = simulate(small())
    assert judge(record).cautions == cautions(record.machine)
