"""``winchsim curves``, and ``lift --out``: files, words, exit codes, and nothing written where
something is wrong."""

import json
import os
import re

import pytest

from tests.screen import run
from winchsim.commands.call import ExitCode
from winchsim.report.names import NAMES
from winchsim.scenario.starter import STARTER

LIGHT = STARTER.replace('mass = "10 kg"', 'mass = "4 kg"')


@pytest.fixture(scope="module")
def crate(tmp_path_factory):
    """A scenario that lifts, under a name that is hard on a command line."""
    path = tmp_path_factory.mktemp("odd 'folder'") / "crate <b>漢.toml"
    path.write_text(LIGHT, encoding="utf-8")
    return str(path)


@pytest.mark.slow
def test_one_file_draws_everything(crate, tmp_path):
    out = tmp_path / "figures"
    code, said, noted = run("curves", crate, "--out", str(out))
    assert code == ExitCode.GOOD
    assert sorted(os.listdir(out)) == sorted(
        f"{name}.{form}" for name in NAMES for form in ("png", "svg")
    )
    assert said.startswith(f"{crate[:40]}") and "Lifts 4 kg" in " ".join(said.split())
    assert noted.count("wrote ") == 2 * len(NAMES)
    assert max(len(line) for line in said.splitlines()) <= 100
    run("curves", crate, "--out", str(tmp_path / "again"), "--format", "svg")
    for name in os.listdir(tmp_path / "again"):
        assert (out / name).read_bytes() == (tmp_path / "again" / name).read_bytes(), name


def test_several_files_share_their_axes(crate, tmp_path):
    other = tmp_path / "heavy.toml"
    other.write_text(LIGHT.replace('mass = "4 kg"', 'mass = "90 kg"'))
    code, said, _ = run(
        "curves",
        crate,
        str(other),
        "--out",
        str(tmp_path / "o"),
        "--format",
        "pdf",
        "--width",
        "slide",
    )
    assert code == ExitCode.BAD and os.listdir(tmp_path / "o") == ["overlay.pdf"]
    assert "1  " in said and "2  " in said and "up after" in said


def test_a_ladder_is_laid_over_itself(crate, tmp_path):
    code, said, _ = run("curves", crate, "--ladder", "--out", str(tmp_path), "--format", "svg")
    assert code == ExitCode.GOOD and os.listdir(tmp_path) == ["overlay.svg"]
    assert "5  4 kg, up after" in said and "6  " not in said


def test_a_test_sheet_is_simulated_row_by_row(crate, tmp_path):
    sheet = tmp_path / "tests.csv"
    sheet.write_text(
        "mass_kg,voltage_v,measured_time_s,measured_current_a,outcome\n2,,20,0.8,lifted\n4,5.5,30,,lifted\n3,,,,\n"
    )
    out = tmp_path / "o"
    code, said, _ = run(
        "curves", crate, "--measured", str(sheet), "--out", str(out), "--json", "--format", "svg"
    )
    facts = json.loads(said)
    assert code == ExitCode.GOOD and sorted(os.listdir(out)) == [
        "measured-lifts.svg",
        "measured.svg",
    ]
    first, second = facts["differences"]
    assert first["mass_kg"] == 2 and first["time_difference"] == pytest.approx(
        20 / first["simulated_time_s"] - 1
    )
    assert first["current_difference"] == pytest.approx(0.8 / first["simulated_current_a"] - 1)
    assert (
        second["simulated_time_s"] > first["simulated_time_s"]
        and second["current_difference"] is None
    )


def test_a_test_is_the_first_raise_whatever_the_programme_does(crate, tmp_path):
    """As in a calibration: a test is timed from power on, and made at the voltage that its row
    gives."""
    programme = tmp_path / "programme.toml"
    waits = '\n[[phase]]\naction = "off"\nuntil = "time"\ntime = "5 s"\n'
    programme.write_text(
        LIGHT + waits + '[[phase]]\naction = "raise"\nuntil = "top"\nvoltage = "4 V"\n'
    )
    sheet = tmp_path / "tests.csv"
    sheet.write_text("mass_kg,voltage_v,measured_time_s,outcome\n2,6,20,lifted\n")
    told = []
    for file in (crate, str(programme)):
        arguments = [
            "curves",
            file,
            "--measured",
            str(sheet),
            "--out",
            str(tmp_path / "o"),
            "--json",
            "--format",
            "svg",
        ]
        told.append(json.loads(run(*arguments, "--force")[1])["differences"][0])
    assert told[0] == told[1] and told[0]["simulated_time_s"] > 0


