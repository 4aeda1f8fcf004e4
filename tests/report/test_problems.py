"""Text of errors, pinned."""

import pytest

from winchsim.errors import DomainError, Fault, InputError, OutputError, TrustError
from winchsim.face import parse as loads
from winchsim.report.problems import clean, error_text

TEXT = """\
[[motors]]
count = 6
voltage = "6 V"
no_load_speed = "11500 rpm"
no_load_current = "90 mA"
stall_torque = "0.5 V"   # a slip
stall_current = "1.4 A"
[supply]
voltage = "6 V"
[[stage]]
repaet = 5
pinion = 10
gear = 40
module = "1 mm"
width = "8 mm"
[drum]
diameter = "-1 in"
width = "40 mm"
[rope]
diameter = "3 mm"
[load]
height = "0.5 m"
"""

EXPECTED = """\
bench.toml: 4 problems. Nothing was run.
1. line 6, motors.1.stall_torque: a voltage, where a torque is expected
   read: stall_torque = "0.5 V"   # a slip
   expected: a torque with its unit (mN·m, N·m, kg·cm, oz·in)
   try: write it like "0.5 mN·m"
2. line 11, stage.1.repaet: unknown key in [stage]
   read: repaet = 5
   try: did you mean "repeat"?
3. line 17, drum.diameter: negative
   read: "-1 in" = −25.4 mm
   expected: over 0 mm, at most 10000 mm
4. line 21, load.mass: mass is missing
   expected: a mass with its unit (kg, g, lb, oz): mass to lift
--set: 1 problem. Nothing was run.
1. load.height: the unit is missing
   read: load.height=2
   expected: a length with its unit (m, mm, in, ft)
   try: write "2 m"
"""


def _error(text: str, *overrides: str) -> InputError:
    with pytest.raises(InputError) as caught:
        loads(text, "bench.toml", overrides)
    return caught.value


def test_all_faults_of_a_file():
    assert error_text(_error(TEXT, "load.height=2")) == EXPECTED


def test_colour_adds_nothing_but_control_codes():
    import re

    painted = error_text(_error(TEXT, "load.height=2"), True)
    assert painted != EXPECTED
    assert re.sub(r"\033\[[0-9;]*m", "", painted) == EXPECTED


def test_a_fault_of_no_file_has_no_count():
    assert (
        error_text(InputError((Fault("wrong", hint="this", code="command line"),)))
        == "wrong\n   try: this\n"
    )


@pytest.mark.parametrize(
    ("error", "text"),
    [
        (
            OutputError("a.csv", "exists", "--force replaces it"),
            "a.csv: exists\n   try: --force replaces it\n",
        ),
        (
            TrustError("It does not close.", "Try this."),
            "It does not close.\n   try: Try this.\n",
        ),
        (DomainError("mass", -1.0, "over 0"), "mass is -1.0; expected over 0\n"),
    ],
)
def test_other_errors(error, text):
    assert error_text(error) == text


def test_a_file_cannot_steer_the_terminal():
    text = error_text(_error('"\\u001b[2Jx" = 1\n[load]\n"\\u0007" = 2\n'))
    assert "\x1b" not in text
    assert "\x07" not in text
    assert clean("a\x1b\tb\x7f") == "a\\x1b b\\x7f"


def test_everything_fits_100_columns():
    long = "x" * 150
    text = error_text(
        _error(f'{long} = "{long}"\n[load]\nmass = "{long}"\n[drum]\nlay = "{long}"\n')
    )
    assert max(map(len, text.splitlines())) <= 100
