"""Printed gears against measured prints, cellular theory and sandwich beams. Each block names its source."""

from __future__ import annotations

import math

import pytest

from winchsim.scenario.materials_table import load_materials
from winchsim.strength.printed import (
    CAUTIOUS_EXPONENT,
    MEASURED_EXPONENT,
    Layer,
    PrintedBody,
    layered_bending,
    temperature_factor,
)

pytestmark = pytest.mark.reference


# --- measured infill ---------------------------------------------------------------------------------------------------

# Aboelella et al., Scientific Reports 15 (2025) 11759, Table 4: compressive strength of PLA in MPa at 20 and 50 % infill,
# and the exponent of strength against infill that the two numbers give.
INFILL = {
    "honeycomb": (16.972, 36.393, 0.832),
    "grid": (13.687, 36.639, 1.075),
    "triangle": (16.516, 36.935, 0.878),
}


@pytest.mark.parametrize("pattern", INFILL)
def test_infill_exponent_is_near_one_as_measured(pattern, record_property):
    sparse, dense, exponent = INFILL[pattern]
    measured = dense / sparse
    assert math.log(measured) / math.log(50 / 20) == pytest.approx(exponent, abs=6e-4)
    predicted = _share(0.5, MEASURED_EXPONENT) / _share(0.2, MEASURED_EXPONENT)
    by_theory = _share(0.5, 2.0) / _share(0.2, 2.0)
    deviation = predicted / measured - 1
    record_property("deviation", deviation)
    print(
        f"{pattern}: 20 to 50 % infill, model {deviation:+.1%} of the measured gain; square law {by_theory / measured - 1:+.0%}"
    )
    assert abs(deviation) < 0.20
    assert by_theory > 2.0 * measured


# Rihar and Hozdič, Polymers 18 (2026) 654: tensile strength of PETG at 30 % infill in MPa, by pattern.
@pytest.mark.parametrize("strength", [18.54, 16.99, 14.15])
def test_strength_at_thirty_per_cent_infill(strength):
    solid = load_materials()["PETG"].tensile_strength / 1e6
    assert solid * _share(0.3, MEASURED_EXPONENT) == pytest.approx(strength, rel=0.25)
    assert solid * _share(0.3, 2.0) < 0.4 * strength


def _share(infill: float, exponent: float) -> float:
    return PrintedBody(3, 0.45e-3, infill, exponent).infill_share


# --- cellular theory ---------------------------------------------------------------------------------------------------


def test_the_cautious_exponent_is_that_of_cells_crushed_in_their_plane():
    # L. J. Gibson and M. F. Ashby, Cellular Solids (formula sheet of a public university course): plastic strength of regular
    # hexagons in their plane, by relative density.
    strengths = {0.0575: 1.6667e-3, 0.115: 6.6667e-3, 0.23: 2.6667e-2}
    for thin, thick in ((0.0575, 0.115), (0.115, 0.23)):
        measured = strengths[thick] / strengths[thin]
        assert _share(thick, CAUTIOUS_EXPONENT) / _share(thin, CAUTIOUS_EXPONENT) == pytest.approx(measured, rel=1e-4)


# --- sandwich beams ----------------------------------------------------------------------------------------------------


def test_sandwich_with_aluminium_faces():
    # J. M. Gere, Mechanics of Materials, Example 6-2: 3 kN·m, 200 mm wide, 160 mm high, faces 5 mm 72 GPa, core 800 MPa.
    faces = Layer(5e-3, 72e9)
    lower, core, upper = layered_bending(3e3, 0.2, (faces, Layer(0.15, 0.8e9), faces))
    assert lower[0] / 1e6 == pytest.approx(18.98484, rel=1e-6)
    assert upper[1] / 1e6 == pytest.approx(-18.98484, rel=1e-6)
    assert core[0] / 1e6 == pytest.approx(0.197759, rel=3e-6)
    stiff = layered_bending(3e3, 0.2, (faces, Layer(0.15, 1.0), faces))[0]
    # The same example with a core that carries nothing: 20.0 MPa printed.
    assert stiff[0] / 1e6 == pytest.approx(19.97226, rel=1e-6)


