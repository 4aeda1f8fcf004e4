"""A drawing of the build, to scale: motors, gears in mesh, drum with its layers, rope and load,
with the numbers on it."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.patches import Circle, FancyBboxPatch, Polygon, Rectangle
from matplotlib.transforms import Bbox

from winchsim.frozen import dataclass
from winchsim.inputs import Inputs, MotorGroup, Stage
from winchsim.model import Machine
from winchsim.quantity_text import in_unit, quantity
from winchsim.report.figures.look import (
    BLUE,
    CHARACTER,
    FAINT,
    GREY,
    INK,
    MM,
    PALE,
    VERMILLION,
    Axes,
    Figure,
    Look,
    folded,
    styled,
)
from winchsim.report.figures.plan import Plan, Turn, outline, plan_of, turns_of
from winchsim.report.render.options import harmless
from winchsim.simulation import Record

MOST_CIRCLES = 400
"""Turns of rope that are drawn one by one; more are drawn layer by layer."""

MOST_STAGE_LINES = 5
"""More stages than this are written in one paragraph."""

MOST_FALLS = 6
"""Falls of rope that are drawn."""

ROPE, MOTOR, DRIVER, DRIVEN = "#DCE9F3", "#F3E3D6", (0.80, 0.86, 0.92), (0.93, 0.93, 0.93)
"""Fill of rope, motors, pinions and gears."""

CENTRED: dict[str, Any] = {"ha": "center", "va": "center"}
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

    def box(self, left: float, low: float, wide: float, high: float, **style: Any) -> None:
        """A rectangle of the build."""
        self.axes.add_patch(
            Rectangle(
                self.at(left, low),
                wide * self.per,
                high * self.per,
                **({"linewidth": self.fine} | style),
            )
        )

    def line(self, xs: Any, ys: Any, color: str = INK, **style: Any) -> None:
        """A line on the paper, or several: a column each."""
        self.axes.plot(xs, ys, color=color, **style)


def build(record: Record, look: Look) -> Figure | None:
    """Drawing of the build of a record; None where it was not made from a scenario."""
    return None if record.inputs is None else schematic(record.inputs, look, record.machine)


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
    em, plan, turns = look.em, plan_of(inputs), turns_of(machine, inputs)
    spans = [
        *((g.x, g.y, g.tip) for g in plan.gears),
        *((m.x, m.y, m.diameter / 2) for m in plan.motors),
        *((x, y, 0.006) for o in plan.others for x, y in (o.start, o.end)),
        (*plan.drum, max(_wound(turns, inputs), (inputs.drum.flange_diameter or 0.0) / 2)),
    ]
    at_x, at_y, radii = np.array(spans).T
    left, low = float(np.min(at_x - radii)), float(np.min(at_y - radii))
    wide, tall = float(np.max(at_x + radii)) - left, float(np.max(at_y + radii)) - low
    per = min((look.width - 2.8 * em) / wide, 0.42 * look.most_height / tall)
    lines = [
        line
        for text in _captions(inputs, plan, turns, look)
        for line in folded(text, look, most=8, ems=2)
    ]
    words, foot = (len(lines) + 0.6) * look.row, 13.0 * em
    height = words + foot + tall * per + 4.8 * em
    figure = Figure(figsize=(look.width * MM, height * MM))
    axes = figure.add_axes((0, 0, 1, 1), xlim=(0, look.width), ylim=(0, height))
    axes.set_axis_off()
    x, y = (look.width - wide * per) / 2 - left * per, words + foot + 1.6 * em - low * per
    paper = _Paper(axes, look, per, x, y)
    _draw_motors(paper, plan)
    _draw_gears(paper, plan)
    _draw_numbers(paper, plan, _draw_others(paper, plan))
    hook = _draw_drum(paper, plan, turns, inputs)
    _draw_load(paper, inputs, hook, words)
    _draw_section(paper, turns, inputs, words, foot, hook[0])
    _scale_bar(paper, 0.8 * em, height - 1.2 * em)
    axes.text(0.8 * em, words, "\n".join(lines), va="top", linespacing=1.25)
    return figure


def _wound(turns: Sequence[Turn], inputs: Inputs) -> float:
    """Radius over the rope on the drum. [m]"""
    return max(radius for _, radius, _ in turns) + inputs.rope.diameter / 2


# --- motors and train


def _draw_motors(paper: _Paper, plan: Plan) -> None:
    for motor in plan.motors:
        paper.circle(
            motor.x,
            motor.y,
            motor.diameter / 2,
            facecolor=MOTOR if motor.live else "white",
            edgecolor=VERMILLION,
            linestyle="-" if motor.known else DASHED,
            gid="motor",
            linewidth=paper.look.line * 0.7,
        )
        if not motor.live:  # crossed out
            (x, y), reach = paper.at(motor.x, motor.y), motor.diameter * paper.per / math.sqrt(8)
            ends = np.array([[-reach, -reach], [reach, reach]])
            paper.line(x + ends, y + ends * (1, -1), color=VERMILLION)


def _draw_gears(paper: _Paper, plan: Plan) -> None:
    for i, gear in enumerate(plan.gears):
        depth = 2 + 0.1 * gear.shaft + (0.05 if gear.driver else 0.0)
        paper.axes.add_patch(
            Polygon(
                np.column_stack(paper.at(*outline(gear).T)),
                closed=True,
                edgecolor=INK,
                facecolor=(*(DRIVER if gear.driver else DRIVEN), 0.55),
                linewidth=paper.fine,
                zorder=depth,
            )
        )
        paper.circle(
            gear.x,
            gear.y,
            gear.radius,
            fill=False,
            edgecolor=BLUE,
            linestyle=CENTRE_LINE,
            zorder=depth,
            gid=f"pitch-{i}",
        )
    paper.line(
        *paper.at(*np.array(plan.shafts).T),
        linestyle="none",
        marker="+",
        zorder=8,
        markersize=paper.look.line * 3.5,
    )


def _around(x: float, y: float, half_x: float, half_y: float) -> Bbox:
    return Bbox.from_bounds(x - half_x, y - half_y, 2 * half_x, 2 * half_y)


def _draw_others(paper: _Paper, plan: Plan) -> list[Bbox]:
    """Reductions without teeth to draw: a box with kind and ratio, or with the stage's number where
    that is too wide. Returns what the boxes cover."""
    taken, em = [], paper.look.em
    for other in plan.others:
        xs, ys = paper.at(*np.array([other.start, other.end]).T)
        paper.line(xs, ys, linestyle=DASHED, zorder=3)
        room = math.hypot(np.ptp(xs), np.ptp(ys))
        texts = f"{other.kind} {other.ratio:.4g}:1", f"stage {other.number}", str(other.number)
        words = next((t for t in texts if (len(t) * 0.7 + 1) * em < room), texts[-1])
        half = (0.35 * len(words) + 0.5) * em
        x = float(np.clip(np.mean(xs), half + 0.3, paper.look.width - half - 0.3))
        y = float(np.mean(ys))
        spot = _around(x, y, half, 0.9 * em)
        paper.axes.add_patch(
            FancyBboxPatch(
                spot.p0,
                spot.width,
                spot.height,
                boxstyle=f"round,pad=0,rounding_size={em / 3}",
                facecolor="white",
                edgecolor=INK,
                zorder=7,
                linewidth=paper.fine,
                linestyle=DASHED,
            )
        )
        paper.axes.text(x, y, words, zorder=7.1, **CENTRED)
        taken.append(spot)
    return taken


def _draw_numbers(paper: _Paper, plan: Plan, taken: list[Bbox]) -> None:
    """Tooth counts where they cover nothing: a gear's outside at its free side, a pinion's in it;
    the words have them all."""
    em = paper.look.em
    halo = {"boxstyle": "round,pad=0.08", "facecolor": "white", "alpha": 0.8, "linewidth": 0}
    for gear in sorted(plan.gears, key=lambda g: g.driver):
        (x, y), text, inside = paper.at(gear.x, gear.y), str(gear.teeth), gear.root * paper.per
        edge, half = gear.tip * paper.per + 0.75 * em, 0.4 * len(text) * em
        if gear.driver:
            places = [(x, y)] * (inside > half)
        elif gear.shaft == 0:  # motors stand around it
            places = [(x - 0.6 * inside, y)] * (0.4 * inside > half)
        else:
            places = [(x, y + edge), (x, y - edge)][:: 1 if gear.shaft % 2 else -1]
        for at in places:
            spot = _around(*at, (0.6 * len(text) * CHARACTER + 0.4) * em, 0.7 * em)
            if not spot.count_overlaps(taken):
                taken.append(spot)
                paper.axes.text(
                    *at,
                    text,
                    weight="normal" if gear.driver else "bold",
                    bbox=halo,
                    zorder=9,
                    **CENTRED,
                )
                break


# --- drum, rope, load


def _draw_drum(
    paper: _Paper, plan: Plan, turns: Sequence[Turn], inputs: Inputs
) -> tuple[float, float]:
    """Drum with its layers at the end of the train; returns where the rope leaves it."""
    (x, y), drum = plan.drum, inputs.drum
    radii = sorted({radius for _, radius, _ in turns}, reverse=True)
    for radius in radii:
        paper.circle(
            x, y, radius + inputs.rope.diameter / 2, facecolor=ROPE, edgecolor=BLUE, zorder=6
        )
    paper.circle(x, y, drum.diameter / 2, facecolor=GREY, edgecolor=INK, zorder=6.1, gid="drum")
    if drum.flange_diameter:
        paper.circle(x, y, drum.flange_diameter / 2, fill=False, edgecolor=INK, zorder=6.2)
    return paper.at(x + radii[0], y)


def _draw_load(paper: _Paper, inputs: Inputs, hook: tuple[float, float], words: float) -> None:
    """Rope, cut short, and the load on its floor."""
    look, em, x = paper.look, paper.look.em, hook[0]
    wide, tall, floor = 6.0 * em, 3.2 * em, words + 1.4 * em
    left = min(x - wide / 2, look.width - wide - 0.6 * em)
    bottom = floor + (1.6 * em if inputs.load.start_height > 0 else 0.0)
    crown = bottom + tall
    _draw_falls(paper, inputs.rope.falls, hook, crown)
    ground = left - wide * 0.25, min(left + wide * 1.25, look.width - 0.3 * em)
    paper.line(ground, [floor] * 2, linewidth=look.line * 0.7)
    paper.axes.add_patch(
        Rectangle(
            (left, bottom),
            wide,
            tall,
            zorder=4,
            gid="load",
            facecolor=FAINT,
            edgecolor=INK,
            linewidth=look.line * 0.7,
        )
    )
    paper.axes.text(
        left + wide / 2,
        bottom + tall / 2,
        quantity(inputs.load.mass, look.unit("kg")),
        zorder=4.1,
        weight="bold",
        **CENTRED,
    )
    paper.axes.fill_between(
        ground, floor - 0.5 * em, floor, linewidth=0, facecolor="none", edgecolor=PALE, hatch="////"
    )
    _draw_height(paper, inputs.load.height, left - 0.6 * em, floor, crown)


def _draw_falls(paper: _Paper, count: int, hook: tuple[float, float], crown: float) -> None:
    """Falls of rope from the drum to the crown of the load, with a break mark: they are not drawn
    to scale."""
    em, (x, top) = paper.look.em, hook
    cuts, turn = (crown + 2.25 * em, crown + 2.95 * em), crown + 3.5 * em
    falls = x - 0.5 * em * np.arange(min(count, MOST_FALLS))
    wave = np.linspace(-1, 1, 17)
    across = falls.mean() + (0.8 * em + np.ptp(falls) / 2) * wave
    ends = [1] * len(falls)
    for xs, ys in (
        ([falls] * 2, np.outer((crown, cuts[0]), ends)),
        ([falls] * 2, [np.multiply(cuts[1], ends), [top, *[turn] * (len(falls) - 1)]]),
        (falls, np.multiply(turn, ends)),
    ):
        paper.line(xs, ys, color=BLUE, zorder=5)
    mark = cuts - 0.22 * em * np.sin(math.pi * wave)[:, None]
    paper.line(across, mark, color=GREY, linewidth=paper.look.line * 0.5, zorder=5)


def _draw_height(paper: _Paper, height: float, x: float, floor: float, crown: float) -> None:
    """An arrow beside the load, and how high it is lifted."""
    look, em = paper.look, paper.look.em
    paper.axes.annotate(
        "",
        (x, crown + 2.2 * em),
        (x, floor),
        arrowprops={"arrowstyle": "-|>", "color": GREY, "shrinkA": 0, "shrinkB": 0},
    )
    paper.axes.text(
        x - 0.4 * em,
        crown + 1.4 * em,
        f"lift\n{quantity(height, look.unit('m'))}",
        ha="right",
        va="center",
    )


def _draw_section(
    paper: _Paper, turns: Sequence[Turn], inputs: Inputs, words: float, foot: float, hook: float
) -> None:
    """Section along the drum's axis with every turn of rope, at a larger scale of its own."""
    look, em, drum, d = paper.look, paper.look.em, inputs.drum, inputs.rope.diameter
    outer = _wound(turns, inputs)
    flange = drum.flange_diameter / 2 if drum.flange_diameter else outer
    reach = max(flange, outer)
    room = max(min(hook - 9.5 * em, 0.5 * look.width), 10 * em) - 2.4 * em
    per = min(room / drum.width, (foot - 5.4 * em) / (2 * reach))
    own = _Paper(paper.axes, look, per, 1.6 * em, words + 2.7 * em + reach * per)
    own.box(
        0.0, -drum.diameter / 2, drum.width, drum.diameter, facecolor=PALE, edgecolor=INK, zorder=2
    )
    ends = own.x, own.at(drum.width, 0)[0]
    own.line(
        [ends[0] - 0.8 * em, ends[1] + 0.8 * em],
        [own.y] * 2,
        zorder=3,
        color=BLUE,
        linewidth=own.fine,
        linestyle=CENTRE_LINE,
    )
    own.line(
        [ends] * 2,
        np.array([[-flange * per], [flange * per]]) + own.y,
        linestyle="-" if drum.flange_diameter else DASHED,
    )
    cord: dict[str, Any] = {"edgecolor": BLUE, "linewidth": own.fine * 0.8, "zorder": 4}
    for y in {side * radius for _, radius, _ in turns for side in (1, -1)}:
        layer = [(along, dead) for along, radius, dead in turns if radius == abs(y)]
        if len(turns) > MOST_CIRCLES:
            low, high = (end(along for along, _ in layer) for end in (min, max))
            own.box(low - d / 2, y - d / 2, high - low + d, d, facecolor=ROPE, gid="layer", **cord)
        else:
            for along, dead in layer:
                own.circle(along, y, d / 2, facecolor=GREY if dead else ROPE, gid="turn", **cord)
    _scale_bar(own, own.x, words + 0.9 * em, "drum: ")


