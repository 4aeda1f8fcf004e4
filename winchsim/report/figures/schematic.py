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
from winchsim.quantity_text import in_unit, text_of
from winchsim.report.figures.look import (
    BLUE,
    CHARACTER,
    FAINT,
    GREY,
    INK,
    MM,
    PALE,
    VERMILLION,
    Look,
    folded,
    styled,
)
from winchsim.report.figures.plan import Plan, outline, plan_of, turns_of
from winchsim.report.plain_text import harmless
from winchsim.simulation import Record

MOST_CIRCLES = 400
"""Turns of rope that are drawn one by one; more are drawn layer by layer."""

MOST_STAGE_LINES = 5
"""More stages than this are written in one paragraph."""

MOST_FALLS = 6
"""Falls of rope that are drawn."""

ROPE, MOTOR, DRIVER, DRIVEN = "#DCE9F3", "#F3E3D6", (0.80, 0.86, 0.92), (0.93, 0.93, 0.93)
"""Fill of rope, motors, pinions and gears."""

CENTRE_LINE, DASHED = (0, (8, 2, 1, 2)), (0, (3, 2))


@dataclass(frozen=True)
class _Paper:
    """Axes in millimetres of the paper, and from metres of the build to them."""

    axes: Axes
    look: Look
    per: float
    x: float
    y: float

    @property
    def fine(self) -> float:
        """Width of a thin line. [pt]"""
        return self.look.line * 0.45

    def at(self, x: float, y: float) -> tuple[float, float]:
        return self.x + x * self.per, self.y + y * self.per

    def circle(self, x: float, y: float, radius: float, **style: Any) -> None:
        """A circle of the build; `style` as for a patch."""
        self.axes.add_patch(
            Circle(self.at(x, y), radius * self.per, **({"linewidth": self.fine} | style))
        )

    def line(self, xs: Any, ys: Any, **style: Any) -> None:
        """A line on the paper."""
        own: dict[str, Any] = {"color": INK, "linewidth": self.look.line}
        self.axes.plot(xs, ys, **(own | style))


def build(record: Record, look: Look) -> Figure | None:
    """Drawing of the build of a record; None where it was not made from a scenario."""
    if record.inputs is None:
        return None
    return schematic(record.inputs, look, record.machine)


@styled
def schematic(inputs: Inputs, look: Look, machine: Machine) -> Figure:
    """Drawing of a build seen along its shafts, a section of its drum, and its numbers in words.

    Parameters
    ----------
    inputs : Inputs
        Scenario that it was built from.
    look : Look
    machine : Machine
    """
    em = look.em
    plan = plan_of(inputs)
    left, low, right, high = _extent(plan, machine, inputs)
    margin = 1.4 * em
    per = min((look.width - 2 * margin) / (right - left), 0.42 * look.most_height / (high - low))
    lines = [
        line
        for text in _captions(machine, inputs, plan, look)
        for line in folded(text, look, most=8, ems=2)
    ]
    words = (len(lines) + 0.6) * look.row
    foot = 13.0 * em
    height = words + foot + (high - low) * per + 4.8 * em
    figure = Figure(figsize=(look.width * MM, height * MM))
    axes = figure.add_axes((0, 0, 1, 1), xlim=(0, look.width), ylim=(0, height))
    axes.set_axis_off()
    spare = look.width - 2 * margin - (right - left) * per
    paper = _Paper(
        axes, look, per, margin + spare / 2 - left * per, words + foot + 1.6 * em - low * per
    )
    _draw_motors(paper, plan)
    _draw_gears(paper, plan)
    _draw_numbers(paper, plan, _draw_others(paper, plan))
    hook = _draw_drum(paper, plan, machine, inputs)
    _draw_load(paper, inputs, hook, words)
    _draw_section(paper, machine, inputs, words, foot, hook[0])
    _scale_bar(paper, per, 0.8 * em, height - 1.2 * em)
    axes.text(0.8 * em, words, "\n".join(lines), va="top", linespacing=1.25)
    return figure


def _extent(plan: Plan, machine: Machine, inputs: Inputs) -> tuple[float, float, float, float]:
    """Left, low, right and high edge of motors, train and drum. [m]"""
    wound = max(turn.radius for turn in turns_of(machine, inputs)) + inputs.rope.diameter / 2
    spans = [
        *((g.x, g.y, g.tip) for g in plan.gears),
        *((m.x, m.y, m.diameter / 2) for m in plan.motors),
        *((o.to_x, o.to_y, 0.006) for o in plan.others),
        *((o.x, o.y, 0.006) for o in plan.others),
        (*plan.drum, max(wound, (inputs.drum.flange_diameter or 0.0) / 2)),
    ]
    return (
        min(x - r for x, _, r in spans), min(y - r for _, y, r in spans),
        max(x + r for x, _, r in spans), max(y + r for _, y, r in spans),
    )  # fmt: skip


