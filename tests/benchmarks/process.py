"""Whole processes of the command line beside importing scipy, in one run; run by hand: ``python
tests/benchmarks/process.py``.

Each command line is run once to warm up and then in rounds, so that all see the same machine. The
package is run as it is after an installation: compiled to bytecode, in a folder of its own,
whatever the environment says. Processor time is user and system time together; on a machine that
does other things at the same time it says more than the clock.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROUNDS = 15
ROOT = Path(__file__).parents[2]


def command_lines(folder: Path) -> dict[str, list[str]]:
    """Command lines by the name they are printed with."""
    hoist = ROOT / "scenarios" / "01-workshop-hoist.toml"
    faulty = folder / "faulty.toml"
    faulty.write_text(
        hoist.read_text(encoding="utf-8").replace("[load]", "[laod]"), encoding="utf-8"
    )
    winchsim = {
        "lift, nothing to remedy": ("lift", hoist),
        "lift with remedies of a stall": ("lift", ROOT / "scenarios" / "02-tender-stalls.toml"),
        "lift with remedies of a run-back": (
            "lift",
            ROOT / "scenarios" / "03-theatre-flat-runs-back.toml",
        ),
        "drum": ("drum", hoist),
        "lift of a faulty scenario": ("lift", faulty),
        "materials PETG": ("materials", "PETG"),
        "keys load": ("keys", "load"),
        "new": ("new", folder / "new.toml", "--force"),
        "--help": ("--help",),
    }
    bare = {
        "Python itself": "pass",
        "import numpy": "import numpy",
        "import scipy.integrate": "import scipy.integrate",
    }
    lines = {name: ["-c", code] for name, code in bare.items()}
    lines |= {
        f"winchsim {name}": ["-m", "winchsim", *map(str, words)] for name, words in winchsim.items()
    }
    return {name: [sys.executable, *words] for name, words in lines.items()}


def taken(words: list[str], environ: dict[str, str]) -> tuple[float, float]:
    """Seconds on the clock and of processor time that one process takes."""
    start = time.perf_counter()
    process = subprocess.Popen(
        words, env=environ, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=ROOT
    )
    _, status, usage = os.wait4(process.pid, 0)
    clock = time.perf_counter() - start
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode not in (0, 1, 2):
        raise RuntimeError(f"{words} ended with {process.returncode}")
    return clock, usage.ru_utime + usage.ru_stime


def main() -> None:
    """Print least and median time of each command line, and its ratio to importing scipy."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        environ = {
            key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"
        }
        environ["PYTHONPYCACHEPREFIX"] = str(folder / "bytecode")
        lines = command_lines(folder)
        for words in lines.values():
            taken(words, environ)
        times: dict[str, list[tuple[float, float]]] = {line: [] for line in lines}
        for _ in range(ROUNDS):
            for line, words in lines.items():
                times[line].append(taken(words, environ))
    importing = min(processor for _, processor in times["import scipy.integrate"])
    print(f"{ROUNDS} rounds, seconds: least and median; ratio of least processor times")
    print(f"{'':40}  {'processor':>11}  {'clock':>11}  to importing scipy.integrate")
    for line, rows in times.items():
        clock, processor = ([row[k] for row in rows] for k in (0, 1))
        shown = "  ".join(
            f"{min(values):.2f}  {statistics.median(values):5.2f}" for values in (processor, clock)
        )
        print(f"{line:40}  {shown}  {min(processor) / importing:.2f}")


if __name__ == "__main__":
    main()
