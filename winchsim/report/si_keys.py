"""Names with their SI unit in them, for machine-readable output: the one place that turns a unit into the tail of a key."""

from __future__ import annotations

from typing import Any

from winchsim.quantity_text import PRINTED_UNITS

TAILS = {
    "": "",
    "s": "s",
    "m": "m",
    "m/s": "m_s",
    "m/s²": "m_s2",
    "kg": "kg",
    "kg/m": "kg_m",
    "kg/m³": "kg_m3",
    "kg·m²": "kg_m2",
    "N": "n",
    "N·s/m": "n_s_m",
    "N·m": "n_m",
    "N·m·s/rad": "n_m_s_rad",
    "Pa": "pa",
    "rad": "rad",
    "rad/s": "rad_s",
    "1/m": "per_m",
    "V": "v",
    "A": "a",
    "ohm": "ohm",
    "H": "h",
    "V·s/rad": "v_s_rad",
    "C": "coulomb",
    "W": "w",
    "J": "j",
    "J/K": "j_k",
    "K/W": "k_w",
    "1/K": "per_k",
    "Hz": "hz",
    "K": "k",
    "°C": "c",
}
"""Tail of a key by its SI unit (°C for temperatures)."""

_SI_OF = {
    "%": "",
    "ms": "s", "min": "s",
    "mm": "m", "in": "m", "ft": "m",
    "mm/s": "m/s", "ft/s": "m/s", "in/s": "m/s",
    "ft/s²": "m/s²",
    "g": "kg", "lb": "kg", "oz": "kg",
    "g/m": "kg/m", "lb/ft": "kg/m", "lb/ft³": "kg/m³",
    "kN": "N", "lbf": "N", "lbf·s/ft": "N·s/m",
    "mN·m": "N·m", "lbf·in": "N·m", "ozf·in": "N·m",
    "MPa": "Pa", "GPa": "Pa", "psi": "Pa", "ksi": "Pa",
    "deg": "rad", "rpm": "rad/s",
    "g·cm²": "kg·m²", "lb·in²": "kg·m²",
    "1/in": "1/m", "mA": "A", "mH": "H", "A·h": "C",
    "ft·lbf": "J", "W·h": "J", "%/K": "1/K",
    "°F rise": "K", "°F": "°C",
}  # fmt: skip


def si_unit(unit: str) -> str:
    """SI unit (°C for temperatures) that values declared in a printed unit are kept in.

    Raises
    ------
    KeyError
        The unit is not one that winchsim prints.
    """
    if unit in _SI_OF:
        return _SI_OF[unit]
    PRINTED_UNITS[unit]
    return unit


def key(name: str, unit: str) -> str:
    """Key of a value: its name and the tail of its SI unit, ``lift_time_s``.

    Parameters
    ----------
    name : str
        In words joined by underscores.
    unit : str
        Unit that it is declared in; the value itself is in SI.
    """
    tail = TAILS[si_unit(unit)]
    return f"{name}_{tail}" if tail else name


def keyed(units: dict[str, str], source: Any) -> dict[str, Any]:
    """Attributes of an object under keys with their units.

    Parameters
    ----------
    units : dict of str to str
        Unit of each attribute, in the order wanted.
    source : object
        That has them.
    """
    return {key(name, unit): getattr(source, name) for name, unit in units.items()}
