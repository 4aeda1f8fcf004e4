"""Tooth factors: strength over the record's force, bounds drawn apart."""

import math

import numpy as np
import pytest

from winchsim.assessment.readings import part_rows
from winchsim.report.figures.curves import MOST_FACTOR, stage_factors, tooth_factors
from winchsim.report.figures.look import COLUMN


def test_factors_are_those_of_the_weakest_links(lift):
    """The least factor over time is the one of the table of weakest links, which is made from the
    demands alone."""
    table = {}
    places = {link.label: link.index for link in lift.machine.links}
    for row in part_rows(lift, None):
        if row.kind.startswith("tooth"):
            mesh = places[row.label]
            table[mesh] = min(table.get(mesh, math.inf), row.factor)
    stages = stage_factors(lift)
    assert len(stages) == 4
    assert [stage.worst for stage in stages] == pytest.approx(
        [table[i] for i in range(4)], rel=1e-9
    )


def test_factor_times_force_is_what_the_tooth_bears(lift):
    stage = stage_factors(lift)[3]
    force = np.abs(lift["mesh_4_force"])
    bears = min(
        link.bears for link in lift.machine.links if link.channel == "mesh" and link.index == 3
    )
    loaded = force > 0
    assert np.allclose(stage.values[loaded] * force[loaded], bears)
    assert np.all(np.isinf(stage.values[~loaded]))


def test_bounds_are_drawn_apart(lift, see):
    (axes,) = see.panels(tooth_factors(lift, COLUMN))
    label = stage_factors(lift)[3].label
    (free,) = see.labelled(axes, f"_{label}")
    (bound,) = see.labelled(axes, f"_{label} bound")
    values = np.minimum(stage_factors(lift)[3].values, MOST_FACTOR)
    assert np.array_equal(see.drawn(free)[0], lift.time[~lift.bound])
    assert np.array_equal(see.drawn(free)[1], values[~lift.bound])
    assert np.array_equal(see.drawn(bound)[1], values[lift.bound])
    assert bound.get_linewidth() < 0.5 * free.get_linewidth()


def test_the_breaking_zone_is_marked_by_hatch_and_word(lift, see):
    (axes,) = see.panels(tooth_factors(lift, COLUMN))
    (zone,) = (patch for patch in axes.patches if patch.get_label() == "_breaks")
    assert zone.get_hatch() and zone.get_y() + zone.get_height() == pytest.approx(1.0)
    assert {"breaks below 1", "required 2"} <= {text.get_text() for text in axes.texts}
    assert axes.get_ylabel() == "Tooth factor" and axes.get_yscale() == "log"


def test_worst_moment_has_a_dot(lift, see):
    (axes,) = see.panels(tooth_factors(lift, COLUMN))
    dots = {float(line.get_ydata()[0]) for line in see.labelled(axes, "_worst")}
    assert dots == {stage.worst for stage in stage_factors(lift) if stage.worst < MOST_FACTOR}
