"""Names with their SI unit in them, for machine-readable output, by what `PRINTED_UNITS` says of
each unit."""

from typing import Any

from winchsim.quantity_text import PRINTED_UNITS


def si_unit(unit: str) -> str:
    """SI unit (°C for temperatures) that values declared in a printed unit are kept in.

    Raises
    ------
    KeyError
        The unit is not one that winchsim prints.
    """
    kept_in = PRINTED_UNITS[unit].si
    return unit if kept_in is None else kept_in


def key(name: str, unit: str) -> str:
    """Key of a value: its name and the tail of its SI unit, ``lift_time_s``.

    Parameters
    ----------
    name : str
        In words joined by underscores.
    unit : str
        Unit that it is declared in; the value itself is in SI.
    """
    tail = PRINTED_UNITS[si_unit(unit)].tail
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
