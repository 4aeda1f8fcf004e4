"""A drawing of the build, to scale: motors, gears in mesh, drum with its layers, rope and load,
with the numbers on it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, FancyBboxPatch, Polygon, Rectangle

from winchsim.frozen import dataclass
from winchsim.inputs import Inputs, Stage
from winchsim.model import Machine
from winchsim.quantity_text import quantity, text_of
from winchsim.report.figures.look import (
    BLUE,
    FAINT,
    GREY,
    INK,
    PALE,
    VERMILLION,
    Look,
    blank,
    box,
    drawing,
    folded,
    text_width,
)
from winchsim.report.figures.plan import Gear, Plan, outline, plan_of, turns_of
from winchsim.report.plain_text import harmless
from winchsim.simulation import Record

MOST_CIRCLES = 400
"""Turns of rope that are drawn one by one; more are drawn layer by layer."""

SIDE_BY_SIDE = 150.0
"""Width from which the words stand beside the drawing. [mm]"""

MOST_STAGE_LINES = 5
"""More stages than this are written in one paragraph."""

MOST_FALLS = 6
"""Falls of rope that are drawn."""

_ROUND = (1.0, 2.0, 5.0)
_Spot = tuple[float, float, float, float]


@dataclass(frozen=True)
class _Scale:
    """From metres of the build to millimetres of the paper."""

    per: float
    x: float
    y: float

    def at(self, x: float, y: float) -> tuple[float, float]:
        return self.x + x * self.per, self.y + y * self.per


def build(record: Record, look: Look, *, us: bool = False) -> Figure | None:
    """Drawing of the build of a record; None where it was not made from a scenario."""
    if record.inputs is None:
        return None
    return schematic(record.machine, record.inputs, look, us=us)


def schematic(machine: Machine, inputs: Inputs, look: Look, *, us: bool = False) -> Figure:
    """Drawing of a build seen along its shafts, a section of its drum, and its numbers in words.

    Parameters
    ----------
    machine : Machine
    inputs : Inputs
        Scenario that it was built from.
    look : Look
    us : bool
        Whether sizes are written in US units too.
    """
    em = look.em
    plan = plan_of(inputs)
    left, low, right, high = _extent(plan, machine, inputs)
    margin = 1.4 * em
    per = min((look.width - 2 * margin) / (right - left), 0.42 * look.most_height / (high - low))
    beside = look.width > SIDE_BY_SIDE  # the words stand between the drum's section and the load
    column = 0.4 * look.width if beside else look.width - 1.6 * em
    lines = [
        line
        for text in _captions(machine, inputs, plan, us)
        for line in folded(text, column, look, 8)
    ]
    words = 0.0 if beside else (len(lines) + 0.6) * look.row
    foot = max(13.0 * em, 0.16 * look.width, (len(lines) + 0.6) * look.row if beside else 0.0)
    height = words + foot + (high - low) * per + 4.8 * em
    with drawing(look):
        figure = blank(look, height)
        axes = box(figure, 0, 0, look.width, height)
        axes.set(xlim=(0, look.width), ylim=(0, height))
        axes.set_axis_off()
        spare = look.width - 2 * margin - (right - left) * per
        scale = _Scale(
            per,
            margin + spare * (1.0 if beside else 0.5) - left * per,
            words + foot + 1.6 * em - low * per,
        )
        _draw_motors(axes, plan, scale, look)
        _draw_train(axes, plan, scale, look)
        _draw_numbers(axes, plan, scale, look, _draw_others(axes, plan, scale, look))
        hook = _draw_drum(axes, plan, machine, inputs, scale, look)
        _draw_load(axes, inputs, hook, words, look)
        _draw_section(
            axes, machine, inputs, look, words, foot, 0.44 * look.width if beside else hook[0]
        )
        _scale_bar(axes, scale.per, 0.8 * em, height - 1.2 * em, look, us)
        top = foot if beside else words
        for i, line in enumerate(lines):
            axes.text(
                0.35 * look.width if beside else 0.8 * em,
                top - (i + 0.9) * look.row,
                line,
                va="center",
            )
    return figure


def _extent(plan: Plan, machine: Machine, inputs: Inputs) -> tuple[float, float, float, float]:
    """Left, low, right and high edge of motors, train and drum. [m]"""
    spans = [(g.x, g.y, g.tip) for g in plan.gears] + [
        (m.x, m.y, m.diameter / 2) for m in plan.motors
    ]
    spans.append((*plan.drum, _outer(machine, inputs)))
    spans += [(o.to_x, o.to_y, 0.006) for o in plan.others] + [
        (o.x, o.y, 0.006) for o in plan.others
    ]
    return (
        min(x - r for x, _, r in spans), min(y - r for _, y, r in spans),
        max(x + r for x, _, r in spans), max(y + r for _, y, r in spans),
    )  # fmt: skip


def _outer(machine: Machine, inputs: Inputs) -> float:
    """Largest radius of the drum. [m]"""
    wound = max(turn.radius for turn in turns_of(machine, inputs)) + inputs.rope.diameter / 2
    return max(wound, (inputs.drum.flange_diameter or 0.0) / 2)


# --- motors and train


def _draw_motors(axes: Axes, plan: Plan, scale: _Scale, look: Look) -> None:
    for motor in plan.motors:
        x, y = scale.at(motor.x, motor.y)
        r = motor.diameter / 2 * scale.per
        axes.add_patch(
            Circle(
                (x, y),
                r,
                facecolor="#F3E3D6" if motor.live else "white",
                edgecolor=VERMILLION,
                linewidth=look.line * 0.7,
                linestyle="-" if motor.known else (0, (3, 2)),
                zorder=1,
                gid="motor",
            )
        )
        if not motor.live:
            reach = r / math.sqrt(2)
            for sign in (1, -1):
                axes.plot(
                    [x - reach, x + reach],
                    [y - sign * reach, y + sign * reach],
                    color=VERMILLION,
                    linewidth=look.line * 0.6,
                    zorder=1.1,
                )


def _draw_train(axes: Axes, plan: Plan, scale: _Scale, look: Look) -> None:
    fine = look.line * 0.45
    for i, gear in enumerate(plan.gears):
        centre = scale.at(gear.x, gear.y)
        points = [scale.at(*point) for point in outline(gear)]
        depth = 2 + 0.1 * gear.shaft + (0.05 if gear.driver else 0.0)
        axes.add_patch(
            Polygon(
                points,
                closed=True,
                facecolor=(*_grey(gear), 0.55),
                edgecolor=INK,
                linewidth=fine,
                zorder=depth,
            )
        )
        axes.add_patch(
            Circle(
                centre,
                gear.radius * scale.per,
                fill=False,
                edgecolor=BLUE,
                linewidth=fine,
                linestyle=(0, (8, 2, 1, 2)),
                zorder=depth,
                gid=f"pitch-{i}",
            )
        )
    for x, y in plan.shafts:
        axes.plot(
            *scale.at(x, y),
            marker="+",
            color=INK,
            markersize=look.line * 3.5,
            markeredgewidth=fine,
            zorder=8,
        )


def _draw_others(axes: Axes, plan: Plan, scale: _Scale, look: Look) -> list[_Spot]:
    """Reductions without teeth to draw: a box with kind and ratio, or with the stage's number where
    that is too wide."""
    taken: list[_Spot] = []
    half = 0.9 * look.em
    for other in plan.others:
        (x, y), (to_x, to_y) = scale.at(other.x, other.y), scale.at(other.to_x, other.to_y)
        axes.plot(
            [x, to_x], [y, to_y], color=INK, linewidth=look.line, linestyle=(0, (3, 2)), zorder=3
        )
        words = f"{other.kind} {other.ratio:.4g}:1"
        if text_width(words, look) + 1.4 * look.em > math.hypot(to_x - x, to_y - y):
            words = (
                f"stage {other.number}"
                if 4.5 * look.em < math.hypot(to_x - x, to_y - y)
                else str(other.number)
            )
        wide = text_width(words, look) + look.em
        middle = (
            min(max((x + to_x) / 2, wide / 2 + 0.3), look.width - wide / 2 - 0.3),
            (y + to_y) / 2,
        )
        outline_box = FancyBboxPatch(
            (middle[0] - wide / 2, middle[1] - half),
            wide,
            2 * half,
            boxstyle=f"round,pad=0,rounding_size={half * 0.4}",
            facecolor="white",
            edgecolor=INK,
            zorder=7,
            linewidth=look.line * 0.45,
            linestyle=(0, (3, 2)),
        )
        axes.add_patch(outline_box)
        axes.text(*middle, words, ha="center", va="center", zorder=7.1)
        taken.append(
            (middle[0] - wide / 2, middle[1] - half, middle[0] + wide / 2, middle[1] + half)
        )
    return taken


def _grey(gear: Gear) -> tuple[float, float, float]:
    return (0.80, 0.86, 0.92) if gear.driver else (0.93, 0.93, 0.93)


def _draw_numbers(axes: Axes, plan: Plan, scale: _Scale, look: Look, taken: list[_Spot]) -> None:
    """Tooth counts where they cover nothing: a gear's outside at its free side, a pinion's in it;
    the words have them all."""
    written: set[tuple[float, float, int]] = set()
    for gear in sorted(plan.gears, key=lambda g: g.driver):
        x, y = scale.at(gear.x, gear.y)
        text = str(gear.teeth)
        half = (
            text_width(text, look) * (1.0 if gear.driver else 1.15) / 2 + 0.1 * look.em,
            0.6 * look.em,
        )
        inner = gear.root * scale.per
        if gear.driver:
            places = [(x, y)] if inner > half[0] and (x, y, gear.teeth) not in written else []
        elif gear.shaft == 0:  # motors stand around it
            places = (
                [(x - 0.6 * gear.radius * scale.per, y)]
                if 0.6 * gear.radius * scale.per + half[0] < inner
                else []
            )
        else:
            edge = gear.tip * scale.per + 0.75 * look.em
            places = (
                [(x, y + edge), (x, y - edge)] if gear.shaft % 2 else [(x, y - edge), (x, y + edge)]
            )
        for at in places:
            spot = (at[0] - half[0], at[1] - half[1], at[0] + half[0], at[1] + half[1])
            if not any(
                spot[0] < t[2] and t[0] < spot[2] and spot[1] < t[3] and t[1] < spot[3]
                for t in taken
            ):
                taken.append(spot)
                written.add((x, y, gear.teeth))
                weight = "normal" if gear.driver else "bold"
                axes.text(
                    *at, text, ha="center", va="center", zorder=9, weight=weight, bbox=_halo()
                )
                break


def _halo() -> dict[str, object]:
    return {"boxstyle": "round,pad=0.08", "facecolor": "white", "alpha": 0.8, "linewidth": 0}


# --- drum, rope, load


def _draw_drum(
    axes: Axes, plan: Plan, machine: Machine, inputs: Inputs, scale: _Scale, look: Look
) -> tuple[float, float]:
    """Drum with its layers at the end of the train; returns where the rope leaves it."""
    x, y = scale.at(*plan.drum)
    fine = look.line * 0.45
    radii = sorted({turn.radius for turn in turns_of(machine, inputs)})
    half = inputs.rope.diameter / 2
    for radius in reversed(radii):
        axes.add_patch(
            Circle(
                (x, y),
                (radius + half) * scale.per,
                facecolor="#DCE9F3",
                edgecolor=BLUE,
                linewidth=fine,
                zorder=6,
            )
        )
    core = inputs.drum.diameter / 2 * scale.per
    axes.add_patch(
        Circle((x, y), core, facecolor=GREY, edgecolor=INK, linewidth=fine, zorder=6.1, gid="drum")
    )
    if inputs.drum.flange_diameter:
        axes.add_patch(
            Circle(
                (x, y),
                inputs.drum.flange_diameter / 2 * scale.per,
                fill=False,
                edgecolor=INK,
                linewidth=fine,
                zorder=6.2,
            )
        )
    return x + radii[-1] * scale.per, y


def _draw_load(
    axes: Axes, inputs: Inputs, hook: tuple[float, float], words: float, look: Look
) -> None:
    """Rope, cut short, and the load on its floor."""
    em = look.em
    x, top = hook
    floor = words + 1.4 * em
    wide, tall = 6.0 * em, 3.2 * em
    left = min(x - wide / 2, look.width - wide - 0.6 * em)
    lift = 1.6 * em if inputs.load.start_height > 0 else 0.0
    crown = floor + lift + tall
    cut = crown + 2.6 * em
    falls = min(inputs.rope.falls, MOST_FALLS)
    apart = [-0.5 * em * k for k in range(falls)]
    cord: dict[str, Any] = {"color": BLUE, "linewidth": look.line, "zorder": 5}
    axes.plot([x, x], [top, cut + 0.35 * em], **cord)
    if falls > 1:
        axes.plot([x + apart[-1], x], [cut + 0.9 * em] * 2, **cord)
    for shift in apart:
        axes.plot([x + shift] * 2, [cut + (0.9 if shift else 0.35) * em, cut + 0.35 * em], **cord)
        axes.plot([x + shift] * 2, [cut - 0.35 * em, crown], **cord)
    for level in (cut - 0.35 * em, cut + 0.35 * em):  # the rope is not drawn to scale: a break mark
        half = 0.8 * em - apart[-1] / 2
        xs = x + apart[-1] / 2 + np.linspace(-half, half, 17)
        wave = 0.22 * em * np.sin(np.linspace(0, 2 * math.pi, 17))
        axes.plot(xs, level + wave, color=GREY, linewidth=look.line * 0.5, zorder=5)
    crate = Rectangle(
        (left, floor + lift),
        wide,
        tall,
        facecolor=FAINT,
        edgecolor=INK,
        linewidth=look.line * 0.7,
        zorder=4,
    )
    crate.set_gid("load")
    axes.add_patch(crate)
    mass = text_of(inputs.load.mass, "kg")
    axes.text(
        left + wide / 2,
        floor + lift + tall / 2,
        mass,
        ha="center",
        va="center",
        zorder=4.1,
        weight="bold",
    )
    _floor(axes, left - wide * 0.25, min(left + wide * 1.25, look.width - 0.3 * em), floor, look)
    arrow = left - 0.6 * em
    stroke = {
        "arrowstyle": "-|>",
        "color": GREY,
        "linewidth": look.line * 0.6,
        "shrinkA": 0,
        "shrinkB": 0,
    }
    axes.annotate(
        "", (arrow, crown + 2.2 * em), (arrow, floor), annotation_clip=False, arrowprops=stroke
    )
    height = f"lift\n{text_of(inputs.load.height, 'm')}"
    axes.text(arrow - 0.4 * em, crown + 1.4 * em, height, ha="right", va="center", linespacing=1.1)


def _floor(axes: Axes, left: float, right: float, level: float, look: Look) -> None:
    axes.add_patch(
        Rectangle(
            (left, level - 0.5 * look.em),
            right - left,
            0.5 * look.em,
            facecolor="none",
            edgecolor=PALE,
            hatch="////",
            linewidth=0,
        )
    )
    axes.plot([left, right], [level, level], color=INK, linewidth=look.line * 0.7)


def _draw_section(
    axes: Axes, machine: Machine, inputs: Inputs, look: Look, words: float, foot: float, hook: float
) -> None:
    """Section along the drum's axis with every turn of rope, at a larger scale of its own."""
    em = look.em
    turns = turns_of(machine, inputs)
    drum, d = inputs.drum, inputs.rope.diameter
    outer = max(turn.radius for turn in turns) + d / 2
    flange = (drum.flange_diameter or 2 * outer) / 2
    room_x = max(min(hook - 9.5 * em, 0.5 * look.width), 10 * em) - 2.4 * em
    per = min(room_x / drum.width, (foot - 5.4 * em) / (2 * max(flange, outer)))
    left = 1.6 * em
    middle = words + 2.2 * em + max(flange, outer) * per + 0.5 * em
    fine = look.line * 0.45
    axes.add_patch(
        Rectangle(
            (left, middle - drum.diameter / 2 * per),
            drum.width * per,
            drum.diameter * per,
            facecolor=PALE,
            edgecolor=INK,
            linewidth=fine,
            zorder=2,
        )
    )
    axes.plot(
        [left - 0.8 * em, left + drum.width * per + 0.8 * em],
        [middle, middle],
        color=BLUE,
        linewidth=fine,
        linestyle=(0, (8, 2, 1, 2)),
        zorder=3,
    )
    dashes = "-" if drum.flange_diameter else (0, (3, 2))
    for x in (left, left + drum.width * per):
        axes.plot(
            [x, x],
            [middle - flange * per, middle + flange * per],
            color=INK,
            linewidth=look.line,
            linestyle=dashes,
        )
    if len(turns) <= MOST_CIRCLES:
        for turn in turns:
            for side in (1, -1):
                axes.add_patch(
                    Circle(
                        (left + turn.along * per, middle + side * turn.radius * per),
                        d / 2 * per,
                        facecolor=GREY if turn.dead else "#DCE9F3",
                        edgecolor=BLUE,
                        linewidth=fine * 0.8,
                        zorder=4,
                        gid="turn",
                    )
                )
    else:
        for radius in sorted({turn.radius for turn in turns}):
            places = [turn.along for turn in turns if turn.radius == radius]
            for side in (1, -1):
                axes.add_patch(
                    Rectangle(
                        (
                            left + (min(places) - d / 2) * per,
                            middle + (side * radius - d / 2) * per,
                        ),
                        (max(places) - min(places) + d) * per,
                        d * per,
                        facecolor="#DCE9F3",
                        edgecolor=BLUE,
                        linewidth=fine * 0.8,
                        zorder=4,
                        gid="layer",
                    )
                )
    _scale_bar(axes, per, left, words + 0.9 * em, look, False, "drum: ")


