"""Values that are each fine and do not go together: each is told at its key, with what would do
instead."""

import pytest

from winchsim.face import parse as loads
from winchsim.model import build
from winchsim.report.words.details import notes

SPUR = "[[stage]]            # from the motors to the drum"
HEIGHT = 'height = "0.5 m"'
SHEET = 'stall_torque = "6.1 mN*m"\nstall_current = "1.4 A"\n'
BELT = '[[stage]]\nkind = "belt"\n'
OTHER = BELT.replace("belt", "other")
OWN = '[[material]]\nname = "mine"\nfamily = "printed polymer"\ndensity = "1.2 g/cm^3"\ntensile_strength = "40 MPa"\n'
POINT = '[[motors.points]]\ntorque = "1 mNm"\nspeed = "9000 rpm"\ncurrent = "0.3 A"\n'


@pytest.mark.parametrize(
    ("old", "new", "key", "message"),
    [
        (SHEET, SHEET + 'known_by = "points"\n' + POINT, "motors.1.points", "one measured point is too few"),
        ("count = 6", "count = 6\ndead = 7", "motors.1.dead", "more dead motors than motors"),
        (
            "count = 6",
            'count = 6\noutput_turns = 10\noutput_time = "32 s"',
            "motors.1.no_load_speed",
            "the free speed is given twice",
        ),
        ("count = 6", "count = 6\ndead = 6", "motors.1.dead", "every motor is dead"),
        ('"90 mA"', '"2 A"', "motors.1.no_load_current", "not below the stall current"),
        ('module = "1 mm"\n', "", "stage.1.module", "one of them"),
        ('module = "1 mm"\n', 'module = "1 mm"\ndiametral_pitch = "24 1/in"\n', "stage.1.module", "one of them"),
        ("gear = 40\n", "gear = 40\nratio = 4\n", "stage.1.ratio", "does not apply with kind"),
        ("gear = 40\n", "", "stage.1.gear", "gear is missing"),
        ("gear = 40\n", "gear = 40\nefficiency = 0.9\nfriction = 0.2\n", "stage.1.friction", "no effect beside efficiency"),
        ("gear = 40\n", 'gear = 40\nefficiency = 0.9\nform_loss = "2 %"\n', "stage.1.form_loss", "no effect beside efficiency"),
        ("[rope]", '[supply.controller]\nlimit_side = "battery"\n[rope]', "supply.controller.limit_side", "no effect without a limit"),
        ("[drum]", BELT + "efficiency = 0.9\n[drum]", "stage.2.ratio", "ratio is missing"),
        ("[drum]", OTHER + "ratio = 2\n[drum]", "stage.2.efficiency", "efficiency is missing"),
        (HEIGHT, HEIGHT + '\ndrum_height = "0.52 m"', "load.drum_height", "less than 50 mm"),
        (HEIGHT, HEIGHT + '\nstart_height = "0.2 m"\ntop_stop = "0.1 m"', "load.top_stop", "below the start"),
        (HEIGHT, HEIGHT + '\nstart_height = "0.2 m"\nsnag_height = "0.2 m"', "load.snag_height", "below the start"),
        ("[rope]", '[[phase]]\naction = "lower"\nuntil = "top"\n[rope]', "phase.1.until", "only a raise"),
        ("[rope]", '[[phase]]\naction = "raise"\nuntil = "time"\n[rope]', "phase.1.time", "time is missing"),
        ("[rope]", '[[phase]]\naction = "off"\ntime = "2 s"\nramp = "1 s"\n[rope]', "phase.1.ramp", 'does not apply with action = "off"'),
        ("[rope]", OWN + 'fatigue_stress = "20 MPa"\n[rope]', "material.1.fatigue_cycles", "stress, cycles, slope and source"),
        ("[rope]", OWN + 'yield_strength = "30 MPa"\n[rope]', "material.1.yield_strength", "does not apply with family"),
        ("[rope]", OWN.replace("printed polymer", "metal") + "across_layers = 0.5\n[rope]", "material.1.across_layers",
         'does not apply with family = "metal"'),
        ("[rope]", OWN + OWN + "[rope]", "material.2.name", '"mine" is described twice'),
    ],
)  # fmt: skip
def test_is_told_at_its_key(good, faults_of, old, new, key, message):
    assert good.count(old) == 1
    fault = faults_of(good.replace(old, new))[key]
    assert message in fault.message
    assert fault.expected


def test_a_pinion_of_a_group_needs_a_gear_to_run_on(good, faults_of):
    belt = BELT + "ratio = 3\nefficiency = 0.95\n" + SPUR
    fault = faults_of(good.replace(SPUR, belt).replace("count = 6", "count = 6\npinion = 12"))[
        "motors.1.pinion"
    ]
    assert "needs a spur gear as first stage" in fault.message
    assert loads(good.replace("count = 6", "count = 6\npinion = 12")).motors[0].pinion == 12


def test_a_scenario_without_motors(good, faults_of):
    without = good[: good.index("[[motors]]")] + good[good.index("[supply]") :]
    empty = faults_of("motors = []\n" + without)["motors"]
    assert "at least one [[motors]]" in empty.expected


def test_keys_of_older_files_are_read_with_a_note(good):
    text = (
        good.replace("count = 6", 'inductance = "1 mH"\ncount = 6', 1)
        + '\n[settings]\nafter_overload = "release"\n'
    )
    found = loads(text)
    assert set(found.unused) == {"motors.1.inductance", "settings.after_overload"}
    assert {note[0].split()[0] for note in notes(found, build(found))} >= set(found.unused)
