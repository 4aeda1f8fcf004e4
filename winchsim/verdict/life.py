"""Life of the teeth in one sentence."""

from __future__ import annotations

import math

from winchsim.assessment.life import ToothLife as ToothLife
from winchsim.assessment.life import tooth_lives as tooth_lives
from winchsim.quantity_text import fixed


def sentence(lives: tuple[ToothLife, ...]) -> str:
    """What the lives come to, in one sentence; empty where there are no teeth."""
    if not lives:
        return ""
    busiest = max(lives, key=lambda life: life.cycles_per_lift)
    text = f"Each lift loads every {busiest.label} {fixed(busiest.cycles_per_lift, 0, 4)} times"
    known = [life for life in lives if life.lifts is not None and math.isfinite(life.lifts)]
    if not known:
        return text + "; how many lifts the teeth last is not known (no S–N line for their material)."
    first = min(known, key=lambda life: life.lifts or math.inf)
    return text + f"; by its S–N line the {first.label} fails first, after about {first.lifts:.2g} lifts."