# --- words


def _scale_bar(
    axes: Axes, per: float, x: float, y: float, look: Look, us: bool, before: str = ""
) -> None:
    """A bar of a round length."""
    wanted = 0.16 * look.width / per
    decade = 10.0 ** math.floor(math.log10(wanted))
    length = max(step * decade for step in _ROUND if step * decade <= wanted)
    end = x + length * per
    axes.plot([x, end], [y, y], color=INK, linewidth=look.line)
    for at in (x, end):
        axes.plot(
            [at, at], [y - 0.25 * look.em, y + 0.25 * look.em], color=INK, linewidth=look.line
        )
    axes.text(end + 0.6 * look.em, y, before + quantity(length, "mm", 2, us=us), va="center")


def _captions(machine: Machine, inputs: Inputs, plan: Plan, us: bool) -> list[str]:
    """The numbers of the build, a line each."""
    lines = [_motors_text(inputs), *_stage_texts(inputs)]
    total = math.prod(_ratio(stage) ** stage.repeat for stage in inputs.stage)
    own = any(group.pinion for group in inputs.motors)
    if inputs.stage:
        lines.append(
            f"whole train {total:.4g}:1" + (" with the first stage's own pinion" if own else "")
        )
    drum, rope = inputs.drum, inputs.rope
    turns = turns_of(machine, inputs)
    layers = len({turn.radius for turn in turns})
    dead = f", {drum.dead_turns:.3g} of them dead" if drum.dead_turns else ""
    wound = f"{_counted(len(turns), 'turn')}{dead}, in {_counted(layers, 'layer')}"
    lines.append(f"drum {_size(drum.diameter, us)} × {_size(drum.width, us)}, {wound}")
    over = sum(sheave.repeat for sheave in inputs.sheave)
    parts = [f"rope {_size(rope.diameter, us)} {harmless(rope.material)}"]
    parts += [f"{rope.falls} falls"] if rope.falls > 1 else []
    parts += [f"{_counted(over, 'sheave')} on the way"] if over else []
    lines.append(", ".join(parts) + "; rope and load are not drawn to scale")
    notes = (
        ["dashed motors: size not given"] if not all(motor.known for motor in plan.motors) else []
    )
    notes += ["the motors do not all fit around their gear"] if plan.crowded else []
    return lines + (["; ".join(notes)] if notes else [])


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"


