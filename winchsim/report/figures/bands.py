"""Panels over one time axis, with the events named above them: the frame that every curve over time is drawn in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from winchsim.quantity_text import PRINTED_UNITS, in_unit, number
from winchsim.report.figures.look import (
    FAINT,
    GREY,
    INK,
    US_EMS,
    VERMILLION,
    Look,
    blank,
    box,
    fitted,
    folded,
    plain_ticks,
    quantity_label,
    size_mm,
    spread_out,
    text_width,
    us_axis,
)
from winchsim.report.figures.marks import Mark, marks_of
from winchsim.report.figures.trace import Window, broken
from winchsim.simulation import Record

LEFT_EMS = 6.9
"""Room for the tick labels and the axis label at the left. [em]"""

LEAST_PANEL_EMS = 6.0
"""No panel is lower. [em]"""

EVENT = "_event"
"""Label of the line that marks an event in a panel."""

REPEATED = "_repeated"
"""Label of the short strokes at the foot of a panel that mark what keeps recurring."""

INDENT = "     "
"""Before the second line of an entry of the key."""

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
    right : float
        Room at the right for what is written beside the curves. [mm]
    tag : str
        Letter of a part that is shown larger; may be empty.
    us : bool
        Whether US units are shown at the right.
    panel_height : float
        Of a panel with a share of 1; 0 takes the look's. [mm]
    outer : float
        Width with all that stands beside the panels; 0 takes the look's. [mm]
    notes : tuple of str
        Lines under the axis.
    bare : bool
        Whether events and held stretches are left out, where several records share the panels.
    axes : list of Axes
        One for each panel, once it has been placed.
    """

    record: Record
    look: Look
    shown: Window
    panels: list[Panel]
    right: float = 0.0
    tag: str = ""
    us: bool = False
    panel_height: float = 0.0
    outer: float = 0.0
    notes: tuple[str, ...] = ()
    bare: bool = False
    axes: list[Axes] = field(default_factory=list)

    def __post_init__(self) -> None:
        em = self.look.em
        if self.us and any(PRINTED_UNITS[p.unit].us for p in self.panels):
            self.right += US_EMS * em
        self.right = max(self.right, 1.2 * em)
        self.left = LEFT_EMS * em
        self.outer = self.outer or self.look.width
        self.width = self.outer - self.left - self.right
        if not self.panel_height:
            self.panel_height = self.look.panel
        nearest = 0.8 * em / self.width
        found = marks_of(self.record, self.shown.start, self.shown.end, most=self.look.most_marks, nearest=nearest)
        self.marks = () if self.bare else found
        self.labels = place_names(self.marks, self)
        room = self.outer - 1.2 * em
        self.key = [line for note in self.notes for line in folded(note, room, self.look)]
        if not self.labels.direct:
            self.key += key_lines(self.marks, self)

    @property
    def strip(self) -> float:
        """Height of the names above the panels. [mm]"""
        if self.bare:
            return 2.3 * self.look.row
        return (self.labels.rows + 0.3) * self.look.row if self.marks else 0.6 * self.look.row

    @property
    def height(self) -> float:
        """Of the whole band, from its key to its names. [mm]"""
        em = self.look.em
        panels = self.shares * self.panel_height + (len(self.panels) - 1) * 1.1 * em
        return self.strip + panels + 3.6 * em + len(self.key) * self.look.row + (0.5 * em if self.key else 0.0)

    @property
    def shares(self) -> float:
        """Shares of all panels together."""
        return sum(p.share for p in self.panels)

    def place(self, figure: Figure, bottom: float, left: float = 0.0) -> list[Axes]:
        """Put the empty panels, the events and the key onto a figure.

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
        self._write_names(figure, bottom + self.height - self.strip, left)
        for n, line in enumerate(self.key):
            place = bottom + (len(self.key) - n - 0.2) * self.look.row
            _write(figure, left + 0.6 * em, place, line, va="top")
        return self.axes

    def _dress(self, axes: Axes, panel: Panel, *, last: bool) -> None:
        shown = self.shown
        axes.set_xlim(shown.shown(shown.start), shown.shown(shown.end))
        axes.set_ylabel(axis_text(panel.name, panel.unit, panel.share * self.panel_height, self.look), va="top")
        axes.yaxis.set_label_coords(-(self.left - 0.3 * self.look.em) / self.width, 0.5)
        plain_ticks(axes, self.look, y=False)
        if last:
            axes.set_xlabel(shown.label, labelpad=0.25 * self.look.font)
        else:
            axes.tick_params(labelbottom=False)
        for start, end in () if self.bare else held_spans(self.record):
            if end > shown.start and start < shown.end:
                axes.axvspan(shown.shown(start), shown.shown(end), facecolor=FAINT, linewidth=0, zorder=0, label=HELD)
        for mark in self.marks:
            colour = VERMILLION if mark.grave else GREY
            dashes = (0, (4, 2)) if mark.grave else "-"
            if mark.repeated:
                self._stroke(axes, mark, colour)
            axes.axvline(shown.shown(mark.start), color=colour, linestyle=dashes, linewidth=self.look.line * 0.6,
                         zorder=1.2, label=EVENT)  # fmt: skip

    def _stroke(self, axes: Axes, mark: Mark, colour: str) -> None:
        """Short strokes at the foot of a panel, one for each of the recurring events that can be told apart."""
        times = np.array([e.time for e in mark.events])
        column = np.floor((times - self.shown.start) / self.shown.span * self.width / STROKES_APART)
        times = times[np.unique(column, return_index=True)[1]]
        x = np.repeat(np.asarray(self.shown.shown(times), dtype=float), 3)
        y = np.tile([0.0, 0.07, np.nan], len(times))
        axes.plot(x, y, transform=axes.get_xaxis_transform(), color=colour, linewidth=self.look.line * 0.6, zorder=1.1,
                  label=REPEATED)  # fmt: skip

    def _write_names(self, figure: Figure, bottom: float, left: float) -> None:
        look, labels = self.look, self.labels
        strip = box(figure, left + self.left, bottom, self.width + self.right, self.strip)
        strip.set(xlim=(0, self.width + self.right), ylim=(0, self.strip))
        strip.set_axis_off()
        if self.tag:
            _write(figure, left + 0.6 * look.em, bottom + self.strip - 0.2 * look.row, self.tag, va="top", weight="bold")
        for mark, label in zip(self.marks, labels.items, strict=True):
            colour = VERMILLION if mark.grave else GREY
            dashes: Any = (0, (4, 2)) if mark.grave else "-"
            level = (label.row + 0.5) * look.row
            foot = 0.25 * look.row
            if labels.direct:
                strip.add_line(Line2D([label.at, label.at], [0, level + 0.4 * look.row], color=colour, linestyle=dashes,
                                      linewidth=look.line * 0.6))  # fmt: skip
                strip.text(label.at + (0.3 if label.side == "left" else -0.3) * look.em, level, label.text,
                           ha=label.side, va="center", color=INK, weight="bold" if mark.grave else "normal")  # fmt: skip
            else:
                strip.add_line(Line2D([label.at, label.at, label.text_at], [0, foot, level - 0.5 * look.row], color=colour,
                                      linestyle=dashes, linewidth=look.line * 0.6))  # fmt: skip
                strip.text(label.text_at, level, label.text, ha="center", va="center",
                           weight="bold" if mark.grave else "normal",
                           bbox={"boxstyle": "round,pad=0.18", "facecolor": "white", "edgecolor": colour,
                                 "linewidth": look.line * 0.5})  # fmt: skip


def compose(look: Look, rows: Sequence[Sequence[Band]]) -> Figure:
    """Figure with rows of bands from the top down; each is placed and its panels are ready to be drawn on.

    Panels are made lower, as far as they stay readable, where the figure would be taller than its look allows.
    """
    gap = 1.2 * look.em
    over = sum(max(b.height for b in row) for row in rows) + gap * (len(rows) - 1) + 0.8 * look.em - look.most_height
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


# --- names of the events ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Label:
    """Where the name of a mark stands: mm from the panel's left edge, row from below, and which way the text runs."""

    at: float
    text_at: float
    row: int
    side: str
    text: str


