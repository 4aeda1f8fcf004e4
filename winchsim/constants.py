"""Sourced constants. Each says where it is from and how far it can be trusted."""

STANDARD_GRAVITY = 9.80665
"""Standard acceleration of gravity [m/s²]. Exact by definition: 3rd CGPM (1901), CR 70."""

INCH = 0.0254
"""International inch [m]. Exact by definition: international yard and pound agreement (1959)."""

POUND = 0.45359237
"""International avoirdupois pound [kg]. Exact by definition: international yard and pound agreement
(1959)."""

COPPER_COEFFICIENT = 0.00393
"""Relative rise of copper's resistance per kelvin, referred to 20 °C [1/K].

Common engineering value (1/254.5); the 234.5 and 235 conventions differ from it by less than 0.1 %
up to 100 °C."""

COPPER_MELTS = 1085.0
"""Melting point of copper [°C]. Handbook value (1084.6 °C). A winding is not followed beyond it."""

REFERENCE_TEMPERATURE = 20.0
"""Temperature at which resistances and torque constants are stated [°C]."""

FERRITE_COEFFICIENT = -0.002
"""Relative change of a ferrite magnet's flux per kelvin [1/K]. Common practice, from memory."""

ROTOR_TIME_CONSTANT = (0.015, 0.005, 0.030)
"""Mechanical time constant of a small iron-cored motor and its range [s]. Common practice, from
memory."""

BEARING_KINDS = ("polymer bore", "metal bush", "ball")
"""Kinds of bearing: a hole in a plastic part, a plain metal bearing, a ball bearing."""
