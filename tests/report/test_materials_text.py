"""The tables of materials as text and data."""

import pytest

from winchsim.errors import InputError
from winchsim.report.materials import chosen_rows, detail, overview, row_facts
from winchsim.report.render.options import Options
from winchsim.report.render.text import render_text
from winchsim.scenario.materials_table import load_friction_pairs, load_materials, load_ropes

EVERYTHING = [*load_materials().values(), *load_ropes().values(), *load_friction_pairs()]


def test_overview_fits_and_marks_what_is_from_memory():
    lines = render_text(overview(EVERYTHING), Options(width=100)).splitlines()
    assert max(map(len, lines)) <= 100
    assert load_materials()["ASA"].origin("density").basis == "from memory"
    assert "1070 kg/m³*" in next(line for line in lines if line.startswith("ASA "))
    assert "1250 kg/m³ " in next(line for line in lines if line.startswith("PLA "))
    for row in EVERYTHING[: -len(load_friction_pairs())]:
        assert any(line.startswith(f"{row.name}  ") for line in lines), row.name


def test_detail_shows_every_value_with_its_source():
    row = load_materials()["PETG"]
    cells = [cell for row in detail([row]).body[0].body[-1].rows for cell in row]
    for key in row.origins:
        assert any(str(cell).startswith(row.origin(key).source) for cell in cells)


def test_us_units_stand_beside():
    text = render_text(detail([load_materials()["PETG"]]), Options(us=True, full=True, width=120))
    assert "1270 kg/m³ [79.3 lb/ft³]" in text


def test_choosing_by_name_takes_the_friction_pairs_along():
    rows = chosen_rows(EVERYTHING, ["pom", "PETG"])
    assert [row.name for row in rows[:2]] == ["POM", "PETG"]
    assert rows[2:]
    assert all("POM" in (pair.first, pair.second) for pair in rows[2:])


def test_unknown_names_are_all_told():
    with pytest.raises(InputError) as caught:
        chosen_rows(EVERYTHING, ["petgg", "xyzzy"])
    first, second = caught.value.faults
    assert '"PETG"' in first.hint
    assert "polyester" in second.expected


def test_facts_are_si_with_units_and_sources():
    strength = row_facts(load_materials()["PLA"])["values"]["tensile_strength"]
    assert (strength["value"], strength["unit"]) == (load_materials()["PLA"].tensile_strength, "Pa")
    assert strength["source"]
    assert [row_facts(row)["kind"] for row in EVERYTHING if row.name == "polyester"] == ["rope"]
