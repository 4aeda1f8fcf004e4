"""The record as CSV."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace
from types import MappingProxyType

import numpy as np
import pytest

from winchsim.report.csv_out import cell, record_csv
from winchsim.report.si_keys import key
from winchsim.version import __version__


@pytest.fixture(scope="module")
def table(lifted):
    """Head and rows of the small lift."""
    text = record_csv(lifted, digest="abcdef0123456789")
    rows = list(csv.reader(io.StringIO(text)))
    return rows[0], rows[1], rows[2:]


def test_first_line_says_where_it_is_from(table):
    assert table[0] == [f"# winchsim {__version__}", " scenario abcdef012345"]


def test_every_channel_stands_under_its_unit(lifted, table):
    _, head, rows = table
    assert head[:4] == ["time_s", "phase", "segment", "held"]
    assert head[4:] == [key(channel.name, channel.unit) for channel in lifted.channels.values()]
    assert {
        "height_m",
        "tension_n",
        "motor_1_speed_rad_s",
        "motor_1_winding_c",
        "mesh_1_force_n_m",
    } <= set(head)
    assert all(len(row) == len(head) for row in rows)


def test_values_are_those_of_the_record(lifted, table):
    record, (_, head, rows) = lifted, table
    cells = np.array(rows, dtype=float)
    for name, column in (
        ("height_m", record["height"]),
        ("time_s", record.time),
        ("motor_1_current_a", record["motor_1_current"]),
    ):
        np.testing.assert_allclose(cells[:, head.index(name)], column, rtol=1e-8, atol=1e-300)
    np.testing.assert_array_equal(cells[:, head.index("held")], record.bound)
    np.testing.assert_array_equal(cells[:, head.index("phase")], record.phase + 1)
    assert (
        np.count_nonzero(np.diff(cells[:, head.index("segment")])) == len(record.segment_starts) - 1
    )


def test_what_is_not_finite_is_empty(lifted):
    record = lifted
    holes = replace(
        record.channels["tension"], values=np.where(record.time > 1.0, np.nan, record["tension"])
    )
    channels = MappingProxyType({**record.channels, "tension": holes})
    text = record_csv(replace(record, channels=channels))
    assert "nan" not in text and ",," in text


def test_same_record_same_bytes(lifted):
    assert record_csv(lifted) == record_csv(lifted)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (1 / 3, "0.333333333"), (np.float64(1e-7), "1e-07"), (math.inf, ""), (np.float64("nan"), ""), (None, ""), (7, "7"),
        (True, "yes"), (np.bool_(False), "no"), ("gear tooth", "gear tooth"),
    ],
)  # fmt: skip
def test_a_cell_is_the_same_in_every_table(value, text):
    assert cell(value) == text
