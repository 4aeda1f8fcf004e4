"""The build to scale as SVG, and how its parts move: what the page's script plays."""

import math
from typing import Any

import numpy as np

from winchsim.inputs import Inputs
from winchsim.model.keys import Event
from winchsim.report.figures.plan import Gear, OtherStage, Plan, gear_turns, outline, plan_of
from winchsim.report.render.options import safe
from winchsim.simulation import Record

MOST_SAMPLES = 240
"""Samples of a curve that the page gets, besides the ends of jumps. [-]"""

FALL_SAMPLES = 24
"""Samples of a fall after a break. [-]"""


def kept_samples(record: Record, most: int = MOST_SAMPLES) -> np.ndarray:
    """Places of the samples that stand for a record: evenly spaced in time, with peaks and ends of
    stretches."""
    time = record.time
    grid = np.searchsorted(time, np.linspace(time[0], time[-1], most)).clip(0, time.size - 1)
    starts = record.segment_starts
    peaks = [int(np.argmax(np.abs(channel.values))) for channel in record.channels.values()]
    ends = np.concatenate([starts, starts[1:] - 1, [time.size - 1]])
    ends = ends[:: ends.size // most + 1]
    return np.unique(np.concatenate([grid, ends, peaks]).astype(int))


def short(values: np.ndarray) -> list[float]:
    """Numbers with five digits, whole ones from 10,000 on: what a chart can show."""
    size = np.log10(np.maximum(np.abs(values), 1e-12))
    scale = 10.0 ** np.clip(4 - np.floor(size), 0, None)
    found: list[float] = (np.round(values * scale) / scale).tolist()
    return found


PANELS = (
    ("height", "m"),
    ("speed", "mm/s"),
    ("current", "A"),
    ("voltage", "V"),
    ("tension", "N"),
    ("tooth load", "% of capacity"),
    ("winding", "°C"),
)
"""Name and unit of each panel of curves."""


def tracks(record: Record, inputs: Inputs) -> dict[str, Any]:
    """Curves for the page: time, and for each panel its name, its unit and its lines; limits
    apart."""
    places, m = kept_samples(record), record.machine
    curves = [
        (0, "height", record["height"]),
        (1, "speed", record["speed"] * 1e3),
        (2, "supply current", record["current"]),
        (3, "voltage at the motors", record["voltage"]),
        (4, "rope tension", record["tension"]),
    ]
    shares: dict[int, np.ndarray] = {}
    for link in m.links:
        if link.channel == "mesh" and 0 < link.bears < math.inf:
            share = np.abs(record[f"mesh_{link.index + 1}_force"]) / link.bears * 100
            shares[link.index] = np.maximum(shares.get(link.index, 0.0), share)
    curves += [(5, f"teeth of pair {n + 1}", share) for n, share in sorted(shares.items())]
    windings = [(n, f"motor_{n}_winding") for n in range(1, len(inputs.motors) + 1)]
    curves += [
        (6, f"winding, motors {n}", record[name]) for n, name in windings if name in record.channels
    ]
    limits = [
        (0, "target", inputs.load.height),
        (2, "limit", inputs.supply.current_limit),
        (5, "capacity", 100.0 if shares else None),
        (6, "limit", min(group.winding_limit for group in inputs.motors)),
    ]
    return {
        "t": short(record.time[places]),
        "panels": PANELS,
        "lines": [
            {"panel": panel, "name": name, "v": short(array[places])}
            for panel, name, array in curves
        ],
        "limits": [
            {"panel": panel, "name": name, "at": at} for panel, name, at in limits if at is not None
        ],
    }


def motion(record: Record, inputs: Inputs) -> dict[str, Any]:
    """Height, angle of the drum, radius of its rope and heat of the motors over time, the fall
    after a break included."""
    places = kept_samples(record)
    m, time, speed = record.machine, record.time, record["drum_speed"]
    angle = np.concatenate([[0.0], np.cumsum(np.diff(time) * (speed[1:] + speed[:-1]) / 2)])
    radii = np.array([layer.radius for layer in m.layers])
    hottest = [
        record[f"motor_{number}_winding"] / group.winding_limit
        for number, group in enumerate(inputs.motors, start=1)
        if f"motor_{number}_winding" in record.channels
    ]
    found = {
        "t": time,
        "h": record["height"],
        "a": angle,
        "r": radii[record["layer"].astype(int).clip(1, radii.size) - 1],
        "w": np.max(hottest, axis=0),
        "i": record["current"],
    }
    found = {key: array[places] for key, array in found.items()}
    broke, fallen = record.first(Event.OVERLOAD), record.fall
    if fallen is not None and 0 < fallen.time < math.inf:
        found = _with_fall(found, record, fallen.time)
    return {key: short(array) for key, array in found.items()} | {
        "top": m.height(m.top_travel),
        "broke": None if broke is None else broke.time,
    }


def _with_fall(
    found: dict[str, np.ndarray], record: Record, duration: float
) -> dict[str, np.ndarray]:
    """The same with the closed form of the fall behind it: slower and slower up to its highest
    point, then faster and faster down to the floor."""
    body = record.machine.body
    s = np.linspace(0, duration, FALL_SAMPLES)[1:]
    weight, rub = body.gravity * body.rise, body.friction / body.mass
    start, up = float(record["height"][-1]) / body.rise, max(float(record["speed"][-1]), 0.0)
    down = min(float(record["speed"][-1]), 0.0)
    rising = up / (weight + rub)
    before, after = np.minimum(s, rising), np.maximum(s - rising, 0.0)
    travel = start + up * before - (weight + rub) * before**2 / 2
    travel += down * after - (weight - rub) * after**2 / 2
    more = {key: np.repeat(array[-1], s.size) for key, array in found.items()}
    more |= {
        "t": found["t"][-1] + s,
        "h": np.maximum(travel, 0.0) * body.rise,
        "i": np.zeros(s.size),
    }
    return {key: np.concatenate([array, more[key]]) for key, array in found.items()}


def svg(record: Record, inputs: Inputs, status: dict[str, str]) -> str:
    """The build seen along its shafts, with the load's lane beside it; what is thin, fails or
    breaks has its name and that word in a line above, and a thread that leads to the part.

    Parameters
    ----------
    record : Record
    inputs : Inputs
    status : dict of str to str
        Worst status by table, from `winchsim.page.answer`.
    """
    plan, (x, y), core = plan_of(inputs), plan_of(inputs).drum, inputs.drum.diameter / 2
    outer = max([core, *(r.radius + inputs.rope.diameter / 2 for r in record.machine.layers[:8])])
    flange = max(outer, (inputs.drum.flange_diameter or 0.0) / 2)
    spots = [(g.x, g.y, g.tip) for g in plan.gears]
    spots += [(s.x, s.y, s.diameter / 2) for s in plan.motors] + [(x, y, flange)]
    spots += [(*shaft, 0.006) for shaft in plan.shafts]
    left, right = min(x - r for x, _, r in spots), max(x + r for x, _, r in spots)
    low, high = min(y - r for _, y, r in spots), max(y + r for _, y, r in spots)
    unit = max(right - left, 0.7 * (high - low)) / 70
    right = max(right, x + outer + 8 * unit)
    floor = low - 50 * unit
    notes = _notes(record, inputs, plan, status, outer)
    turns = gear_turns(plan, inputs)
    parts = [_gear(gear, k) for gear, k in zip(plan.gears, turns, strict=True)]
    parts += [
        _circle(s.x, s.y, s.diameter / 2, "motor" + " dead" * (not s.live)) for s in plan.motors
    ]
    parts += [_other(stage, unit) for stage in plan.others]
    parts += [
        _circle(x, y, flange, "flange"),
        _circle(x, y, core, "wound", ' id="w-wound"'),
        f"<g {_turning(1, x, y)}>{_circle(x, y, core, 'core')}"
        f'<path class="spoke" d="M{_at(x - core, y)}L{_at(x + core, y)}"/></g>',
        _load(inputs, (x, y), floor, y - flange - 6 * unit, unit),
        f'<path class="floor" d="M{_at(x - 8 * unit, floor)}L{_at(right, floor)}"/>',
    ]
    for row, (text, to_x, to_y) in enumerate(notes):
        at = left, high + (5 * row + 3) * unit
        end = _at(left + 2.1 * max(len(note[0]) for note in notes) * unit, at[1] + unit)
        parts += [f'<path class="thread" d="M{end}L{_at(to_x, to_y)}"/>']
        parts += [_text(*at, text, 4 * unit, "start")]
    top = high + (5 * len(notes) + 3) * unit
    edges = left - 2 * unit, -top, right - left + 4 * unit, top - floor + 2 * unit
    about = "The build to scale, seen along its shafts; the load's height has a scale of its own."
    about += "".join(f" {text}." for text, _, _ in notes)
    box = " ".join(f"{1e3 * edge:.2f}" for edge in edges)
    head = f'<svg class="build" viewBox="{box}" role="img" aria-label="{about}">'
    return "".join((head, *parts, "</svg>"))


def _notes(
    record: Record, inputs: Inputs, plan: Plan, status: dict[str, str], outer: float
) -> list[tuple[str, float, float]]:
    """Words about parts, and where those are."""
    x, y = plan.drum
    places = {"motors": (plan.motors[0].x, plan.motors[0].y), "drum": plan.drum}
    places["rope"] = x + outer, y - outer
    numbers = [n for n, s in enumerate(inputs.stage, start=1) for _ in range(s.repeat)]
    for number, shaft in zip(numbers, plan.shafts, strict=False):
        places[f"stage.{number}"] = shaft
    broken = record.broken_link
    words = {path: word for path, word in status.items() if word in ("fails", "thin")}
    if broken is not None:
        words[broken.where] = "breaks"
    return sorted(
        (
            (f"{path.replace('.', ' ')} {words[path]}", *place)
            for path, place in places.items()
            if path in words
        ),
        key=lambda note: note[1],
    )


def _gear(gear: Gear, k: float) -> str:
    edge = _at(gear.x + gear.root * math.cos(gear.turn), gear.y + gear.root * math.sin(gear.turn))
    return (
        f'<g class="{"pinion" if gear.driver else "gear"}" {_turning(k, gear.x, gear.y)}>'
        f'<polygon points="{" ".join(_at(*point) for point in outline(gear))}"/>'
        f'<path class="spoke" d="M{_at(gear.x, gear.y)}L{edge}"/>'
        f"{_circle(gear.x, gear.y, 0.3 * gear.root, 'hub')}</g>"
    )


def _other(stage: OtherStage, unit: float) -> str:
    line = f'<path class="box" d="M{_at(*stage.start)}L{_at(*stage.end)}"/>'
    x, y = ((start + end) / 2 for start, end in zip(stage.start, stage.end, strict=True))
    return line + _text(x, y + 3 * unit, f"{stage.kind} {stage.ratio:.3g}:1", 3 * unit)


def _load(inputs: Inputs, drum: tuple[float, float], floor: float, top: float, unit: float) -> str:
    """Rope and load, which the page's script moves between floor and top."""
    places = f'data-x="{1e3 * drum[0]:.2f}" data-y="{-1e3 * drum[1]:.2f}"'
    ends = f'data-floor="{-1e3 * floor:.2f}" data-top="{-1e3 * top:.2f}"'
    wide, tall = 1e4 * unit, 8e3 * unit
    return (
        f'<path class="rope" id="w-rope" {places} d=""/><g id="w-load" {ends}>'
        f'<rect class="load" x="{-wide / 2:.2f}" y="{-tall:.2f}" width="{wide:.2f}" '
        f'height="{tall:.2f}"/>{_text(0, 3 * unit, f"{inputs.load.mass:.3g} kg", 3 * unit)}</g>'
    )


def _at(x: float, y: float) -> str:
    return f"{1e3 * x:.2f} {-1e3 * y:.2f}"


def _turning(k: float, x: float, y: float) -> str:
    """What the page's script turns by `k` times the angle of the drum."""
    return f'data-k="{-k:.5g}" data-x="{1e3 * x:.2f}" data-y="{-1e3 * y:.2f}"'


def _circle(x: float, y: float, radius: float, kind: str, more: str = "") -> str:
    place = f'cx="{1e3 * x:.2f}" cy="{-1e3 * y:.2f}" r="{1e3 * radius:.2f}"'
    return f'<circle class="{kind}" {place}{more}/>'


def _text(x: float, y: float, text: str, size: float, anchor: str = "middle") -> str:
    place = f'x="{1e3 * x:.2f}" y="{-1e3 * y:.2f}" font-size="{1e3 * size:.2f}"'
    return f'<text {place} text-anchor="{anchor}">{safe(text)}</text>'
