"""Many random scenarios through the full simulation, in one command: ``python tests/fuzz.py
[--studies | --files] [COUNT] [FIRST SEED]``.

Each must end with a verdict or be refused with a reason, its energy balance closed, its time
ascending, every number finite, no warning from numpy or scipy, within `MOST_SECONDS` of processor
time; the report of it must hold no number that is none, as text and as JSON. With ``--studies``
each goes through every study instead, within `MOST_SECONDS` each, and their texts are read. With
``--files`` the shipped scenario files are damaged instead, and each must be read and built, or be
refused with a reason. Prints a tally, the reasons of refusals, the slowest seeds and the processor
time of all, and exits 1 when any fails.
"""

import json
import os
import re
import sys
import time
import warnings
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from typing import Any

import numpy as np
from random_scenarios import random_inputs
from shipped import SCENARIOS

from winchsim import assess, parse as loads
from winchsim.errors import WinchsimError
from winchsim.hybrid import Outcome
from winchsim.inputs import Inputs
from winchsim.model import build as build_machine
from winchsim.report.document import Document
from winchsim.report.json_out import lift_json
from winchsim.report.ladder import build as ladder_document
from winchsim.report.lift import build
from winchsim.report.render.options import Options
from winchsim.report.render.text import render_text
from winchsim.report.sizing import study_document
from winchsim.report.spread import build as spread_document
from winchsim.scenario.read import Scenario
from winchsim.simulation import Record, simulate
from winchsim.studies.ladder import plan_ladder
from winchsim.studies.sizing import QUESTIONS, size
from winchsim.studies.spread import spread

MOST_SECONDS, MOST_STUDY_SECONDS = 2.0, 30.0
"""Processor time of a lift with its report, and of a study. [s]"""

MOST_GIVEN_UP = 0.01
"""Share of scenarios that may end as chatter or as too much work, each with that as its finding.
[-]"""


def _text(build: Callable[[Any, Scenario], Document], found: Any, inputs: Inputs) -> str:
    return render_text(build(found, Scenario(inputs, "", "", "")), Options(full=True))


STUDIES: dict[str, Callable[[Inputs], str]] = {
    **{
        name: (lambda inputs, name=name: _text(study_document, size(inputs, name), inputs))
        for name in QUESTIONS
    },
    "ladder": lambda inputs: _text(ladder_document, plan_ladder(inputs, rungs=2), inputs),
    "spread": lambda inputs: _text(spread_document, spread(inputs, builds=40), inputs),
}
"""Every study that needs nothing but a scenario, to its printed text."""

NUMBER = re.compile(r"\d[\d.,]*(e[+-]?\d+)?")
NO_NUMBER = re.compile(r"\b(nan|inf)\b")

GIVEN_UP = (Outcome.BUDGET, Outcome.CHATTER, Outcome.TOO_MANY_SWITCHES)
ENDS = ("ok", "refused", *(outcome.name for outcome in GIVEN_UP))


def faults_of(record: Record) -> list[str]:
    """What is wrong with a record."""
    found = []
    if record.outcome in GIVEN_UP:
        return [record.outcome.name]
    if not record.outcome.ok:
        found.append(f"outcome {record.outcome.name}")
    if not record.energy.closes:
        found.append(f"energy off by {record.energy.error:.2g}")
    if np.any(np.diff(record.time) < 0):
        found.append("time runs back")
    if not all(np.isfinite(channel.values).all() for channel in record.channels.values()):
        found.append("a number that is not finite")
    if not record.events:
        found.append("no event")
    if np.any(record["tension"] < 0):
        found.append("a rope that pushes")
    return found


def faults_of_report(record: Record) -> list[str]:
    """What is wrong with the verdict on a record and with its report."""
    scenario = Scenario(record.inputs, "random.toml", "", "")
    assessed = assess(record, actions=False, ranges=False)
    text = render_text(build(assessed, scenario, record), Options(full=True))
    document = json.loads(lift_json(assessed, scenario, record), parse_constant=_refuse)
    found = []
    if NO_NUMBER.search(text):
        found.append("a number that is none in the report")
    if document["verdict"][:30] not in " ".join(text.split()):
        found.append("text and JSON say different things")
    return found


def _refuse(name: str) -> float:
    raise ValueError(f"JSON with {name}")


def check(seed: int) -> tuple[int, str, float]:
    """Seed, how it went (empty faults: ``ok``, ``refused``), processor time."""

    def lift() -> str:
        record = simulate(random_inputs(seed))
        return "; ".join(faults_of(record) + faults_of_report(record))

    went, taken = _went(lift)
    if taken > MOST_SECONDS:
        went += f"; took {taken:.1f} s"
    return seed, went, taken


