"""Lifts that every figure is drawn of: one that goes well, and those that go wrong in each of the
usual ways."""

import warnings
from types import SimpleNamespace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from winchsim import parse as loads, simulate
from winchsim.inputs import with_value

GEARED = """
title = "Short lift for figures"
[[motors]]
count = 3
dead = 0
voltage = "6 V"
no_load_speed = "11500 rpm"
no_load_current = "90 mA"
stall_torque = "6.1 mN*m"
stall_current = "1.4 A"
[supply]
voltage = "6 V"
resistance = "0.15 ohm"
current_limit = "3 A"
[[stage]]
repeat = 3
pinion = 12
gear = 48
module = "1 mm"
width = "10 mm"
material = "steel"
[[stage]]
pinion = 15
gear = 45
module = "1.5 mm"
width = "15 mm"
material = "steel"
[drum]
diameter = "12 mm"
width = "15 mm"
[rope]
material = "polyester"
diameter = "3 mm"
breaking_force = "20 kN"
[load]
mass = "6 kg"
height = "0.25 m"
[pawl]
fitted = true
[settings]
watch = "2 s"
stall_watch = "2 s"
"""

CHANGES = {
    "lift": (),
    "stall": (("load.mass", 60.0),),
    "stall at once": (("load.mass", 60.0), ("rope.axial_stiffness", 1e7)),
    "break": (("rope.breaking_force", 95.0),),
    "snag": (("load.snag_height", 0.2), ("rope.breaking_force", 900.0)),
    "jerks": (("load.mass", 2.0), ("load.guide_friction", 15.0), ("rope.axial_stiffness", 500.0)),
}


@pytest.fixture(scope="session")
def scenario():
    """Inputs of the lift that goes well."""
    return loads(GEARED)


@pytest.fixture(scope="session")
def records(scenario):
    """Record of each case by its name."""
    found = {}
    for name, changes in CHANGES.items():
        changed = scenario
        for path, value in changes:
            changed = with_value(changed, path, value)
        found[name] = simulate(changed)
    return found


@pytest.fixture(scope="session")
def lift(records):
    """Record of the lift that goes well."""
    return records["lift"]


def drawn(line) -> tuple[np.ndarray, np.ndarray]:
    """Data of a line without the gaps between segments."""
    x, y = (np.asarray(values, dtype=float) for values in line.get_data())
    kept = np.isfinite(y)
    return x[kept], y[kept]


def labelled(axes, label: str) -> list:
    """Lines of a panel with a label."""
    return [line for line in axes.get_lines() if line.get_label() == label]


def curve_of(axes):
    """The one line of a panel that has no label of its own: its curve."""
    (line,) = (line for line in axes.get_lines() if str(line.get_label()).startswith("_child"))
    return line


def panels(figure) -> list:
    """Axes with a quantity on them, from the top down."""
    found = [axes for axes in figure.axes if axes.axison and axes.get_ylabel()]
    return sorted(found, key=lambda axes: -axes.get_position().y0)


def texts_beyond(figure) -> list[str]:
    """Texts that leave the figure by more than a pixel."""
    canvas = FigureCanvasAgg(figure)
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        figure.draw_without_rendering()
        return _beyond(figure, canvas)


def _beyond(figure, canvas) -> list[str]:
    renderer = canvas.get_renderer()
    wide, high = canvas.get_width_height()
    unseen = _undrawn(figure)
    found = []
    for text in figure.findobj(Text):
        if text.get_text().strip() and text.get_visible() and id(text) not in unseen:
            box = text.get_window_extent(renderer)
            if box.x0 < -1 or box.y0 < -1 or box.x1 > wide + 1 or box.y1 > high + 1:
                found.append(f"{text.get_text()} {box.extents.round(1)}")
    return found


def _undrawn(figure) -> set[int]:
    """Labels of ticks that lie outside their axis, which are there but not drawn."""
    found = set()
    every = [*figure.axes, *(child for axes in figure.axes for child in axes.child_axes)]
    for axis in (axis for axes in every for axis in (axes.xaxis, axes.yaxis)):
        low, high = sorted(axis.get_view_interval())
        for tick in (*axis.get_major_ticks(), *axis.get_minor_ticks()):
            if not low <= tick.get_loc() <= high or not axis.axes.axison:
                found |= {id(tick.label1), id(tick.label2)}
    return found


@pytest.fixture(scope="session")
def see():
    """Ways to look into a figure."""
    return SimpleNamespace(
        drawn=drawn,
        labelled=labelled,
        curve_of=curve_of,
        panels=panels,
        texts_beyond=texts_beyond,
        cases=tuple(CHANGES),
    )
