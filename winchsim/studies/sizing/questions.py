"""The five questions, each a row of `QUESTIONS`, and what each wants least of."""

from __future__ import annotations

import numpy as np

from winchsim.model import Machine
from winchsim.studies.sizing.candidates import (
    counts,
    drums,
    gears,
    masses,
    nominal_voltage,
    voltages,
)
from winchsim.studies.sizing.study import Question
from winchsim.studies.sweep import Sweep


def _most_to_spare(found: Sweep, values: np.ndarray, machine: Machine) -> np.ndarray:
    """The share of the nearest limit that the question can change, the most first."""
    return -found.least_share()


def _present_first(found: Sweep, values: np.ndarray, machine: Machine) -> np.ndarray:
    """The gears as they are before any change, then the most to spare."""
    aim = _most_to_spare(found, values, machine)
    aim[np.abs(values - machine.groups[0].ratio) < 1e-9 * values] = -np.inf
    return aim


def _size_of_drive(found: Sweep, values: np.ndarray, machine: Machine) -> np.ndarray:
    return np.asarray(values, dtype=float)


def _from_nominal(found: Sweep, values: np.ndarray, machine: Machine) -> np.ndarray:
    return np.abs(np.log(values / nominal_voltage(machine)))


def _heaviest(found: Sweep, values: np.ndarray, machine: Machine) -> np.ndarray:
    return -values


QUESTIONS = {
    question.name: question
    for question in (
        Question("drum", "drum.diameter", "mm", drums, _most_to_spare, refined=True),
        Question("gears", "gears", "", gears, _present_first, scale="dots"),
        Question("motors", "motors.{group}.count", "", counts, _size_of_drive, scale="dots"),
        Question(
            "voltage", "supply.voltage", "V", voltages, _from_nominal, refined=True, scale="even"
        ),
        Question("heaviest", "load.mass", "kg", masses, _heaviest, refined=True),
    )
}
"""The questions by name."""
