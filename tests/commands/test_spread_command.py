"""``winchsim spread``: report, JSON, files, tolerances of the file, workers, and what happens when
it is cut short."""

import csv
import json
import signal
import subprocess
import sys

import numpy as np
import pytest

from tests.screen import Screen
from winchsim.commands.call import ExitCode
from winchsim.scenario.starter import STARTER
from winchsim.studies.spread import outcomes

pytestmark = pytest.mark.slow

CRATE = f"""{STARTER}
[[tolerance]]
path = "load.mass"
by = "1 lb"
shape = "uniform"

[[tolerance]]
path = "motors.1.no_load_speed"
by = "12 %"
"""


def test_details_are_shown_on_request_and_tolerances_of_the_file_are_taken_in_their_units(crate):
    full = Screen().run("spread", crate, "--builds", "20", "--full").out
    for heading in (
        "Percentiles",
        "Motors among themselves",
        "Influence",
        "What differs",
        "Method",
        "Cautions",
    ):
        assert f"\n{heading}" in full
    found = full.partition("What differs")[2].splitlines()
    rows = {line.split()[0]: line for line in found if line.strip()}
    assert "9.5 to 10.5" in rows["load.mass"] and rows["load.mass"].endswith("given, uniform")
    assert "10600 to 13400" in rows["motors.1.no_load_speed"]
    assert rows["supply.voltage"].endswith("usual tolerance")


def test_json_has_the_same_numbers(folder, crate):
    options = ("--builds", "60", "--seed", "7", "--out", str(folder / "out"))
    Screen().run("spread", crate, *options)
    facts = json.loads((folder / "out" / "spread.json").read_text())
    assert facts["meta"]["random_seed"] == 7 and facts["complete"] and facts["builds"] == 60
    assert facts["status"] == "thin" and facts["verdict"].startswith("100 %")
    assert facts["probabilities"]["lifted"] == {
        "count": 60,
        "of": 60,
        "share": 1.0,
        "low": pytest.approx(0.9404, abs=1e-4),
        "high": 1.0,
    }
    assert {row["input"] for row in facts["rows"]} >= {
        "load.mass",
        "stage.1.friction",
        "motors.1.stall_torque",
    }
    median = {row["share"]: row["value"] for row in facts["percentiles"]["time_s"]}[0.5]
    assert [row["place"] for row in facts["motors"]] == [1, 2, 3, 4]
    with open(folder / "out" / "spread.csv", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 60
    times = [float(row["lift_time_s"]) for row in rows]
    assert np.median(times) == pytest.approx(median, rel=1e-6)
    assert {"load.mass_kg", "motors.3.no_load_speed_rad_s", "group_1_motor_4_current_a"} <= set(
        rows[0]
    )
    assert all(9.546 < float(row["load.mass_kg"]) < 10.454 for row in rows)


def test_workers_change_nothing(crate):
    one = Screen().run("spread", crate, "--builds", "50", "--json", "--workers", "1")
    two = Screen(workers=2).run("spread", crate, "--builds", "50", "--json")
    assert one.out == two.out and one.code == two.code == ExitCode.GOOD


def test_bad_builds_end_with_1(crate):
    screen = Screen().run("spread", crate, "--builds", "20", "--set", "load.mass=30 kg", "--json")
    facts = json.loads(screen.out)
    assert (screen.code, facts["status"]) == (ExitCode.BAD, "fails")
    assert sum(facts["first_to_break"].values()) == facts["probabilities"]["overload"]["count"] > 0


@pytest.mark.parametrize(("arguments", "words"), [
    (["--builds", "3"], "from 10 to"), (["--workers", "0"], "takes 1 to"),
    (["--workers", str(10**21), "--workers", str(10**21)], "takes 1 to"), (["--workers", "200"], "give --workers twice"),
    (["--seed", "-1"], "seed is -1"), (["--seed", str(10**30)], "seed is 1"), (["--builds", str(10**9)], "from 10 to"),
    (["--level", "2"], "from 0.5 to 0.999"), (["--set", "tolerance.1.path=load.colour"], "load.colour"),
    (["--set", "tolerance.1.path=motors.1.count", "--set", "tolerance.1.by=1"], "a number that the scenario gives"),
])  # fmt: skip
def test_what_is_wrong_is_said(crate, arguments, words):
    screen = Screen().run("spread", crate, *arguments)
    assert screen.code == ExitCode.MISUSE and words in screen.err


WORKING = """
import time
from winchsim.commands.spread import executor_of
if __name__ == "__main__":
    with executor_of(None, 3) as pool:
        list(pool.map(abs, range(30)))
        tasks = [pool.submit(time.sleep, 600) for _ in range(3)]
        print("working", flush=True)
        time.sleep(600)
"""


@pytest.mark.parametrize("end", [signal.SIGTERM, signal.SIGKILL])
def test_workers_end_with_their_parent(end):
    """They hold its standard output open as long as one of them lives."""
    parent = subprocess.Popen([sys.executable, "-c", WORKING], stdout=subprocess.PIPE, text=True)
    assert parent.stdout.readline() == "working\n"
    parent.send_signal(end)
    assert parent.communicate(timeout=60)[0] == ""
    assert parent.returncode == -end


def test_ctrl_c_keeps_what_is_done(crate, monkeypatch):
    count, lift = [0], outcomes.lift_builds

    def stopped(plan, shares, **more):
        count[0] += 1
        if count[0] == 3:
            raise KeyboardInterrupt
        return lift(plan, shares, **more)

    monkeypatch.setattr(outcomes, "lift_builds", stopped)
    screen = Screen().run("spread", crate, "--builds", "200")
    assert screen.code == ExitCode.INTERRUPTED
    assert "Interrupted after 80 of 200 builds." in screen.out
    count[0] = 2
    nothing = Screen().run("spread", crate, "--builds", "20")
    assert (
        nothing.code == ExitCode.INTERRUPTED
        and nothing.out == ""
        and nothing.err == "interrupted\n"
    )


def test_progress_is_shown_to_whoever_watches(crate):
    clock = iter(range(0, 10_000, 2))
    watched = Screen(stderr_is_terminal=True, clock=lambda: next(clock)).run(
        "spread", crate, "--builds", "80"
    )
    assert "builds lifted: 40 of 80, about" in watched.err and watched.err.endswith("\r")
