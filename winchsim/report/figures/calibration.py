"""What was measured against what is predicted, before and after a calibration, and the tests to
come with their intervals."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from winchsim.report.calibration import LABELS
from winchsim.report.figures.look import (
    BLUE,
    GREY,
    INK,
    PALE,
    VERMILLION,
    Look,
    points,
    quantity_label,
    stack,
    styled,
)
from winchsim.studies.calibrate import Calibration, Interval, Kind, Prediction, Reading
from winchsim.studies.calibrate.evidence import UNITS

SHOWN = (Kind.TIME, Kind.CURRENT)
"""What gets a panel, where it was measured."""

APART = 0.08
"""Least share of the axis between two numbers of tests. [-]"""


@styled
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
    figure, panels = stack(look, [1.9] * len(kinds), 3.0, same_x=False)
    for axes, kind in zip(panels, kinds, strict=True):
        _panel(axes, found, kind, look)
    lines = {str(line.get_label()): line for axes in panels for line in axes.get_lines()}
    key = {label: line for label, line in lines.items() if not label.startswith("_")}
    figure.legend(list(key.values()), list(key), loc="outside upper left", ncols=2)
    return figure


BEFORE: dict[str, Any] = {"colour": GREY, "label": "scenario as it was", "zorder": 2}
AFTER: dict[str, Any] = {"markerfacecolor": INK, "label": "calibrated (number: the test)"}
OUTLIER: dict[str, Any] = {
    "marker": "X", "colour": VERMILLION, "markerfacecolor": VERMILLION,
    "label": "does not fit the others, left out",
}  # fmt: skip
COMING: dict[str, Any] = {
    "marker": "D", "colour": BLUE, "markerfacecolor": BLUE, "zorder": 2.5,
}  # fmt: skip
"""Marks of a test in the scenario as it was and in the calibrated one, of one that is left out, and
of a test to come."""


def _panel(axes: Axes, found: Calibration, kind: Kind, look: Look) -> None:
    rows = [row for row in found.residuals if row.kind is kind]
    coming = _coming(found.predictions, kind)
    coming_label = f"test to come, {100 * found.level:.3g} % interval"
    _line(axes, rows, coming, look)
    for row in rows:
        points(axes, [row.before], [row.measured], **BEFORE)
        points(axes, [row.predicted], [row.measured], **(OUTLIER if row.is_outlier else AFTER))
    for each in coming:
        high = min(each.high, axes.get_ylim()[1])
        axes.vlines(each.value, each.low, high, color=BLUE, linewidth=2 * look.line, alpha=0.6)
        points(axes, [each.value], [each.value], label=coming_label, **COMING)
    _number(axes, rows, look)
    name, unit = LABELS[kind], UNITS[kind]
    axes.set_xlabel(quantity_label(f"Predicted {name}", unit))
    axes.set_ylabel(quantity_label(f"Measured {name}", unit))


def _coming(predictions: Sequence[Prediction], kind: Kind) -> list[Interval]:
    found: list[Interval] = [getattr(row, kind) for row in predictions if kind in SHOWN]
    return [interval for interval in found if math.isfinite(interval.value)]


def _line(axes: Axes, rows: Sequence[Reading], coming: Sequence[Interval], look: Look) -> None:
    """Limits of both axes, and the line on which measured equals predicted."""
    across = [each.value for each in coming]
    across += [v for row in rows for v in (row.before, row.predicted) if math.isfinite(v)]
    up = [*(row.measured for row in rows), *(each.low for each in coming)]
    up += [each.high if math.isfinite(each.high) else 1.5 * each.value for each in coming]
    low, high = min([*across, *up]), max([*across, *up])
    room = 0.08 * (high - low) or 0.1 * high
    axes.set_xlim(min(across) - room, max(across) + room)
    axes.set_ylim(min([*up, min(across)]) - room, max([*up, max(across)]) + room)
    ends = [low - room, high + room]
    axes.plot(ends, ends, color=PALE, linewidth=2 * look.line, zorder=1, label="_equal")


def _number(axes: Axes, rows: Sequence[Reading], look: Look) -> None:
    """Numbers of the tests at their points, as far as there is room for each."""
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    taken: list[tuple[float, float]] = []
    shown = [row for row in rows if math.isfinite(row.predicted)]
    for row in sorted(shown, key=lambda row: not row.is_outlier):
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
