"""Links at the drum carry what sheaves and edges between drum and load make of the load's pull."""

import math

import numpy as np
import pytest
from shipped import SCENARIOS

from winchsim import read as load, simulate
from winchsim.assessment.jam import jam
from winchsim.assessment.readings import part_rows
from winchsim.inputs import Edge, Sheave
from winchsim.model import Event, build
from winchsim.slow import lift_machine
from winchsim.strength.link import LinkKind

EDGE = (Edge(friction=0.3, angle=math.pi / 2),)
KEPT = math.exp(-0.3 * math.pi / 2)
PARTS = {"drum": {"cross_pin_diameter": 0.004, "support_span": 0.1}}


def demands(inputs) -> dict[LinkKind, float]:
    """Largest demand on each kind of link over a whole run."""
    return {LinkKind(row.kind): row.demand for row in part_rows(simulate(inputs), None)}


def test_an_edge_loads_the_drum_and_not_the_knot(small):
    """The capstan equation: 1/exp(-mu angle) of the load's pull is on the drum while it is
    raised."""
    record = simulate(small(**PARTS, edge=EDGE))
    middle = int(np.argmin(np.abs(record["height"] - 0.05)))
    radius = record.machine.layers[0].radius
    assert record["drum_speed"][middle] > 0
    assert record["drum_torque"][middle] == pytest.approx(
        record["tension"][middle] * radius / KEPT, rel=1e-6
    )


def test_the_drum_s_links_follow_from_the_pull_on_it(small):
    """One layer: pin torque is the pull times its radius; all of it 1/kept of the knot's."""
    inputs = small(**PARTS, edge=EDGE, sheave=(Sheave(efficiency=0.9),))
    found, radius = demands(inputs), build(inputs).layers[0].radius
    assert found[LinkKind.ROPE] == pytest.approx(found[LinkKind.ROPE_KNOT] / KEPT / 0.9, rel=1e-3)
    assert found[LinkKind.CROSS_PIN] == pytest.approx(found[LinkKind.ROPE] * radius, rel=1e-9)
    assert found[LinkKind.ROPE_ANCHOR] == found[LinkKind.ROPE]


def test_the_rope_is_judged_at_its_knot_and_at_its_bend_over_the_drum(small):
    inputs = small(rope={"breaking_force": 1000.0, "knot_efficiency": 0.5})
    links = {link.kind: link for link in build(inputs).links}
    knot, drum = links[LinkKind.ROPE_KNOT], links[LinkKind.ROPE]
    # A drum of five rope diameters leaves 0.77 of a wire rope; of a fibre rope between the square
    # of it and all.
    assert knot.strength.value == 500.0
    assert (drum.strength.low, drum.strength.value, drum.strength.high) == pytest.approx(
        (592.9, 770.0, 1000.0)
    )
    assert (drum.channel, drum.required) == ("pull", knot.required)


def test_an_edge_can_be_what_tears_a_rope_at_the_drum(small):
    """Spliced without loss at the load, its whole strength just above the load's pull: the edge's
    share is too much."""
    strong = {"breaking_force": 130.0, "knot_efficiency": 1.0}  # 100 N at the drum
    assert simulate(small(rope=strong)).first(Event.OVERLOAD) is None
    record = simulate(small(rope=strong, edge=EDGE))
    assert record.first(Event.OVERLOAD) is not None and record.broken_link.kind is LinkKind.ROPE


@pytest.mark.parametrize("parts", [{}, {"edge": EDGE}, {"edge": EDGE, "rope": {"falls": 2}}])
def test_a_stall_loads_the_same_links_in_both_models(small, parts):
    machine = build(small(**PARTS, **parts))
    assert min(part.static for part in jam(machine).parts) == pytest.approx(
        lift_machine(machine)["stall_factor"], rel=1e-9
    )


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_a_stall_loads_the_same_links_in_both_models_on_every_shipped_scenario(path):
    machine = build(load(str(path)))
    found, slow = min(part.static for part in jam(machine).parts), lift_machine(machine)
    if slow["stall_margin_cold"] >= 1:
        assert found == pytest.approx(slow["stall_factor"], rel=1e-9)
    else:  # a jam counts what the motors can pull; the slow model the load that they do not raise
        assert found > slow["stall_factor"]


def test_a_lift_from_a_height_winds_onto_the_layers_of_its_own_way(small):
    narrow = {"width": 0.006, "flange_diameter": 0.06}
    m = build(small(drum=narrow, load={"height": 0.2, "start_height": 0.5, "mass": 2.0}))
    first, last = (
        next(i for i, layer in enumerate(m.layers) if wound < layer.end)
        for wound in (m.wound_at_start, m.wound_at_start + 0.2)
    )
    assert m.layers_used == tuple(range(first, last + 1))
    assert last + 1 < len(m.layers)
