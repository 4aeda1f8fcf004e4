"""Panels over one time axis, with numbered marks of the events: the frame of every curve over
time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import field
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from winchsim.frozen import dataclass
from winchsim.quantity_text import in_unit
from winchsim.report.figures.look import (
    BLUE,
    FAINT,
    GREY,
    INK,
    LEVEL_WIDTH,
    LIMIT_DASHES,
    VERMILLION,
    Look,
    blank,
    box,
    folded,
    plain_ticks,
    quantity_label,
    size_mm,
    text_width,
)
from winchsim.report.figures.marks import Mark, marks_of
from winchsim.report.figures.trace import Window, broken
from winchsim.simulation import Record

LEFT_EMS, RIGHT_EMS = 6.9, 1.4
"""Room for the tick labels and the axis label at the left, and at the right. [em]"""

LEAST_PANEL_EMS = 6.0
"""No panel is lower. [em]"""

NUMBER_EMS = 2.1
"""Marks are at least so far apart: nearer events share one. [em]"""

EVENT = "_event"
"""Label of the line that marks an event in a panel."""

REPEATED = "_repeated"
"""Label of the short strokes at the foot of a panel that mark what keeps recurring."""

STROKES_APART = 0.3
"""Strokes nearer to each other than this are one. [mm]"""

HELD = "_held"
"""Label of the band that shows where the drum is held."""


@dataclass
class Panel:
    """What one panel shows: name and unit of its quantity, and its share of the height."""

    name: str
    unit: str
    share: float = 1.0


@dataclass
class Band:
    """Panels over one stretch of time.

    Attributes
    ----------
    record : Record
    look : Look
    shown : Window
    panels : list of Panel
        From the top down.
    tag : str
        Letter of a part that is shown larger; may be empty.
    panel_height : float
        Of a panel with a share of 1; 0 takes the look's. [mm]
    outer : float
        Width with all that stands beside the panels; 0 takes the look's. [mm]
    named : int
        Curves that are named above the panels, see `name_curves`.
    notes : tuple of str
        Lines under the axis.
    room : int
        Rows kept free below, for a key that is drawn later.
    marked : bool
        Whether events and held stretches are shown: not where several records share the panels.
    axes : list of Axes
        One for each panel, once it has been placed.
    """

    record: Record
    look: Look
    shown: Window
    panels: list[Panel]
    tag: str = ""
    panel_height: float = 0.0
    outer: float = 0.0
    named: int = 0
    notes: tuple[str, ...] = ()
    room: int = 0
    marked: bool = True
    axes: list[Axes] = field(default_factory=list)

    def __post_init__(self) -> None:
        look = self.look
        self.left = LEFT_EMS * look.em
        self.outer = self.outer or look.width
        self.width = self.outer - self.left - RIGHT_EMS * look.em
        self.panel_height = self.panel_height or look.panel
        start, end = self.shown.start, self.shown.end
        nearest = NUMBER_EMS * look.em / self.width
        self.marks: tuple[Mark, ...] = ()
        self.held: list[tuple[float, float]] = []
        if self.marked:
            self.marks = marks_of(self.record, start, end, most=look.most_marks, nearest=nearest)
            self.held = [
                span for span in held_spans(self.record) if span[1] > start and span[0] < end
            ]
        entries = [
            f"{n} {_mark_text(mark, self.shown)}" for n, mark in enumerate(self.marks, start=1)
        ]
        entries += ["grey: the drum is held"] if self.held else []
        room = self.outer - 1.2 * look.em
        self.key = flowed(entries, room, look)
        self.key += [line for note in self.notes for line in folded(note, room, look)]
        self.key += [""] * self.room

    @property
    def strip(self) -> float:
        """Height of names and numbers above the panels. [mm]"""
        return (0.4 + (1.3 if self.marks else 0.2)) * self.look.row + self.name_rows * self.look.row

    @property
    def name_rows(self) -> int:
        """Rows of names of curves."""
        return -(-self.named // _names_a_row(self.look))

    @property
    def height(self) -> float:
        """Of the complete band, from its key to its names. [mm]"""
        em = self.look.em
        panels = self.shares * self.panel_height + (len(self.panels) - 1) * 1.1 * em
        key = len(self.key) * self.look.row + (0.5 * em if self.key else 0.0)
        return self.strip + panels + 3.6 * em + key

    @property
    def shares(self) -> float:
        """Shares of all panels together."""
        return sum(p.share for p in self.panels)

    def place(self, figure: Figure, bottom: float, left: float = 0.0) -> list[Axes]:
        """Put the empty panels, the marks and the key onto a figure.

        Parameters
        ----------
        figure : Figure
        bottom, left : float
            Lower left corner of the band. [mm]

        Returns
        -------
        list of Axes
            One for each panel, from the top.
        """
        em = self.look.em
        level = bottom + self.height - self.strip
        for i, panel in enumerate(self.panels):
            high = panel.share * self.panel_height
            level -= high
            axes = box(figure, left + self.left, level, self.width, high)
            level -= 1.1 * em
            self._dress(axes, panel, last=i + 1 == len(self.panels))
            self.axes.append(axes)
        self._number_marks()
        if self.tag:
            top = bottom + self.height - self.strip + self.look.row
            write(figure, left + 0.6 * em, top, self.tag, va="center", weight="bold")
        for n, line in enumerate(self.key):
            place = bottom + (len(self.key) - n - 0.2) * self.look.row
            write(figure, left + 0.6 * em, place, line, va="top")
        return self.axes

    def _dress(self, axes: Axes, panel: Panel, *, last: bool) -> None:
        shown = self.shown
        axes.set_xlim(shown.shown(shown.start), shown.shown(shown.end))
        label = axis_text(panel.name, panel.unit, panel.share * self.panel_height, self.look)
        axes.set_ylabel(label, va="top")
        axes.yaxis.set_label_coords(-(self.left - 0.3 * self.look.em) / self.width, 0.5)
        plain_ticks(axes, self.look, y=False)
        if last:
            axes.set_xlabel(shown.label, labelpad=0.25 * self.look.font)
        else:
            axes.tick_params(labelbottom=False)
        for start, end in self.held:
            begin, stop = shown.shown(start), shown.shown(end)
            axes.axvspan(begin, stop, facecolor=FAINT, linewidth=0, zorder=0, label=HELD)
        thin = 0.6 * self.look.line
        for mark in self.marks:
            colour = VERMILLION if mark.grave else GREY
            if mark.repeated:
                self._stroke(axes, mark, colour)
            place = shown.shown(mark.start)
            axes.axvline(place, color=colour, linewidth=thin, zorder=1.2, label=EVENT)

    def _stroke(self, axes: Axes, mark: Mark, colour: str) -> None:
        """Short strokes at the foot of a panel, one for each recurring event that can be told
        apart."""
        times = np.array([e.time for e in mark.events])
        column = np.floor((times - self.shown.start) / self.shown.span * self.width / STROKES_APART)
        times = times[np.unique(column, return_index=True)[1]]
        x = np.repeat(np.asarray(self.shown.shown(times), dtype=float), 3)
        y = np.tile([0.0, 0.07, np.nan], len(times))
        foot, thin = axes.get_xaxis_transform(), 0.6 * self.look.line
        axes.plot(x, y, transform=foot, color=colour, linewidth=thin, zorder=1.1, label=REPEATED)

    def _number_marks(self) -> None:
        """The number of each mark above the first panel, those too near moved right; a grave one on
        a filled box."""
        first, look = self.axes[0], self.look
        wide, tall = size_mm(first)
        apart = NUMBER_EMS * look.em * self.shown.shown(self.shown.origin + self.shown.span) / wide
        free = -math.inf
        for n, mark in enumerate(self.marks, start=1):
            grave = mark.grave
            frame = {
                "boxstyle": "round,pad=0.18",
                "facecolor": VERMILLION if grave else "white",
                "edgecolor": VERMILLION if grave else GREY,
                "linewidth": look.line * 0.5,
            }
            x = max(self.shown.shown(mark.start), free)
            free = x + apart
            place = (x, 1 + 0.75 * look.row / tall)
            first.text(
                *place,
                str(n),
                transform=first.get_xaxis_transform(),
                ha="center",
                va="center",
                color="white" if grave else INK,
                weight="bold",
                bbox=frame,
            )


def _names_a_row(look: Look) -> int:
    return 2 if look.width < 150 else 3


def name_curves(band: Band, lines: Sequence[Line2D], names: Sequence[str]) -> None:
    """Samples of curves with their names above the panels; the band has room for its `named`
    ones."""
    look, first = band.look, band.axes[0]
    wide, tall = size_mm(first)
    low = 1 + (1.5 if band.marks else 0.4) * look.row / tall
    first.legend(
        lines,
        names,
        loc="lower left",
        bbox_to_anchor=(-0.6 * band.left / wide, low),
        ncols=_names_a_row(look),
        frameon=False,
        borderpad=0.0,
        borderaxespad=0.0,
        handlelength=2.4,
        handletextpad=0.6,
        columnspacing=1.4,
        labelspacing=0.2,
    )


def compose(look: Look, rows: Sequence[Sequence[Band]]) -> Figure:
    """Figure with rows of bands from the top down; each is placed and its panels are ready to be
    drawn on.

    Panels are made lower, as far as they stay readable, where the figure would be taller than its
    look allows.
    """
    gap = 1.2 * look.em
    over = (
        sum(max(b.height for b in row) for row in rows)
        + gap * (len(rows) - 1)
        + 0.8 * look.em
        - look.most_height
    )
    shares = sum(max(b.shares for b in row) for row in rows)
    if over > 0:
        for b in (b for row in rows for b in row):
            b.panel_height = max(b.panel_height - over / shares, LEAST_PANEL_EMS * look.em)
    height = sum(max(b.height for b in row) for row in rows) + gap * (len(rows) - 1) + 0.8 * look.em
    figure = blank(look, height)
    level = height - 0.2 * look.em
    for row in rows:
        left = 0.0
        for b in row:
            b.place(figure, level - b.height, left)
            left += b.outer
        level -= max(b.height for b in row) + gap
    return figure


# --- key


def _mark_text(mark: Mark, shown: Window) -> str:
    """What a mark stands for and when; one time for what happens at the same time."""
    if mark.repeated:
        start, end = when_text(mark.start, shown), when_text(mark.end, shown)
        return f"{mark.names[0][0]}, {start} to {end}"
    text, last = "", ""
    for name, time in reversed(mark.names):
        when = when_text(time, shown)
        text = f"{name if when == last else f'{name} {when}'}{', ' if text else ''}{text}"
        last = when
    return text


def flowed(entries: Sequence[str], width: float, look: Look) -> list[str]:
    """Entries of a key in lines of a width [mm], as many in a line as it takes."""
    lines: list[str] = []
    for entry in entries:
        longer = f"{lines[-1]}    {entry}" if lines else entry
        if lines and text_width(longer, look) <= width:
            lines[-1] = longer
        else:
            lines += folded(entry, width, look)
    return lines


def when_text(time: float, shown: Window) -> str:
    """A time as a key shows it, with the digits that tell marks apart."""
    value = (
        time / 60
        if shown.unit == "min"
        else time * 1e3
        if time < 1 and shown.unit == "ms"
        else time
    )
    unit = "min" if shown.unit == "min" else "ms" if value != time else "s"
    digits = max(3, int(np.ceil(np.log10(abs(time) / shown.span))) + 4) if time else 3
    return f"{value:.{4 if unit == 'min' else 3 if unit == 'ms' else min(digits, 8)}g} {unit}"


def axis_text(name: str, unit: str, length: float, look: Look) -> str:
    """Name of an axis with its unit, in two lines where the axis is too short for one.

    Parameters
    ----------
    name : str
        Of the quantity.
    unit : str
        As printed; may be empty.
    length : float
        Of the axis. [mm]
    look : Look
    """
    text = quantity_label(name, unit)
    if text_width(text, look) <= length * 1.02:
        return text
    return f"{name}\n({unit})" if unit else "\n".join(folded(text, length, look, 2))


def write(figure: Figure, x: float, y: float, text: str, **more: object) -> None:
    """Text at a place in mm."""
    wide, high = figure.get_size_inches() * 25.4
    figure.text(x / wide, y / high, text, ha="left", **more)  # type: ignore[arg-type]


# --- curves and what is written beside them


def held_spans(record: Record) -> list[tuple[float, float]]:
    """Stretches of time in which the drum is held. [s]"""
    starts = np.asarray(record.segment_starts)
    ends = np.append(starts[1:], len(record.time)) - 1
    spans: list[tuple[float, float]] = []
    for first, last in zip(starts, ends, strict=True):
        if not record.bound[first]:
            continue
        begin, end = float(record.time[first]), float(record.time[last])
        if spans and begin <= spans[-1][1]:
            spans[-1] = (spans[-1][0], end)
        else:
            spans.append((begin, end))
    return [span for span in spans if span[1] > span[0]]


def curve(
    band: Band,
    axes: Axes,
    values: np.ndarray,
    unit: str,
    *,
    keep: np.ndarray | None = None,
    record: Record | None = None,
    **more: object,
) -> Line2D:
    """Draw one channel of the band's record, or of another one, segments apart.

    Parameters
    ----------
    band : Band
    axes : Axes
        One of its panels.
    values : ndarray, shape (k,)
        One for each sample of the record, in SI.
    unit : str
        Unit of the axis.
    keep : ndarray of bool, shape (k,), optional
        Samples that are drawn; left out, all.
    record : Record, optional
        Whose samples they are; left out, those of the band's own.
    **more
        What matplotlib takes: colour, dashes, width.

    Returns
    -------
    Line2D
    """
    x, y = broken(record or band.record, values, band.shown, keep)
    (line,) = axes.plot(x, in_unit(y, unit), **more)  # type: ignore[arg-type]
    return line


def seen(band: Band, values: np.ndarray) -> np.ndarray:
    """Values that a band shows of a channel, those at its edges between two samples included."""
    time, shown = band.record.time, band.shown
    inside = values[(time >= shown.start) & (time <= shown.end)]
    edges = [
        np.interp(edge, time, values)
        for edge in (shown.start, shown.end)
        if time[0] < edge < time[-1]
    ]
    return np.append(inside, edges)


def room_for(
    axes: Axes, *values: np.ndarray | Sequence[float] | float, zero: bool = True, least: float = 0.0
) -> None:
    """Set the range of a panel so that the values have air around them.

    Parameters
    ----------
    axes : Axes
    *values : array_like
        In the unit of the axis; what is not finite does not count.
    zero : bool
        Whether zero has to be inside.
    least : float
        Least range, in the unit of the axis: noise of a steady quantity is not to fill a panel.
    """
    parts = [np.ravel(np.asarray(v, dtype=float)) for v in values]
    every = np.concatenate([part[np.isfinite(part)] for part in parts]) if parts else np.zeros(0)
    low, high = (float(every.min()), float(every.max())) if every.size else (0.0, 0.0)
    if zero:
        low, high = min(low, 0.0), max(high, 0.0)
    if high - low < least:
        middle = (low + high) / 2
        low, high = (0.0, least) if zero and low >= 0 else (middle - least / 2, middle + least / 2)
    span = (high - low) or 1.0
    axes.set_ylim(low - (0.08 * span if low < 0 or not zero else 0.03 * span), high + 0.08 * span)
    if zero and low < 0:
        axes.axhline(
            0.0, color=GREY, linewidth=axes.spines["left"].get_linewidth(), zorder=1, label="_zero"
        )


def finish(band: Band) -> None:
    """Ticks, once everything is drawn."""
    for axes in band.axes:
        if axes.get_yscale() == "linear":
            plain_ticks(axes, band.look, x=False)


def limit_line(
    axes: Axes, look: Look, level: float, text: str, *, below: bool = True, side: str = "left"
) -> None:
    """A dashed level with its name under or on it.

    Parameters
    ----------
    axes : Axes
    look : Look
    level : float
        In the unit of the axis.
    text : str
        Its name.
    below : bool
        Whether the name stands under the line.
    side : str
        ``left`` or ``right``: where it stands.
    """
    axes.axhline(
        level,
        color=VERMILLION,
        linestyle=LIMIT_DASHES,
        linewidth=look.line * 0.7,
        zorder=1.5,
        label="_limit",
    )
    wide, _ = size_mm(axes)
    edge = 0.6 * look.em / wide
    axes.annotate(
        text,
        (edge if side == "left" else 1 - edge, level),
        xycoords=axes.get_yaxis_transform(),
        xytext=(0, -0.25 * look.font if below else 0.25 * look.font),
        textcoords="offset points",
        ha=side,
        va="top" if below else "bottom",
        color=VERMILLION,
        bbox={"boxstyle": "square,pad=0.05", "facecolor": "white", "alpha": 0.75, "linewidth": 0},
    )


def level_line(axes: Axes, look: Look, level: float, label: str) -> Line2D:
    """A thin solid level to compare with, which is no limit."""
    thin = LEVEL_WIDTH * look.line
    return axes.axhline(level, color=BLUE, linewidth=thin, zorder=1.4, label=label)


def numbered(axes: Axes, look: Look, x: float, y: float, number: int, colour: str) -> None:
    """A point with its number in it."""
    frame = {
        "boxstyle": "circle,pad=0.15",
        "facecolor": colour,
        "edgecolor": "white",
        "linewidth": look.line / 3,
    }
    place: dict[str, Any] = {"ha": "center", "va": "center", "zorder": 6}
    axes.text(x, y, str(number), color="white", weight="bold", bbox=frame, **place)
