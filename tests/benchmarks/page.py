"""Server side of one change on the page: checking it, the first answer, and packing it for the
server.

Run it by hand: ``python tests/benchmarks/page.py [CHANGES]``. It is no test. Random changes of any
key that applies, each between half and twice its value or within its usual range; a refused change
does not count. Wall and processor time are printed apart: other work on the machine moves the first
alone. The pipe between worker and server adds about 3 ms.
"""

from __future__ import annotations

import pickle
import random
import sys
import time
from pathlib import Path

import numpy as np

from winchsim.errors import WinchsimError
from winchsim.inputs import Inputs, controls
from winchsim.page import jobs
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


def answered(inputs: Inputs, path: str, value: object) -> tuple[float, float]:
    """Wall and processor time of one change: checked, lifted, assessed, drawn and packed. [s]"""
    begun = time.perf_counter(), time.process_time()
    for found in jobs.lift(with_value(inputs, path, value)):
        pickle.dumps(found)
    return time.perf_counter() - begun[0], time.process_time() - begun[1]


def main() -> None:
    """Print the quantiles, scenario by scenario and together."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    each, rng = max(1, round(count / len(SCENARIOS))), random.Random(14)
    everything: list[tuple[float, float]] = []
    for path in SCENARIOS:
        inputs, times, refused = load(str(path)), [], 0
        list(jobs.lift(inputs))
        while len(times) < each:
            try:
                times.append(answered(inputs, *random_change(inputs, rng)))
            except WinchsimError:
                refused += 1
        everything += times
        print(f"{path.stem[:30]:32}{quantiles(times)}, {refused} refused")
    print(f"{'together':32}{quantiles(everything)}")
    print(f"under 100 ms of processor time: {np.mean(np.array(everything)[:, 1] < 0.1):.0%}")


def quantiles(times: list[tuple[float, float]]) -> str:
    """Median, 95 % and largest of wall and processor time. [ms]"""
    texts = [
        f"{name} {middle:4.0f}, 95 % {most:4.0f}, most {largest:4.0f} ms"
        for name, (middle, most, largest) in zip(
            ("wall", "processor"), np.percentile(times, [50, 95, 100], axis=0).T * 1e3, strict=True
        )
    ]
    return "; ".join(texts)


if __name__ == "__main__":
    main()
