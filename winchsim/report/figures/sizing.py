"""Pictures of sizing studies and sweeps: curves over one key, or a map over two, with the
limits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import ListedColormap
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, NullFormatter, NullLocator

from winchsim.assessment.candidates import RANKS, CheckColumn
from winchsim.assessment.kinds import CheckKey, End, Side, Status
from winchsim.frozen import dataclass
from winchsim.inputs import spec_at
from winchsim.quantity_text import PRINTED_UNITS, in_unit, show
from winchsim.report.figures.look import (
    BLUE,
    FAINT,
    GREEN,
    GREY,
    INK,
    LIMIT_DASHES,
    PALE,
    SERIES,
    VERMILLION,
    Look,
    blank,
    box,
    drawing,
    plain_ticks,
    quantity_label,
    size_mm,
)
from winchsim.report.words.checks import CHECKS
from winchsim.studies.sizing import WHILE_LIFTED, Study
from winchsim.studies.sweep import Sweep

MOST = 6.0
"""Margins and factors are drawn up to this. [-]"""

MARKERS, LINES = (("o", "●"), ("s", "□")), ("– –", "···")
"""Of the first and the second of several rows: of dots, and of lines."""

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


def _axis(path: str, values: np.ndarray, unit: str, scale: str, us: bool) -> Axis:
    shown = (PRINTED_UNITS[unit].us or unit) if us else unit
    name = "Motors" if path.endswith(".count") else NAMES.get(path, path)
    return Axis(
        quantity_label(name, shown), shown, in_unit(np.asarray(values, dtype=float), shown), scale
    )  # type: ignore[arg-type]


def study_figure(study: Study, look: Look, *, us: bool = False) -> Figure:
    """Lift time, margins, strength and current over what a study varies.

    Parameters
    ----------
    study : Study
    look : Look
    us : bool
        Whether the axis is in US units.
    """
    question = study.question
    axis = _axis(study.path, study.values, question.unit, question.scale, us)
    figure = _curves(study.sweep, axis, look, study.recommended)
    runs = [(axis.values[run.index], run.time) for run in study.runs if run.time is not None]
    with drawing(look):
        _in_full(figure.axes[0], runs, look)
    return figure


def sweep_figure(found: Sweep, look: Look, *, us: bool = False) -> Figure:
    """Curves over one key, or a map over two.

    Parameters
    ----------
    found : Sweep
    look : Look
    us : bool
        Whether axes are in US units.
    """
    numbers = [
        path for path, values in found.values.items() if np.issubdtype(values.dtype, np.number)
    ]
    axes = [
        _axis(
            path,
            found.values[path],
            spec_at(found.inputs, path).unit,
            _scale(found),
            us,
        )
        for path in numbers
    ]
    if len(axes) == 2 and len(found.values) == 2 and _is_grid(found):
        return _map(found, axes[0], axes[1], look)
    axis = (
        axes[0]
        if axes
        else Axis(", ".join(found.values), "", np.arange(1.0, len(found) + 1), "dots")
    )
    return _curves(found, axis, look, None)


def _scale(found: Sweep) -> str:
    return "dots" if len(found) < 6 or len(found.values) > 1 else "log"


def _is_grid(found: Sweep) -> bool:
    first, second = (len(np.unique(values)) for values in found.values.values())
    return first > 1 and second > 1 and first * second == len(found)


# --- curves


def _curves(found: Sweep, axis: Axis, look: Look, best: int | None) -> Figure:
    em = look.em
    left, right, gap, top = 6.6 * em, 8.6 * em, 1.1 * em, 2.2 * em
    tall = min(look.panel * 0.75, (look.most_height - top - 4 * em) / len(PANELS) - gap)
    tall = max(tall, 6 * em)
    height = top + len(PANELS) * (tall + gap) + 3.2 * em
    order = np.argsort(axis.values, kind="stable")
    with drawing(look):
        figure = blank(look, height)
        level = height - top
        for place, (label, rows) in enumerate(PANELS):
            level -= tall
            axes = box(figure, left, level, look.width - left - right, tall)
            level -= gap
            shown = _panel(axes, axis, found, rows, order, look)
            _dress(axes, axis, label, look, last=place + 1 == len(PANELS))
            _shade(axes, axis, found, order)
            if place == 0:
                shown = [] if axis.scale == "dots" else [("//// fails", GREY)]
            if best is not None:
                axes.axvline(
                    axis.values[best],
                    color=GREEN,
                    linewidth=0.8 * look.line,
                    zorder=1.5,
                    label="_best",
                )
                if place == 0:
                    _above(axes, axis, best, look)
            _beside(axes, shown, look)
    return figure


def _panel(
    axes: Axes,
    axis: Axis,
    found: Sweep,
    rows: Sequence[tuple[str, str]],
    order: np.ndarray,
    look: Look,
) -> list[tuple[str, str]]:
    """Rows of one panel and their limits; names to write beside it."""
    names, highest, dots = [], 1.0, axis.scale == "dots"
    for (key, name), (colour, dashes), (marker, dot), line in zip(
        rows, SERIES[1:], MARKERS, LINES, strict=False
    ):
        values, limit = _values(found, key)
        style: dict[str, Any] = {"linestyle": dashes}
        if dots:
            face = colour if dot == "●" else "none"
            style = {
                "linestyle": "none",
                "marker": marker,
                "markersize": look.line * 2.4,
                "markerfacecolor": face,
            }
        axes.plot(
            axis.values[order], values[order], color=colour, label=name or "lift time", **style
        )
        names += [(f"{dot if dots else line} {name}", colour)] if name else []
        highest = max(highest, float(np.nanmax(values, initial=0.0)))
        if limit is not None:
            axes.axhline(
                limit, color=GREY, linewidth=0.7 * look.line, linestyle=LIMIT_DASHES, label="_limit"
            )
            names.append((f"limit {show(limit)[0]}", GREY))
    checks = any(isinstance(key, CheckKey) for key, _ in rows)
    axes.set_ylim(0, 1.15 * (min(highest, MOST) if checks else highest))
    return sorted(dict.fromkeys(names), key=lambda text: text[1] == GREY)


def _values(found: Sweep, key: str) -> tuple[np.ndarray, float | None]:
    """A result or a check of each build, NaN where there is none, and the limit of the check;
    factors over the required one."""
    lifted = np.array([end is End.REACHED for end in found.ends])
    if not isinstance(key, CheckKey):
        return np.where(lifted, found.results[key], np.nan), None
    column = found.check(key)
    if column is None:
        return np.full(len(found), np.nan), None
    values = np.where(
        np.isfinite(column.value) & (lifted | (key not in WHILE_LIFTED)), column.value, np.nan
    )
    if key in (CheckKey.PARTS, CheckKey.JAM):
        return values / column.required, 1.0
    return values, float(column.required)


def _dress(axes: Axes, axis: Axis, label: str, look: Look, *, last: bool) -> None:
    _along(axes, axis, look)
    plain_ticks(axes, look, x=axis.even)
    axes.set_ylabel(label, va="top")
    axes.yaxis.set_label_coords(-6.1 * look.em / size_mm(axes)[0], 0.5)
    if last:
        axes.set_xlabel(axis.label, labelpad=0.25 * look.font)
    else:
        axes.tick_params(labelbottom=False)


def _along(axes: Axes, axis: Axis, look: Look) -> None:
    """Limits and ticks of the horizontal axis."""
    low, high = float(axis.values.min()), float(axis.values.max())
    if axis.even:
        room = 0.03 * (high - low) or 0.1 * abs(high) or 1.0
        axes.set_xlim(low - room, high + room)
        return
    axes.set_xscale("log")
    axes.set_xlim(low / (high / low) ** 0.03, high * (high / low) ** 0.03)
    ticks = [m * 10.0**e for e in range(-4, 6) for m in (1, 1.5, 2, 3, 4, 5, 7)]
    ticks = [value for value in ticks if low <= value <= high]
    while len(ticks) > max(3, int(size_mm(axes)[0] / (3.2 * look.em))):
        ticks = ticks[::2]
    axes.xaxis.set_major_locator(FixedLocator(ticks))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:.4g}"))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_minor_formatter(NullFormatter())


def _shade(axes: Axes, axis: Axis, found: Sweep, order: np.ndarray) -> None:
    """Hatched behind candidates with a failing check."""
    if axis.scale == "dots":
        return
    shown, bad = axis.values[order], found.ranks[order] == RANKS[Status.FAILS]
    edges = np.flatnonzero(np.diff(np.concatenate([[False], bad, [False]]).astype(int)))
    first, last = axes.get_xlim()
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        low = first if start == 0 else (shown[start - 1] + shown[start]) / 2
        high = last if end == len(shown) else (shown[end - 1] + shown[end]) / 2
        axes.axvspan(
            low,
            high,
            facecolor="none",
            edgecolor=PALE,
            hatch="////",
            linewidth=0,
            zorder=0,
            label="_fails",
        )


def _beside(axes: Axes, texts: Sequence[tuple[str, str]], look: Look, first: int = 0) -> None:
    """Names at the right of a panel, in their colours."""
    wide, tall = size_mm(axes)
    for n, (text, colour) in enumerate(texts, start=first):
        axes.text(
            1 + 0.7 * look.em / wide,
            1 - (n + 0.6) * look.row / tall,
            text,
            color=colour,
            transform=axes.transAxes,
            va="center",
            ha="left",
        )


def _above(axes: Axes, axis: Axis, best: int, look: Look) -> None:
    take = f"{float(axis.values[best]):.4g} {axis.unit}".strip()
    axes.annotate(
        take,
        (axis.values[best], 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(0, 0.35 * look.font),
        textcoords="offset points",
        ha="center",
        va="bottom",
        color=GREEN,
    )


def _in_full(axes: Axes, runs: Sequence[tuple[float, float]], look: Look) -> None:
    """Lift times of full simulations, as open marks on the line."""
    if runs:
        x, y = zip(*runs, strict=True)
        axes.plot(
            x,
            y,
            linestyle="none",
            marker="D",
            markerfacecolor="white",
            markeredgecolor=VERMILLION,
            markersize=look.line * 3.4,
            zorder=4,
            label="simulated in full",
            clip_on=False,
        )
        _beside(axes, [("◇ in full", VERMILLION)], look, first=1)


# --- map


def _map(found: Sweep, x: Axis, y: Axis, look: Look) -> Figure:
    """Status over two keys, with the limits of the checks as lines that carry a number."""
    em = look.em
    left, top, side = 7.0 * em, 1.5 * em, look.width - 8.5 * em
    grid = _grid(x.values, y.values)
    keys = found.changeable - {CheckKey.TARGET}
    lines = [(column, _share(found, column)[grid]) for column in found.checks if column.key in keys]
    lines = [(column, share) for column, share in lines if share.min() < 1 < share.max()]
    tall = min(side, look.most_height - 10 * em)
    height = top + tall + 4.5 * em + (len(lines) + 2) * look.row
    with drawing(look):
        figure = blank(look, height)
        axes = box(figure, left, height - top - tall, side, tall)
        across, up = np.unique(x.values), np.unique(y.values)
        ranks = found.ranks[grid]
        for rank, colour, hatch in ((0, "white", "////"), (1, FAINT, "")):
            mask = np.where(ranks == rank, 1.0, np.nan)
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
        _lines(axes, across, up, lines, look)
        axes.plot(
            x.values,
            y.values,
            linestyle="none",
            marker=".",
            markersize=look.line,
            color=GREY,
            label="builds",
        )
        _along(axes, x, look)
        if not y.even:
            axes.set_yscale("log")
        plain_ticks(axes, look, x=x.even)
        axes.set_xlabel(x.label)
        axes.set_ylabel(y.label)
        texts = ["//// a check fails, grey: a check is thin"]
        texts += [
            f"{n}  limit of {CHECKS[column.key]}" for n, (column, _) in enumerate(lines, start=1)
        ]
        for n, text in enumerate(texts):
            axes.text(
                0, -(4.2 * em + n * look.row) / tall, text, transform=axes.transAxes, va="top"
            )
    return figure


def _grid(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Place of each build, by rows of y and columns of x."""
    across, up = (np.unique(values, return_inverse=True)[1] for values in (x, y))
    grid = np.zeros((up.max() + 1, across.max() + 1), dtype=int)
    grid[up, across] = np.arange(len(x))
    return grid


def _share(found: Sweep, column: CheckColumn) -> np.ma.MaskedArray:
    """Value over the required one, at least 1 where it is met; masked where there is none."""
    limit = column.hard if column.required is None else column.required
    unread = (column.key in WHILE_LIFTED) & np.array([end is not End.REACHED for end in found.ends])
    with np.errstate(divide="ignore", invalid="ignore"):
        share = column.value / np.asarray(limit, dtype=float)
        share = share if column.side is Side.LEAST else 1 / share
    return np.ma.array(
        np.clip(np.nan_to_num(share, posinf=MOST), 0.0, MOST), mask=unread | np.isnan(share)
    )


def _lines(
    axes: Axes,
    across: np.ndarray,
    up: np.ndarray,
    lines: Sequence[tuple[Any, np.ndarray]],
    look: Look,
) -> None:
    colours = (INK, BLUE, VERMILLION, GREEN)
    for n, (_, share) in enumerate(lines):
        colour = colours[n % len(colours)]
        drawn = axes.contour(across, up, share, levels=[1.0], colors=[colour], linewidths=look.line)
        axes.clabel(drawn, fmt={1.0: str(n + 1)}, fontsize=look.font, inline=True)
