"""Losses of a train as built: bearings with keys and without, what a given efficiency contains,
belts, chains and worms."""

import math
from dataclasses import replace

import pytest

from winchsim.assessment.kinds import CheckKey
from winchsim.assessment.ranges import find_ranges
from winchsim.errors import InputError
from winchsim.inputs import Gearbox, Stage, check, with_value
from winchsim.model import build
from winchsim.physics.bearings import shaft_loss, tooth_load
from winchsim.physics.worm import Locking, largest_reverse, screw_efficiency
from winchsim.simulation import simulate

from ..conftest import motor

PAIR = Stage(
    pinion=12,
    gear=36,
    module=1e-3,
    width=8e-3,
    material="PETG",
    greased=True,
    shaft_diameter=5e-3,
    repeat=3,
)
LOSES_BACK = replace(PAIR, reverse_efficiency=0.9)
ANGLE = math.radians(20)


def elements(inputs) -> dict:
    """Elements of a machine's chain by name."""
    return {element.name: element for element in build(inputs).chain.elements}


def test_each_shaft_has_bearings_and_the_last_is_the_drums(small):
    found = elements(small(stage=PAIR, drum={"bearing_efficiency": None}))
    loss = shaft_loss(0.2, 2.5e-3, tooth_load(18e-3, ANGLE), tooth_load(6e-3, ANGLE))
    first = shaft_loss(
        0.2, 2.5e-3, 0.0, tooth_load(6e-3, ANGLE)
    )  # two pinions on the common gear cancel each other
    assert found["bearings of stage 1 (1st of 3)"].forward == pytest.approx(1 / (1 + first))
    assert found["bearings of stage 1 (2nd of 3)"].forward == pytest.approx(1 / (1 + loss))
    assert found["bearings of stage 1 (2nd of 3)"].reverse == pytest.approx(1 - loss)
    assert "bearings of stage 1 (3rd of 3)" not in found
    drum = shaft_loss(0.1, 2.5e-3, tooth_load(18e-3, ANGLE), 1 / 6e-3)  # core 10 mm, rope 2 mm
    assert found["drum bearings"].forward == pytest.approx(1 / (1 + drum))


def test_pinions_behind_gearboxes_count_at_the_common_gear(small, make_motor):
    """A pinion of PETG, 1270 kg/m³, 12 mm across and 8 mm wide: ρ π b d⁴/32 = 2.068e-8 kg·m²; it
    turns three times as fast as the common gear. Two running ones drive it with the efficiency of
    their mesh, a dead one is driven against its reverse efficiency; rotors turn before the
    gearbox."""
    motors = make_motor(4.0, 0.005, count=3, dead=1, gearbox=Gearbox(ratio=4.0, efficiency=0.8))
    stage = replace(PAIR, repeat=1, efficiency=0.9, inertia=2e-6, shaft_diameter=None)
    chain = build(small(motors=motors, stage=stage)).chain
    running, dead = chain.groups
    through = 2 * running.elements[-1].forward + 1 / dead.elements[-1].reverse
    assert chain.common_inertia == pytest.approx(2e-6 + 1e-6 + 9 * 2.068e-8 * through, rel=1e-4)
    assert (running.inertia, dead.inertia) == pytest.approx((2e-7, 1e-7))
    assert running.elements[-1].forward == pytest.approx(0.9) and dead.elements[-1].reverse < 0.9


@pytest.mark.parametrize(
    ("parts", "pressed"),
    [
        ({"motors": motor(4.0, 0.005)}, 1.0),
        ({"motors": motor(4.0, 0.005, count=4, dead=1), "stage": LOSES_BACK}, 1 / 3),
    ],
    ids=["a single motor", "a dead one of four"],
)
def test_pinions_that_do_not_balance_press_the_common_gear_aside(small, parts, pressed):
    found = elements(small(**{"stage": PAIR, **parts}))
    loss = shaft_loss(0.2, 2.5e-3, tooth_load(18e-3, ANGLE) * pressed, tooth_load(6e-3, ANGLE))
    assert found["bearings of stage 1 (1st of 3)"].forward == pytest.approx(1 / (1 + loss))


@pytest.mark.parametrize(
    ("keys", "mesh", "bearings"),
    [
        ({"efficiency": 0.8}, 0.8, None),
        ({"efficiency": 0.8, "bearing": "ball"}, 0.8, "ball"),
        ({"efficiency": 0.8, "bearing_efficiency": 0.9}, 0.8, 0.9),
        ({"bearing": "ball", "bearing_efficiency": 0.9}, None, 0.9),
    ],
)
def test_what_a_given_efficiency_contains(small, keys, mesh, bearings):
    """Sliding, form and bearings; a bearing key takes the bearings out, a given efficiency of
    theirs wins."""
    found = elements(small(stage=replace(PAIR, **keys)))
    own = found.get("bearings of stage 1 (2nd of 3)")
    if mesh is not None:
        assert found["mesh of stage 1 (2nd of 3)"].forward == mesh
    if bearings is None:
        assert own is None
    elif bearings == "ball":
        assert 0.999 < own.forward < 1
    else:
        assert own.forward == bearings


def test_every_assumed_loss_has_a_range_and_can_be_set(small):
    machine = build(
        small(stage=replace(PAIR, shaft_diameter=None), drum={"bearing_efficiency": None})
    )
    rows = {row.path: row for row in machine.assumed}
    for path in (
        "stage.1.form_loss",
        "stage.1.friction",
        "stage.1.bearing_friction",
        "drum.bearing_friction",
    ):
        assert rows[path].low < rows[path].value < rows[path].high, path
    assert rows["stage.1.shaft_drag"].value == 0.0 < rows["stage.1.shaft_drag"].high


