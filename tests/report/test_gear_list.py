"""The list of gears to print."""

import csv
import io
from dataclasses import replace

import pytest
from shipped import FOLDER

import winchsim
from winchsim.report.gear_list import gear_csv, gears_to_print
from winchsim.scenario.change import with_table, with_value

SCENARIO = FOLDER / "04-greenhouse-vent-strips-a-tooth.toml"


@pytest.fixture(scope="module")
def inputs():
    return winchsim.read(str(SCENARIO))


def _counts(inputs):
    return {(row["gear"], row["teeth"]): row["count"] for row in gears_to_print(inputs)}


def test_one_pinion_a_motor_and_one_gear_a_pair(inputs):
    """Two motors on a stage of two equal pairs, then one pair more."""
    assert _counts(inputs) == {
        ("stage 1 motor pinion", 14): 2,
        ("stage 1 gear", 56): 2,
        ("stage 1 pinion", 14): 1,
        ("stage 2 pinion", 12): 1,
        ("stage 2 gear", 48): 1,
    }


def test_a_second_group_has_pinions_of_its_own(inputs):
    two = with_value(with_table(inputs, "motors"), "motors.2.pinion", 20)
    rows = {row["teeth"]: row for row in gears_to_print(two) if "motor" in row["gear"]}
    assert {teeth: row["count"] for teeth, row in rows.items()} == {14: 2, 20: 2}
    # common practice: half the module times both numbers of teeth
    assert rows[14]["centre_distance"] == pytest.approx(0.5e-3 * (14 + 56))
    assert rows[20]["centre_distance"] == pytest.approx(0.5e-3 * (20 + 56))


def test_a_metal_gear_is_not_printed_and_a_pinion_sits_on_the_shaft_before_it(inputs):
    changed = with_value(inputs, "stage.2.pinion_material", "steel")
    changed = with_value(changed, "stage.1.shaft_diameter", "5 mm")
    assert ("stage 2 pinion", 12) not in _counts(changed)
    bores = {row["gear"]: row["bore"] for row in gears_to_print(changed)}
    assert bores["stage 1 motor pinion"] is None
    assert bores["stage 1 pinion"] == bores["stage 1 gear"] == pytest.approx(0.005)


def test_no_printed_gears_no_list(inputs):
    metal = tuple(replace(stage, material="steel") for stage in inputs.stage)
    assert gears_to_print(replace(inputs, stage=metal)) == []


def test_the_csv_is_in_the_units_of_the_bench(inputs):
    rows = list(csv.DictReader(io.StringIO(gear_csv(gears_to_print(inputs)))))
    assert len(rows) == 5
    first = rows[0]
    assert (float(first["module_mm"]), float(first["infill_percent"])) == pytest.approx((1.0, 50))
    assert float(first["pressure_angle_deg"]) == pytest.approx(20)
    assert rows[1]["centre_distance_mm"] == ""
