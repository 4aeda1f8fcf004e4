"""The figures of README.md beside it: ``python tests/benchmarks/measure.py [TABLE ...] [--other
FOLDER]``.

Run by hand; it is no test. Least processor times. With the folder of another version of the project
both are measured in turn, and the ratio to the other one is printed: a busy machine moves both
alike. What the other version cannot do has no ratio.
"""

import argparse
import json
import os
import pickle
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parents[2]
SCENARIOS = sorted(ROOT.joinpath("scenarios").glob("*.toml"))
HOIST, STALLS, RUNS_BACK, *_ = SCENARIOS
BELL = next(path for path in SCENARIOS if path.stem.startswith("08"))
ROUNDS, REPEATS = 3, 3
ALIKE = 0.3
"""Lifts of two versions whose records end further apart, as a share, are not compared. [-]"""

VARIANTS, CHANGES = 10_000, 200


def least(call: Callable[[], Any], repeats: int = REPEATS) -> float:
    """Least processor time of several calls. [ms]"""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        call()
        times.append(1e3 * (time.process_time() - start))
    return min(times)


def simulation() -> Callable[..., Any]:
    """The function that simulates; older versions keep it elsewhere."""
    try:
        from winchsim.simulation import simulate
    except ImportError:
        from winchsim.simulate import simulate
    return simulate


def reader() -> Callable[..., Any]:
    """From a path to inputs; where it stands changed its place."""
    try:
        from winchsim.scenario.read import load
    except ImportError:
        from winchsim import read as load
    return load


def readable() -> dict[str, Any]:
    """Inputs of the scenarios that this version reads, by name."""
    from winchsim.errors import WinchsimError

    load = reader()
    found = {}
    for path in SCENARIOS:
        try:
            found[path.stem] = load(str(path))
        except WinchsimError:
            continue
    return found


def lift() -> dict[str, float]:
    """Simulation of each shipped lift with the time at its end, and of the first ten times as
    high."""
    from dataclasses import replace

    simulate, found = simulation(), {}
    lifts = readable()
    hoist = lifts[HOIST.stem]
    room = hoist.load.drum_height
    high = replace(hoist.load, height=10 * hoist.load.height, drum_height=room and 10 * room)
    for name, inputs in {**lifts, "ten times as high": replace(hoist, load=high)}.items():
        found[name] = least(lambda: simulate(inputs))  # noqa: B023
        found[f"{name} ends"] = float(simulate(inputs).time[-1])
    return found


def ranges() -> dict[str, float]:
    """Ranges of each shipped lift, from what was assumed."""
    from winchsim.assessment.ranges import find_ranges
    from winchsim.model import build

    lifts = [(name, inputs, build(inputs)) for name, inputs in readable().items()]
    return {name: least(lambda: find_ranges(i, m)) for name, i, m in lifts}  # noqa: B023


def variants() -> dict[str, float]:
    """Variants by the quasi-static model, everything that a study varies at random and at once,
    against full simulations of as many."""
    from winchsim.inputs import with_value
    from winchsim.slow import lift_all

    inputs, rng = reader()(str(BELL)), np.random.default_rng(1)
    inputs = with_value(inputs, "stage.1.efficiency", 0.94)
    columns = {
        "load.mass": inputs.load.mass * rng.uniform(0.3, 1.5, VARIANTS),
        "drum.diameter": inputs.drum.diameter * rng.uniform(0.8, 2.0, VARIANTS),
        "supply.voltage": inputs.supply.voltage * rng.uniform(0.7, 1.1, VARIANTS),
        "supply.current_limit": rng.uniform(2.0, 6.0, VARIANTS),
        "motors.1.count": rng.integers(4, 10, VARIANTS),
        "motors.1.winding_start": rng.uniform(10.0, 80.0, VARIANTS),
        "stage.1.efficiency": rng.uniform(0.9, 0.97, VARIANTS),
        "stage.2.gear": rng.integers(42, 58, VARIANTS),
    }
    slow, full = least(lambda: lift_all(inputs, columns)), least(lambda: simulation()(inputs))
    return {"10,000 variants": slow, "as many full simulations": full * VARIANTS}


def process() -> dict[str, float]:
    """Whole processes as ratios to importing scipy.integrate in the same round; compiled to
    bytecode, as after an installation."""
    winchsim = {
        "lift, nothing to remedy": ("lift", HOIST),
        "lift with actions, a stall": ("lift", STALLS),
        "lift with actions, a run-back": ("lift", RUNS_BACK),
        "drum": ("drum", HOIST),
        "calibrate": ("calibrate", BELL, str(BELL).replace("into-its-frame.toml", "tested.csv")),
        "keys load": ("keys", "load"),
    }
    lines = {f"import {name}": ["-c", f"import {name}"] for name in ("numpy", "winchsim")}
    lines |= {f"winchsim {n}": ["-m", "winchsim", *map(str, w)] for n, w in winchsim.items()}
    lines["scipy"] = ["-c", "import scipy.integrate"]
    times: dict[str, list[float]] = {name: [] for name in lines}
    with tempfile.TemporaryDirectory() as cache:
        environ = {**os.environ, "PYTHONPATH": sys.path[0], "PYTHONPYCACHEPREFIX": cache}
        environ.pop("PYTHONDONTWRITEBYTECODE", None)
        for _ in range(1 + REPEATS):
            for name, words in lines.items():
                times[name].append(taken(words, environ))
    importing = min(times.pop("scipy"))
    return {name: min(found[1:]) / importing for name, found in times.items()}


