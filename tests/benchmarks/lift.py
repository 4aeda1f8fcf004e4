"""Processor time of every shipped lift: simulation, ranges, and the whole assessment without
actions.

Run by hand: ``python tests/benchmarks/lift.py [OTHER]``. With the folder of another version of the
project, each lift is run in both in turn, and the ratios of the least times are printed; a busy
machine moves both alike. It is no test.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
SCENARIOS = sorted(ROOT.joinpath("scenarios").glob("*.toml"))
ROUNDS, REPEATS = 3, 5


def least(call: Callable[[], Any]) -> float:
    """Least processor time of several calls. [ms]"""
    times = []
    for _ in range(REPEATS):
        start = time.process_time()
        call()
        times.append(1e3 * (time.process_time() - start))
    return min(times)


def measured(root: str) -> dict[str, dict[str, float]]:
    """Times of every lift that the version in a folder can read, by scenario and name. [ms]"""
    sys.path.insert(0, root)
    from winchsim.assessment.evaluate import assess
    from winchsim.assessment.ranges import find_ranges
    from winchsim.errors import WinchsimError
    from winchsim.inputs import with_value
    from winchsim.scenario.read import load
    from winchsim.simulation import simulate

    found = {}
    for path in SCENARIOS:
        try:
            inputs = load(str(path))
        except WinchsimError:
            continue
        record = simulate(inputs)
        found[path.stem] = {
            "simulate": least(lambda: simulate(inputs)),  # noqa: B023
            "ranges": least(lambda: find_ranges(inputs, record.machine)),  # noqa: B023
            "assess": least(lambda: assess(record, actions=False)),  # noqa: B023
        }
    hoist = load(str(SCENARIOS[0]))
    for key in ("height", "drum_height"):
        height = getattr(hoist.load, key)
        hoist = hoist if height is None else with_value(hoist, f"load.{key}", 10 * height)
    found["ten times as high"] = {"simulate": least(lambda: simulate(hoist))}
    return found


def main() -> None:
    """Print the least times, and their ratios to those of another version."""
    if sys.argv[1:2] == ["--measure"]:
        print(json.dumps(measured(sys.argv[2])))
        return
    roots = [str(ROOT), *sys.argv[1:]]
    best: list[dict[tuple[str, str], float]] = [{} for _ in roots]
    for _ in range(ROUNDS):
        for own, root in zip(best, roots, strict=True):
            line = [sys.executable, __file__, "--measure", root]
            text = subprocess.run(line, capture_output=True, text=True, check=True).stdout
            for name, times in json.loads(text).items():
                for what, value in times.items():
                    own[name, what] = min(value, own.get((name, what), value))
    for (name, what), value in best[0].items():
        ratios = [f"{value / own[name, what]:.2f}" for own in best[1:] if (name, what) in own]
        print(f"{name:36}{what:10}{value:8.1f} ms  {' '.join(ratios)}")


if __name__ == "__main__":
    main()