def test_bearings_have_a_heading_of_their_own_in_the_energy_balance(small):
    record = simulate(small(stage=PAIR, drum={"bearing_efficiency": None}, load={"mass": 1.0}))
    spent = record.energy.spent
    for name in (
        "bearings of stage 1 (1st of 3)",
        "bearings of stage 1 (2nd of 3)",
        "drum bearings",
    ):
        assert spent[name] > 0
    assert record.energy.error < 1e-4


@pytest.mark.parametrize("kind", ["belt", "chain"])
def test_belts_and_chains_need_no_ratio_and_no_efficiency(small, kind):
    inputs = small(stage=Stage(kind=kind, pinion=20, gear=60))
    assert not check(inputs)
    machine = build(inputs)
    mesh = machine.chain.elements[machine.meshes[0].element]
    assert mesh.ratio == 3.0
    row = next(row for row in machine.assumed if row.path == "stage.1.efficiency")
    assert row.low < mesh.forward == row.value < row.high


def test_a_worm_by_its_lead_angle_is_exact_in_motion_and_at_rest(small):
    stage = Stage(
        kind="worm",
        gear=40,
        starts=2,
        lead_angle=math.radians(30),
        friction=0.3,
        rest_friction=0.35,
        bearing="ball",
        bearing_friction=0.0,
    )
    machine = build(small(stage=stage))
    mesh = machine.chain.elements[machine.meshes[0].element]
    assert mesh.ratio == 20.0
    assert (mesh.forward, mesh.reverse) == pytest.approx(screw_efficiency(math.radians(30), 0.3))
    assert mesh.rest == pytest.approx(screw_efficiency(math.radians(30), 0.35))
    # The rule 2 - 1/efficiency says 0.09 here, and nothing at rest: a hold that there is not.
    assert mesh.reverse == pytest.approx(0.377, abs=5e-4) and mesh.rest[1] > 0.2


@pytest.mark.parametrize(
    ("friction", "at_rest", "locks"),
    [
        (0.05, 0.06, Locking.DRIVES_BACK),
        (0.10, 0.15, Locking.UNCERTAIN),
        (0.20, 0.25, Locking.LOCKS),
    ],
)
def test_a_worm_that_holds_only_at_rest_is_uncertain(small, friction, at_rest, locks):
    """The lead angle of 7° lies between the friction angles in motion and at rest."""
    stage = Stage(
        kind="worm",
        gear=20,
        lead_angle=math.radians(7),
        friction=friction,
        rest_friction=at_rest,
        bearing="ball",
        bearing_friction=0.0,
    )
    assert build(small(stage=stage)).meshes[0].locking is locks


@pytest.mark.parametrize(
    ("efficiency", "locks"),
    [(0.40, Locking.LOCKS), (0.50, Locking.UNCERTAIN), (0.60, Locking.DRIVES_BACK)],
)
def test_a_worm_of_which_only_the_efficiency_is_known(small, efficiency, locks):
    machine = build(small(stage=Stage(kind="worm", ratio=20.0, efficiency=efficiency)))
    row = next(row for row in machine.assumed if row.path == "stage.1.reverse_efficiency")
    assert (row.low, row.high) == pytest.approx((2 - 1 / efficiency, largest_reverse(efficiency)))
    assert machine.meshes[0].locking is locks


def test_a_worm_without_a_lead_angle_is_of_usual_size(small):
    """One thread on a worm of 10 modules, 8 to 14: tan of the lead angle is one over them."""
    machine = build(small(stage=Stage(kind="worm", gear=20)))
    row = next(row for row in machine.assumed if row.path == "stage.1.lead_angle")
    tangents = [math.tan(angle) for angle in (row.low, row.value, row.high)]
    assert tangents == pytest.approx([1 / 14, 1 / 10, 1 / 8])


def test_a_worm_that_cannot_drive_is_refused(small):
    with pytest.raises(InputError, match="friction"):
        build(small(stage=Stage(kind="worm", gear=20, lead_angle=math.radians(59), friction=1.0)))


@pytest.mark.parametrize("count", [2, 3])
def test_the_numbers_of_a_chain_are_plain_floats(small, make_motor, count):
    """Numpy's are several times as slow, and the right-hand side of the lift is made of these; a
    comparison of them fails where a branch asks for true or false itself."""
    motors = make_motor(4.0, 0.005, count=count)
    found = elements(small(stage=PAIR, motors=motors, drum={"bearing_efficiency": None}))
    numbers = [(e.ratio, e.forward, e.reverse, e.drag, e.inertia) for e in found.values()]
    assert {type(value) for row in numbers for value in row} == {float}


@pytest.mark.parametrize(
    ("kind", "most"), [("other", 0.5**0.5), ("planetary", 0.5**0.5), ("belt", None)]
)
def test_a_low_efficiency_of_a_whole_gearbox_does_not_make_it_lock(small, kind, most):
    """One mesh that loses half forwards passes nothing back; three in a row of the same efficiency
    pass back (2 - 0.5^(-1/3))³ = 0.405."""
    bought = Stage(kind=kind, ratio=25.0, efficiency=0.5)
    machine = build(small(stage=bought))
    (row,) = (row for row in machine.assumed if row.path == "stage.1.reverse_efficiency")
    assert row.value == pytest.approx(0.0) and row.high == (most and pytest.approx(most))
    if most:
        assert row.low == row.value < (2 - 0.5 ** (-1 / 3)) ** 3 < row.high
        known = find_ranges(small(stage=bought), machine).hold[CheckKey.HOLD]
        assert known[0].margin == math.inf and known[2].margin < math.inf
    given = build(with_value(small(stage=bought), row.path, 0.3))
    assert "stage.1.reverse_efficiency" not in {row.path for row in given.assumed}