def _scale_bar(paper: _Paper, x: float, y: float, before: str = "") -> None:
    """A bar of a round length."""
    look, unit = paper.look, paper.look.unit("mm")
    wanted = in_unit(0.16 * look.width / paper.per, unit)
    decade = 10.0 ** math.floor(math.log10(wanted))
    length = decade * max(step for step in (1, 2, 5) if step * decade <= wanted)
    end = x + length / in_unit(1.0, unit) * paper.per
    paper.line([x, end], [y, y], marker="|", markersize=0.5 * look.font)
    paper.axes.text(end + 0.6 * look.em, y, f"{before}{length:g} {unit}", va="center")


# --- words


def _captions(inputs: Inputs, plan: Plan, turns: Sequence[Turn], look: Look) -> list[str]:
    """The numbers of the build, a line each."""
    drum, rope, unit = inputs.drum, inputs.rope, look.unit("mm")
    total = math.prod(stage.speed_ratio() ** stage.repeat for stage in inputs.stage)
    own = " with the first stage's own pinion" * any(group.pinion for group in inputs.motors)
    dead = f", {drum.dead_turns:.3g} of them dead" if drum.dead_turns else ""
    layers = _counted(len({radius for _, radius, _ in turns}), "layer")
    size = f"{quantity(drum.diameter, unit)} × {quantity(drum.width, unit)}"
    falls = f", {rope.falls} falls" if rope.falls > 1 else ""
    over = sum(sheave.repeat for sheave in inputs.sheave)
    sheaves = f", {_counted(over, 'sheave')} on the way" if over else ""
    cord = f"{quantity(rope.diameter, unit)} {harmless(rope.material)}"
    notes = {
        "dashed motors: size not given": not all(motor.known for motor in plan.motors),
        "the motors do not all fit around their gear": plan.crowded,
    }
    lines = (
        "; ".join(map(_motors_text, inputs.motors)),
        *_stage_texts(inputs.stage),
        f"whole train {total:.4g}:1{own}" if inputs.stage else "",
        f"drum {size}, {_counted(len(turns), 'turn')}{dead}, in {layers}",
        f"rope {cord}{falls}{sheaves}; rope and load are not drawn to scale",
        "; ".join(note for note, holds in notes.items() if holds),
    )
    return list(filter(None, lines))


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"


