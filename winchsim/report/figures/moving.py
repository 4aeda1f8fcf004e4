"""A lift as a moving picture: gears, drum, rope and load beside the curves, with a time cursor."""

import math
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.animation import FFMpegWriter, FuncAnimation, PillowWriter
from matplotlib.artist import Artist
from matplotlib.patches import Circle, Polygon, Rectangle
from matplotlib.transforms import Affine2D
from scipy.integrate import cumulative_trapezoid

from winchsim.errors import refuse_if
from winchsim.inputs import Inputs
from winchsim.quantity_text import in_unit
from winchsim.report.figures.frame import broken, suits
from winchsim.report.figures.look import (
    BLUE,
    FAINT,
    GREY,
    INK,
    MM,
    QUANTITY_COLOURS,
    VERMILLION,
    Axes,
    Figure,
    Look,
    drawing,
    plain_ticks,
    quantity_label,
    room_for,
)
from winchsim.report.figures.plan import gear_turns, outline, plan_of
from winchsim.simulation import Record

RATE = 12
"""Pictures a second. [Hz]"""

MOST = 1200
"""Most pictures of one film. [-]"""

WRITERS: dict[str, Any] = {"gif": PillowWriter, "mp4": FFMpegWriter}
"""What writes each kind of film; MP4 needs an encoder on the machine."""


def film(record: Record, look: Look, form: str = "gif", speed: float = 1.0) -> bytes:
    """A moving picture of a lift.

    Parameters
    ----------
    record : Record
        Made from a scenario.
    look : Look
    form : str
        ``gif`` or ``mp4``.
    speed : float
        How many times faster than the lift it runs. [-]

    Raises
    ------
    DomainError
        Where the film would be too long, or there is no encoder for its form.
    """
    start, end = float(record.time[0]), float(record.time[-1])
    count = math.ceil((end - start) / speed * RATE) + 1
    fits = f"{math.ceil((end - start) * RATE / MOST)} or more for a run of {end - start:.4g} s"
    refuse_if(count > MOST, "speed", speed, fits)
    refuse_if(
        not WRITERS[form].isAvailable(), "form", form, "gif: this machine has no encoder for mp4"
    )
    assert record.inputs is not None
    with drawing(look), tempfile.TemporaryDirectory() as folder:
        figure = Figure(figsize=(look.width * MM, 0.75 * look.width * MM), layout="constrained")
        names = "height", "current", "tension"
        axes = figure.subplot_mosaic([["scene", name] for name in names], width_ratios=[1.0, 1.1])
        move = _scene(axes["scene"], record, record.inputs, look)
        cursors = [_curve(axes[name], record, look, name) for name in names]
        axes["tension"].set_xlabel("Time (s)")

        def show(time: float) -> list[Any]:
            for cursor in cursors:
                cursor.set_xdata([time, time])
            move(time)
            return cursors

        show(start)
        figure.draw_without_rendering()
        figure.set_layout_engine("none")
        path = Path(folder, f"film.{form}")
        times = np.minimum(start + np.arange(count) * speed / RATE, end).tolist()
        FuncAnimation(figure, show, frames=times, blit=False).save(path, WRITERS[form](fps=RATE))
        return path.read_bytes()


def _curve(axes: Axes, record: Record, look: Look, name: str) -> Any:
    """One channel over the run; returns the time cursor on it."""
    unit = suits(name, record[name], look)
    time, values = broken(record, in_unit(record[name], unit))
    axes.plot(time, values, color=QUANTITY_COLOURS[name])
    room_for(axes, values, least=1e-6)
    axes.set_ylabel(quantity_label(name.capitalize(), unit))
    plain_ticks(axes.xaxis, 5)
    plain_ticks(axes.yaxis, 3)
    return axes.axvline(record.time[0], color=VERMILLION, linewidth=look.line)


def _scene(axes: Axes, record: Record, inputs: Inputs, look: Look) -> Callable[[float], None]:
    """Gears and drum to scale, turning; below them the load between floor and target, not to
    scale. Returns what puts everything where it is at a time. [s]"""
    plan, radius = plan_of(inputs), inputs.drum.diameter / 2
    (x, y), edge = plan.drum, plan.drum[0] + radius
    turned = cumulative_trapezoid(record["drum_speed"], record.time, initial=0.0)
    style: dict[str, Any] = {"facecolor": (0, 0, 0, 0.05), "linewidth": look.line / 2}
    turning: list[tuple[Artist, float, float, float]] = [
        (axes.add_patch(Polygon(outline(g), edgecolor=INK, **style)), g.x, g.y, ratio)
        for g, ratio in zip(plan.gears, gear_turns(plan, inputs), strict=True)
    ]
    axes.add_patch(Circle(plan.drum, radius, facecolor=GREY, edgecolor=INK, zorder=4))
    turning += [(mark, x, y, 1.0) for mark in axes.plot([x, edge], [y, y], color="white", zorder=5)]
    axes.autoscale_view()
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    size = right - left
    wide, tall, foot = 0.16 * size, 0.096 * size, low - 0.75 * size
    reach = max(float(np.max(record["height"])), inputs.load.height) or 1.0
    unit = suits("height", reach, look)
    (rope,) = axes.plot([], [], color=BLUE, zorder=3)
    load: Any = axes.add_patch(Rectangle((0, 0), wide, tall, facecolor=FAINT, edgecolor=INK))
    axes.axhline(foot, color=INK)
    axes.set(
        xlim=(left, max(right, edge + 0.6 * wide)), ylim=(foot - 0.2 * wide, high), aspect="equal"
    )
    axes.set_axis_off()
    words = axes.text(0, 0, "", transform=axes.transAxes, va="top")

    def move(time: float) -> None:
        angle, height = (
            float(np.interp(time, record.time, values)) for values in (turned, record["height"])
        )
        for artist, at_x, at_y, ratio in turning:
            artist.set_transform(
                Affine2D().rotate_around(at_x, at_y, angle * ratio) + axes.transData
            )
        bottom = foot + (0.6 * size - tall) * height / reach
        load.set_xy((edge - wide / 2, bottom))
        rope.set_data([edge] * 2, [y, bottom + tall])
        words.set_text(f"{time:.1f} s    {in_unit(height, unit):.2f} {unit}")

    return move
