"""A lift that was logged or filmed: columns under any heads, cut into lifts from power on.

Every lift becomes a row of a test sheet and a trace. Columns are named by the user, known by their
heads (``time_s``, ``current_ma``), or guessed from words in them.
"""

import math
import re
from collections.abc import Mapping

import numpy as np

from winchsim.errors import Code, Fault, InputError, refused
from winchsim.frozen import dataclass
from winchsim.inputs import Inputs, Spec
from winchsim.model import build
from winchsim.scenario.sheet import (
    MAX_TRACE_BYTES,
    UNIT_OF_SUFFIX,
    Cells,
    Column,
    SheetOrigin,
    SheetRow,
    column_of,
    fits,
    head_meaning,
    sheet_of,
)
from winchsim.units import parse_quantity

MAX_SAMPLES = 500_000

ON = 0.1
"""Share of the usual current from which on a motor counts as switched on. [-] Own choice."""

SHORTEST = 0.5
"""Shortest lift, and shortest pause between two. [s] Own choice."""

ARRIVED = 0.99
"""Share of the way at which a load counts as up. [-] Own choice."""

ELECTRICAL = ("current", "voltage")

STUCK = 0.1
"""Share of the longest way below which a load counts as not lifted. [-] Own choice."""

NAMES: Mapping[str, Spec] = {
    "time": Spec(kind="quantity", unit="s", meaning="time of the sample", low=-1e6, high=1e11),
    "frame": Spec(kind="number", meaning="number of the picture", low=0, high=1e9),
    "height": Spec(kind="quantity", unit="m", meaning="height of the load", low=-1e4, high=1e4),
    "turns": Spec(kind="number", meaning="turns of the drum", low=-1e6, high=1e6),
    "current": Spec(kind="quantity", unit="A", meaning="current of the supply", low=-1e5, high=1e5),
    "voltage": Spec(
        kind="quantity", unit="V", meaning="voltage of the supply", low=-1000, high=1000
    ),
}

SETTINGS = ("rate", "speed", "loads")
"""What else a layout may say: pictures a second, how many times faster the footage runs, and the
load of each lift."""

WORDS = {
    "time": "time t zeit timestamp clock seconds sec millis ms",
    "frame": "frame frames picture bild",
    "height": "height h position pos mark marks hoehe höhe",
    "turns": "turns turn revolutions rev umdr umdrehungen",
    "current": "current i amps amp a ma strom",
    "voltage": "voltage u v mv volt volts spannung",
}
"""First words of heads by what they usually mean, in lower case."""

UNIT_WORDS = UNIT_OF_SUFFIX | {
    "millis": "ms",
    "seconds": "s",
    "sec": "s",
    "amps": "A",
    "volts": "V",
}

CLOCK = re.compile(r"(?:([0-9]{1,2}):)?([0-9]{1,2}):([0-9]{1,2}(?:[.,][0-9]{1,9})?)")
"""Time of day or of a film: hours, minutes, seconds with their fraction."""


@dataclass(frozen=True)
class MeasuredTrace:
    """Samples of one measured lift, in SI; NaN where a cell was blank, None where a column was.

    Attributes
    ----------
    time : ndarray, shape (n,)
        Increasing. [s]
    height, current, voltage : ndarray, shape (n,), or None
        [m], [A], [V]
    """

    time: np.ndarray
    height: np.ndarray | None = None
    current: np.ndarray | None = None
    voltage: np.ndarray | None = None


@dataclass(frozen=True)
class LoggedLift:
    """One lift of a log.

    Attributes
    ----------
    start : float
        Time of the log at power on. [s]
    aligned : bool
        Whether the log shows the power going on; else the lift may have begun before.
    row : SheetRow
        What it says as a test.
    trace : MeasuredTrace
        Its samples, from power on.
    """

    start: float
    aligned: bool
    row: SheetRow
    trace: MeasuredTrace


@dataclass(frozen=True)
class Log:
    """A log, read.

    Attributes
    ----------
    guessed : tuple of (str, str, str)
        Head, meaning and unit of columns that neither the user nor their heads name exactly.
    unused : tuple of str
        Heads of the other columns.
    lifts : tuple of LoggedLift
    """

    guessed: tuple[tuple[str, str, str], ...]
    unused: tuple[str, ...]
    lifts: tuple[LoggedLift, ...]


