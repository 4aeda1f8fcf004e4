"""``winchsim ladder``: report, JSON, the page to print, and the sheet that calibrate reads."""

import json
import re
from dataclasses import replace

import pytest

from tests.screen import Screen
from winchsim.commands.call import ExitCode
from winchsim.report.ladder import ladder_csv, ladder_page, weakest_parts
from winchsim.report.render.options import sentence_text
from winchsim.report.words.advice import CAUTIONS
from winchsim.scenario.read import Scenario
from winchsim.scenario.sheet import read_sheet
from winchsim.scenario.starter import STARTER
from winchsim.studies.ladder import plan_ladder

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def done(folder, crate):
    """One run that writes everything."""
    return Screen().run("ladder", crate, "--out", str(folder / "tests"))


def test_that_a_pawl_is_to_be_freed_for_the_lowering_is_told_on_screen_and_sheet(folder, tmp_path):
    pawled = tmp_path / "pawl.toml"
    steps = "".join(
        f'\n[[phase]]\naction = "{action}"\nuntil = "{until}"\n'
        for action, until in (("raise", "top"), ("lower", "floor"))
    )
    pawled.write_text(STARTER + steps + "\n[pawl]\n")
    done = Screen().run("ladder", str(pawled), "--rungs", "1", "--out", str(tmp_path / "out"))
    for text in (done.out, (tmp_path / "out" / "ladder.html").read_text()):
        text = " ".join(text.split())
        assert "Free the pawl" in text and "hold it open" in text
        assert "blocks the lowering" not in text
        assert "reverse the polarity" in text or "lower it on a second line" in text


def test_the_sheet_is_what_calibrate_reads(done, folder):
    rows = read_sheet(str(folder / "tests" / "ladder.csv"))
    assert (
        [row.rung for row in rows] == [1, 2, 3, 4, 5, 6]
        and rows[0].mass == 0
        and rows[-1].mass == 10
    )
    for row in rows:
        assert (
            row.predicted_time > 0
            and row.predicted_current > 0
            and row.voltage == 12
            and row.height == pytest.approx(0.6)
        )
        assert row.rest_before is not None and row.winding_start >= 20
        assert row.measured_time is None and row.outcome is None and row.held is None


def test_a_filled_sheet_calibrates(done, folder, crate):
    lines = (folder / "tests" / "ladder.csv").read_text().splitlines()
    head = next(line for line in lines if not line.startswith("#")).split(",")
    time, current, predicted = (
        head.index(name) for name in ("measured_time_s", "measured_current_a", "predicted_time_s")
    )
    filled = []
    for line in lines:
        cells = line.split(",")
        if cells[0].isdigit():
            cells[time] = f"{float(cells[predicted]) * 1.03:.3f}"
            cells[current] = cells[head.index("predicted_current_a")]
        filled.append(",".join(cells))
    sheet = folder / "filled.csv"
    sheet.write_text("\n".join(filled) + "\n")
    calibrated = Screen().run("calibrate", crate, str(sheet))
    assert calibrated.code == ExitCode.GOOD and "6 tests determine" in calibrated.out


def test_json_has_every_rung(done, folder):
    facts = json.loads((folder / "tests" / "ladder.json").read_text())
    assert facts["verdict"] in " ".join(done.out.split()) and facts["status"] == "thin"
    assert (
        len(facts["rows"]) == 6 and facts["measure_first"] and facts["prints"] and facts["lowering"]
    )
    for row in facts["rows"]:
        assert row["lift_time_s"] < row["stop_time_s"] and row["status"] in ("ok", "thin")
        assert row["mass_kg"] == 0 or (row["checks"] and row["lowering"]["descent"] == "powered")


def test_target_rungs_and_exit_codes(done, folder, crate):
    short = Screen().run("ladder", crate, "--target", "4 kg", "--rungs", "1", "--json")
    assert [row["mass_kg"] for row in json.loads(short.out)["rows"]] == [0, 4]
    heavy = Screen().run("ladder", crate, "--target", "60 kg")
    assert heavy.code == ExitCode.BAD and re.match(
        r"FAILS \d of \d rungs. (Climb to|Do not run)", heavy.out
    )
    for wrong in ("0", "13", "two"):
        refused = Screen().run("ladder", crate, "--rungs", wrong)
        assert refused.code == ExitCode.MISUSE and refused.out == ""
    assert Screen().run("ladder", crate, "--out", str(folder / "tests")).code == ExitCode.MISUSE