def test_wood_beam_with_a_steel_plate():
    # Gere, Mechanics of Materials, Example 6-1: 60 kip·in on wood 4 x 6 in (1500 ksi) over steel 4 x 0.5 in (30 000 ksi).
    steel, wood = layered_bending(60e3, 4.0, (Layer(0.5, 30e6), Layer(6.0, 1.5e6)))
    assert (wood[1], wood[0]) == pytest.approx((-1305.288, 251.329), rel=3e-6)
    assert (steel[1], steel[0]) == pytest.approx((5026.574, 7620.935), rel=1e-6)


# --- the table of polymers ---------------------------------------------------------------------------------------------

# Processes 13 (2025) 2733 (PLA, ABS, PETG) and Materials 18 (2025) 4530 (PA6): density g/cm³, tensile strength MPa in the plane
# of the layers, modulus GPa, softening °C. The first source's 137 °C for PLA's glass transition is wrong: 60 °C is meant.
PRINTED = {
    "PLA": (1.25, 53, 3.5, 60),
    "ABS": (1.04, 40, 2.1, 107),
    "PETG": (1.27, 50, 2.0, 71),
    "PA": (1.14, 48, 2.4, 70),
}


@pytest.mark.parametrize("name", PRINTED)
def test_printed_polymers_stand_in_the_table(name):
    density, strength, modulus, softening = PRINTED[name]
    row = load_materials()[name]
    assert (row.density / 1e3, row.tensile_strength / 1e6) == pytest.approx((density, strength))
    assert row.elastic_modulus / 1e9 == pytest.approx(modulus)
    assert row.softening == softening


@pytest.mark.parametrize(
    ("name", "strength"),
    [
        ("ABS", 36.4),  # Fernandez-Vicente et al., 3D Printing and Additive Manufacturing 3 (2016), rectilinear 100 %
        ("ABS", 28.5),  # Tymrak et al. 2014, from memory
        ("PLA", 56.6),  # Tymrak et al. 2014, from memory
        ("ASA", 40.0),  # data sheets, from memory
        ("ASA", 55.0),  # data sheets, from memory
    ],
)
def test_other_measured_bars_lie_within_the_tables_range(name, strength):
    low, high = load_materials()[name].span("tensile_strength")
    assert low / 1e6 <= strength <= high / 1e6


@pytest.mark.parametrize(("name", "low", "high"), [("PLA", 52, 58), ("PETG", 68, 72), ("ABS", 90, 98), ("ASA", 95, 100)])
def test_softening_ranges_reach_the_deflection_temperatures_of_data_sheets(name, low, high):
    # Data-sheet range of deflection temperatures at 0.45 MPa, from memory.
    least, most = load_materials()[name].span("softening")
    assert least <= low
    assert most >= high


# --- life --------------------------------------------------------------------------------------------------------------


def test_order_of_life_of_printed_gears():
    # Tunalioglu and Agca, Polymers 14 (2022) 2064: at 900 rpm and 1.5 N·m PETG gears last 22.3 % longer than PLA and 37 %
    # longer than ABS. No published S-N line: only the order is compared, with the strength of teeth that run warm (35 °C).
    rows = load_materials()
    warm = {
        name: rows[name].tensile_strength * temperature_factor(35.0, rows[name].softening) for name in ("PETG", "PLA", "ABS")
    }
    assert warm["PETG"] > warm["PLA"] > warm["ABS"]
    over_pla, over_abs = warm["PETG"] / warm["PLA"], warm["PETG"] / warm["ABS"]
    print(f"warm strength of PETG over PLA {over_pla:.2f} (life 1.22), over ABS {over_abs:.2f} (life 1.37)")
    assert 1.0 < over_pla < 1.223
    assert over_pla < over_abs < 1.37