# --- motors and train


def _draw_motors(paper: _Paper, plan: Plan) -> None:
    for motor in plan.motors:
        paper.circle(
            motor.x, motor.y, motor.diameter / 2, facecolor=MOTOR if motor.live else "white",
            edgecolor=VERMILLION, linestyle="-" if motor.known else DASHED, gid="motor",
            linewidth=paper.look.line * 0.7,
        )  # fmt: skip
        if not motor.live:  # crossed out
            (x, y), reach = paper.at(motor.x, motor.y), motor.diameter * paper.per / math.sqrt(8)
            for sign in (reach, -reach):
                paper.line([x - reach, x + reach], [y - sign, y + sign], color=VERMILLION)


def _draw_gears(paper: _Paper, plan: Plan) -> None:
    for i, gear in enumerate(plan.gears):
        depth = 2 + 0.1 * gear.shaft + (0.05 if gear.driver else 0.0)
        paper.axes.add_patch(
            Polygon(
                [paper.at(*point) for point in outline(gear)], closed=True, edgecolor=INK,
                facecolor=(*(DRIVER if gear.driver else DRIVEN), 0.55), linewidth=paper.fine,
                zorder=depth,
            )
        )  # fmt: skip
        paper.circle(
            gear.x, gear.y, gear.radius, fill=False, edgecolor=BLUE, linestyle=CENTRE_LINE,
            zorder=depth, gid=f"pitch-{i}",
        )  # fmt: skip
    for x, y in plan.shafts:
        at_x, at_y = paper.at(x, y)
        paper.line([at_x], [at_y], marker="+", markersize=paper.look.line * 3.5, zorder=8)


_Spot = tuple[float, float, float, float]


def _spot(x: float, y: float, text: str, look: Look) -> _Spot:
    """What a word covers. [mm]"""
    half = (0.6 * len(text) * CHARACTER + 0.4) * look.em, 0.7 * look.em
    return x - half[0], y - half[1], x + half[0], y + half[1]


def _draw_others(paper: _Paper, plan: Plan) -> list[_Spot]:
    """Reductions without teeth to draw: a box with kind and ratio, or with the stage's number where
    that is too wide."""
    taken: list[_Spot] = []
    look = paper.look
    for other in plan.others:
        (x, y), (to_x, to_y) = paper.at(other.x, other.y), paper.at(other.to_x, other.to_y)
        paper.line([x, to_x], [y, to_y], linestyle=DASHED, zorder=3)
        room = math.hypot(to_x - x, to_y - y)
        texts = f"{other.kind} {other.ratio:.4g}:1", f"stage {other.number}", str(other.number)
        wide = [text for text in texts if (len(text) * 0.7 + 1) * look.em < room]
        words = (wide or texts[-1:])[0]
        half = (0.35 * len(words) + 0.5) * look.em
        middle = min(max((x + to_x) / 2, half + 0.3), look.width - half - 0.3), (y + to_y) / 2
        spot = (
            middle[0] - half,
            middle[1] - 0.9 * look.em,
            middle[0] + half,
            middle[1] + 0.9 * look.em,
        )
        paper.axes.add_patch(
            FancyBboxPatch(
                spot[:2], 2 * half, 1.8 * look.em,
                boxstyle=f"round,pad=0,rounding_size={look.em / 3}",
                facecolor="white", edgecolor=INK, zorder=7, linewidth=paper.fine, linestyle=DASHED,
            )
        )  # fmt: skip
        paper.axes.text(*middle, words, ha="center", va="center", zorder=7.1)
        taken.append(spot)
    return taken