def _went(work: Callable[[], str | None]) -> tuple[str, float]:
    """How some work went, by the faults that it found, and its processor time. Refusals count as
    alike but for their numbers."""
    start = time.process_time()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            went = work() or "ok"
    except WinchsimError as error:
        wanted = "; ".join(fault.expected for fault in getattr(error, "faults", ()))
        reason = NUMBER.sub("#", f"{error} {wanted}").strip()
        went = f"refused: {reason}" if reason else "no reason"
    except Exception as error:
        went = f"{type(error).__name__}: {error}"
    return went, time.process_time() - start


def check_studies(seed: int) -> tuple[int, str, float]:
    """Seed, how every study of it went, and the processor time of the slowest."""
    faults, slowest = [], 0.0
    for name, study in STUDIES.items():
        went, taken = _went(partial(_studied, study, seed))
        if went != "ok" and not went.startswith("refused"):
            faults.append(f"{name}: {went}")
        if taken > MOST_STUDY_SECONDS:
            faults.append(f"{name}: took {taken:.0f} s")
        slowest = max(slowest, taken)
    return seed, "; ".join(faults) or "ok", slowest


def _studied(study: Callable[[Inputs], str], seed: int) -> str:
    """What is wrong with the text of a study."""
    unsound = NO_NUMBER.search(study(random_inputs(seed)))
    return "a number that is none in the report" if unsound else ""


SHIPPED = [path.read_text(encoding="utf-8") for path in SCENARIOS]
TOKENS = (
    '"', "=", "[", "]", "[[", "#", "\\", "\0", "\ufeff", "é", "-", "1e400", "nan", "inf", "true",
    "-1", "0", '"0 mm"', '"-5 kg"', '"5 furlongs"', '"9e9 Nm"', "99999999999999999999", "'''", "{}",
)  # fmt: skip
"""What is put into a damaged file."""


def damaged(seed: int) -> str:
    """Text of a shipped file with one to four lines or characters deleted, doubled, swapped or
    replaced."""
    rng = np.random.default_rng(seed)
    lines = SHIPPED[int(rng.integers(len(SHIPPED)))].splitlines()
    for _ in range(int(rng.integers(1, 5))):
        at, other = (int(place) for place in rng.integers(len(lines), size=2))
        line, token = lines[at], TOKENS[int(rng.integers(len(TOKENS)))]
        place = int(rng.integers(len(line) + 1))
        key, equals, _ = line.partition("=")
        lines[at] = [
            "",
            f"{line}\n{line}",
            lines[other],
            line[:place] + token + line[place:],
            line[:place],
            f"{key}{equals} {token}",
            line.swapcase(),
            f"{key}x{equals}{token}",
        ][int(rng.integers(8))]
    return "\n".join(lines)


def check_file(seed: int) -> tuple[int, str, float]:
    """Seed, how the damaged file of it was read, and the processor time."""

    def read() -> None:
        build_machine(loads(damaged(seed)))

    return seed, *_went(read)


def main(arguments: list[str]) -> int:
    """Check COUNT seeds from FIRST on."""
    kinds = {"--studies": check_studies, "--files": check_file}
    checked = next((kinds[word] for word in arguments if word in kinds), check)
    arguments = [argument for argument in arguments if argument not in kinds]
    count, first = (
        int(arguments[i]) if len(arguments) > i else default for i, default in ((0, 2000), (1, 0))
    )
    tally: Counter[str] = Counter()
    refusals: Counter[str] = Counter()
    times: list[tuple[float, int]] = []
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for seed, went, taken in pool.map(checked, range(first, first + count), chunksize=8):
            end, _, reason = went.partition(": ")
            tally[end if end in ENDS else "failed"] += 1
            refusals[reason] += end == "refused"
            times.append((taken, seed))
            if end not in ("ok", "refused"):
                print(f"seed {seed}: {went}", flush=True)
    if sum(tally[outcome.name] for outcome in GIVEN_UP) > MOST_GIVEN_UP * count:
        tally["failed"] += 1
        print("too many were given up")
    for reason, n in (+refusals).most_common(20):
        print(f"{n:6d}  {' '.join(reason.split())[:160]}")
    print(", ".join(f"{n} {what} ({n / count:.2%})" for what, n in tally.items()))
    print(
        "slowest:", ", ".join(f"seed {seed} {taken:.2f} s" for taken, seed in sorted(times)[:-6:-1])
    )
    print(f"{sum(taken for taken, _ in times) / count:.3f} s each")
    return 1 if tally["failed"] else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
