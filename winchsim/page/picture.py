"""The build to scale as SVG, and how its parts move: what the page's script plays."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from winchsim.inputs import Inputs
from winchsim.model.keys import Event
from winchsim.physics.chain import drum_ratios
from winchsim.report.figures.plan import Gear, Plan, outline, plan_of
from winchsim.report.plain_text import safe
from winchsim.simulation import Record

MOST_SAMPLES = 240
"""Samples of a curve that the page gets, besides the ends of jumps. [-]"""

LANE = 0.42
"""Width of the load's lane as a share of the build's width. [-]"""

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
    if ends.size > most:
        ends = ends[:: ends.size // most + 1]
    return np.unique(np.concatenate([grid, ends, peaks]).astype(int))


def tracks(record: Record) -> dict[str, Any]:
    """Curves for the page: time, and for each panel its name, its unit and its lines; limits
    apart."""
    places = kept_samples(record)
    m, inputs = record.machine, record.inputs

    def values(array: np.ndarray) -> list[float]:
        return [float(f"{v:.4g}") for v in array[places]]

    def line(panel: int, name: str, array: np.ndarray) -> dict[str, Any]:
        return {"panel": panel, "name": name, "v": values(array)}

    lines = [
        line(0, "height", record["height"]),
        line(1, "speed", record["speed"] * 1e3),
        line(2, "supply current", record["current"]),
        line(3, "voltage at the motors", record["voltage"]),
        line(4, "rope tension", record["tension"]),
    ]
    shares: dict[int, np.ndarray] = {}
    for link in m.links:
        if link.channel == "mesh" and link.bears > 0 and math.isfinite(link.bears):
            share = np.abs(record[f"mesh_{link.index + 1}_force"]) / link.bears * 100
            if link.index not in shares or share.max() > shares[link.index].max():
                shares[link.index] = share
    lines += [line(5, f"teeth of pair {n + 1}", share) for n, share in sorted(shares.items())]
    lines += [
        line(6, f"winding, motors {g.number}", record[f"motor_{g.number}_winding"])
        for g in m.groups
    ]
    limits = [{"panel": 5, "name": "capacity", "at": 100.0}] if shares else []
    if inputs is not None:
        limits.append(
            {"panel": 6, "name": "limit", "at": min(g.winding_limit for g in inputs.motors)}
        )
        limits.append({"panel": 0, "name": "target", "at": inputs.load.height})
        if inputs.supply.current_limit is not None:
            limits.append({"panel": 2, "name": "limit", "at": inputs.supply.current_limit})
    panels = [
        ("height", "m"),
        ("speed", "mm/s"),
        ("current", "A"),
        ("voltage", "V"),
        ("tension", "N"),
        ("tooth load", "% of capacity"),
        ("winding", "°C"),
    ]
    return {
        "t": [float(f"{t:.5g}") for t in record.time[places]],
        "panels": panels,
        "lines": lines,
        "limits": limits,
    }


def motion(record: Record) -> dict[str, Any]:
    """Height, angle of the drum, radius of its rope and heat of the motors over time, the fall
    after a break included."""
    places = kept_samples(record)
    m, time = record.machine, record.time
    steps = np.diff(time) * (record["drum_speed"][1:] + record["drum_speed"][:-1]) / 2
    angle = np.concatenate([[0.0], np.cumsum(steps)])[places]
    radii = [layer.radius for layer in m.layers]
    layer = record["layer"].astype(int).clip(1, len(radii))[places]
    heat = max(
        ((record[f"motor_{g.number}_winding"][places] / limit) for g, limit in _limits(record)),
        key=lambda array: float(array.max()),
    )
    found = {
        "t": time[places], "h": record["height"][places], "a": angle,
        "r": np.array([radii[n - 1] for n in layer]), "w": heat, "i": record["current"][places],
    }  # fmt: skip
    fallen = record.fall
    broke = record.first(Event.OVERLOAD)
    if fallen is not None and broke is not None and math.isfinite(fallen.time) and fallen.time > 0:
        found = _with_fall(found, fallen.time, float(record["speed"][-1]), m)
    rounded = {key: [float(f"{v:.5g}") for v in array] for key, array in found.items()}
    return rounded | {"top": m.height(m.top_travel), "broke": None if broke is None else broke.time}


def _limits(record: Record) -> list[tuple[Any, float]]:
    given = record.inputs.motors if record.inputs is not None else ()
    limits = {n: group.winding_limit for n, group in enumerate(given, start=1)}
    return [(g, limits.get(g.number, 120.0)) for g in record.machine.groups]


def _with_fall(
    found: dict[str, np.ndarray], duration: float, speed: float, m: Any
) -> dict[str, np.ndarray]:
    """The same with the closed form of the fall behind it: constant acceleration down to the
    floor."""
    s = np.linspace(0, duration, FALL_SAMPLES)[1:]
    height = float(found["h"][-1])
    rising = max(speed, 0.0)
    pull = (height / m.body.rise + speed * duration) * 2 / duration**2 if rising == 0 else None
    if pull is None:
        weight, rub = m.body.gravity * m.body.rise, m.body.friction / m.body.mass
        up = rising / (weight + rub)
        apex = height / m.body.rise + rising * up / 2
        travel = np.where(s < up, height / m.body.rise + rising * s - (weight + rub) * s**2 / 2,
                          apex - (weight - rub) * (s - up) ** 2 / 2)  # fmt: skip
    else:
        travel = height / m.body.rise + speed * s - pull * s**2 / 2
    more = {key: np.repeat(array[-1], s.size) for key, array in found.items()}
    more |= {
        "t": found["t"][-1] + s,
        "h": np.maximum(travel, 0.0) * m.body.rise,
        "i": np.zeros(s.size),
    }
    return {key: np.concatenate([array, more[key]]) for key, array in found.items()}


def svg(record: Record, inputs: Inputs, tables: dict[str, str]) -> str:
    """The build seen along its shafts, with the load's lane beside it; parts are marked by their
    status in words.

    Parameters
    ----------
    record : Record
    inputs : Inputs
    tables : dict of str to str
        Worst status by table, from `winchsim.page.answer`.
    """
    m, plan = record.machine, plan_of(inputs)
    core = inputs.drum.diameter / 2
    outer = max([core, *(layer.radius + inputs.rope.diameter / 2 for layer in m.layers[:8])])
    flange = (inputs.drum.flange_diameter or 0.0) / 2 or outer
    spots = [(g.x, g.y, g.tip) for g in plan.gears] + [
        (s.x, s.y, s.diameter / 2) for s in plan.motors
    ]
    spots += [(*plan.drum, max(outer, flange)), *((x, y, 0.006) for x, y in plan.shafts)]
    left, right = min(x - r for x, _, r in spots), max(x + r for x, _, r in spots)
    low, high = min(y - r for _, y, r in spots), max(y + r for _, y, r in spots)
    wide, tall = right - left, high - low
    lane = max(LANE * wide, 0.35 * tall)
    floor = low - 0.75 * max(tall, 0.5 * wide)
    unit = (wide + lane) / 100
    ratios = _shaft_ratios(m, plan)
    parts = [_gear(gear, ratios, plan) for gear in plan.gears]
    parts += [_motor(spot) for spot in plan.motors]
    numbers = [n for n, stage in enumerate(inputs.stage, start=1) for _ in range(stage.repeat)]
    last = {numbers[gear.shaft]: gear for gear in plan.gears if not gear.driver}
    parts += [
        _words(
            tables.get(f"stage.{n}", ""),
            gear.x,
            gear.y + gear.tip + 0.6 * unit,
            unit,
            f"stage {n} ",
        )
        for n, gear in last.items()
    ]
    parts += [
        f'<g class="box"><path d="M{1e3 * o.x:.2f} {1e3 * o.y:.2f}L{1e3 * o.to_x:.2f} {1e3 * o.to_y:.2f}"/>'
        f"{_text(o.to_x, o.to_y + 3 * unit, f'{o.kind} {o.ratio:.3g}:1', unit)}</g>"
        for o in plan.others
    ]
    x, y = plan.drum
    status = _words(tables.get("drum", ""), x, y + max(outer, flange) + 2.5 * unit, unit, "drum ")
    drum = (
        f'<g class="drum"><circle class="flange" cx="{1e3 * x:.2f}" cy="{1e3 * y:.2f}" r="{1e3 * flange:.2f}"/>'
        f'<circle class="wound" id="w-wound" cx="{1e3 * x:.2f}" cy="{1e3 * y:.2f}" r="{1e3 * core:.2f}"/>'
        f'<g class="turns" data-k="1" data-x="{1e3 * x:.3f}" data-y="{1e3 * y:.3f}">'
        f'<circle class="core" cx="{1e3 * x:.2f}" cy="{1e3 * y:.2f}" r="{1e3 * core:.2f}"/>'
        f'<path class="spoke" d="M{1e3 * (x - core):.2f} {1e3 * y:.2f}H{1e3 * (x + core):.2f}"/></g>{status}</g>'
    )
    top = y - max(outer, flange) - 6 * unit
    hang = (
        f'<path class="rope" id="w-rope" data-x="{1e3 * x:.2f}" data-y="{1e3 * y:.2f}" d=""/>'
        f'<g id="w-load" data-floor="{1e3 * floor:.2f}" data-top="{1e3 * top:.2f}">'
        f'<rect class="load" x="{-5e3 * unit:.2f}" y="0" width="{1e4 * unit:.2f}" height="{8e3 * unit:.2f}"/>'
        f'<g transform="scale(1 -1)"><text y="{-3e3 * unit:.2f}" font-size="{3e3 * unit:.2f}" text-anchor="middle">'
        f"{inputs.load.mass:.3g} kg</text></g></g>"
        f'<path class="floor" d="M{1e3 * (x - 12 * unit):.2f} {1e3 * floor:.2f}h{24e3 * unit:.2f}"/>'
    )
    right = max(right, x + 16 * unit)
    box = (left - 2 * unit, -high - 6 * unit, right - left + 4 * unit, high - floor + 9 * unit)
    edge = " ".join(f"{1e3 * number:.2f}" for number in box)
    about = (
        "The build to scale, seen along its shafts; the height of the load has a scale of its own."
    )
    return (
        (
            f'<svg class="build" viewBox="{edge}" role="img" '
            f'aria-label="{about}"><g transform="scale(1 -1)">'
        )
        + "".join(parts)
        + hang
        + drum
        + "</g></svg>"
    )


def _shaft_ratios(m: Any, plan: Plan) -> list[float]:
    """Angle of each shaft over that of the drum, with its sign; the motors' own at the end."""
    ratios = list(drum_ratios(m.chain))[-len(plan.shafts) :]
    ratios += [1.0] * (len(plan.shafts) - len(ratios))
    signed = [k * (-1) ** (len(plan.shafts) - 1 - n) for n, k in enumerate(ratios)]
    return [*signed, 0.0]


