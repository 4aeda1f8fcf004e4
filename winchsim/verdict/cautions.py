"""The cautions that close every report."""

from __future__ import annotations

from winchsim.model import Machine
from winchsim.physics import load
from winchsim.quantity_text import quantity
from winchsim.verdict.words import given, length

_FRICTION = "Friction is not a brake: a knock, grease, warmth or wear can set a train going that held until then."


def fall(machine: Machine) -> tuple[float, float]:
    """Energy and speed with which the load would hit the floor, falling freely from the top of its lift. [J], [m/s]"""
    height = machine.height(machine.top_travel)
    body = machine.body
    return body.mass * body.gravity * height, load.fall_speed(body.gravity, height)


def cautions(machine: Machine) -> tuple[str, ...]:
    """What everybody who builds the lift has to know, whatever the numbers say.

    Parameters
    ----------
    machine : Machine
    """
    energy, speed = fall(machine)
    height = machine.height(machine.top_travel)
    return (
        "This is not rated lifting equipment, and no number in this report makes it so.",
        "Nobody under or beside a hanging load, at any time.",
        f"From {length(height)} this load of {given(machine.body.mass, 'kg')} falls with {quantity(energy, 'J')} and hits "
        f"the floor at {quantity(speed, 'm/s')}.",
        "Never lift or carry people with it.",
        _FRICTION,
        "Guard the teeth and the rope: fingers, hair and sleeves stay out while anything turns or is under load.",
        "Work up a ladder of test loads, from a small one, and look at every part between the steps.",
        "Know beforehand how the load comes down: when all goes well, when a part breaks, and when the power is gone.",
        "Local codes apply, and a licensed or competent person decides whether and how it may be used.",
    )
