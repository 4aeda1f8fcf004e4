"""Ordinary supplies, to compare the current of starting motors with where the supply is not
described."""

_LIMITS = {
    "small_adapter": 2.0,
    "large_adapter": 5.0,
    "blade_fuse": 10.0,
}
"""Current at which one limits or blows [A]. Common practice, no published source."""

_RESISTANCE_PER_VOLT = {
    # Energizer, data sheets E91 and E92 (read at second hand).
    "alkaline_aa": 0.15 / 1.5,
    # Makers' sheets: 20 to 90 mohm a cell (read at second hand).
    "lithium_18650": 0.03 / 3.6,
    # NP125 and LC-X1228 sheets: R C of 135 to 168 mohm A h (excerpts).
    "lead_acid_7ah": 0.0215 / 12.0,
}
"""Internal resistance per volt of a battery of such cells in series [ohm/V]."""


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
        By kind of supply or fuse: inrush over the current of an adapter or fuse; for a battery its
        resistance over that of the motors. [-]
    """
    return {
        **{kind: inrush / current for kind, current in _LIMITS.items()},
        **{kind: inrush * of for kind, of in _RESISTANCE_PER_VOLT.items()},
    }
