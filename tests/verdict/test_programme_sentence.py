"""The sentence of a programme that raises to no height: what the load does in it, and where it ends."""

import re

import pytest

from winchsim.inputs import Phase
from winchsim.simulation import simulate
from winchsim.verdict.judge import judge

RAISE = Phase(action="raise", until="time", time=1.0)
LOWER = Phase(action="lower", until="time", time=1.0)
OFF = Phase(action="off", until="time", time=1.0)
SHORT = Phase(action="lower", until="time", time=0.2)
HANGING = {"mass": 8.0, "start_height": 0.05, "height": 0.3}


@pytest.mark.parametrize(
    ("load", "phases", "sentence"),
    [
        (HANGING, (OFF,), "Holds 8 kg 50 mm up for 1.00 s, by friction only."),
        (HANGING, (LOWER,), r"Lowers 8 kg in 1 phase of 0\.\d+ s; it ends on the floor."),
        (HANGING, (SHORT,), r"Lowers 8 kg in 1 phase of 0\.200 s; it ends \d+ mm up."),
        (HANGING, (RAISE, OFF), r"Raises 8 kg in 2 phases of 2\.00 s; it ends \d+ mm up."),
        ({**HANGING, "start_height": 0.0}, (OFF,), r"Leaves 8 kg on the floor for 1\.00 s."),
    ],
)
def test_tells_what_the_load_does(small, load, phases, sentence):
    verdict = judge(simulate(small(load=load, phase=phases, settings={"watch": 0.0})))
    assert re.fullmatch(sentence, verdict.sentence), verdict.sentence


def test_a_run_back_comes_first(small, make_stage):
    stage = make_stage(4.0, 0.95, repeat=3)
    brief = Phase(action="off", until="time", time=0.1)
    sliding = small(stage=stage, load={**HANGING, "mass": 6.0}, phase=(brief,), settings={"watch": 0.0})
    verdict = judge(simulate(sliding))
    assert re.fullmatch(r"Runs back .* in a programme of 1 phase\.", verdict.sentence), verdict.sentence
    assert not verdict.passes