def read_for(
    inputs: Inputs, path: str, layout: str = ""
) -> tuple[tuple[SheetRow, ...], SheetOrigin | None, Log | None]:
    """Rows of a test sheet or of a log, whichever the file is.

    Parameters
    ----------
    inputs : Inputs
        The scenario that was tested: its load is that of a log with one lift, where the layout does
        not say it, and its drum and rope make heights of turns.
    path : str
        CSV file. A log has times or numbers of pictures, and no masses.
    layout : str
        Columns of a log and what it does not say itself: ``time=Zeit:ms, height=mark:10 cm,
        rate=25, speed=8, loads=0/2/5 kg``; names are those of `NAMES` and `SETTINGS`.

    Returns
    -------
    (tuple of SheetRow, SheetOrigin or None, Log or None)
        What the sheet was planned for, or the log.

    Raises
    ------
    InputError
        With every fault found, each with its line and column.
    """
    cells = Cells(path, MAX_TRACE_BYTES, "a test sheet or a measured trace")
    if not (layout or is_log(cells)):
        return sheet_of(cells), cells.origin, None
    told = _parsed(layout)
    columns, guessed = _columns(cells, told)
    samples = _samples(cells, columns, told, inputs)
    spans = _spans(samples)
    loads = _loads(cells, told, [start for start, *_ in spans], inputs.load.mass)
    longest = max((_rise(samples, first, last) or 0.0 for *_, first, last in spans), default=0.0)
    lifts = tuple(
        _lift(samples, span, number, mass, longest)
        for number, (span, mass) in enumerate(zip(spans, loads, strict=True), start=1)
    )
    used = {column.position for column in columns}
    unused = tuple(head for place, head in enumerate(cells.heads) if head and place not in used)
    return tuple(lift.row for lift in lifts), None, Log(guessed, unused, lifts)


def is_log(cells: Cells) -> bool:
    """Whether the heads are those of a log."""
    return any(_guess(head)[0] in ("time", "frame") for head in cells.heads) and not any(
        head.startswith(("mass", "rung", "measured")) for head in cells.heads
    )


# --- columns


def _parsed(layout: str) -> dict[str, str]:
    """What a layout says, by name."""
    parts = [part.partition("=") for part in layout.split(",") if part.strip()]
    given = {name.strip().lower(): value.strip() for name, _, value in parts}
    known = (*NAMES, *SETTINGS)
    faults = tuple(
        Fault(
            "no such part of a log, or nothing behind it",
            got=name,
            expected="one of: " + ", ".join(known),
            hint="such as time=Zeit:ms, height=mark:10 cm, rate=25",
            code=Code.SHEET_COLUMN,
        )
        for name, value in given.items()
        if name not in known or not value
    )
    if faults:
        raise InputError(faults)
    return given


def _columns(
    cells: Cells, told: Mapping[str, str]
) -> tuple[list[Column], tuple[tuple[str, str, str], ...]]:
    """Columns that are named, known or guessed, and which were guessed."""
    named: dict[str, tuple[str, str]] = {}
    for name in [name for name in NAMES if name in told]:
        head, _, unit = (part.strip() for part in told[name].partition(":"))
        key = head.lower().replace(" ", "_")
        named[key] = name, unit
        if key not in cells.heads:
            cells.missing(head, "one of: " + ", ".join(cells.heads))
    found: dict[str, Column] = {}
    guessed = []
    for place, head in enumerate(cells.heads):
        exact, unit, problem = head_meaning(head, NAMES)
        name, unit = named.get(head) or (_guess(head) if problem else (exact, unit))
        if name and name not in found and (head in named or name not in told):
            found[name] = column_of(place, head, name, NAMES[name], unit)
            if problem and head not in named:
                guessed.append((head, name, unit or NAMES[name].unit))
    if "time" not in found and "frame" not in found:
        cells.missing("time_s", NAMES["time"].meaning)
    elif not found.keys() & {"height", "turns", "current", "voltage"}:
        cells.missing("", "any of height_m, current_a, voltage_v", "nothing but times")
    cells.faults.raise_if_any()
    return list(found.values()), tuple(guessed)


