"""``winchsim ladder``: report, JSON, the page to print, and the sheet that calibrate reads."""

from __future__ import annotations

import html.parser
import io
import json
import re
import shutil
import subprocess

import pytest

from winchsim import cli
from winchsim.commands.env import Env, ExitCode
from winchsim.report.ladder import ladder_page
from winchsim.scenario.sheet import read_sheet
from winchsim.scenario.starter import STARTER
from winchsim.studies.ladder import plan_ladder
from winchsim.verdict.cautions import short


class Screen:
    """A command line whose streams can be read afterwards."""

    def __init__(self, **options):
        self.env = Env(io.StringIO(), io.StringIO(), **options)

    def run(self, *arguments: str):
        self.code = cli.main(list(arguments), self.env)
        self.out, self.err = self.env.stdout.getvalue(), self.env.stderr.getvalue()
        return self


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("crate")
    (folder / "crate.toml").write_text(STARTER)
    return folder


@pytest.fixture(scope="module")
def done(folder):
    """One run that writes everything."""
    return Screen().run("ladder", str(folder / "crate.toml"), "--out", str(folder / "tests"))


def test_the_report_says_everything_in_100_columns(done):
    assert done.code == ExitCode.GOOD and done.out.startswith("6 rungs from an unloaded run to 10 kg")
    for heading in ("Rungs", "Down again, and a fall", "If it stalls", "Weigh and measure first",
                    "Print settings that the prediction rests on", "Checked", "Findings, worst first", "Cautions"):  # fmt: skip
        assert f"\n{heading}\n" in done.out
    assert max(len(line) for line in done.out.splitlines()) <= 100
    text = " ".join(done.out.split())
    assert "Do not reach under the load" in text and "Catch height" in text and "Reverse the polarity" in text


def test_us_units_fit_too(folder):
    us = Screen().run("ladder", str(folder / "crate.toml"), "--units", "us", "--rungs", "2")
    assert max(len(line) for line in us.out.splitlines()) <= 100 and "(22.0 lb)" in us.out


def test_the_sheet_is_what_calibrate_reads(done, folder):
    rows = read_sheet(str(folder / "tests" / "ladder.csv"))
    assert [row.rung for row in rows] == [1, 2, 3, 4, 5, 6] and rows[0].mass == 0 and rows[-1].mass == 10
    for row in rows:
        assert row.predicted_time > 0 and row.predicted_current > 0 and row.voltage == 12 and row.height == pytest.approx(0.6)
        assert row.rest_before is not None and row.winding_start >= 20
        assert row.measured_time is None and row.outcome is None and row.held is None


def test_a_filled_sheet_calibrates(done, folder):
    lines = (folder / "tests" / "ladder.csv").read_text().splitlines()
    head = next(line for line in lines if not line.startswith("#")).split(",")
    time, current, predicted = (head.index(name) for name in ("measured_time_s", "measured_current_a", "predicted_time_s"))
    filled = []
    for line in lines:
        cells = line.split(",")
        if cells[0].isdigit():
            cells[time] = f"{float(cells[predicted]) * 1.03:.3f}"
            cells[current] = cells[head.index("predicted_current_a")]
        filled.append(",".join(cells))
    sheet = folder / "filled.csv"
    sheet.write_text("\n".join(filled) + "\n")
    calibrated = Screen().run("calibrate", str(folder / "crate.toml"), str(sheet))
    assert calibrated.code == ExitCode.GOOD and "6 tests say" in calibrated.out


def test_json_has_every_rung(done, folder):
    facts = json.loads((folder / "tests" / "ladder.json").read_text())
    assert facts["verdict"] == " ".join(done.out.splitlines()[0].split()) or facts["verdict"] in " ".join(done.out.split())
    assert len(facts["rows"]) == 6 and facts["measure_first"] and facts["prints"] and facts["largest_difference"] < 0.01
    for row in facts["rows"]:
        assert row["lift_time_s"] < row["stop_time_s"] and row["lowering"]["words"] and row["verdict"]


def test_json_on_the_screen_is_what_the_file_holds(folder):
    screen = Screen().run("ladder", str(folder / "crate.toml"), "--rungs", "1", "--json", "--out", str(folder / "short"))
    assert screen.code == ExitCode.GOOD
    assert json.loads(screen.out) == json.loads((folder / "short" / "ladder.json").read_text())


