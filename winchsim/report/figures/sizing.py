"""Pictures of sizing studies and sweeps: curves over one key, or a map over two, with the
limits."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.colors import ListedColormap

from winchsim.assessment.candidates import CheckColumn
from winchsim.assessment.kinds import CheckKey, Side, Status
from winchsim.frozen import dataclass
from winchsim.inputs import spec_at
from winchsim.quantity_text import in_unit, show
from winchsim.report.figures.look import (
    FAINT,
    GREEN,
    GREY,
    LIMIT_DASHES,
    PALE,
    SERIES,
    VERMILLION,
    Axes,
    Figure,
    Look,
    below,
    folded,
    log_ticks,
    points,
    quantity_label,
    stack,
    styled,
)
from winchsim.report.words.values import CHECKS
from winchsim.studies.sizing import Study
from winchsim.studies.sweep import Sweep

MOST = 6.0
"""Margins and factors are drawn up to this. [-]"""

PANELS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    ("Lift time (s)", (("lift_time", ""),)),
    ("Starting margin", ((CheckKey.START_COLD, "cold"), (CheckKey.START_HOT, "hot"))),
    ("Factor / required", ((CheckKey.PARTS, "lifting"), (CheckKey.JAM, "in a jam"))),
    ("Current (A)", (("peak_current", "peak"), ("mean_current", "mean"))),
)
"""Panels from the top: label, and the results or checks in them with their names."""

NAMES = {
    "drum.diameter": "Drum diameter",
    "supply.voltage": "Supply voltage",
    "load.mass": "Load",
    "gears": "Ratio, motor to drum",
}
"""Names of axes; others have their path."""


@dataclass(frozen=True)
class Axis:
    """One axis: its label, its values in the unit shown, and ``log``, ``even`` or ``dots``."""

    label: str
    unit: str
    values: np.ndarray
    scale: str

    @property
    def even(self) -> bool:
        """Whether equal steps are equal differences."""
        low, high = float(self.values.min()), float(self.values.max())
        return (
            self.scale == "even"
            or (self.scale == "dots" and high < 50)
            or low <= 0
            or high < 3 * low
        )


def _axis(path: str, values: np.ndarray, unit: str, scale: str, look: Look) -> Axis:
    unit, name = look.unit(unit), "Motors" if path.endswith(".count") else NAMES.get(path, path)
    return Axis(quantity_label(name, unit), unit, in_unit(values.astype(float), unit), scale)


@styled
def study_figure(study: Study, look: Look) -> Figure:
    """Lift time, margins, strength and current over what a study varies.

    Parameters
    ----------
    study : Study
    look : Look
    """
    axis = _axis(study.path, study.values, study.question.unit, study.question.scale, look)
    runs = [(axis.values[run.index], run.time) for run in study.runs if run.time is not None]
    return _curves(study.sweep, axis, look, study.recommended, runs)


@styled
def sweep_figure(found: Sweep, look: Look) -> Figure:
    """Curves over one key, or a map over two.

    Parameters
    ----------
    found : Sweep
    look : Look
    """
    scale = "dots" if len(found) < 6 or len(found.values) > 1 else "log"
    axes = [
        _axis(path, values, spec_at(found.inputs, path).unit, scale, look)
        for path, values in found.values.items()
        if np.issubdtype(values.dtype, np.number)
    ]
    kinds = [len(np.unique(values)) for values in found.values.values()]
    if len(axes) == len(kinds) == 2 and min(kinds) > 1 and math.prod(kinds) == len(found):
        return _map(found, axes[0], axes[1], look)
    count = Axis(", ".join(found.values), "", np.arange(1.0, len(found) + 1), "dots")
    return _curves(found, axes[0] if axes else count, look)


# --- curves


def _curves(
    found: Sweep,
    axis: Axis,
    look: Look,
    best: int | None = None,
    runs: Sequence[tuple[float, float]] = (),
) -> Figure:
    figure, panels = stack(look, [0.8] * len(PANELS), 1.5 * len(PANELS))
    order = np.argsort(axis.values, kind="stable")
    _along(panels[-1], axis)
    for axes, (label, rows) in zip(panels, PANELS, strict=True):
        axes.set_ylabel(label)
        _panel(axes, axis, found, rows, order, look)
        if axis.scale != "dots":
            _shade(axes, axis.values[order], found.ranks[order] == Status.FAILS.rank)
        if best is not None:
            x = axis.values[best]
            axes.axvline(x, color=GREEN, linewidth=0.8 * look.line, zorder=1.5, label="_best")
            take = f"taken: {float(x):.4g} {axis.unit}".strip() if axes is panels[-1] else ""
            axes.set_title(take, loc="right", color=GREEN)
    if runs:
        x, y = np.transpose(runs)
        points(panels[0], x, y, "D", VERMILLION, label="full run", clip_on=False)
    for axes in panels:
        axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=4, handlelength=1.6)
    return figure


def _panel(
    axes: Axes,
    axis: Axis,
    found: Sweep,
    rows: Sequence[tuple[str, str]],
    order: np.ndarray,
    look: Look,
) -> None:
    """Rows of one panel and their limits."""
    highest, limits = 1.0, {}
    for (key, name), (colour, dashes), marker in zip(rows, SERIES[1:], "os", strict=False):
        values, limit = _values(found, key)
        dots = {"marker": marker, "markerfacecolor": colour if marker == "o" else "none"}
        style = {"linestyle": "none", **dots} if axis.scale == "dots" else {"linestyle": dashes}
        axes.plot(
            axis.values[order], values[order], color=colour, label=name or "simplified", **style
        )
        highest = max(highest, float(np.nanmax(values, initial=0.0)))
        if limit is not None:
            limits[show(limit)[0]] = limit
    for text, limit in limits.items():
        axes.axhline(
            limit,
            color=GREY,
            linewidth=0.7 * look.line,
            linestyle=LIMIT_DASHES,
            label=f"limit {text}",
        )
    axes.set_ylim(0, 1.15 * (min(highest, MOST) if isinstance(rows[0][0], CheckKey) else highest))


def _values(found: Sweep, key: str) -> tuple[np.ndarray, float | None]:
    """A result or a check of each build, NaN where there is none, and the limit of the check;
    factors over the required one."""
    if not isinstance(key, CheckKey):
        return np.where(found.lifted, found.results[key], np.nan), None
    column = found.check(key)
    if column is None:
        return np.full(len(found), np.nan), None
    values = np.where(np.isfinite(column.value) & found.is_read(key), column.value, np.nan)
    is_factor = key in (CheckKey.PARTS, CheckKey.JAM)
    required = float(np.nanmax(column.required))
    return (values / column.required, 1.0) if is_factor else (values, required)


def _along(axes: Axes, axis: Axis) -> None:
    """Label, limits and ticks of the horizontal axis."""
    low, high = float(axis.values.min()), float(axis.values.max())
    axes.set_xlabel(axis.label)
    if axis.even:
        room = 0.03 * (high - low) or 0.1 * abs(high) or 1.0
        axes.set_xlim(low - room, high + room)
        return
    room = (high / low) ** 0.03
    axes.set(xscale="log", xlim=(low / room, high * room))
    log_ticks(axes.xaxis, math.log10(high / low))


def _shade(axes: Axes, places: np.ndarray, bad: np.ndarray) -> None:
    """Hatched behind candidates with a failing check."""
    first, last = axes.get_xlim()
    if bad.any():
        axes.fill_between(
            [first, *places, last],
            np.pad(bad.astype(float), 1, mode="edge"),
            step="mid",
            transform=axes.get_xaxis_transform(),
            linewidth=0,
            label="a check fails" if axes.get_ylabel() == PANELS[0][0] else "_fails",
            facecolor="none",
            edgecolor=PALE,
            hatch="////",
            zorder=0,
        )


# --- map


def _map(found: Sweep, x: Axis, y: Axis, look: Look) -> Figure:
    """Status over two keys, with the limits of the checks as lines that carry a number."""
    (across, columns), (up, rows) = (np.unique(v.values, return_inverse=True) for v in (x, y))
    grid = np.zeros((len(up), len(across)), dtype=int)
    grid[rows, columns] = np.arange(len(found))
    lines = [
        (column, share)
        for column in found.checks
        if column.key in found.changeable - {CheckKey.TARGET}
        for share in [_share(found, column)[grid]]
        if share.min() < 1 < share.max()
    ]
    texts = ["hatched: a check fails, grey: a check is thin"]
    for n, (column, _) in enumerate(lines, start=1):
        texts += folded(f"{n}  limit of {CHECKS[column.key]}", look)
    figure, (axes,) = stack(look, [2.0], len(texts))
    for rank, colour, hatch in ((0, "white", "////"), (1, FAINT, "")):
        mask = np.where(found.ranks[grid] == rank, 1.0, np.nan)
        axes.pcolor(
            across,
            up,
            mask,
            shading="nearest",
            cmap=ListedColormap([colour]),
            hatch=hatch,
            edgecolor=PALE,
            linewidth=0,
            zorder=0,
        )
    _limits(axes, across, up, [share for _, share in lines], look)
    points(axes, x.values, y.values, ".", GREY, markersize=look.line, label="builds")
    _along(axes, x)
    if not y.even:
        axes.set_yscale("log")
    axes.set_ylabel(y.label)
    below(axes, look, texts)
    return figure


def _limits(
    axes: Axes, across: np.ndarray, up: np.ndarray, shares: Sequence[np.ma.MaskedArray], look: Look
) -> None:
    """Numbered lines on which shares are 1; where two coincide, the gaps of one show the other."""
    for n, share in enumerate(shares):
        colour, dashes = SERIES[n % len(SERIES)]
        drawn = axes.contour(
            across,
            up,
            share,
            levels=[1.0],
            colors=[colour],
            linestyles=[dashes],
            linewidths=look.line,
            zorder=1.5 + n % len(SERIES) / 10,
        )
        spots: Any = drawn.get_paths()[0].vertices
        place = (n + 1) * len(spots) // (len(shares) + 1)  # no two numbers at one place
        axes.clabel(
            drawn, fmt={1.0: str(n + 1)}, fontsize=look.font, manual=spots[place : place + 1]
        )


def _share(found: Sweep, column: CheckColumn) -> np.ma.MaskedArray:
    """Value over the required one, at least 1 where it is met; masked where there is none."""
    limit = column.hard if column.required is None else column.required
    with np.errstate(divide="ignore", invalid="ignore"):
        share = column.value / np.asarray(limit, dtype=float)
        share = share if column.side is Side.LEAST else 1 / share
    return np.ma.array(
        np.clip(np.nan_to_num(share, posinf=MOST), 0.0, MOST),
        mask=~found.is_read(column.key) | np.isnan(share),
    )