def _guess(head: str) -> tuple[str, str]:
    """What a head usually means, and its unit; empty where nothing is known."""
    words = re.findall(r"[^\W\d_]+", head)
    name = next((n for w in words for n, known in WORDS.items() if w in known.split()), "")
    unit = UNIT_WORDS.get(words[-1], "") if name else ""
    return name, unit if name and fits(unit, NAMES[name]) else ""


# --- samples


def _samples(
    cells: Cells, columns: list[Column], told: Mapping[str, str], inputs: Inputs
) -> dict[str, np.ndarray]:
    """Values of all columns, with time and height in SI."""
    rows: dict[str, list[float]] = {column.name: [] for column in columns}
    lines = []
    for line, row in cells.rows(MAX_SAMPLES):
        lines.append(line)
        wrong = {fault.key for fault in cells.faults.faults}  # one message for all of a column
        for column in (column for column in columns if column.head not in wrong):
            rows[column.name].append(_sample(cells, line, column, row[column.position]))
    found = {name: np.asarray(values) for name, values in rows.items()}
    name = "time" if "time" in rows else "frame"
    head = next(column.head for column in columns if column.name == name)
    late = np.flatnonzero(~(np.diff(found[name], prepend=-math.inf) > 0)).tolist()
    if late and not cells.faults.faults:
        problem = "is missing" if math.isnan(found[name][late[0]]) else "does not increase"
        cells.add(f"{name} {problem}", lines[late[0]], head)
    numbers = {key: parse_quantity(told[key], "") for key in ("rate", "speed") if key in told}
    for key in (key for key, value in numbers.items() if value <= 0):
        cells.faults.add(Fault("out of bounds", key, got=told[key], expected="more than 0"))
    if name == "frame" and not numbers.get("rate", 0.0) > 0:
        cells.add(
            "pictures are counted, but not how many a second",
            cells.line,
            "frame",
            code=Code.MISSING,
            hint="say rate=25",
        )
    cells.faults.raise_if_any()
    if len(lines) < 2:
        raise refused("fewer than two samples", file=cells.faults.file, code=Code.MISSING)
    per_second = numbers["rate"] if name == "frame" else 1.0
    found["time"] = found[name] * numbers.get("speed", 1.0) / per_second
    if "turns" in found and "height" not in found:
        machine = build(inputs)
        per_turn = 2 * math.pi * machine.layers[0].radius / machine.line.falls
        found["height"] = found["turns"] * per_turn
    return found


def _sample(cells: Cells, line: int | None, column: Column, cell: str) -> float:
    """Value of a cell; NaN where it is blank or wrong."""
    if column.name == "time" and (shown := CLOCK.fullmatch(cell)):
        hours, minutes, seconds = shown.groups("0")
        return 3600 * int(hours) + 60 * int(minutes) + float(seconds.replace(",", "."))
    value = cells.value(line, column, cell)
    return math.nan if value is None else value


# --- lifts

LoggedSpan = tuple[float, bool, int, int]
"""Power on in the time of the log, whether that is seen, first and last sample."""


def _spans(samples: Mapping[str, np.ndarray]) -> list[LoggedSpan]:
    """Lifts of a log: by the current where there is one, else by the height; a log of neither is
    one lift."""
    time = samples["time"]
    whole = [(max(float(time[0]), 0.0), False, 0, len(time) - 1)]
    cut = {"current": _powered, "height": _raised}
    found = next((cut[name](time, samples[name]) for name in cut if name in samples), [])
    rises = [_rise(samples, first, last) for *_, first, last in found]
    most = max((abs(rise) for rise in rises if rise is not None), default=0.0)
    up = [s for s, rise in zip(found, rises, strict=True) if rise is None or rise > -STUCK * most]
    return [_from_power_on(samples, span) for span in up or whole]


def _from_power_on(samples: Mapping[str, np.ndarray], span: LoggedSpan) -> LoggedSpan:
    """A lift that the log shows from some way up on began by as much earlier as that way takes;
    without heights the log's own 0 is taken, where it lies before."""
    start, aligned, first, last = span
    heights, rise = samples.get("height"), _rise(samples, first, last)
    if aligned or first > 0:
        return span
    if heights is not None and rise and rise > 0 and heights[first] > 0:
        return start - heights[first] * (samples["time"][last] - start) / rise, *span[1:]
    return (0.0, *span[1:]) if 0 <= start <= SHORTEST else span