@dataclass(frozen=True)
class Labels:
    """Names of all marks of a band: written out (`direct`), or numbers that a key explains."""

    items: tuple[Label, ...]
    rows: int
    direct: bool


def place_names(marks: Sequence[Mark], band: Band) -> Labels:
    """Places of the names above a band: written out where they fit its rows, otherwise numbers."""
    look, shown = band.look, band.shown
    at = [(mark.start - shown.start) / shown.span * band.width for mark in marks]
    names = [fitted(mark.name, 0.6 * band.width, look) for mark in marks]
    wide = [text_width(name, look) * (1.12 if mark.grave else 1.0) + 0.9 * look.em
            for name, mark in zip(names, marks, strict=True)]  # fmt: skip
    rows = _rows(at, wide, band.width + band.right)
    if rows is not None and max((row for row, _ in rows), default=0) < look.label_rows:
        items = tuple(Label(x, x, row, side, name) for x, (row, side), name in zip(at, rows, names, strict=True))
        return Labels(items, 1 + max((row for row, _ in rows), default=-1), True)
    spread = spread_out(at, 2.1 * look.em, 0.0, band.width)
    numbered = (Label(x, to, 1, "center", str(n)) for n, (x, to) in enumerate(zip(at, spread, strict=True), start=1))
    return Labels(tuple(numbered), 2, False)


