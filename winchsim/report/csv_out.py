"""The record as CSV: one column a channel with its SI unit in the head, one row a sample; and the
cells of other tables."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from winchsim.report.si_keys import key
from winchsim.simulation import Record
from winchsim.version import __version__

DIGITS = 9
"""Significant digits of a cell. [-]"""


def cell(value: Any) -> str:
    """Text of one cell: blank for what is not known or not finite, yes or no for a flag."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    return f"{value:.{DIGITS}g}" if isinstance(value, float) else str(value)


def record_csv(record: Record, *, digest: str | None = None) -> str:
    """CSV text of a record.

    Parameters
    ----------
    record : Record
    digest : str, optional
        SHA-256 of the scenario, written into the first line.

    Returns
    -------
    str
        A line behind ``#`` that says where it is from, the heads, then the samples: those at
        ``settings.sample_step`` where the scenario gives one, else all of the record. At a switch
        two rows share their time. ``phase`` and ``segment`` count from 1; ``held`` is 1 where the
        drum is at rest and the tooth forces are bounds. Cells without a finite number are empty.
    """
    record = record.sampled or record
    segment = np.zeros(len(record.time), dtype=int)
    segment[record.segment_starts] = 1
    heads = [key("time", "s"), "phase", "segment", "held"]
    columns = [record.time, record.phase + 1, np.cumsum(segment), record.bound.astype(int)]
    kinds = [f"%.{DIGITS}g", "%d", "%d", "%d"]
    for channel in record.channels.values():
        heads.append(key(channel.name, channel.unit))
        columns.append(channel.values)
        kinds.append(f"%.{DIGITS}g")
    head = f"# winchsim {__version__}" + (f", scenario {digest[:12]}" if digest else "")
    row = ",".join(kinds)
    lines = [row % values for values in zip(*(column.tolist() for column in columns), strict=True)]
    if not all(np.isfinite(column).all() for column in columns):
        lines = [
            ",".join("" if cell in ("nan", "inf", "-inf") else cell for cell in line.split(","))
            for line in lines
        ]
    return "\n".join([head, ",".join(heads), *lines]) + "\n"
