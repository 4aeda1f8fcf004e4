"""A lift as a moving picture: gears, drum, rope and load beside the curves, with a time cursor."""

from __future__ import annotations

import math
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.animation import FFMpegWriter, FuncAnimation, PillowWriter
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.gridspec import GridSpec
from matplotlib.patches import Circle, Polygon, Rectangle
from matplotlib.transforms import Affine2D
from scipy.integrate import cumulative_trapezoid

from winchsim.errors import DomainError
from winchsim.inputs import Inputs
from winchsim.quantity_text import in_unit
from winchsim.report.figures.look import (
    BLUE,
    FAINT,
    GREY,
    INK,
    MM,
    QUANTITY_COLOURS,
    VERMILLION,
    Look,
    drawing,
    plain_ticks,
    quantity_label,
    room_for,
)
from winchsim.report.figures.plan import Plan, outline, plan_of
from winchsim.report.figures.trace import broken, suits
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
    span = float(record.time[-1] - record.time[0])
    count = math.ceil(span / speed * RATE) + 1
    if count > MOST:
        fits = f"{math.ceil(span * RATE / MOST)} or more for a run of {span:.4g} s"
        raise DomainError("speed", speed, fits)
    if not WRITERS[form].isAvailable():
        raise DomainError("form", form, "gif: this machine has no encoder for mp4")
    assert record.inputs is not None
    times = np.minimum(record.time[0] + np.arange(count) * speed / RATE, record.time[-1])
    with drawing(look), tempfile.TemporaryDirectory() as folder:
        figure = Figure(figsize=(look.width * MM, 0.62 * look.width * MM), layout="constrained")
        grid = GridSpec(3, 2, figure, width_ratios=[1.0, 1.1])
        scene = _Scene(figure.add_subplot(grid[:, 0]), record, record.inputs, look)
        panels = [figure.add_subplot(grid[row, 1]) for row in range(3)]
        cursors = [
            _curve(axes, record, look, name)
            for axes, name in zip(panels, ("height", "current", "tension"), strict=True)
        ]
        panels[-1].set_xlabel("Time (s)")

        scene.show(record.time[0])
        figure.draw_without_rendering()
        figure.set_layout_engine("none")

        def show(frame: int) -> list[Any]:
            time = float(times[frame])
            for cursor in cursors:
                cursor.set_xdata([time, time])
            scene.show(time)
            return cursors

        path = Path(folder, f"film.{form}")
        FuncAnimation(figure, show, frames=count, blit=False).save(path, WRITERS[form](fps=RATE))
        return path.read_bytes()


def _curve(axes: Axes, record: Record, look: Look, name: str) -> Any:
    """One channel over the run; returns the time cursor on it."""
    unit = suits(name, record[name], look)
    time, values = broken(record, record[name])
    axes.plot(time, in_unit(values, unit), color=QUANTITY_COLOURS[name])
    room_for(axes, in_unit(record[name], unit), least=1e-6)
    axes.set_ylabel(quantity_label(name.capitalize(), unit))
    plain_ticks(axes.xaxis, 5)
    plain_ticks(axes.yaxis, 3)
    return axes.axvline(record.time[0], color=VERMILLION, linewidth=look.line)


class _Scene:
    """Gears and drum to scale, turning; below them the load between floor and target, not to
    scale."""

    def __init__(self, axes: Axes, record: Record, inputs: Inputs, look: Look) -> None:
        plan = plan_of(inputs)
        self.axes, self.record, self.look = axes, record, look
        self.drum = plan.drum
        self.turned = cumulative_trapezoid(record["drum_speed"], record.time, initial=0.0)
        self.gears = [
            (axes.add_patch(Polygon(outline(gear), facecolor=(0, 0, 0, 0.05), edgecolor=INK,
                                    linewidth=look.line / 2)), gear, ratio)
            for gear, ratio in zip(plan.gears, _ratios(plan, inputs), strict=True)
        ]  # fmt: skip
        self.radius = inputs.drum.diameter / 2
        axes.add_patch(Circle(self.drum, self.radius, facecolor=GREY, edgecolor=INK, zorder=4))
        (self.mark,) = axes.plot([], [], color="white", zorder=5)
        axes.autoscale_view()
        low, size = axes.get_ylim()[0], np.ptp(axes.get_xlim())
        self.top, self.foot = low - 0.15 * size, low - 0.75 * size
        self.reach = max(float(np.max(record["height"])), inputs.load.height) or 1.0
        self.edge, self.size = self.drum[0] + self.radius, 0.16 * size
        (self.rope,) = axes.plot([], [], color=BLUE, zorder=3)
        self.load: Any = axes.add_patch(
            Rectangle((0, 0), self.size, 0.6 * self.size, facecolor=FAINT, edgecolor=INK)
        )
        axes.axhline(self.foot, color=INK)
        axes.set(ylim=(self.foot - 0.2 * self.size, axes.get_ylim()[1]), aspect="equal")
        axes.set_axis_off()
        self.words = axes.text(0, 0, "", transform=axes.transAxes, va="top")

    def show(self, time: float) -> None:
        """Everything where it is at a time. [s]"""
        record, (x, y) = self.record, self.drum
        angle = float(np.interp(time, record.time, self.turned))
        for patch, gear, ratio in self.gears:
            turn = Affine2D().rotate_around(gear.x, gear.y, angle * ratio)
            patch.set_transform(turn + self.axes.transData)
        self.mark.set_data(
            [x, x + self.radius * math.cos(angle)], [y, y + self.radius * math.sin(angle)]
        )
        height = float(np.interp(time, record.time, record["height"]))
        room = self.top - self.foot - 0.6 * self.size
        bottom = self.foot + room * height / self.reach
        self.load.set_xy((self.edge - self.size / 2, bottom))
        self.rope.set_data([self.edge] * 2, [y, bottom + 0.6 * self.size])
        unit = suits("height", self.reach, self.look)
        self.words.set_text(f"{time:.1f} s    {in_unit(height, unit):.2f} {unit}")


def _ratios(plan: Plan, inputs: Inputs) -> list[float]:
    """Turns of each gear of a plan for one turn of the drum, against it where negative."""
    stages = [stage.speed_ratio() for stage in inputs.stage for _ in range(stage.repeat)]
    behind = [math.prod(-ratio for ratio in stages[shaft + 1 :]) for shaft in range(len(stages))]
    common = next((gear for gear in plan.gears if gear.shaft == 0), None)
    return [
        behind[gear.shaft]
        if gear.shaft >= 0 or common is None
        else -behind[0] * common.teeth / gear.teeth
        for gear in plan.gears
    ]