def _draw_numbers(paper: _Paper, plan: Plan, taken: list[_Spot]) -> None:
    """Tooth counts where they cover nothing: a gear's outside at its free side, a pinion's in it;
    the words have them all."""
    em = paper.look.em
    halo = {"boxstyle": "round,pad=0.08", "facecolor": "white", "alpha": 0.8, "linewidth": 0}
    for gear in sorted(plan.gears, key=lambda g: g.driver):
        x, y = paper.at(gear.x, gear.y)
        text, inside = str(gear.teeth), gear.root * paper.per
        edge = gear.tip * paper.per + 0.75 * em
        if gear.driver:
            places = [(x, y)] if inside > 0.4 * len(text) * em else []
        elif gear.shaft == 0:  # motors stand around it
            places = [(x - 0.6 * inside, y)] if 0.4 * inside > 0.4 * len(text) * em else []
        else:
            places = [(x, y + edge), (x, y - edge)][:: 1 if gear.shaft % 2 else -1]
        for at in places:
            a = _spot(*at, text, paper.look)
            if not any(a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3] for b in taken):
                taken.append(a)
                weight = "normal" if gear.driver else "bold"
                style: dict[str, Any] = {"ha": "center", "va": "center", "zorder": 9}
                paper.axes.text(*at, text, weight=weight, bbox=halo, **style)
                break


# --- drum, rope, load


def _draw_drum(paper: _Paper, plan: Plan, machine: Machine, inputs: Inputs) -> tuple[float, float]:
    """Drum with its layers at the end of the train; returns where the rope leaves it."""
    radii = sorted({turn.radius for turn in turns_of(machine, inputs)})
    for radius in reversed(radii):
        outer = radius + inputs.rope.diameter / 2
        paper.circle(*plan.drum, outer, facecolor=ROPE, edgecolor=BLUE, zorder=6)
    core = inputs.drum.diameter / 2
    paper.circle(*plan.drum, core, facecolor=GREY, edgecolor=INK, zorder=6.1, gid="drum")
    if inputs.drum.flange_diameter:
        flange = inputs.drum.flange_diameter / 2
        paper.circle(*plan.drum, flange, fill=False, edgecolor=INK, zorder=6.2)
    return paper.at(plan.drum[0] + radii[-1], plan.drum[1])