def test_target_rungs_and_exit_codes(folder):
    crate = str(folder / "crate.toml")
    short = Screen().run("ladder", crate, "--target", "4 kg", "--rungs", "1", "--json")
    assert [row["mass_kg"] for row in json.loads(short.out)["rows"]] == [0, 4]
    heavy = Screen().run("ladder", crate, "--target", "60 kg")
    assert heavy.code == ExitCode.BAD and re.match(r"(Climb to|Do not load)", heavy.out)
    for wrong in ("0", "13", "two"):
        refused = Screen().run("ladder", crate, "--rungs", wrong)
        assert refused.code == ExitCode.MISUSE and refused.out == ""
    assert Screen().run("ladder", crate, "--out", str(folder / "tests")).code == ExitCode.MISUSE


# --- the page -------------------------------------------------------------------------------------------------------


class _Tags(html.parser.HTMLParser):
    """Tags of a page with their attributes, and whether each is closed."""

    VOID = {"meta", "link", "br", "img", "hr"}

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict]] = []

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag, f"</{tag}> closes something else"


def _tags(page: str) -> _Tags:
    found = _Tags()
    found.feed(page)
    assert found.open == []
    return found


def test_the_page_is_whole_and_needs_nothing_else(done, folder):
    page = (folder / "tests" / "ladder.html").read_text()
    seen = _tags(page).seen
    assert not [tag for tag, _ in seen if tag in ("script", "img", "iframe", "object")]
    links = [attributes.get("href", "") for tag, attributes in seen if tag in ("a", "link")]
    assert links == ["data:,"] and "http:" not in page and "https:" not in page
    rows = page.partition("<tbody>")[2].partition("</tbody>")[0]
    assert rows.count("<tr") == 6 and rows.count('class="fill') == 6 * 7
    for text in ("Tool chest onto the loft", "every test load, on a scale", "Do not reach under the load", "A4 landscape",
                 "4 walls, 40 % infill", "Stop if over", "Catch height"):  # fmt: skip
        assert text in page


def test_nothing_in_a_title_becomes_markup(small):
    nasty = '<script>alert("x")</script> & <b onmouseover=x>\x1b[31m'
    page = ladder_page(plan_ladder(small(title=nasty), rungs=1), name="<i>.toml")
    assert "<script" not in page and "<b onmouseover" not in page and "\x1b" not in page and "<i>.toml" not in page
    assert "&lt;script&gt;" in page
    _tags(page)


def test_every_script_and_every_caution_stands_on_the_sheet(small):
    ladder = plan_ladder(small(title="می\u200cخواهم"), rungs=1)
    page = ladder_page(ladder)
    assert "می\u200cخواهم" in page and "<h2>Cautions</h2>" in page
    assert [caution for caution in short() if f"<li>{caution}</li>" not in page] == []
    assert set(short()) & set(ladder.cautions) and sum(map(len, short())) < sum(map(len, ladder.cautions))


def test_rungs_that_must_not_be_tested_are_struck_out(small):
    page = ladder_page(plan_ladder(small(load={"mass": 24.0})), us=True)
    rows = page.partition("<tbody>")[2].partition("</tbody>")[0]
    assert rows.count("class=no") == 1 and "no go" in rows
    assert '<p class="sentence bad">' in page and "lb)" in page


def test_it_prints_on_one_page(done, folder, tmp_path):
    """Printed by a browser where there is one: A4, landscape, one page even with the most rungs and both units."""
    page = (folder / "tests" / "ladder.html").read_text()
    assert "@page { size: A4 landscape" in page
    program = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if program is None:
        return
    crate = str(folder / "crate.toml")
    full = Screen().run("ladder", crate, "--rungs", "12", "--units", "us", "--out", str(tmp_path / "full"))
    assert full.code == ExitCode.GOOD
    source, pdf = tmp_path / "full" / "ladder.html", tmp_path / "page.pdf"
    subprocess.run(
        [program, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
         f"--user-data-dir={tmp_path / 'profile'}", f"--print-to-pdf={pdf}", source.as_uri()],
        check=True, capture_output=True, timeout=60,
    )  # fmt: skip
    assert len(re.findall(rb"/Type\s*/Page[^s]", pdf.read_bytes())) == 1
