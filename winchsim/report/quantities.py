"""Channels of a record as pint quantities, for those who work with units in Python."""

from __future__ import annotations

from typing import Any

from winchsim.simulation import Record
from winchsim.units import to_pint


def with_units(record: Record, name: str) -> Any:
    """Values of a channel with their unit.

    Parameters
    ----------
    record : Record
    name : str
        Of the channel: ``height``, ``tension``, ``motor_1_current``; ``time`` for the times of the
        samples.

    Returns
    -------
    pint.Quantity
        An array in SI (°C for temperatures), of pint's application registry.

    Raises
    ------
    KeyError
        The record has no such channel.
    """
    if name == "time":
        return to_pint(record.time, "s")
    channel = record.channels[name]
    return to_pint(channel.values, channel.unit)
