"""What the checks and readings of an assessment are called."""

from winchsim.assessment.kinds import CheckKey, ReadingKey

CHECKS = {
    CheckKey.TARGET: "height reached",
    CheckKey.PROGRAMME: "programme carried out",
    CheckKey.LIFT_TIME: "lift time",
    CheckKey.START_COLD: "starting torque margin, cold",
    CheckKey.START_HOT: "starting torque margin, hot",
    CheckKey.HOLD: "holding margin, power off",
    CheckKey.HOLD_DISTURBED: "holding margin after a jolt",
    CheckKey.WINDING: "winding temperature",
    CheckKey.PARTS: "factor of the weakest part",
    CheckKey.JAM: "lowest factor in a jam",
    CheckKey.ROPE_BEND: "drum-to-rope ratio",
    CheckKey.DRUM_CAPACITY: "drum capacity for rope",
    CheckKey.CONTINUOUS_CURRENT: "continuous motor load",
    CheckKey.SUPPLY: "time at the current limit",
    CheckKey.BATTERY: "battery charge over need",
    CheckKey.ENERGY: "energy error over its limit",
}

READINGS = {
    ReadingKey.HEIGHT: "greatest height",
    ReadingKey.FINAL_HEIGHT: "final height",
    ReadingKey.SPEED: "speed of the load along its path",
    ReadingKey.PEAK_CURRENT: "peak supply current",
    ReadingKey.MEAN_CURRENT: "mean supply current",
    ReadingKey.PEAK_TENSION: "peak rope tension above the load",
    ReadingKey.ENERGY_IN: "energy from the supply",
    ReadingKey.EFFICIENCY: "efficiency of the lift",
    ReadingKey.CHARGE: "charge drawn",
    ReadingKey.LOWERING_TIME: "lowering time",
    ReadingKey.BACK_DRIVING_SPEED: "back-driving speed along the path",
}

CAUSES = {
    "bearings": "bearing friction",
    "form_loss": "form of the teeth",
    "mesh_friction": "friction of the teeth",
    "shaft_drag": "drag of the shafts",
    "heat_capacity": "heat capacity of the motors",
    "heat_resistance": "heat resistance of the motors",
    "reverse_efficiency": "efficiency when back-driven",
    "breakaway": "friction at rest",
    "rotor_inertia": "rotor inertia",
    "no_load_speed": "no-load speed",
    "supply": "data of the supply",
    "ambient": "ambient temperature",
    "winding_limit": "limit of the winding temperature",
    "motor_constant": "torque constant of the motors",
    "motor_resistance": "resistance of the motors",
    "motor_no_load_current": "no-load current of the motors",
}
"""Groups of assumed inputs; others are named by their own words."""


def cause(name: str) -> str:
    """A group of assumed inputs in words."""
    return CAUSES.get(name, name.replace("_", " "))