def _gear(gear: Gear, ratios: list[float], plan: Plan) -> str:
    points = " ".join(f"{1e3 * x:.2f},{1e3 * y:.2f}" for x, y in outline(gear))
    k = ratios[gear.shaft]
    if gear.shaft == -1:
        first = next(g for g in plan.gears if not g.driver)
        k = -ratios[0] * first.teeth / gear.teeth
    kind = "pinion" if gear.driver else "gear"
    hub = (
        f'<circle class="hub" cx="{1e3 * gear.x:.2f}" '
        f'cy="{1e3 * gear.y:.2f}" r="{0.3e3 * gear.root:.2f}"/>'
    )
    reach, turn = 1e3 * gear.root, gear.turn
    spoke = (
        f'<path class="spoke" d="M{1e3 * gear.x:.2f} {1e3 * gear.y:.2f}'
        f'l{reach * math.cos(turn):.2f} {reach * math.sin(turn):.2f}"/>'
    )
    return (
        f'<g class="{kind}" data-k="{k:.5g}" data-x="{1e3 * gear.x:.3f}" data-y="{1e3 * gear.y:.3f}">'
        f'<polygon points="{points}"/>{spoke}{hub}</g>'
    )


def _motor(spot: Any) -> str:
    kind = "motor" if spot.live else "motor dead"
    return (
        f'<circle class="{kind}" cx="{1e3 * spot.x:.2f}" cy="{1e3 * spot.y:.2f}" '
        f'r="{1e3 * spot.diameter / 2:.2f}"/>'
    )


def _words(status: str, x: float, y: float, unit: float, before: str = "") -> str:
    return _text(x, y, before + status, unit) if status in ("fails", "thin") else ""


def _text(x: float, y: float, text: str, unit: float) -> str:
    place = f'transform="translate({1e3 * x:.2f} {1e3 * y:.2f}) scale(1 -1)"'
    return f'<text {place} font-size="{3e3 * unit:.2f}" text-anchor="middle">{safe(text)}</text>'