def _stage_texts(stages: Sequence[Stage]) -> list[str]:
    """A line for each stage; where they are many, all in one paragraph."""
    lines, shorts = [], []
    for n, stage in enumerate(stages, start=1):
        several, ratio = stage.repeat > 1, f"{stage.speed_ratio():.4g}:1"
        what, pair = stage.kind, f"{stage.kind} {ratio}"
        if stage.kind == "spur":
            pitch = f"pitch {quantity(stage.diametral_pitch or 0.0, '1/in')}"
            size = f"module {quantity(stage.module, 'mm')}" if stage.module else pitch
            what = f"{stage.pinion} to {stage.gear} teeth, {size}"
            pair = f"{stage.pinion}:{stage.gear}"
        times, each = f"{stage.repeat} times " * several, " each" * several
        lines.append(f"stage {n}: {times}{what}, {ratio}{each}")
        shorts.append(f"{n}: " + f"{stage.repeat} × " * several + pair)
    return lines if len(stages) <= MOST_STAGE_LINES else ["stages " + ", ".join(shorts)]


def _motors_text(group: MotorGroup) -> str:
    dead = f" ({group.dead} dead)" if group.dead else ""
    gearbox = f", gearbox {group.gearbox.ratio:.4g}:1" if group.gearbox else ""
    pinion = f", pinion {group.pinion}" if group.pinion else ""
    motors = f"{_counted(group.count, 'motor')}{dead}, {quantity(group.voltage, 'V')}"
    return motors + gearbox + pinion
