"""Exact text of a small document on a terminal."""

import dataclasses

import pytest

from winchsim.report.document import Document, Mark, Table, Value, say
from winchsim.report.render.options import Options, value_text
from winchsim.report.render.text import render_text

FIRST = """\
THIN 1 of 3. Lifts 14 kg by 0.6 m <b>*now*</b>.
  crate.toml · not rated

quantity        value      range         limit  status
lift time       28 s       26 to 33             ok
holding margin  1.15 ×     0.95 to 1.40  1      thin
speed | odd     21.3 mm/s                       ok
If it jams: the shaft breaks first.
1  Fit a brake.
2  Less load.
Keep clear.

Findings
thin  The rope bends tightly.
  Action: A thicker drum.
All details: winchsim lift crate.toml --full
"""

FULL_NARROW_US_PLAIN = """\
THIN 1 of 3. Lifts 14 kg [30.9 lb] by 0.6 m [1.97 ft]
  <b>*now*</b>.
  crate.toml . not rated

quantity        value            range         limit  status
lift time       28 s             26 to 33             ok
holding margin  1.15 x           0.95 to 1.40  1      thin
speed | odd     21.3 mm/s                             ok
                [0.839 in/s]
If it jams: the shaft breaks first.
1  Fit a brake.
2  Less load.
Keep clear.

Findings
thin  The rope bends tightly.
  Action: A thicker drum.

Notes
- A long note that has to be wrapped before the number
  1230 N [278 lbf] at its end.

File
a = '<1>'
``` b
"""


def test_the_first_screen(document):
    assert render_text(document, Options()) == FIRST


def test_details_in_us_units_on_a_narrow_old_terminal(document):
    options = Options(width=60, us=True, plain=True, full=True)
    assert render_text(document, options) == FULL_NARROW_US_PLAIN


def test_a_low_terminal_loses_spare_rows_and_counts_them(document):
    rows = len(FIRST.splitlines())
    for height, left_out in ((rows - 1, 0), (rows - 2, 2), (1, 2)):
        lines = render_text(document, Options(height=height)).splitlines()
        assert ("and 2 more checks, all ok" in lines) == (left_out == 2)
        assert any(line.startswith("lift time") for line in lines) == (left_out == 0)
        assert any(line.startswith("holding margin") for line in lines)


def test_colour_adds_nothing_but_control_codes(document):
    coloured = render_text(document, Options(colour=True))
    assert "\033[33mTHIN 1 of 3\033[0m" in coloured and "\033[32mok\033[0m" in coloured
    for code in ("\033[33m", "\033[32m", "\033[2m", "\033[1m", "\033[0m"):
        coloured = coloured.replace(code, "")
    assert coloured == FIRST


def test_nothing_of_a_user_steers_the_terminal(document):
    odd = dataclasses.replace(document, more="\033[2J\x07")
    assert "\033" not in render_text(odd, Options()) and "\\x1b[2J" in render_text(odd, Options())


@pytest.mark.parametrize("width", [60, 80, 120])
def test_no_line_is_wider_than_the_terminal(document, width):
    long = (
        "starting torque margin",
        Value(1.0, "N", 0.5, 2.0),
        "a_path_of.many.parts",
        *["x y"] * 9,
    )
    wide = dataclasses.replace(document, body=(*document.body, Table(("head",) * 12, (long,))))
    assert max(map(len, render_text(wide, Options(width=width, full=True)).splitlines())) <= width


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (Value(None, "s"), "not known"),
        (Value(0.25, "m", 0.2, 0.31), "0.25 m (0.20 to 0.31)"),
        (Value(28.0, "s", 26.0, float("inf"), endless="never"), "28.0 s (26.0 or never)"),
        (Value(float("inf"), endless="locked"), "locked"),
        (Value(0.996, "", 0.83, 1.21, 1.0), "0.996 (0.830 to 1.210)"),
        (Value(85.0, "°C", 70.0, 110.0), "85 °C (70 to 110)"),
    ],
)
def test_a_value(value, text):
    assert value_text(value, Options()).replace("\N{NO-BREAK SPACE}", " ") == text


def test_a_template_takes_as_many_parts_as_it_has_places():
    assert say("{} of {}", "1", say("{}", Value(2.0))) == ("1", " of ", Value(2.0))
    with pytest.raises(IndexError):
        say("{} of {}", "1")


def test_checks_left_out_are_named_whatever_stands_first_in_their_row():
    rows = ((Value(2.0, "kg"), "lift time", Mark("thin", "warn")),)
    table = Table(("load", "check", "status"), rows, ((0, 0),), "checks")
    text = render_text(Document("", "", (table,)), Options(height=1))
    assert text.splitlines() == ["", "and 1 more check: thin: lift time"]
