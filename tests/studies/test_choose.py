"""The best build from parts at hand, against every build simulated in full."""

import itertools
import math
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from winchsim import assess, simulate
from winchsim.errors import DomainError, WinchsimError
from winchsim.inputs import (
    MotorGroup,
    PartDrum,
    PartGear,
    PartMotor,
    PartRope,
    Parts,
    Pawl,
    Stage,
    specs,
)
from winchsim.model import build
from winchsim.slow import lift_all, lift_machine, vary_each
from winchsim.studies.choose import choose, families, make
from winchsim.studies.sizing import size
from winchsim.studies.sweep import of_assessments

LIKE = Stage(pinion=12, gear=48, module=0.001, width=0.01, material="steel", repeat=3, friction=0.1)
OWN = [key for key in specs(MotorGroup) if key != "count"]
TEETH = {12: 3, 48: 2, 60: 1}


@pytest.fixture(scope="module")
def stocked(small):
    motor = small().motors[0]
    own = {key: getattr(motor, key) for key in OWN}
    gears = tuple(PartGear(teeth=teeth, module=0.001, count=n) for teeth, n in TEETH.items())
    factors = {"no_load_speed": 0.7, "stall_torque": 2.0, "stall_current": 1.6}
    other = own | {key: factor * own[key] for key, factor in factors.items()}
    parts = Parts(
        gears=(*gears, PartGear(teeth=14, module=0.0015), PartGear(teeth=28, module=0.0015)),
        motors=(PartMotor(**own, count=2), PartMotor(**other, count=1)),
        drums=(PartDrum(diameter=0.008), PartDrum(diameter=0.014)),
    )
    return small(stage=LIKE, load={"mass": 4.0}, pawl=Pawl(), parts=parts)


def every_build(inputs):
    """Each build that the parts allow, up to four pairs, made and counted apart from the
    package."""
    gears = [(g.teeth, g.module, g.count) for g in inputs.parts.gears]
    pairs = [(a, b) for a in gears for b in gears if a[1] == b[1] and b[0] > a[0]]
    motors, most = inputs.parts.motors, [range(motor.count + 1) for motor in inputs.parts.motors]
    for numbers, drum in itertools.product(itertools.product(*most), inputs.parts.drums):
        fitted = [(motor, number) for motor, number in zip(motors, numbers, strict=True) if number]
        if not fitted:
            continue
        for length in (1, 2, 3, 4):
            for train in itertools.combinations_with_replacement(pairs, length):
                ordered = sorted(train, key=lambda pair: (pair[0][1], pair[0][0]))
                used = Counter(gear for pair in ordered for gear in pair)
                used[ordered[0][0]] += sum(numbers) - 1
                if any(used[gear] > gear[2] for gear in used):
                    continue
                stages = tuple(
                    replace(LIKE, repeat=1, pinion=a[0], gear=b[0], module=a[1]) for a, b in ordered
                )
                groups = tuple(
                    MotorGroup(**{key: getattr(motor, key) for key in OWN}, count=number)
                    for motor, number in fitted
                )
                made = replace(inputs.drum, diameter=drum.diameter)
                yield replace(inputs, stage=stages, motors=groups, drum=made, parts=None)


@pytest.fixture(scope="module")
def in_full(stocked):
    """Every build with its assessment."""
    return [(one, assess(simulate(one), actions=False)) for one in every_build(stocked)]


@pytest.mark.parametrize("fastest", [True, False])
def test_the_first_is_that_of_an_exhaustive_search_in_full(stocked, in_full, fastest):
    """Unlike motors share the load unequally: which is loaded most decides what binds a build."""
    found = choose(stocked, fastest=fastest)
    every = of_assessments(stocked, {}, [*(one for _, one in in_full), found.found[0]])
    times = every.results["lift_time"]
    aims = np.where(np.isnan(times), math.inf, times) if fastest else -every.least_share()
    best = every.order(np.append(aims[:-1], math.inf))[0]
    order = list(zip(~every.sound, every.thin_counts, strict=True))
    assert found.exit_code == 0 and len(found.builds) == 5
    assert order[-1] == order[best]
    assert aims[-1] == pytest.approx(aims[best], rel=1e-6)
    assert len(found.found[0].actions) <= 3 and found.possible <= len(in_full)


def test_no_gear_is_used_more_often_than_it_is_there(stocked):
    made, possible = families(stocked, 10_000)
    assert possible == sum(len(family.members) for family in made)
    for train, (fitted, *_) in (member for family in made for member in family.members):
        used = Counter(gear for pair in train for gear in pair)
        used[train[0][0]] += fitted[0][1] - 1
        assert all(n <= gear.count for gear, n in used.items())
        assert all(a.module == b.module and b.teeth > a.teeth for a, b in train)


def test_a_family_as_arrays_is_each_of_its_builds(stocked):
    made, _ = families(stocked, 10_000)
    variants = vary_each([(family.inputs, family.columns) for family in made])
    lifts, members = lift_all(variants), [m for family in made for m in family.members]
    assert len(members) == variants.size and not variants.problems
    for place in range(0, variants.size, 7):
        one = lift_machine(build(make(stocked, *members[place]).inputs, strict=False))
        for name in ("stall_margin_hot", "lift_time", "factor", "hold_margin", "energy_in"):
            assert getattr(lifts, name)[place] == pytest.approx(one[name], rel=1e-9, nan_ok=True)


@pytest.mark.parametrize("fastest", [True, False])
def test_of_too_many_builds_the_fastest_or_an_even_spread_is_tried(stocked, fastest):
    every, possible = families(stocked, 10_000)
    some, same = families(stocked, 5, fastest=fastest)
    assert same == possible and sum(len(family.members) for family in some) == 5
    members = [member for family in some for member in family.members]
    assert set(members) < {member for family in every for member in family.members}


def test_gears_that_cannot_be_made_like_the_others_are_left_out(stocked):
    """A gear that is smaller than the bore for its shaft; the rest is as if it were not there."""
    bored = replace(stocked, stage=(replace(LIKE, shaft_diameter=0.02),))
    gears = (
        *stocked.parts.gears,
        PartGear(teeth=14, module=0.0012),
        PartGear(teeth=12, module=0.0012),
    )
    more = replace(bored, parts=replace(stocked.parts, gears=gears))
    assert families(more, 10_000)[1] == families(bored, 10_000)[1]


def test_two_sorts_of_motors_are_fitted_together(stocked):
    other = replace(stocked.parts.motors[0], name="other", count=1)
    both = replace(stocked, parts=Parts(motors=(stocked.parts.motors[0], other)))
    made, possible = families(both, 10_000)
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
        with pytest.raises(WinchsimError, match="parts"):
            choose(replace(stocked, parts=parts))
    with pytest.raises(DomainError, match="spur stage"):
        choose(replace(stocked, stage=(Stage(kind="planetary", ratio=25.0, efficiency=0.6),)))


def test_the_questions_take_their_candidates_from_the_parts(stocked):
    gears, motors, drums = (size(stocked, name) for name in ("gears", "motors", "drum"))
    ratios = [build.value for build in gears.changes]
    assert len(set(ratios)) == len(ratios) and any(build.train for build in gears.changes)
    assert {build.inputs.motors[0].count for build in motors.changes if build.motors} == {1, 2}
    assert [build.drum.diameter for build in drums.changes if build.drum] == [0.008, 0.014]
