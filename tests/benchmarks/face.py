"""Python face: a sweep of 2,000 builds of load and drum against looping the full simulation, and
importing winchsim against importing numpy, as ratios of processor time in one run.

Run: ``python tests/benchmarks/face.py``.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

import winchsim

HOIST = Path(__file__).parents[2] / "scenarios" / "01-workshop-hoist.toml"
LOADS, DRUMS, ROUNDS, LOOPED = 50, 40, 3, 10


def importing(module: str) -> float:
    """Least processor time of a process that imports a module. [s]"""
    times = []
    for _ in range(7):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, "-c", f"import {module}"], check=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        times.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(times)


def main() -> None:
    """Print both ratios."""
    inputs = winchsim.read(HOIST)
    values = {
        "load.mass": np.linspace(4, 20, LOADS).tolist(),
        "drum.diameter": np.linspace(0.01, 0.04, DRUMS).tolist(),
    }
    swept, looped = [], []
    for _ in range(ROUNDS):
        start = time.process_time()
        found = winchsim.sweep(inputs, values)
        swept.append(time.process_time() - start)
    for row in found.rows()[:: LOADS * DRUMS // LOOPED]:
        changed = winchsim.with_value(inputs, "load.mass", row["load.mass_kg"])
        changed = winchsim.with_value(changed, "drum.diameter", row["drum.diameter_m"])
        start = time.process_time()
        winchsim.simulate(changed)
        looped.append(time.process_time() - start)
    each = float(np.mean(looped))
    print(
        f"sweep of {len(found)} builds: {min(swept):.2f} s, {1e3 * each:.0f} ms a full simulation"
    )
    print(f"looping them in full: {each * len(found) / min(swept):.0f} times as long")
    numpy_time, own = importing("numpy"), importing("winchsim")
    print(
        f"import numpy {numpy_time:.3f} s, import winchsim {own:.3f} s: {own / numpy_time:.2f} of it"
    )


if __name__ == "__main__":
    main()
