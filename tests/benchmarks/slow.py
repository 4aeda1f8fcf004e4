"""The quasi-static model against looping the full simulation; run by hand, prints ratios."""

from __future__ import annotations

import math
import time
from pathlib import Path

import numpy as np

from winchsim.model import build
from winchsim.scenario.read import load
from winchsim.simulation import simulate
from winchsim.slow import lift_all

SCENARIO = next(iter(sorted(Path(__file__).parents[2].joinpath("scenarios").glob("08*.toml"))))
COUNT = 10_000


def mixed_columns(inputs, count: int) -> dict[str, np.ndarray]:
    """Columns of everything that a sizing study or a ladder varies, all at random and all at
    once."""
    rng = np.random.default_rng(1)
    return {
        "load.mass": inputs.load.mass * rng.uniform(0.3, 1.5, count),
        "drum.diameter": inputs.drum.diameter * rng.uniform(0.8, 2.0, count),
        "supply.voltage": inputs.supply.voltage * rng.uniform(0.7, 1.1, count),
        "supply.current_limit": rng.uniform(2.0, 6.0, count),
        "motors.1.count": rng.integers(4, 10, count),
        "motors.1.winding_start": rng.uniform(10.0, 80.0, count),
        "stage.1.efficiency": rng.uniform(0.9, 0.97, count),
        "stage.2.gear": rng.integers(42, 58, count),
    }


def main() -> None:
    """Print the ratios."""
    inputs = load(str(SCENARIO))
    columns = mixed_columns(inputs, COUNT)
    lift_all(inputs, {path: values[:10] for path, values in columns.items()})
    start = time.perf_counter()
    lift_all(inputs, columns)
    slow = time.perf_counter() - start
    machine = build(inputs)
    full = math.inf
    for _ in range(5):
        start = time.process_time()
        simulate(machine)
        full = min(full, time.process_time() - start)
    print(
        f"{COUNT} mixed variants by the quasi-static model: {slow:.2f} s, {slow / COUNT * 1e6:.0f} us each"
    )
    print(
        f"one full simulation: {full * 1e3:.1f} ms; looping it over as many would take {full * COUNT / slow:.0f} times as long"
    )


if __name__ == "__main__":
    main()
