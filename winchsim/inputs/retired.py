"""Keys of earlier versions that are no longer used.

A key stands here as its path without numbers (``motors.inductance``).
"""

import re

REMOVED = {
    "motors.inductance": "the current of a small motor follows the voltage at once",
    "stage.infill_exponent": "walls and infill count in the gear's body, with a measured exponent",
    "settings.after_overload": "a lift always ends when a part breaks",
}
"""Why a key is no longer used. Files that give it are still read; its value has no effect."""


def without_numbers(path: str) -> str:
    """Path of a key whatever the number of its table: ``motors.pinion`` of ``motors.2.pinion``."""
    return re.sub(r"\.\d+(?=\.|$)", "", path)