# --- the page


def test_the_page_is_whole_and_needs_nothing_else(done, folder):
    page = (folder / "tests" / "ladder.html").read_text()
    assert not re.findall("<(?:script|img|iframe|object)|https?:", page)
    assert set(re.findall('href="([^#"][^"]*)"', page)) == {"data:,"}
    blanks = page.partition('id="run-and-fill-in"')[2].partition("</tbody>")[0]
    assert len(re.findall(r"<td [^>]*></td>", blanks)) == 6 * 7
    for text in (
        "Tool chest onto the loft",
        "every test load, on a scale",
        "Do not reach under the load",
        "4 walls, 40 % infill",
        "stop after",
        "Tested by",
    ):
        assert text in page


def _page(inputs, name="crate.toml", *, us=False, **plan):
    return ladder_page(plan_ladder(inputs, **plan), Scenario(inputs, name, "", ""), us=us)


def test_nothing_in_a_title_becomes_markup(small):
    nasty = '<script>alert("x")</script> & <b onmouseover=x>\x1b[31m'
    page = _page(small(title=nasty), "<i>.toml", rungs=1)
    assert (
        "<script" not in page
        and "<b onmouseover" not in page
        and "\x1b" not in page
        and "<i>.toml" not in page
    )
    assert "&lt;script&gt;" in page


def test_every_script_and_every_caution_stands_on_the_sheet(small):
    page = _page(small(title="می\u200cخواهم"), rungs=1)
    assert "می\u200cخواهم" in page
    assert [caution for caution in CAUTIONS.values() if caution not in page] == []


def test_the_part_that_the_factor_is_of_is_named_where_it_changes(small):
    ladder = plan_ladder(small(), rungs=2)
    parts = ladder.rungs[-1].assessment.parts
    other = replace(ladder.rungs[-1].assessment, parts=parts[::-1])
    changed = replace(
        ladder, rungs=(*ladder.rungs[:-1], replace(ladder.rungs[-1], assessment=other))
    )
    named = sentence_text(weakest_parts(changed).text)
    assert named == f"{parts[0].label} from 4 kg, {parts[-1].label} from 8 kg."


def test_rungs_that_must_not_be_tested_are_marked(small):
    page = _page(small(load={"mass": 24.0}), us=True)
    assert "do not run" in page and 'class="headline bad"' in page and "lb]" in page


@pytest.mark.parametrize("title", [",@SUM(A1)", "=1+2", '"\n=cmd|x', ";+5"])
def test_a_title_is_no_formula_in_the_sheet(small, title):
    """No cell of the first lines begins with what a spreadsheet takes for a formula."""
    text = ladder_csv(plan_ladder(small(title=title), rungs=1), digest="0123456789abcdef")
    cells = [cell.strip('" ') for line in text.splitlines() for cell in re.split("[,;\t]", line)]
    assert not [cell for cell in cells if cell[:1] in ("=", "+", "-", "@")]


def test_a_sheet_for_pupils_has_no_predictions_and_the_answers_stand_apart(crate, tmp_path):
    out = tmp_path / "pupils"
    done = Screen().run("ladder", crate, "--rungs", "2", "--blind", "--out", str(out))
    assert done.code == ExitCode.GOOD
    facts = json.loads((out / "answers.json").read_text())["rows"]
    rows = read_sheet(str(out / "ladder.csv"))
    assert (
        [row.predicted_time for row in rows]
        == [row.predicted_current for row in rows]
        == [None] * 3
    )
    assert [row.mass for row in rows] == [row["mass_kg"] for row in facts]
    blind, answers = ((out / f"{name}.html").read_text() for name in ("ladder", "answers"))
    current = f"{facts[-1]['current_a']:.2g}\N{NO-BREAK SPACE}A"
    assert current in answers and current not in blind
    assert "stop after" in blind and "Follow local codes" in blind


@pytest.mark.browser
def test_it_prints_on_two_pages(chromium, done, folder):
    page = chromium.new_page()
    page.goto((folder / "tests" / "ladder.html").as_uri())
    pdf = page.pdf(prefer_css_page_size=True)
    page.close()
    assert len(re.findall(rb"/Type\s*/Page[^s]", pdf)) == 2
    assert {
        (round(float(w)), round(float(h)))
        for w, h in re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    } <= {(595, 842), (596, 842), (595, 841)}
