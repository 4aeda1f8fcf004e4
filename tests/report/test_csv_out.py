"""The record as CSV."""

import csv
import io
import math
from dataclasses import replace
from types import MappingProxyType

import numpy as np
import pytest

from winchsim.quantity_text import csv_cell, csv_text, key
from winchsim.report.bundle import record_csv


@pytest.fixture(scope="module")
def table(lifted):
    """Head and rows of the small lift."""
    rows = list(csv.reader(io.StringIO(record_csv(lifted))))
    return rows[0], rows[1:]


def test_every_channel_stands_under_its_unit(lifted, table):
    head, rows = table
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
    record, (head, rows) = lifted, table
    cells = np.array(rows, dtype=float)
    kept = np.append(np.diff(np.round(record.time, 9)) > 0, True)
    assert np.all(np.diff(cells[:, 0]) > 0) and 0 < np.count_nonzero(~kept) < 20
    for name, column in (
        ("height_m", record["height"]),
        ("time_s", record.time),
        ("motor_1_current_a", record["motor_1_current"]),
    ):
        np.testing.assert_allclose(cells[:, head.index(name)], column[kept], rtol=1e-8, atol=1e-9)
    np.testing.assert_array_equal(cells[:, head.index("held")], record.bound[kept])
    np.testing.assert_array_equal(cells[:, head.index("phase")], record.phase[kept] + 1)
    assert cells[-1, head.index("segment")] == len(record.segment_starts)


def test_pandas_and_a_plain_reader_find_the_same_table(lifted, table):
    pandas = pytest.importorskip("pandas")
    head, rows = table
    frame = pandas.read_csv(io.StringIO(record_csv(lifted)))
    assert list(frame.columns) == head and len(frame) == len(rows)
    assert frame["time_s"].is_monotonic_increasing and frame["time_s"].is_unique
    assert all(str(kind).startswith(("int", "float")) for kind in frame.dtypes)


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", ",@SUM(A1)", '"quoted"', "a\nb"])
def test_text_is_never_a_formula_and_comes_back(text):
    ((head, found),) = csv.reader(io.StringIO(csv_text([text, text], [])))
    assert head == found and found.removeprefix("'") == text
    assert not found.startswith(("=", "+", "-", "@"))


def test_what_is_not_finite_is_empty(lifted):
    holes = replace(
        lifted.channels["tension"], values=np.where(lifted.time > 1.0, np.nan, lifted["tension"])
    )
    channels = MappingProxyType({**lifted.channels, "tension": holes})
    text = record_csv(replace(lifted, channels=channels))
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
    assert csv_cell(value) == text
