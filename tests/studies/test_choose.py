"""The best build from parts at hand, against every build simulated in full."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from winchsim.assessment.candidates import changeable, choose_row, fails, thin_counts
from winchsim.assessment.evaluate import assess
from winchsim.errors import DomainError
from winchsim.inputs import PartDrum, PartGear, PartMotor, PartRope, Parts, Pawl, Stage, specs
from winchsim.simulation import simulate
from winchsim.studies.builds import families, member_of
from winchsim.studies.choose import choose
from winchsim.studies.sizing import size
from winchsim.studies.sweep import of_assessments

LIKE = Stage(pinion=12, gear=48, module=0.001, width=0.01, material="steel", repeat=3, friction=0.1)
TEETH = {12: 3, 48: 2, 60: 1}


@pytest.fixture
def stocked(small):
    motor = small().motors[0]
    own = {key: getattr(motor, key) for key in specs(type(motor)) if key != "count"}
    gears = tuple(PartGear(teeth=teeth, module=0.001, count=n) for teeth, n in TEETH.items())
    parts = Parts(
        gears=(*gears, PartGear(teeth=14, module=0.0015), PartGear(teeth=28, module=0.0015)),
        motors=(PartMotor(**own, count=2),),
        drums=(PartDrum(diameter=0.008), PartDrum(diameter=0.014)),
    )
    return small(stage=LIKE, load={"mass": 4.0}, pawl=Pawl(), parts=parts)


def every_build(inputs):
    """Each build that the parts allow, up to four pairs, made and counted apart from the
    package."""
    gears = [(g.teeth, g.module, g.count) for g in inputs.parts.gears]
    pairs = [(a, b) for a in gears for b in gears if a[1] == b[1] and b[0] > a[0]]
    for number, drum in itertools.product((1, 2), inputs.parts.drums):
        for length in (1, 2, 3, 4):
            for train in itertools.combinations_with_replacement(pairs, length):
                ordered = sorted(train, key=lambda pair: (pair[0][1], pair[0][0]))
                used = Counter(gear for pair in ordered for gear in pair)
                used[ordered[0][0]] += number - 1
                if any(used[gear] > gear[2] for gear in used):
                    continue
                stages = tuple(
                    replace(LIKE, repeat=1, pinion=a[0], gear=b[0], module=a[1]) for a, b in ordered
                )
                motors = (replace(inputs.motors[0], count=number),)
                made = replace(inputs.drum, diameter=drum.diameter)
                yield replace(inputs, stage=stages, motors=motors, drum=made, parts=None)


@pytest.fixture
def in_full(stocked):
    """Every build with its assessment."""
    return [(one, assess(simulate(one), actions=False)) for one in every_build(stocked)]


def test_the_fastest_build_is_that_of_an_exhaustive_search_in_full(stocked, in_full):
    found = choose(stocked, fastest=True)
    assessments = [assessment for _, assessment in in_full]
    times = [a.target.time if a.target.reached else math.inf for a in assessments]
    checks = of_assessments(stocked, {}, [*assessments, found.found[0]]).checks
    best = choose_row(checks, np.array([*times, math.inf]))
    order = list(zip(fails(checks), thin_counts(checks, changeable(checks)), strict=True))
    assert found.exit_code == 0
    assert order[-1] == order[best]
    assert found.found[0].target.time == pytest.approx(times[best], rel=1e-6)
    ratios = [math.prod(s.speed_ratio() for s in one.stage) for one, _ in in_full]
    assert found.builds[0].value == pytest.approx(ratios[best])
    assert found.possible <= len(in_full) and len(found.builds) == 5


def test_the_most_to_spare_is_never_worse_than_the_fastest(stocked):
    """With the same number of thin checks it has more room, and is shown slower or equal."""
    spare, fast = choose(stocked), choose(stocked, fastest=True)
    assert spare.exit_code == 0
    thin = thin_counts(spare.full.checks, spare.full.changeable)
    assert (
        spare.full.least_share()[0] >= spare.full.least_share()[1:].max() - 1e-9
        or (thin[1:] > thin[0]).any()
    )
    times = [found.full.results["lift_time"][0] for found in (spare, fast)]
    assert times[0] >= times[1]


def test_no_gear_is_used_more_often_than_it_is_there(stocked):
    made, possible = families(stocked, 400, 10_000)
    assert possible == sum(len(family.members) for family in made)
    for family in made:
        for place, (fitted, drum) in enumerate(family.members):
            build = member_of(family, place)
            used = Counter(gear for pair in family.train for gear in pair)
            used[family.train[0][0]] += fitted[0][1] - 1
            assert all(n <= gear.count for gear, n in used.items())
            assert all(a.module == b.module and b.teeth > a.teeth for a, b in family.train)
            assert build.inputs.drum.diameter == drum.diameter
            assert build.inputs.motors[0].count == fitted[0][1]


def test_too_many_builds_are_spread_over_the_ratios(stocked):
    every, possible = families(stocked, 400, 10_000)
    some, same = families(stocked, 5, 10_000)
    assert same == possible and len(some) == 5
    assert some[0].train == every[0].train and some[-1].train == every[-1].train


def test_two_sorts_of_motors_are_fitted_together(stocked):
    other = replace(stocked.parts.motors[0], name="other", count=1)
    both = replace(stocked, parts=Parts(motors=(*stocked.parts.motors, other)))
    made, possible = families(both, 400, 10_000)
    assert possible == 2 + 1 + 2 and {len(f.inputs.motors) for f in made} == {1, 2}
    assert choose(both).builds[0].motors


def test_a_stronger_rope_is_taken_and_its_source_is_its_own(stocked):
    """A breaking force that the scenario gives is not that of another rope."""
    thin, thick = (PartRope(diameter=d, material="nylon") for d in (0.0008, 0.003))
    weak = replace(stocked, parts=Parts(ropes=(thin, thick)), load=replace(stocked.load, mass=5.0))
    found = choose(weak)
    assert found.builds[0].rope is thick
    assert found.builds[0].inputs.rope.breaking_force is None


def test_what_cannot_be_chosen_from_is_refused(stocked):
    for parts in (None, Parts(), Parts(gears=(PartGear(teeth=12, module=0.001),))):
        with pytest.raises(DomainError, match="parts"):
            choose(replace(stocked, parts=parts))
    with pytest.raises(DomainError, match="spur stage"):
        choose(replace(stocked, stage=(Stage(kind="planetary", ratio=25.0, efficiency=0.6),)))


def test_the_questions_take_their_candidates_from_the_parts(stocked):
    gears, motors, drums = (size(stocked, name) for name in ("gears", "motors", "drum"))
    ratios = [build.value for build in gears.changes]
    assert len(set(ratios)) == len(ratios) and any(build.train for build in gears.changes)
    assert {build.inputs.motors[0].count for build in motors.changes if build.motors} == {1, 2}
    assert [build.drum.diameter for build in drums.changes if build.drum] == [0.008, 0.014]
