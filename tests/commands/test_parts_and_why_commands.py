"""``winchsim choose`` and ``winchsim why``: reports, JSON and files of the worked examples."""

import json

import pytest
from shipped import FOLDER

from tests.screen import Screen

PARTS = """\
[[parts.drums]]
diameter = "12 mm"
[[parts.drums]]
diameter = "40 mm"
"""


def file(pattern: str) -> str:
    return str(next(FOLDER.glob(pattern)))


def test_a_choice_from_a_file_of_parts(tmp_path):
    parts = tmp_path / "parts.toml"
    parts.write_text(PARTS)
    called = ("choose", file("01-*.toml"), "--parts", str(parts), "--out", str(tmp_path / "out"))
    screen = Screen().run(*called)
    rows = json.loads((tmp_path / "out" / "choose.json").read_text())["rows"]
    assert screen.code == 0 and {row["drum_diameter_m"] for row in rows} == {0.012, 0.04}
    assert "Take drum 12 mm" in screen.out or "Take drum 40 mm" in screen.out
    assert "Take drum 12 mm." in Screen().run("drum", file("06-*.toml"), "--parts", str(parts)).out
    assert {path.suffix for path in (tmp_path / "out").iterdir()} >= {".html", ".csv", ".txt"}


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ('[[parts.gears]]\nteeth = 3\nmodule = "1 mm"\n', "parts.gears.1.teeth"),
        ('[[gears]]\nteeth = 12\nmodule = "1 mm"\n', "gears"),
        ('[[parts.motors]]\nvoltage = "6 V"\n', "parts.motors.1.stall_torque"),
        ('[[parts.ropes]]\ndiameter = "3 mm"\nmaterial = "hair"\n', "parts.ropes.1.material"),
    ],
)
def test_faults_of_a_parts_file_name_their_file_and_key(tmp_path, text, key):
    parts = tmp_path / "parts.toml"
    parts.write_text(text)
    screen = Screen().run("choose", file("01-*.toml"), "--parts", str(parts))
    assert screen.code == 2 and key in screen.err and "parts.toml" in screen.err


def test_what_ran_back_is_not_looked_for_in_stiff_gears_and_broken_sections(tmp_path):
    (tmp_path / "back.csv").write_text("mass_kg,held\n23,no\n")
    screen = Screen().run("why", file("08-*.toml"), str(tmp_path / "back.csv"), "--full")
    causes = screen.out.partition("Cautions")[0].lower()
    assert "too heavy to be held" in causes
    assert not any(word in causes for word in ("stiff", "stressed section", "part stronger"))


@pytest.mark.parametrize("number", ["13", "14"])
def test_why_of_the_worked_examples(tmp_path, number):
    called = ("why", file(f"{number}-*.toml"), file(f"{number}-*.csv"))
    screen = Screen().run(*called, "--out", str(tmp_path / "out"))
    assert screen.code == 0
    document = json.loads((tmp_path / "out" / "why.json").read_text())
    shares = [row["likelihood"] for row in document["rows"]]
    assert shares == sorted(shares, reverse=True) and sum(shares) == pytest.approx(1.0)
    assert all(row["look_for"] and row["change"] for row in document["rows"])
    assert "general knowledge" in " ".join(screen.out.split())
    assert "<html" in (tmp_path / "out" / "why.html").read_text()