def _rows(at: Sequence[float], wide: Sequence[float], room: float) -> list[tuple[int, str]] | None:
    """Row and side of each name such that no name covers another or the line of another; None where there are none.

    Names stand right of their line; those that would leave the figure stand left of it, and where two would cover each
    other's line, one more does.
    """
    must = frozenset(i for i in range(len(at)) if at[i] + wide[i] > room)
    for left_one in (None, *reversed(range(len(at)))):
        flipped = must if left_one is None else must | {left_one}
        rows = _rows_with(at, wide, flipped)
        if rows is not None:
            return [(row, "right" if i in flipped else "left") for i, row in enumerate(rows)]
    return None


def _rows_with(at: Sequence[float], wide: Sequence[float], flipped: frozenset[int]) -> list[int] | None:
    count = len(at)
    spans = [(at[i] - wide[i], at[i]) if i in flipped else (at[i], at[i] + wide[i]) for i in range(count)]
    if any(low < -0.5 * wide[i] for i, (low, _) in enumerate(spans)):
        return None
    rows = [0] * count
    for _ in range(count + 1):  # raise a name above every line that it would cover, and above names in its row
        changed = False
        for i, (low, high) in enumerate(spans):
            lines = [rows[j] for j in range(count) if j != i and low - 1e-9 <= at[j] <= high + 1e-9]
            texts = [rows[j] for j in range(i) if rows[j] == rows[i] and spans[j][1] > low and spans[j][0] < high]
            need = max([*(row + 1 for row in lines), *(row + 1 for row in texts), rows[i]])
            if need > rows[i]:
                rows[i], changed = need, True
        if not changed:
            return rows
    return None


def key_lines(marks: Sequence[Mark], band: Band) -> list[str]:
    """Lines that say what each numbered mark is and when."""
    room = band.outer - 1.6 * band.look.em - text_width(INDENT, band.look)
    lines = []
    for n, mark in enumerate(marks, start=1):
        if mark.repeated:
            said = f"{when_text(mark.start, band.shown)} to {when_text(mark.end, band.shown)}, {mark.text}"
        else:
            said, last = "", ""
            for full, time in _first_times(mark).items():
                when = when_text(time, band.shown)
                said += ("; " if said else "") + (f"{when}, {full}" if when != last else full)
                last = when
        first, *rest = folded(f"{n}: {said}", room, band.look, most=2)
        lines += [first, *(INDENT + line for line in rest)]
    return lines


def _first_times(mark: Mark) -> dict[str, float]:
    """What happened at a mark, each with the first time of it."""
    found: dict[str, float] = {}
    for e in mark.events:
        found.setdefault(e.full, e.time)
    return found


def when_text(time: float, shown: Window) -> str:
    """A time as a key writes it."""
    if shown.unit == "min":
        return f"{number(time / 60, 4)} min"
    if time < 1 and shown.unit == "ms":
        return f"{number(time * 1e3, 3)} ms"
    digits = max(3, int(np.ceil(np.log10(max(abs(time), 1e-9) / shown.span))) + 4) if time else 3
    return f"{number(time, min(digits, 8))} s"


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


def _write(figure: Figure, x: float, y: float, text: str, **more: object) -> None:
    """Text at a place in mm."""
    wide, high = figure.get_size_inches() * 25.4
    figure.text(x / wide, y / high, text, ha="left", **more)  # type: ignore[arg-type]


# --- curves and what is written beside them ---------------------------------------------------------------------------


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
    edges = [np.interp(edge, time, values) for edge in (shown.start, shown.end) if time[0] < edge < time[-1]]
    return np.append(inside, edges)


def room_for(axes: Axes, *values: np.ndarray | Sequence[float] | float, zero: bool = True, least: float = 0.0) -> None:
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
        axes.axhline(0.0, color=GREY, linewidth=axes.spines["left"].get_linewidth(), zorder=1, label="_zero")


