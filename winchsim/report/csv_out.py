"""The record as CSV: one column a channel with its SI unit in the head, one row a sample."""

import numpy as np

from winchsim.quantity_text import CSV_DIGITS, key
from winchsim.simulation import Record

PLACES = 9
"""Digits behind the point of a time: samples that are nearer are one row. [-]"""


def record_csv(record: Record) -> str:
    """CSV text of a record.

    Parameters
    ----------
    record : Record

    Returns
    -------
    str
        The heads, then the samples: those at ``settings.sample_step`` where the scenario gives one,
        else all of the record. Time rises from row to row: at a switch the row holds what follows
        it. ``phase`` and ``segment`` count from 1; ``held`` is 1 where the drum is at rest and the
        tooth forces are bounds. Cells without a finite number are empty.
    """
    record = record.sampled or record
    channels = record.channels.values()
    heads = [key("time", "s"), "phase", "segment", "held", *(key(c.name, c.unit) for c in channels)]
    time = np.round(record.time, PLACES)
    columns = [
        time,
        record.phase + 1,
        np.searchsorted(record.segment_starts, np.arange(len(time)), side="right"),
        record.bound.astype(int),
        *(channel.values for channel in channels),
    ]
    kept = np.append(np.diff(time) > 0, True)
    row = "%.15g,%d,%d,%d" + f",%.{CSV_DIGITS}g" * len(channels)
    lines = [row % v for v in zip(*(column[kept].tolist() for column in columns), strict=True)]
    if not all(np.isfinite(column).all() for column in columns):
        lines = [
            ",".join("" if cell in ("nan", "inf", "-inf") else cell for cell in line.split(","))
            for line in lines
        ]
    return "\n".join([",".join(heads), *lines]) + "\n"
