"""Rows of the report: each value of the scenario once, with what it rests on."""

from __future__ import annotations

import pytest

from winchsim.inputs import walk
from winchsim.model import build
from winchsim.report.tables import energy_rows, input_tables, link_rows, moments, not_judged, value_text
from winchsim.report.timeline import timeline
from winchsim.scenario.read import loads

TEXT = """
[[motors]]
count = 4
voltage = "6 V"
no_load_speed = "9000 rpm"
no_load_current = "90 mA"
stall_torque = "6 mN*m"
stall_current = "1.4 A"
[supply]
voltage = "6 V"
[[stage]]
repeat = 3
pinion = 12
gear = 48
module = "1 mm"
width = "8 mm"
infill = "40 %"
walls = 4
[drum]
diameter = "10 mm"
width = "40 mm"
[rope]
diameter = "3 mm"
[load]
mass = "5 kg"
height = "0.2 m"
"""


@pytest.fixture(scope="module")
def built():
    """Inputs and machine of a scenario that leaves much out."""
    from winchsim.model import build

    inputs = loads(TEXT)
    return inputs, build(inputs)


def test_each_value_stands_once_with_its_basis(built):
    inputs, machine = built
    rows = {row.path: row for table in input_tables(inputs, machine, us=False) for row in table.rows}
    assert len(rows) == sum(len(table.rows) for table in input_tables(inputs, machine, us=False))
    assert rows["motors.1.count"].value == "4" and rows["motors.1.count"].basis == "given"
    assert rows["motors.1.no_load_speed"].value == "9000 rpm"
    assert rows["stage.1.infill"].value == "40 %" and rows["stage.1.greased"].value == "no"
    assert rows["stage.1.greased"].basis == "default"
    inertia = rows["motors.1.rotor_inertia"]
    assert inertia.basis == "assumed" and "15 ms" in inertia.remark and " to " in inertia.remark
    for path in inputs.given:
        assert rows[path].basis == "given"
    for row in machine.assumed:
        if row.path not in inputs.given:
            assert rows[row.path].basis == "assumed"


def test_what_is_left_out_is_listed_too(built):
    inputs, machine = built
    tables = {table.name: table for table in input_tables(inputs, machine, us=False)}
    shown = {row.path for table in tables.values() for row in table.rows}
    out = {f"{name}.{key.partition(' ')[0]}" for name, table in tables.items() for key in table.left_out}
    for path, _, _ in walk(inputs):
        assert path in shown or path in out or f"scenario.{path}" in out, path
    assert not shown & out
    assert "body_diameter" in tables["motors.1"].left_out


def test_values_are_written_in_their_unit(built):
    inputs, _ = built
    specs = {path: (value, spec) for path, value, spec in walk(inputs)}
    assert value_text(*specs["load.mass"], us=False) == "5 kg"
    assert value_text(*specs["load.mass"], us=True) == "5 kg (11.0 lb)"
    assert value_text(*specs["settings.ambient"], us=True) == "20 °C (68.0 °F)"
    assert value_text(None, specs["load.mass"][1], us=False) == "none"


def test_moments_are_those_of_the_timeline(lifted):
    record, _ = lifted
    rows = moments(record, us=False)
    assert [row[2] for row in rows] == [moment.text for moment in timeline(record)]
    assert rows[0] == ("0.00 s", "0.000 m", "power on, raising")


def test_links_weakest_first_with_mark_below_what_is_wanted(stuck):
    _, verdict = stuck
    rows = link_rows(verdict.rows, us=False)
    for row, source in zip(rows, verdict.rows, strict=True):
        assert row[5].startswith(source.label) and row[0].endswith("<") == (source.link.factor < source.link.required)


def test_energy_shares_add_up(lifted):
    record, _ = lifted
    first, *rest = energy_rows(record.energy, us=False)
    assert first[0] == "from the supply"
    assert sum(float(share.split()[0]) for _, _, share in rest) == pytest.approx(100, abs=1.5)


def test_what_is_not_described_is_said_to_be_not_judged(small, make_stage):
    """A link that no number is known of must not look as if it held."""
    (bare,) = not_judged(build(small()))
    for key in ("stage.1.torque_limit", "stage.1.shaft_diameter", "drum.support_span", "drum.cross_pin_diameter"):
        assert key in bare
    known = small(
        stage=make_stage(5.0, 0.8, repeat=3, torque_limit=1e3, shaft_diameter=0.01),
        drum={"support_span": 0.1, "cross_pin_diameter": 0.003},
    )
    assert not_judged(build(known)) == []
    (half,) = not_judged(build(small(drum={"support_span": 0.1})))
    assert "support_span" not in half and "cross_pin_diameter" in half
