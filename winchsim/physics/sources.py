"""Ordinary supplies, to compare the current of starting motors with where the supply is not
described."""

from __future__ import annotations

from enum import StrEnum
from types import MappingProxyType

from winchsim.frozen import dataclass


class Ordinary(StrEnum):
    """Kinds of ordinary supplies and fuses."""

    SMALL_ADAPTER = "small_adapter"
    LARGE_ADAPTER = "large_adapter"
    BLADE_FUSE = "blade_fuse"
    ALKALINE_AA = "alkaline_aa"
    LITHIUM_18650 = "lithium_18650"
    LEAD_ACID_7AH = "lead_acid_7ah"


@dataclass(frozen=True)
class OrdinarySource:
    """What one kind gives.

    Attributes
    ----------
    current : float or None
        At which it limits or blows. [A]
    resistance_per_volt : float or None
        Internal resistance per volt of a battery of such cells in series. [ohm/V]
    source : str
    """

    current: float | None
    resistance_per_volt: float | None
    source: str


ORDINARY = MappingProxyType(
    {
        Ordinary.SMALL_ADAPTER: OrdinarySource(2.0, None, "common practice, no published source"),
        Ordinary.LARGE_ADAPTER: OrdinarySource(5.0, None, "common practice, no published source"),
        Ordinary.BLADE_FUSE: OrdinarySource(10.0, None, "common practice, no published source"),
        Ordinary.ALKALINE_AA: OrdinarySource(
            None, 0.15 / 1.5, "Energizer, data sheets E91 and E92 (read at second hand)"
        ),
        Ordinary.LITHIUM_18650: OrdinarySource(
            None, 0.03 / 3.6, "makers' sheets: 20 to 90 mohm a cell (read at second hand)"
        ),
        Ordinary.LEAD_ACID_7AH: OrdinarySource(
            None, 0.0215 / 12.0, "NP125 and LC-X1228 sheets: R C of 135 to 168 mohm A h (excerpts)"
        ),
    }
)


def shares_of_ordinary(inrush: float) -> dict[str, float]:
    """How far an inrush is beyond ordinary sources: over 1 where it limits, blows, or loses half
    its voltage or more.

    Parameters
    ----------
    inrush : float
        Current of the stalled motors at the full voltage. [A]

    Returns
    -------
    dict of str to float
        By `Ordinary`: inrush over the current of an adapter or fuse; for a battery its resistance
        over that of the motors. [-]
    """
    found = {}
    for kind, row in ORDINARY.items():
        if row.current is not None:
            found[kind.value] = inrush / row.current
        else:
            found[kind.value] = (row.resistance_per_volt or 0.0) * inrush
    return found