def taken(words: list[str], environ: Mapping[str, str]) -> float:
    """Processor time of a process. [s]"""
    null = subprocess.DEVNULL
    own = subprocess.Popen([sys.executable, *words], env=environ, stdout=null, stderr=null)
    _, status, usage = os.wait4(own.pid, 0)
    own.returncode = os.waitstatus_to_exitcode(status)
    if own.returncode not in (0, 1):
        raise RuntimeError(f"{words} ended with {own.returncode}")
    return usage.ru_utime + usage.ru_stime


def page() -> dict[str, float]:
    """Server side of a change on the page: checked, lifted, assessed, drawn and packed; random
    changes of any key that applies, between half and twice its value or within its usual range."""
    from winchsim.errors import WinchsimError
    from winchsim.page import jobs
    from winchsim.scenario.change import with_value

    rng, times, lifts = random.Random(14), [], list(readable().values())

    def answer(inputs: Any, path: str, value: object) -> None:
        for found in jobs.lift(with_value(inputs, path, value)):
            pickle.dumps(found)

    while len(times) < CHANGES:
        inputs = lifts[len(times) % len(lifts)]
        path, value = random_change(inputs, rng)
        try:
            times.append(least(lambda: answer(inputs, path, value), 1))  # noqa: B023
        except WinchsimError:
            continue
    names = ("page change, median", "page change, 95 %", "page change, most")
    return dict(zip(names, np.percentile(times, [50, 95, 100]).tolist(), strict=True))


def random_change(inputs: Any, rng: random.Random) -> tuple[str, object]:
    """A path and a value that the form offers."""
    from winchsim.page.row import controls

    while True:
        control = rng.choice([c for c in controls(inputs) if c.applies])
        spec, value = control.spec, control.value
        if control.choices:
            return control.path, rng.choice(control.choices)
        if spec.kind == "flag":
            return control.path, rng.random() < 0.5
        if spec.kind in ("quantity", "number", "integer"):
            known = isinstance(value, (int, float)) and value
            low, high = (value / 2, value * 2) if known else spec.usual or (0, 0)
            found = rng.uniform(min(low, high), max(low, high))
            if low or high:
                return control.path, round(found) if spec.kind == "integer" else found


def start() -> dict[str, float]:
    """Processor time of the server of the page until its address, the page and its first answer are
    there, in the distribution's browser."""
    from playwright.sync_api import sync_playwright

    line, found = [sys.executable, "-m", "winchsim", "try", str(HOIST), "--no-browser"], {}
    with (
        sync_playwright() as driver,
        driver.chromium.launch(executable_path=shutil.which("chromium")) as browser,
        subprocess.Popen(line, stdout=subprocess.PIPE, text=True, cwd=sys.path[0]) as server,
    ):

        def reached(name: str) -> None:
            fields = Path(f"/proc/{server.pid}/stat").read_text().rpartition(")")[2].split()
            found[name] = 1e3 * sum(map(int, fields[11:13])) / os.sysconf("SC_CLK_TCK")

        address, window = server.stdout.readline().strip(), browser.new_page()
        reached("address")
        window.goto(address, wait_until="commit")
        reached("page served")
        window.locator(".checks").first.wait_for()
        reached("first answer shown")
        server.send_signal(signal.SIGINT)
    return found


TABLES = {f.__name__: f for f in (lift, ranges, variants, process, page, start)}


def measured(root: Path, table: str) -> dict[str, float]:
    """Figures of a table by the version in a folder; none where it cannot do it."""
    line = [sys.executable, __file__, "--measure", str(root), table]
    done = subprocess.run(line, capture_output=True, text=True, check=False)
    if done.returncode and root == ROOT:
        raise RuntimeError(done.stderr)
    return {} if done.returncode else json.loads(done.stdout)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("tables", nargs="*", metavar="TABLE", help=", ".join(TABLES))
    parser.add_argument("--other", type=Path, help="folder of another version")
    parser.add_argument("--measure", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.measure:
        sys.path.insert(0, str(given.measure))
        print(json.dumps(TABLES[given.tables[0]]()))
        return
    roots = [ROOT, *([given.other] if given.other else [])]
    for table in given.tables or TABLES:
        best: list[dict[str, float]] = [{} for _ in roots]
        for _ in range(1 if table in ("process", "page") else ROUNDS):
            for own, root in zip(best, roots, strict=True):
                for name, value in measured(root, table).items():
                    own[name] = min(value, own.get(name, value))
        print(f"\n| {table} | figure | to other |\n|---|---|---|")
        for name, value in best[0].items():
            if not name.endswith(" ends"):
                figure = f"{value:.2f}" if table == "process" else f"{value:,.0f} ms"
                print(f"| {name} | {figure} | {compared(name, *best)} |", flush=True)


def compared(name: str, own: dict[str, float], other: Mapping[str, float] | None = None) -> str:
    """Ratio to another version; empty without one, or where its lift ends otherwise."""
    ends = [figures.get(f"{name} ends", 1.0) for figures in (own, other or {})]
    known = other is not None and name in other and abs(ends[0] / ends[1] - 1) < ALIKE
    return f"{own[name] / other[name]:.2f}" if known else ""


if __name__ == "__main__":
    main()
