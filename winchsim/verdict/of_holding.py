"""Findings about holding: whether the load stays up with the power off, and what keeps it there."""

from __future__ import annotations

import math
from collections.abc import Iterator

from winchsim.assessment.history import RunBack
from winchsim.assessment.margins import holding
from winchsim.quantity_text import number, quantity
from winchsim.verdict.case import Case, holding_part
from winchsim.verdict.finding import Finding, FindingKind, Severity
from winchsim.verdict.words import duration, length, speed


def ran_back(case: Case) -> Iterator[Finding]:
    """A load that drove the drum back, or fell after something broke; or a drum that paid out beside a load that stayed."""
    for back in case.history.run_backs():
        since, comes = _since(case, back)
        if back.in_guide:
            yield _hangs_in_guide(back, since)
            continue
        text = f"{since} the load {comes} from {length(back.from_height)} at up to {speed(back.speed)}"
        if back.landed is not None:
            text += f" and hits the floor at {speed(back.landed.value or 0.0)} with {quantity(back.landed.energy, 'J')}"
        else:
            text += f", {length(back.from_height - back.to_height)} down by the end of the run"
        yield Finding(
            FindingKind.RAN_BACK, Severity.DANGER, text + ".", back.start, back.from_height, back.speed, 0.0, "m/s",
            "A pawl or a brake on the drum; a higher ratio or a stage that locks against its load holds by friction only.",
        )  # fmt: skip
    if case.history.held is False and not case.history.run_backs():
        yield from not_held(case)


def _since(case: Case, back: RunBack) -> tuple[str, str]:
    """What a run-back follows from, a break or how the power was, and what the load then does."""
    broke, link = case.history.broke, case.history.broken_link
    if broke is not None and link is not None and broke.time <= back.start + 1e-6:
        return f"With the {link.label} gone", "comes down"
    return ("With the power still on" if back.powered else "With the power off"), "runs back"


def _hangs_in_guide(back: RunBack, since: str) -> Finding:
    text = f"{since} the drum pays out its rope while the load hangs in its guide, {length(back.to_height)} up"
    return Finding(
        FindingKind.RAN_BACK, Severity.DANGER, f"{text}; it falls when the guide lets go.", back.start, back.from_height,
        back.speed, 0.0, "m/s", "A pawl or a brake on the drum: what a guide holds by its friction, a knock sets free.",
    )  # fmt: skip


def not_held(case: Case) -> Iterator[Finding]:
    """A load that was not held though it did not run back far: it still creeps when the run ends."""
    if case.history.broke is not None:
        return
    span = next(span for span in case.history.watches() if not case.history.holds(span))
    back, height = float(case.history.given_back(span.samples)[-1]), float(case.record["height"][span.samples.stop - 1])
    watched = duration(span.end - span.start)
    text = f"With the power off the drum still turns back after {watched}; it has let the load down by {length(back)}."
    yield Finding(
        FindingKind.RAN_BACK, Severity.DANGER, text, span.end, height, back, case.history.allowed_sag, "m",
        "A longer watch (settings.watch) shows how it goes on; a pawl or a brake on the drum ends it.",
    )  # fmt: skip


def held(case: Case) -> Iterator[Finding]:
    """A load that stayed up with the power off, and what kept it there."""
    watches = case.history.watches()
    if not case.history.held or not watches:
        return
    m, span = case.machine, watches[-1]
    back = float(case.history.given_back(span.samples)[-1])
    height = float(case.record["height"][span.samples.stop - 1])
    watched = f"{duration(span.end - span.start)} with the power off"
    came = f"the drum gave back {length(back)}" if back >= 5e-6 else "the drum did not move"
    stands_by = holding_part(case)
    if stands_by:
        text = f"The {stands_by} holds the load for {watched}: {came}."
        yield Finding(FindingKind.HELD, Severity.NOTE, text, span.end, height, back, case.history.allowed_sag, "m")
        return
    layer = int(case.record["layer"][span.samples.stop - 1]) - 1
    found = holding(m, height / m.body.rise, layer, span.step.action)
    if found.by_guide:
        how = "Its own guide carries the load"
    elif math.isinf(found.moving):
        how = "The train locks against its load"
    elif found.knock_proof:
        how = f"Friction would hold {number(found.moving, 2)} times this load even after a knock"
    else:
        how = f"At rest friction holds {number(found.resting, 2)} times this load, but once set going by a knock it runs back"
    text = f"Only friction holds the load for {watched}: {came}. {how}. Friction is not a brake."
    yield Finding(
        FindingKind.HELD_BY_FRICTION_ONLY, Severity.CAUTION, text, span.end, height,
        found.moving if math.isfinite(found.moving) else None, 1.0, help="A pawl or a brake on the drum.",
    )  # fmt: skip
