"""A program that uses every public function, for a strict type checker; `test_face.py` checks it."""

from pathlib import Path

import winchsim
from winchsim.assessment.kinds import Assessment
from winchsim.errors import WinchsimError
from winchsim.inputs import Inputs
from winchsim.record import Record


def lift(path: Path) -> Assessment:
    hoist: Inputs = winchsim.read(path, ["load.mass=10 kg"])
    same: Inputs = winchsim.parse(path.read_text(encoding="utf-8"), "hoist.toml")
    heavier = winchsim.with_value(same, "load.mass", "15 kg")
    record: Record = winchsim.simulate(heavier, rtol=1e-5)
    top: float = float(record["height"].max())
    assert top > hoist.load.start_height, winchsim.with_units(record, "height")
    if (drawn := winchsim.figure(record, "energy")) is not None:
        drawn.clear()
    return winchsim.assess(record, actions=False)


def study(path: Path, sheet: Path) -> list[float]:
    try:
        swept = winchsim.sweep(path, {"load.mass": [8.0, "10 kg"]})
        sized = winchsim.size(path, "motors", low=1, high=3)
        plan = winchsim.ladder(path, target=10.0, rungs=2)
        differing = winchsim.spread(path, builds=20, random_seed=3)
        chosen = winchsim.choose(path, fastest=True).builds
        causes = winchsim.why(path, sheet, row=5)
        fitted: Inputs = winchsim.calibrate(path, sheet, level=0.9).inputs
    except WinchsimError as error:
        raise SystemExit(error.exit_code) from error
    print(causes)
    count = (
        len(chosen)
        + len(swept.rows())
        + len(sized.values)
        + len(plan.rungs)
        + len(differing.outcomes)
    )
    return [float(count), fitted.load.mass]


VERSION: str = winchsim.__version__
