"""Keys with units: one map, complete, without clashes."""

import pytest

from winchsim.quantity_text import PRINTED_UNITS, in_unit, key

SI = {name: unit for name, unit in PRINTED_UNITS.items() if unit.si == name}


@pytest.mark.parametrize("unit", PRINTED_UNITS)
def test_every_printed_unit_has_an_si_unit_with_a_tail(unit):
    si = PRINTED_UNITS[unit].si
    assert si in SI
    assert not si or PRINTED_UNITS[si].tail
    assert unit in SI or not PRINTED_UNITS[unit].tail


@pytest.mark.parametrize("unit", SI)
def test_values_are_kept_in_that_unit(unit):
    """Where a unit is its own SI unit, nothing is converted when it is printed (percentages
    aside)."""
    assert in_unit(1.5, unit) == 1.5


def test_tails_differ():
    assert len({unit.tail for unit in SI.values()}) == len(SI)


@pytest.mark.parametrize(
    ("name", "unit", "found"),
    [("lift_time", "s", "lift_time_s"), ("steady_speed", "mm/s", "steady_speed_m_s"), ("efficiency", "", "efficiency"),
     ("peak_winding", "°C", "peak_winding_c"), ("charge", "A·h", "charge_coulomb"), ("mesh_1_force", "N", "mesh_1_force_n")],
)  # fmt: skip
def test_key(name, unit, found):
    assert key(name, unit) == found


def test_tails_are_keys_of_plain_letters():
    tails = [unit.tail for unit in SI.values() if unit.tail]
    assert len(tails) > 20
    assert all(tail.replace("_", "").isalnum() and tail.isascii() for tail in tails)
    assert all(tail == tail.lower() for tail in tails)