def _size(value: float, us: bool) -> str:
    return text_of(value, "mm") + (f" ({text_of(value, 'in')})" if us else "")


def _ratio(stage: Stage) -> float:
    if stage.kind == "spur" and stage.pinion and stage.gear:
        return stage.gear / stage.pinion
    return float(stage.ratio or 1)


def _stage_texts(inputs: Inputs) -> list[str]:
    """A line for each stage; where they are many, all in one paragraph."""
    if len(inputs.stage) <= MOST_STAGE_LINES:
        return [_stage_text(n, stage) for n, stage in enumerate(inputs.stage, start=1)]
    parts = []
    for n, stage in enumerate(inputs.stage, start=1):
        times = f"{stage.repeat} × " if stage.repeat > 1 else ""
        pair = (
            f"{stage.pinion}:{stage.gear}"
            if stage.kind == "spur"
            else f"{stage.kind} {_ratio(stage):.4g}:1"
        )
        parts.append(f"{n}: {times}{pair}")
    return ["stages " + ", ".join(parts)]


def _stage_text(n: int, stage: Stage) -> str:
    times = f"{stage.repeat} times " if stage.repeat > 1 else ""
    ratio = f"{_ratio(stage):.4g}:1{' each' if times else ''}"
    if stage.kind != "spur":
        return f"stage {n}: {times}{stage.kind}, {ratio}"
    size = (
        f"module {text_of(stage.module, 'mm')}"
        if stage.module
        else f"pitch {text_of(stage.diametral_pitch or 0.0, '1/in')}"
    )
    return f"stage {n}: {times}{stage.pinion} to {stage.gear} teeth, {size}, {ratio}"


def _motors_text(inputs: Inputs) -> str:
    parts = []
    for group in inputs.motors:
        dead = f" ({group.dead} dead)" if group.dead else ""
        gearbox = f", gearbox {group.gearbox.ratio:.4g}:1" if group.gearbox else ""
        pinion = f", pinion {group.pinion}" if group.pinion else ""
        parts.append(
            f"{_counted(group.count, 'motor')}{dead}, "
            f"{text_of(group.voltage, 'V')}{gearbox}{pinion}"
        )
    return "; ".join(parts)
