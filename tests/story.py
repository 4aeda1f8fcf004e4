"""Makes the measurements of README's story, all of them invented: ``python tests/story.py`` writes
them again.

They come from simulating a second winch, whose friction, drag, motors, leads and rope differ from
what the scenario says (`TRUTH`), and from errors of reading with a fixed seed (`READING`). What
calibrates never sees that second winch.
"""

import io
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from winchsim import cli, read as load, simulate
from winchsim.assessment.history import read_history
from winchsim.commands.call import Env
from winchsim.inputs import Inputs, Pawl, with_value
from winchsim.scenario.change import with_value as changed
from winchsim.scenario.sheet import SheetRow, read_sheet, write_sheet

SCENARIOS = Path(__file__).parent.parent / "scenarios"
SCENARIO = SCENARIOS / "08-bell-into-its-frame.toml"
RUNGS = SCENARIOS / "08-bell-rungs.csv"
"""The ladder's sheet once all rungs below the target are tested."""

TESTED = SCENARIOS / "08-bell-tested.csv"
"""The same once the target is tested too."""

TRUTH = {
    "stage.1.friction": 0.18,
    "stage.2.friction": 0.23,
    "stage.1.shaft_drag": "0.4 mN*m",
    "stage.2.shaft_drag": "45 mN*m",
    "motors.1.stall_torque": "9.2 mN*m",
    "motors.1.no_load_speed": "8300 rpm",
    "motors.1.no_load_current": "75 mA",
    "supply.resistance": "0.18 ohm",
    "rope.diameter": "4.1 mm",
}
"""What the winch of the measurements is, where it differs from the scenario."""

READING = {"time": 0.15, "current": 0.012, "voltage": 0.02}
"""Standard deviation of what a stopwatch and two meters give away: [s], share of the current,
[V]."""

SEED = 8

REMARK = "invented: made by tests/story.py from a simulated second winch, with errors of reading"


def second_winch() -> Inputs:
    """The winch that is measured."""
    winch = load(str(SCENARIO))
    for path, value in TRUTH.items():
        winch = changed(winch, path, value)
    return winch


def sheets(blank: Path) -> tuple[str, str]:
    """The sheet that ``winchsim ladder`` wrote, filled in but for the target, and filled in with
    it; the target on a pawl."""
    rng = np.random.default_rng(SEED)
    winch = second_winch()
    *rungs, target = read_sheet(str(blank))
    done = [_tested(row, winch, rng) for row in rungs]
    last = replace(_tested(target, replace(winch, pawl=Pawl()), rng), note="pawl fitted")
    return write_sheet([*done, target], comments=[REMARK]), write_sheet(
        [*done, last], comments=[REMARK]
    )


def _tested(row: SheetRow, winch: Inputs, rng: np.random.Generator) -> SheetRow:
    """A row with what would have been read off."""
    record = simulate(with_value(winch, "load.mass", row.mass or 0.01))
    lift = read_history(record)
    time, current = lift.lift_time, lift.steady("current")
    if time is None or current is None:
        raise ValueError(f"the second winch does not lift {row.mass} kg: it is to lift every rung")
    return replace(
        row,
        measured_time=round(time + rng.normal(0, READING["time"]), 1),
        measured_current=round(current * (1 + rng.normal(0, READING["current"])), 2),
        measured_voltage=round(lift.steady("voltage") + rng.normal(0, READING["voltage"]), 2),
        held=read_history(record).held if row.mass else None,
        outcome="lifted",
    )


def main() -> None:
    """Write both sheets."""
    with tempfile.TemporaryDirectory() as folder:
        cli.main(["ladder", str(SCENARIO), "--out", folder], Env(io.StringIO(), io.StringIO()))
        texts = sheets(Path(folder) / "ladder.csv")
    for path, text in zip((RUNGS, TESTED), texts, strict=True):
        path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
