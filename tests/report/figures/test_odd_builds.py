"""Builds and runs that the usual figures do not show: dead motors, flanges, many turns, energy that
goes back."""

import math
from itertools import pairwise

import pytest
from matplotlib.lines import Line2D
from matplotlib.patches import Circle

from winchsim.inputs import Phase, with_value
from winchsim.model import build
from winchsim.report.figures.energy import energy_bars, energy_ledger
from winchsim.report.figures.look import COLUMN
from winchsim.report.figures.plan import turns_of
from winchsim.report.figures.schematic import MOST_CIRCLES, schematic
from winchsim.simulation import simulate


def _named(figure, name):
    return [artist for artist in figure.findobj() if artist.get_gid() == name]


def test_a_dead_motor_is_crossed_out(scenario):
    dead = with_value(scenario, "motors.1.dead", 1)
    alive, crossed = (schematic(inputs, COLUMN, build(inputs)) for inputs in (scenario, dead))
    assert len(_named(crossed, "motor")) == len(_named(alive, "motor")) == 3
    assert len(crossed.findobj(Line2D)) == len(alive.findobj(Line2D)) + 2


def test_flanges_are_drawn_at_their_diameter(scenario, see):
    flanged = with_value(scenario, "drum.flange_diameter", 0.060)
    figure = schematic(flanged, COLUMN, build(flanged))
    (drum,) = _named(figure, "drum")
    around = [
        c
        for c in figure.findobj(Circle)
        if c.axes is drum.axes and c.center == drum.center and not c.get_fill()
    ]
    assert any(c.radius == pytest.approx(drum.radius * 60 / 12) for c in around)
    assert see.texts_beyond(figure) == []


def test_many_turns_are_drawn_as_layers(scenario):
    fine = with_value(with_value(scenario, "rope.diameter", 0.3e-3), "load.height", 20.0)
    machine = build(fine)
    turns = turns_of(machine, fine)
    figure = schematic(fine, COLUMN, machine)
    assert _named(figure, "turn") == []
    assert len(_named(figure, "layer")) == 2 * len({radius for _, radius, _ in turns})
    assert len(turns) > MOST_CIRCLES


def test_long_names_of_losses_stand_in_full(scenario, see):
    record = simulate(with_value(scenario, "motors.1.dead", 1))
    bars, _ = energy_bars(record.energy)
    assert max(len(name) for name, _, _ in bars) > 33
    figure = energy_ledger(record, COLUMN)
    axes = next(axes for axes in figure.axes if axes.get_xlabel())
    shown = [label.get_text().replace("\n", " ") for label in axes.get_yticklabels()]
    assert shown == [name for name, _, _ in bars]
    boxes = [label.get_window_extent() for label in axes.get_yticklabels()]
    assert not any(a.overlaps(b) for a, b in pairwise(boxes)) and see.texts_beyond(figure) == []


def test_what_a_battery_takes_back_is_a_bar(small, make_motor, make_stage):
    # Lowering under power with hardly a loss: the load drives the motors over their no-load speed,
    # and current flows back.
    inputs = small(
        motors=make_motor(0.5, 0.05, idle_current=0.01),
        stage=make_stage(3.0, 0.99),
        supply={"kind": "battery", "resistance": 0.01},
        load={"mass": 6.0, "start_height": 1.0, "height": 1.0, "drum_height": 1.6},
        phase=(Phase(action="lower", until="time", time=1.0),),
        settings={"watch": 0.0},
    )
    books = simulate(inputs).energy
    assert books.source < 0
    bars, given = energy_bars(books)
    _, energy, kind = next(bar for bar in bars if bar[0] == "back into the source")
    assert energy == pytest.approx(-books.source) and kind == "electrical heat"
    assert math.fsum(energy for _, energy, _ in bars) == pytest.approx(given, rel=1e-3)
