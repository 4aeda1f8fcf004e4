"""Server side of one change on the page: reading, the worker's answer, and getting it back.

Run it by hand: ``python tests/benchmarks/page.py [CHANGES]``. It is no test. Random changes of any key
that applies, each between half and twice its value or within its usual range; a refused change does
not count. Wall and processor time of the worker are printed apart, because other work on the machine
moves the first alone.
"""

from __future__ import annotations

import asyncio
import random
import sys
import time
from pathlib import Path

import numpy as np

from winchsim.errors import WinchsimError
from winchsim.inputs import Inputs, controls
from winchsim.page.process import Worker
from winchsim.scenario.change import with_value
from winchsim.scenario.read import load

SCENARIOS = sorted(Path(__file__).parents[2].joinpath("scenarios").glob("*.toml"))


def random_change(inputs: Inputs, rng: random.Random) -> tuple[str, object]:
    """A path and a value that the form offers."""
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


async def measured(inputs: Inputs, count: int, rng: random.Random, worker: Worker) -> tuple[list[float], int]:
    """Times of accepted changes [s], and how many were refused."""
    times, refused = [], 0
    while len(times) < count:
        path, value = random_change(inputs, rng)
        begun = time.perf_counter()
        try:
            changed = with_value(inputs, path, value)
            async for _ in worker.run("lift", changed):
                pass
        except WinchsimError:
            refused += 1
            continue
        times.append(time.perf_counter() - begun)
    return times, refused


async def main() -> None:
    """Print the quantiles, scenario by scenario and together."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    each, rng, worker = max(1, round(count / len(SCENARIOS))), random.Random(14), Worker()
    everything: list[float] = []
    try:
        for path in SCENARIOS:
            inputs = load(str(path))
            async for _ in worker.run("lift", inputs):
                pass
            times, refused = await measured(inputs, each, rng, worker)
            everything += times
            print(f"{path.stem[:34]:36}{quantiles(times)}, {refused} refused")
        print(f"{'together':36}{quantiles(everything)}, {np.mean(np.array(everything) < 0.1):.0%} under 100 ms")
    finally:
        worker.stop(again=False)


def quantiles(times: list[float]) -> str:
    """Median, 95 % and largest. [ms]"""
    middle, most = np.percentile(times, [50, 95]) * 1e3
    return f"{middle:5.0f} ms median {most:6.0f} ms 95 % {max(times) * 1e3:6.0f} ms most"


if __name__ == "__main__":
    asyncio.run(main())
