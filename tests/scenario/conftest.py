"""A small scenario that every test of the reader starts from."""

import pytest

from winchsim.errors import InputError
from winchsim.face import parse as loads

GOOD = """\
title = "Clay crate onto the wheel bench"

[[motors]]
count = 6
voltage = "6 V"
no_load_speed = "11500 rpm"
no_load_current = "90 mA"
stall_torque = "6.1 mN*m"
stall_current = "1.4 A"

[supply]
voltage = "6 V"
resistance = "0.15 ohm"
current_limit = "6 A"

[[stage]]            # from the motors to the drum
repeat = 5
pinion = 10
gear = 40
module = "1 mm"
width = "8 mm"
material = "PETG"
walls = 5
infill = "40 %"

[drum]
diameter = "10 mm"
width = "40 mm"

[rope]
material = "polyester"
diameter = "3 mm"

[load]
mass = "25 kg"
height = "0.5 m"
"""


@pytest.fixture
def good() -> str:
    return GOOD


@pytest.fixture
def faults_of():
    """Faults that a text raises, by key."""

    def faults(text: str, *overrides: str, name: str = "x.toml"):
        with pytest.raises(InputError) as caught:
            loads(text, name, overrides)
        return {fault.key: fault for fault in caught.value.faults}

    return faults
