"""The curves of one lift over time: height and speed, current, voltage and power, temperatures,
rope tension."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from winchsim.model import Event
from winchsim.quantity_text import in_unit, text_of
from winchsim.report.figures.bands import (
    Band,
    Panel,
    compose,
    curve,
    finish,
    level_line,
    limit_line,
    name_curves,
    room_for,
    seen,
)
from winchsim.report.figures.look import GREEN, PALE, QUANTITY_COLOURS, SERIES, Look, drawing
from winchsim.report.figures.marks import named_events
from winchsim.report.figures.trace import Window, suits, whole, window
from winchsim.simulation import Record

LEAST_MOVE = 0.01
"""Stretches in which the tension moves less, as a share of the weight, are not worth a larger
scale. [-]"""

SIDE_BY_SIDE = 150.0
"""Width from which the larger parts of a curve stand beside each other. [mm]"""

MOST_GROUPS = 2
"""Motor groups whose temperatures are drawn: two lines each make four."""


def height_and_speed(record: Record, look: Look, *, us: bool = False) -> Figure:
    """Height and speed of the load over time, with the height asked for; `us` for axes in US
    units."""
    wanted = record.machine.height(record.machine.top_travel)
    heights, speeds = record["height"], record["speed"]
    least = 0.1 * record.machine.scales.load_speed
    unit_h = suits("height", np.append(heights, wanted), us)
    unit_v = suits("speed", np.append(speeds, least), us)
    with drawing(look):
        band = Band(
            record, look, whole(record), [Panel("Height", unit_h, 1.2), Panel("Speed", unit_v)]
        )
        figure = compose(look, [[band]])
        top, bottom = band.axes
        curve(band, top, heights, unit_h, color=QUANTITY_COLOURS["height"])
        room_for(top, in_unit(np.append(heights, wanted), unit_h))
        limit_line(top, look, in_unit(wanted, unit_h), f"target {text_of(wanted, unit_h)}")
        curve(band, bottom, speeds, unit_v, color=QUANTITY_COLOURS["speed"])
        room_for(bottom, in_unit(speeds, unit_v), least=in_unit(least, unit_v))
        finish(band)
    return figure


def electrical(record: Record, look: Look, *, us: bool = False) -> Figure:  # noqa: ARG001 - every figure has the same signature
    """Current, voltage and power of the supply over time."""
    volts, amps = record["voltage"], record["current"]
    limits = {
        s.current_limit
        for s in record.machine.phases
        if s.powered and math.isfinite(s.current_limit)
    }
    with drawing(look):
        panels = [Panel("Current", "A"), Panel("Voltage", "V"), Panel("Power", "W")]
        band = Band(record, look, whole(record), panels)
        figure = compose(look, [[band]])
        drawn = (("current", amps, 0.02), ("voltage", volts, 0.1), ("power", volts * amps, 0.1))
        for axes, (name, values, least) in zip(band.axes, drawn, strict=True):
            curve(band, axes, values, suits(name, values), color=QUANTITY_COLOURS[name])
            room_for(axes, values, least=least)
        near = [
            limit
            for limit in sorted(limits)
            if limit <= 1.6 * float(np.max(np.abs(amps), initial=0.0))
        ][-2:]
        room_for(band.axes[0], amps, *near, least=0.02)
        for limit, side in zip(reversed(near), ("right", "left"), strict=False):
            limit_line(band.axes[0], look, limit, f"limit {text_of(limit, 'A')}", side=side)
        finish(band)
    return figure


def temperatures(record: Record, look: Look, *, us: bool = False) -> Figure:
    """Winding and case temperature of the hottest motor groups over time, with the winding's
    limit."""
    every = record.machine.groups
    groups = sorted(every, key=lambda g: -float(np.max(record[f"motor_{g.number}_winding"])))[
        :MOST_GROUPS
    ]
    shown = [(g.number, what) for g in groups for what in ("winding", "case")]
    unit = suits("temperature", 0.0, us)
    ambient, limit = record.machine.ambient, min(g.winding_limit for g in groups)
    with drawing(look):
        band = Band(
            record, look, whole(record), [Panel("Temperature", unit, 1.5)], named=len(shown) + 1
        )
        figure = compose(look, [[band]])
        (axes,) = band.axes
        values = [record[f"motor_{number}_{what}"] for number, what in shown]
        lines = [
            curve(band, axes, v, unit, color=colour, linestyle=dashes)
            for v, (colour, dashes) in zip(values, SERIES, strict=False)
        ]
        room_for(axes, *(in_unit(v, unit) for v in (*values, ambient, limit)), zero=False)
        limit_line(axes, look, in_unit(limit, unit), f"winding limit {text_of(limit, unit)}")
        lines.append(level_line(axes, look, in_unit(ambient, unit), "_ambient"))
        names = [f"{what} {number}" if len(every) > 1 else what for number, what in shown]
        name_curves(band, lines, [*names, "ambient"])
        finish(band)
    return figure


# --- rope tension


def tension(record: Record, look: Look, *, us: bool = False) -> Figure:
    """Rope tension over the whole run, and larger where the load lifts off and where events
    crowd."""
    pull = record["tension"]
    unit = suits("tension", pull, us)
    steady = record.machine.scales.pull / record.machine.line.falls
    level = in_unit(steady, unit)
    zooms = zoom_windows(record)
    with drawing(look):
        beside = len(zooms) > 1 and look.width > SIDE_BY_SIDE
        wide = look.width / 2 if beside else look.width
        first = Band(record, look, whole(record), [Panel("Rope tension", unit)], named=1)
        larger = [
            Band(record, look, w, [Panel("Rope tension", unit)], tag, outer=wide)
            for w, tag in zip(zooms, "AB", strict=False)
        ]
        bands = [first, *larger]
        figure = compose(look, [[first], larger] if beside else [[b] for b in bands])
        for band in bands:
            (axes,) = band.axes
            curve(band, axes, pull, unit, color=QUANTITY_COLOURS["tension"])
            drawn = in_unit(seen(band, pull), unit)
            near = drawn.max(initial=0.0) > 0.6 * level
            room_for(
                axes,
                drawn,
                *([level] if near or not band.tag else []),
                zero=not band.tag,
                least=0.02 * level,
            )
            weight = level_line(axes, look, level, "_weight")
            if band is first:
                name_curves(band, [weight], ["weight of the load, per fall of rope"])
        _tag_zooms(bands)
        for band in bands:
            finish(band)
    return figure


def _tag_zooms(bands: Sequence[Band]) -> None:
    """Letters on the whole run where the larger parts are."""
    first = bands[0]
    for band in bands[1:]:
        middle = first.shown.shown((band.shown.start + band.shown.end) / 2)
        axes = first.axes[0]
        start, end = first.shown.shown(band.shown.start), first.shown.shown(band.shown.end)
        axes.axvspan(start, end, facecolor=PALE, linewidth=0, zorder=0.2, label="_zoom")
        level = 0.1 if band is bands[1] else 0.28
        axes.text(
            middle,
            level,
            band.tag,
            transform=axes.get_xaxis_transform(),
            ha="center",
            va="bottom",
            weight="bold",
            color=GREEN,
        )


def zoom_windows(record: Record) -> list[Window]:
    """Stretches that are worth a larger scale: where the rope takes the load, and where grave or
    many events crowd.

    Returns
    -------
    list of Window
        None, one or two, in the order of time; each shorter than a third of the run.
    """
    total = float(record.time[-1] - record.time[0])
    period = record.machine.scales.bounce_period
    found: list[Window] = []
    taking = record.first(Event.LIFT_OFF) or record.first(Event.TAUT)
    if taking is not None:
        found.append(_around(record, taking.time, 2 * period, 10 * period))
    crowd = _crowd(record, [w for w in found if w.span < total / 3])
    if crowd is not None:
        found.append(_around(record, crowd, 3 * period, 9 * period))
    steady = record.machine.scales.pull / record.machine.line.falls
    kept = [w for w in found if 0 < w.span < total / 3 and _moves(record, w) > LEAST_MOVE * steady]
    if len(kept) == 2 and kept[0].start < kept[1].end and kept[1].start < kept[0].end:
        kept = kept[:1]
    return sorted(kept, key=lambda w: w.start)


def _moves(record: Record, shown: Window) -> float:
    """How far the tension moves within a stretch. [N]"""
    inside = record["tension"][(record.time >= shown.start) & (record.time <= shown.end)]
    return float(np.ptp(inside)) if inside.size else 0.0


def _around(record: Record, time: float, before: float, after: float) -> Window:
    start, end = float(record.time[0]), float(record.time[-1])
    return window(max(start, time - before), min(end, time + after), time)


def _crowd(record: Record, taken: Sequence[Window]) -> float | None:
    """Time from which the most happens within a few bounces, outside what is shown already; grave
    events count more."""
    stretch = 6 * record.machine.scales.bounce_period
    events = [
        e for e in named_events(record)
        if e.time > record.time[0] and not any(w.start <= e.time <= w.end for w in taken)
    ]  # fmt: skip
    if not events:
        return None
    stamps = np.asarray([e.time for e in events])
    heavy = np.cumsum([0, *(e.grave for e in events)])
    fresh = np.cumsum([0, 1, *(np.diff(stamps) > 0)])
    ends = np.searchsorted(stamps, stamps + stretch, side="right")
    places = np.arange(len(stamps))
    score = fresh[ends] - fresh[places] + 0.5 * (heavy[ends] > heavy[places])
    best = int(np.argmax(score))
    return float(stamps[best]) if score[best] >= 1.5 else None