def _draw_load(paper: _Paper, inputs: Inputs, hook: tuple[float, float], words: float) -> None:
    """Rope, cut short, and the load on its floor."""
    em, axes, look = paper.look.em, paper.axes, paper.look
    x, top = hook
    wide, tall, floor = 6.0 * em, 3.2 * em, words + 1.4 * em
    left = min(x - wide / 2, look.width - wide - 0.6 * em)
    bottom = floor + (1.6 * em if inputs.load.start_height > 0 else 0.0)
    crown = bottom + tall
    cut = crown + 2.6 * em
    apart = [-0.5 * em * k for k in range(min(inputs.rope.falls, MOST_FALLS))]
    cord: dict[str, Any] = {"color": BLUE, "zorder": 5}
    paper.line([x, x], [top, cut + 0.35 * em], **cord)
    paper.line([x + apart[-1], x], [cut + 0.9 * em] * 2, **cord if apart[1:] else {"alpha": 0})
    for shift in apart:
        paper.line([x + shift] * 2, [cut + (0.9 if shift else 0.35) * em, cut + 0.35 * em], **cord)
        paper.line([x + shift] * 2, [cut - 0.35 * em, crown], **cord)
    half = 0.8 * em - apart[-1] / 2
    xs = x + apart[-1] / 2 + np.linspace(-half, half, 17)
    for level in (cut - 0.35 * em, cut + 0.35 * em):  # the rope is not drawn to scale: a break mark
        wave = 0.22 * em * np.sin(np.linspace(0, 2 * math.pi, 17))
        paper.line(xs, level + wave, color=GREY, linewidth=look.line * 0.5, zorder=5)
    axes.add_patch(
        Rectangle(
            (left, bottom), wide, tall, facecolor=FAINT, edgecolor=INK, zorder=4, gid="load",
            linewidth=look.line * 0.7,
        )
    )  # fmt: skip
    mass = text_of(inputs.load.mass, look.unit("kg"))
    middle: dict[str, Any] = {"ha": "center", "va": "center", "zorder": 4.1, "weight": "bold"}
    axes.text(left + wide / 2, bottom + tall / 2, mass, **middle)
    ground = left - wide * 0.25, min(left + wide * 1.25, look.width - 0.3 * em)
    axes.fill_between(
        ground, floor - 0.5 * em, floor, facecolor="none", edgecolor=PALE, hatch="////", linewidth=0
    )
    paper.line(ground, [floor] * 2, linewidth=look.line * 0.7)
    arrow = left - 0.6 * em
    stroke = {"arrowstyle": "-|>", "color": GREY, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", (arrow, crown + 2.2 * em), (arrow, floor), arrowprops=stroke)
    height = f"lift\n{text_of(inputs.load.height, look.unit('m'))}"
    axes.text(arrow - 0.4 * em, crown + 1.4 * em, height, ha="right", va="center")


def _draw_section(
    paper: _Paper, machine: Machine, inputs: Inputs, words: float, foot: float, hook: float
) -> None:
    """Section along the drum's axis with every turn of rope, at a larger scale of its own."""
    look, em = paper.look, paper.look.em
    turns = turns_of(machine, inputs)
    drum, d = inputs.drum, inputs.rope.diameter
    outer = max(turn.radius for turn in turns) + d / 2
    flange = (drum.flange_diameter or 2 * outer) / 2
    room_x = max(min(hook - 9.5 * em, 0.5 * look.width), 10 * em) - 2.4 * em
    per = min(room_x / drum.width, (foot - 5.4 * em) / (2 * max(flange, outer)))
    middle = words + 2.7 * em + max(flange, outer) * per
    own = _Paper(paper.axes, look, per, 1.6 * em, middle)
    core: dict[str, Any] = {"facecolor": PALE, "edgecolor": INK, "linewidth": own.fine, "zorder": 2}
    own.axes.add_patch(
        Rectangle(own.at(0, -drum.diameter / 2), drum.width * per, drum.diameter * per, **core)
    )
    ends = own.x, own.x + drum.width * per
    axis = {"color": BLUE, "linewidth": own.fine, "linestyle": CENTRE_LINE, "zorder": 3}
    own.line([ends[0] - 0.8 * em, ends[1] + 0.8 * em], [middle] * 2, **axis)
    for x in ends:
        dashes = "-" if drum.flange_diameter else DASHED
        own.line([x, x], [middle - flange * per, middle + flange * per], linestyle=dashes)
    cord: dict[str, Any] = {"edgecolor": BLUE, "linewidth": own.fine * 0.8, "zorder": 4}
    for side in (1, -1):
        for turn in turns if len(turns) <= MOST_CIRCLES else ():
            face = GREY if turn.dead else ROPE
            own.circle(turn.along, side * turn.radius, d / 2, facecolor=face, gid="turn", **cord)
        for radius in {turn.radius for turn in turns} if len(turns) > MOST_CIRCLES else ():
            places = [turn.along for turn in turns if turn.radius == radius]
            corner = own.at(min(places) - d / 2, side * radius - d / 2)
            wide = (max(places) - min(places) + d) * per
            own.axes.add_patch(
                Rectangle(corner, wide, d * per, facecolor=ROPE, gid="layer", **cord)
            )
    _scale_bar(own, per, own.x, words + 0.9 * em, "drum: ")


def _scale_bar(paper: _Paper, per: float, x: float, y: float, before: str = "") -> None:
    """A bar of a round length."""
    look = paper.look
    unit = look.unit("mm")
    wanted = in_unit(0.16 * look.width / per, unit)
    decade = 10.0 ** math.floor(math.log10(wanted))
    length = max(step * decade for step in (1.0, 2.0, 5.0) if step * decade <= wanted)
    end = x + length / in_unit(1.0, unit) * per
    paper.line([x, end], [y, y], marker="|", markersize=0.5 * look.font)
    paper.axes.text(end + 0.6 * look.em, y, f"{before}{length:g} {unit}", va="center")


# --- words


def _captions(machine: Machine, inputs: Inputs, plan: Plan, look: Look) -> list[str]:
    """The numbers of the build, a line each."""
    lines = [_motors_text(inputs), *_stage_texts(inputs)]

    def size(value: float) -> str:
        return text_of(value, look.unit("mm"))

    total = math.prod(stage.speed_ratio() ** stage.repeat for stage in inputs.stage)
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
    lines.append(f"drum {size(drum.diameter)} × {size(drum.width)}, {wound}")
    over = sum(sheave.repeat for sheave in inputs.sheave)
    parts = [f"rope {size(rope.diameter)} {harmless(rope.material)}"]
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
            else f"{stage.kind} {stage.speed_ratio():.4g}:1"
        )
        parts.append(f"{n}: {times}{pair}")
    return ["stages " + ", ".join(parts)]


def _stage_text(n: int, stage: Stage) -> str:
    times = f"{stage.repeat} times " if stage.repeat > 1 else ""
    ratio = f"{stage.speed_ratio():.4g}:1{' each' if times else ''}"
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