def _powered(time: np.ndarray, current: np.ndarray) -> list[LoggedSpan]:
    """Stretches with the motors switched on the way they mostly are."""
    known = np.flatnonzero(np.isfinite(current))
    sizes = current[known] * (1 if np.nansum(current) >= 0 else -1)
    limit = max(ON * float(np.quantile(sizes, 0.95)), 1e-9) if len(sizes) else 0.0
    on = np.flatnonzero(sizes > limit)
    pauses = (np.diff(on) > 1) & (np.diff(time[known[on]]) >= SHORTEST)
    found: list[LoggedSpan] = []
    for stretch in np.split(on, np.flatnonzero(pauses) + 1) if len(on) else ():
        first, last = stretch[[0, -1]].tolist()
        rise = slice(max(first - 1, 0), first + 1)
        start = float(np.interp(limit, sizes[rise], time[known[rise]]))
        found.append((start, first > 0, int(known[first]), int(known[last])))
    return [span for span in found if time[span[3]] - span[0] >= SHORTEST]


def _raised(time: np.ndarray, height: np.ndarray) -> list[LoggedSpan]:
    """Ways up; the load has come down by half before the next."""
    known = np.flatnonzero(np.isfinite(height)).tolist()
    half = float(np.ptp(height[known])) / 2 if known else 0.0
    low = top = known[0] if known else 0
    found = []
    for place, now in zip([*known, 0], [*height[known], -math.inf], strict=True):
        ended = height[top] - now > half
        if ended and height[top] - height[low] > half:
            found.append((float(time[low]), True, low, top))
        if ended or now <= height[low]:
            low = top = place
        elif now > height[top]:
            top = place
    return found


def _rise(samples: Mapping[str, np.ndarray], first: int, last: int) -> float | None:
    """How far the load came up between two samples, negative downwards; None where unknown. [m]"""
    heights = samples.get("height", np.array([]))[first : last + 1]
    heights = heights[np.isfinite(heights)]
    return float(heights[-1] - heights[0]) if len(heights) > 1 else None


def _loads(cells: Cells, told: Mapping[str, str], starts: list[float], load: float) -> list[float]:
    """Load of each lift. [kg]"""
    text = told.get("loads", "")
    unit = text.rpartition("/")[2].strip().lstrip("0123456789.,").strip()
    parts = [part.strip().removesuffix(unit) for part in text.split("/")]
    masses = [parse_quantity(f"{part} {unit}", "kg") for part in parts] if text else [load]
    if len(masses) == len(starts):
        return masses
    raise refused(
        f"{len(starts)} lifts in this log, and {len(masses) if text else 'no'} loads",
        file=cells.faults.file,
        got=text,
        hint="say loads=0/2/5 kg",
        code=Code.MISSING,
        expected="a load for each lift; they start at "
        + ", ".join(f"{start:.4g} s" for start in starts[:20]),
    )


def _lift(
    samples: Mapping[str, np.ndarray], span: LoggedSpan, number: int, mass: float, longest: float
) -> LoggedLift:
    """One lift as a row and as a trace."""
    start, aligned, first, last = span
    time, rise = samples["time"], _rise(samples, first, last)
    end, ended = float(time[last]), last + 1 < len(time) or "current" not in samples
    stuck, below = rise is not None and rise <= STUCK * longest, 0.0
    if rise is not None and not stuck:
        heights = samples["height"]
        up = heights[first : last + 1] >= heights[first] + ARRIVED * rise
        end, ended = float(time[first + int(np.argmax(up))]), True
        below = 0.0 if aligned or first else max(float(heights[0]), 0.0)
    quarter = (end - start) / 4
    inside = (time >= start + quarter) & (time <= end - quarter)
    if not inside.any():
        inside = (time >= start) & (time <= end)
    means = {
        name: abs(float(np.nanmean(samples[name][inside])))
        for name in ELECTRICAL
        if name in samples and np.isfinite(samples[name][inside]).any()
    }
    row = SheetRow(
        rung=number,
        mass=mass,
        height=rise + below if rise and not stuck else None,
        measured_time=end - start
        if ended and not stuck and (aligned or below or start == 0)
        else None,
        measured_current=means.get("current"),
        measured_voltage=means.get("voltage"),
        outcome="stalled" if stuck else None,
    )
    channels = map(samples.get, ("height", *ELECTRICAL))
    return LoggedLift(start, aligned, row, MeasuredTrace(time - start, *channels))