def finish(band: Band) -> None:
    """Ticks, US units and a word where the drum is held, once everything is drawn."""
    for axes, panel in zip(band.axes, band.panels, strict=True):
        if axes.get_yscale() == "linear":
            plain_ticks(axes, band.look, x=False)
        if band.us:
            us_axis(axes, panel.unit, band.look)
    first = band.axes[0]
    wide = text_width("held", band.look) + band.look.em
    for start, end in () if band.bare else held_spans(band.record):
        start, end = max(start, band.shown.start), min(end, band.shown.end)
        if (end - start) / band.shown.span * band.width > wide:
            middle, half = (start + end) / 2, wide / band.width * band.shown.span / 2
            level = _free_level(first, band.shown.shown(middle - half), band.shown.shown(middle + half))
            first.text(band.shown.shown(middle), level, "held", transform=first.get_xaxis_transform(),
                       ha="center", va="center", color=GREY, style="italic", zorder=1)  # fmt: skip


def _free_level(axes: Axes, left: float, right: float) -> float:
    """Height in a panel, as a share, that is farthest from all curves between two places of its axis."""
    taken: list[float] = []
    for line in axes.get_lines():
        x, y = (np.asarray(v, dtype=float) for v in line.get_data())
        if line.get_label() in (EVENT, REPEATED) or x.size < 2:
            continue
        level = line.get_transform() == axes.get_yaxis_transform(which="grid")
        near = y if level else np.append(y[(x >= left) & (x <= right)], np.interp((left + right) / 2, x, y))
        near = near[np.isfinite(near)]
        if near.size:
            places = axes.transData.transform(np.column_stack([near * 0 + left, near]))
            shares = axes.transAxes.inverted().transform(places)[:, 1]
            taken += [float(shares.min()), float(shares.max()), float(shares.mean())]
    return max((0.5, 0.3, 0.7, 0.15, 0.85), key=lambda c: round(min([abs(c - t) for t in taken] or [1.0]), 2))


def name_lines_inside(axes: Axes, lines: Sequence[Line2D], names: Sequence[str]) -> None:
    """Names of curves as a legend, where a second axis takes the right edge.

    Parameters
    ----------
    axes : Axes
    lines : sequence of Line2D
    names : sequence of str
        One for each line.
    """
    axes.legend(lines, names, loc="center left", frameon=False, handlelength=2.4)


def name_lines(axes: Axes, look: Look, named: Sequence[tuple[float, str, str]]) -> None:
    """Names beside the ends of curves, at the right edge of a panel.

    Parameters
    ----------
    axes : Axes
    look : Look
    named : sequence of (float, str, str)
        Height at which a curve ends (as drawn), its name, its colour.
    """
    low, high = axes.get_ylim()
    _, tall = size_mm(axes)
    wide, _ = size_mm(axes)
    log = axes.get_yscale() == "log"

    def share(value: float) -> float:
        a, b, c = (np.log10([max(v, 1e-12) for v in (low, high, value)])) if log else (low, high, value)
        return float(np.clip((c - a) / (b - a), 0, 1))

    order = sorted(named, key=lambda item: item[0])
    lines = max((text.count("\n") + 1 for _, text, _ in order), default=1)
    edge = 0.6 * lines * look.em
    places = spread_out([share(value) * tall for value, _, _ in order], 1.2 * lines * look.em, edge, tall - edge)
    for (value, text, colour), place in zip(order, places, strict=True):
        if abs(place - share(value) * tall) > 0.5 * look.em:  # a leader where the name had to move
            axes.plot([1.0, 1 + 0.8 * look.em / wide], [share(value), place / tall], transform=axes.transAxes,
                      color=colour, linewidth=look.line / 3, clip_on=False, label="_leader")  # fmt: skip
        for i, line in enumerate(text.split("\n")):
            down = (i - text.count("\n") / 2) * 1.1 * look.em
            axes.text(1 + look.em / wide, (place - down) / tall, line, transform=axes.transAxes,
                      ha="left", va="center", color=colour)  # fmt: skip


def limit_line(axes: Axes, look: Look, level: float, text: str, *, below: bool = True, side: str = "left") -> None:
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
    axes.axhline(level, color=VERMILLION, linestyle=(0, (6, 3)), linewidth=look.line * 0.7, zorder=1.5, label="_limit")
    wide, _ = size_mm(axes)
    edge = 0.6 * look.em / wide
    axes.annotate(text, (edge if side == "left" else 1 - edge, level), xycoords=axes.get_yaxis_transform(),
                  xytext=(0, -0.25 * look.font if below else 0.25 * look.font), textcoords="offset points",
                  ha=side, va="top" if below else "bottom", color=VERMILLION,
                  bbox={"boxstyle": "square,pad=0.05", "facecolor": "white", "alpha": 0.75, "linewidth": 0})  # fmt: skip