def test_a_ladder_is_drawn_as_it_was_planned(crate, tmp_path):
    """Watched as a rung is, whatever the scenario's programme does after its raise."""
    lowered = tmp_path / "lowered.toml"
    lowered.write_text(
        LIGHT
        + '\n[[phase]]\naction = "raise"\nuntil = "top"\n[[phase]]\naction = "lower"\nuntil = "floor"\n'
    )
    told = [
        run("curves", file, "--ladder", "--out", str(tmp_path / "o"), "--format", "svg", "--force")[
            1
        ]
        for file in (crate, str(lowered))
    ]
    keys = [[line for line in said.splitlines() if re.match(r"\d+  ", line)] for said in told]
    assert keys[0] == keys[1] and len(keys[0]) == 5


def test_a_trace_is_laid_over_the_curve(crate, tmp_path):
    trace = tmp_path / "trace.csv"
    trace.write_text("time_s,height_mm,current_ma\n1,10,900\n2,60,1000\n3,120,1000\n")
    code, said, _ = run(
        "curves", crate, "--measured", str(trace), "--out", str(tmp_path / "o"), "--format", "png"
    )
    assert code == ExitCode.GOOD and os.listdir(tmp_path / "o") == ["measured.png"]
    said = " ".join(said.split())
    assert (
        "height, measured less simulated" in said
        and "current, measured less simulated" in said
        and "3 samples" in said
    )


def test_json_names_files_figures_and_verdict(crate, tmp_path):
    code, said, _ = run(
        "curves",
        crate,
        "--out",
        str(tmp_path),
        "--json",
        "--format",
        "svg",
        "--set",
        "load.mass=3 kg",
    )
    facts = json.loads(said)
    assert code == ExitCode.GOOD and facts["verdict"].startswith("Lifts 3 kg") and facts["cautions"]
    assert [os.path.basename(row["file"]) for row in facts["rows"]] == [
        f"{name}.svg" for name in NAMES
    ]
    assert [figure["name"] for figure in facts["figures"]] == list(NAMES)
    assert facts["meta"]["scenario_hash"] == facts["scenarios"][0]["scenario_hash"]


@pytest.mark.parametrize(
    ("files", "arguments", "reason"),
    [
        (1, ["--format", "gif"], "unknown format 'gif'"),
        (1, ["--format", ","], "no format given"),
        (1, ["--speed", "0", "--animate", "gif"], "--speed takes more than 0"),
        (1, ["--speed", "nan", "--animate", "gif"], "--speed takes more than 0"),
        (1, ["--ladder", "--measured", "x.csv"], "--ladder and --measured do not go together"),
        (1, ["--measured", "no-such.csv"], "no such file"),
        (2, ["--ladder"], "one scenario"),
        (2, ["--measured", "x.csv"], "one scenario"),
    ],
)
def test_misuse_is_said_and_nothing_is_written(crate, tmp_path, files, arguments, reason):
    code, said, noted = run("curves", *[crate] * files, "--out", str(tmp_path / "o"), *arguments)
    assert (code, said) == (ExitCode.MISUSE, "") and reason in noted
    assert not (tmp_path / "o").exists()


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("mass_kg,measured_time_s\n4,\n", "no row that was measured"),
        ("time_s,height_m\n-10,0.1\n-5,0.1\n", "no sample of the trace"),
    ],
)
def test_nothing_measured_is_said(crate, tmp_path, text, reason):
    (tmp_path / "m.csv").write_text(text)
    code, _, noted = run(
        "curves", crate, "--measured", str(tmp_path / "m.csv"), "--out", str(tmp_path / "o")
    )
    assert code == ExitCode.MISUSE and reason in noted


def test_lift_writes_its_report_into_a_folder(crate, tmp_path):
    out = tmp_path / "report"
    code, said, noted = run("lift", crate, "--out", str(out), "--set", "load.mass=3 kg")
    assert code == ExitCode.GOOD and "Lifts 3 kg" in " ".join(said.splitlines()[:2])
    assert {"report.html", "report.md", "record.csv", "build.png"} <= set(os.listdir(out))
    assert f"wrote {out / 'report.html'}" in noted
    html = (out / "report.html").read_text(encoding="utf-8")
    assert "crate &lt;b&gt;漢.toml" in html and "load.mass=3 kg" in html and "<script" not in html
    code, _, noted = run("lift", crate, "--out", str(out))
    assert code == ExitCode.MISUSE and "nothing was written" in noted
