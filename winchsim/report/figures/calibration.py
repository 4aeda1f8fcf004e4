"""What was measured against what is predicted, before and after a calibration, and the tests to
come with their intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from winchsim.report.figures.bands import LEFT_EMS
from winchsim.report.figures.look import (
    BLUE,
    GREY,
    INK,
    PALE,
    VERMILLION,
    Look,
    blank,
    box,
    drawing,
    plain_ticks,
    quantity_label,
)
from winchsim.studies.calibrate import Calibration, Comparison, Interval, Kind, Prediction
from winchsim.studies.calibrate.evidence import UNITS

_NAMES = {
    Kind.TIME: "lift time",
    Kind.CURRENT: "current",
    Kind.VOLTAGE: "voltage",
    Kind.STALL_CURRENT: "stall current",
}
_COMING = {Kind.TIME: "time", Kind.CURRENT: "current"}

SHOWN = (Kind.TIME, Kind.CURRENT)
"""What gets a panel, where it was measured."""

APART = 0.08
"""Least share of the axis between two numbers of tests. [-]"""


def measured_and_predicted(found: Calibration, look: Look) -> Figure:
    """Measured against predicted, one panel a quantity; on the line they are equal.

    Parameters
    ----------
    found : Calibration
    look : Look
    """
    kinds = [kind for kind in SHOWN if any(row.kind is kind for row in found.residuals)] or [
        found.residuals[0].kind
    ]
    em = look.em
    side = min(look.width - (LEFT_EMS + 1.5) * em, 1.9 * look.panel)
    foot, gap = 3.6 * em, 4.6 * em
    key = 3 * look.row
    height = foot + len(kinds) * side + (len(kinds) - 1) * gap + key + em
    with drawing(look):
        figure = blank(look, height)
        for place, kind in enumerate(kinds):
            bottom = foot + (len(kinds) - 1 - place) * (side + gap)
            axes = box(figure, LEFT_EMS * em, bottom, look.width - (LEFT_EMS + 1.5) * em, side)
            _panel(axes, found, kind, look)
        _key(figure, found, look, height - 0.5 * em)
    return figure


def _panel(axes: Axes, found: Calibration, kind: Kind, look: Look) -> None:
    rows = [row for row in found.residuals if row.kind is kind]
    coming = _coming(found.predictions, kind)
    _line(axes, rows, coming, look)
    size = 2.6 * look.line
    for row in rows:
        if math.isfinite(row.before):
            axes.plot(
                [row.before],
                [row.measured],
                marker="o",
                markersize=size,
                markerfacecolor="white",
                markeredgecolor=GREY,
                markeredgewidth=look.line / 2,
                linestyle="none",
                label="_before",
                zorder=2,
            )
        if math.isfinite(row.predicted):
            marker, colour = ("X", VERMILLION) if row.is_outlier else ("o", INK)
            axes.plot(
                [row.predicted],
                [row.measured],
                marker=marker,
                markersize=1.3 * size,
                color=colour,
                linestyle="none",
                markeredgecolor="white",
                markeredgewidth=look.line / 4,
                label="_after",
                zorder=3,
            )
    for interval in coming:
        high = min(interval.high, axes.get_ylim()[1])
        axes.plot(
            [interval.value] * 2,
            [interval.low, high],
            color=BLUE,
            linewidth=2 * look.line,
            alpha=0.6,
            label="_coming",
            solid_capstyle="butt",
            zorder=1.5,
        )
        axes.plot(
            [interval.value],
            [interval.value],
            marker="D",
            markersize=size,
            color=BLUE,
            linestyle="none",
            zorder=2.5,
        )
    _number(axes, rows, look)
    plain_ticks(axes, look)
    name, unit = _NAMES[kind], UNITS[kind]
    axes.set_xlabel(quantity_label(f"Predicted {name}", unit))
    axes.set_ylabel(quantity_label(f"Measured {name}", unit))


def _coming(predictions: Sequence[Prediction], kind: Kind) -> list[Interval]:
    if kind not in _COMING:
        return []
    found = [getattr(row, _COMING[kind]) for row in predictions]
    return [interval for interval in found if math.isfinite(interval.value)]


def _line(axes: Axes, rows: Sequence[Comparison], coming: Sequence[Interval], look: Look) -> None:
    """Limits of both axes, and the line on which measured equals predicted."""
    across = [v for row in rows for v in (row.before, row.predicted) if math.isfinite(v)]
    up = [row.measured for row in rows]
    for interval in coming:
        across.append(interval.value)
        up += [
            interval.low,
            interval.high if math.isfinite(interval.high) else 1.5 * interval.value,
        ]
    low, high = min([*across, *up]), max([*across, *up])
    room = 0.08 * (high - low) or 0.1 * high
    axes.set_xlim(min(across) - room, max(across) + room)
    axes.set_ylim(min([*up, min(across)]) - room, max([*up, max(across)]) + room)
    axes.plot(
        [low - room, high + room],
        [low - room, high + room],
        color=PALE,
        linewidth=2 * look.line,
        zorder=1,
        label="_equal",
    )


def _number(axes: Axes, rows: Sequence[Comparison], look: Look) -> None:
    """Numbers of the tests at their points, as far as there is room for each."""
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    taken: list[tuple[float, float]] = []
    order = sorted(rows, key=lambda row: not row.is_outlier)
    for row in order:
        if not math.isfinite(row.predicted):
            continue
        spot = (row.predicted - x0) / (x1 - x0), (row.measured - y0) / (y1 - y0)
        if all(np.hypot(spot[0] - x, spot[1] - y) > APART for x, y in taken):
            taken.append(spot)
            axes.annotate(
                str(row.test.number),
                (row.predicted, row.measured),
                xytext=(0.45 * look.font, -0.35 * look.font),
                textcoords="offset points",
                va="top",
                color=VERMILLION if row.is_outlier else INK,
            )


def _key(figure: Figure, found: Calibration, look: Look, top: float) -> None:
    """What the marks mean, in two columns."""
    entries = [
        (Line2D([], [], marker="o", color=INK, linestyle="none"), "calibrated (number: the test)"),
        (
            Line2D(
                [], [], marker="o", markerfacecolor="white", markeredgecolor=GREY, linestyle="none"
            ),
            "scenario as it was",
        ),
    ]
    if any(row.is_outlier for row in found.residuals):
        entries.append(
            (
                Line2D([], [], marker="X", color=VERMILLION, linestyle="none"),
                "does not fit the others, left out",
            )
        )
    if any(math.isfinite(row.time.value) for row in found.predictions):
        words = f"test to come, {100 * found.level:.3g} % interval"
        entries.append((Line2D([], [], marker="D", color=BLUE, linewidth=2 * look.line), words))
    wide, high = look.width, figure.get_size_inches()[1] * 25.4
    figure.legend(
        [line for line, _ in entries],
        [text for _, text in entries],
        loc="upper left",
        frameon=False,
        ncols=2,
        bbox_to_anchor=(0.5 * look.em / wide, top / high),
        borderaxespad=0.0,
        handletextpad=0.6,
        columnspacing=1.2,
        markerscale=2.6 * look.line / 6,
        labelspacing=0.3,
    )
