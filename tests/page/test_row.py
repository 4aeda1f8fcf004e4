"""What the form of the page is made from: every value of a scenario, and the step of its slider."""

import pytest

pytest.importorskip("nicegui")

from winchsim.face import parse as loads
from winchsim.inputs import GROUPS, Inputs, Spec, specs, walk
from winchsim.page.row import controls, step_of
from winchsim.quantity_text import in_unit
from winchsim.scenario.starter import STARTER


def test_step_is_a_round_number_of_the_printed_unit():
    assert step_of(Spec(kind="quantity", unit="mm", low=0.0, high=1.0, usual=(0.005, 0.2))) == 2.0


def test_a_usual_range_has_about_a_hundred_steps():
    for control in controls(loads(STARTER)):
        spec = control.spec
        if spec.kind in ("quantity", "number"):
            low, high = (in_unit(end, spec.unit) for end in spec.usual or (spec.low, spec.high))
            assert 50 <= (high - low) / step_of(spec) < 150


def test_a_form_lists_every_value_along_the_way_of_the_power():
    inputs = loads(STARTER)
    found = {control.path: control for control in controls(inputs)}
    assert set(found) == {path for path, _, _ in walk(inputs)}
    groups = [control.group for control in controls(inputs)]
    assert list(dict.fromkeys(groups)) == [group for group in GROUPS if group in groups]
    assert groups[0] == specs(Inputs)["supply"].group
    material = found["stage.1.material"]
    assert "PETG" in material.choices and material.given and material.applies
    assert not found["stage.1.ratio"].applies
    assert found["motors.1.known_by"].choices == ("data sheet", "points", "bench", "label")
    assert not found["drum.dead_turns"].given
