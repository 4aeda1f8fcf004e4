"""Builds from parts at hand, in words."""

from winchsim.inputs import MotorGroup
from winchsim.quantity_text import in_unit
from winchsim.report.document import Text, Value, joined, say
from winchsim.studies.builds import Build, Pair


def train(found: Build) -> str:
    """Pairs from the motors on, such as ``2 × 12:40, 14:49``; empty where the train stays."""
    pairs = [f"{pinion.teeth}:{gear.teeth}" for pinion, gear in found.train]
    runs: list[list[str]] = []
    for pair in pairs:
        if runs and runs[-1][0] == pair:
            runs[-1].append(pair)
        else:
            runs.append([pair])
    return ", ".join(run[0] if len(run) == 1 else f"{len(run)} × {run[0]}" for run in runs)


def motors(found: Build) -> str:
    """Which motors, such as ``3 × red``; empty where they stay."""
    return " and ".join(f"{number} × {named(motor)}" for motor, number in found.motors)


def named(motor: MotorGroup) -> str:
    """What a motor at hand is called."""
    return getattr(motor, "name", "") or f"motor of {in_unit(motor.voltage, 'V'):g} V"


def parts(found: Build) -> Text:
    """What a build is made of, as far as it was chosen."""
    texts = [say(text) for text in (train(found), motors(found)) if text]
    if found.drum is not None:
        texts.append(say("drum {}", Value(found.drum.diameter, "mm")))
    if found.rope is not None:
        texts.append(say("{} rope {}", found.rope.material, Value(found.rope.diameter, "mm")))
    return joined(texts, ", ")


def centre_distance(pair: Pair) -> float:
    """Distance of the axes of a pair without profile shift. [m]"""
    pinion, gear = pair
    return pinion.module * (pinion.teeth + gear.teeth) / 2
