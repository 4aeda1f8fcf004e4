"""Sweeps: what every build comes to, by the quasi-static model and in full."""

import csv
import io
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

import winchsim
from winchsim import assess, simulate
from winchsim.assessment.kinds import CheckKey, End, Status
from winchsim.errors import DomainError, InputError
from winchsim.inputs import Phase, with_value
from winchsim.studies.ladder import programme


def test_a_battery_that_nothing_is_drawn_from_lasts(small):
    """Without a warning, where the motors do not start."""
    battery = small(supply={"kind": "battery", "capacity": 180.0})
    column = winchsim.sweep(battery, {"supply.voltage": [0.05]}).check(CheckKey.BATTERY)
    assert column.value.tolist() == [np.inf]


def test_a_grid_combines_every_value_and_a_list_does_not(small):
    values = {"load.mass": [4.0, 8.0, 40.0], "drum.diameter": [0.008, 0.012]}
    found = winchsim.sweep(small(), values)
    assert len(found) == 6 and found.values["drum.diameter"].tolist() == [0.008, 0.012] * 3
    paired = winchsim.sweep(
        small(), {path: given[:2] for path, given in values.items()}, grid=False
    )
    assert paired.values["load.mass"].tolist() == [4.0, 8.0]
    with pytest.raises(DomainError):
        winchsim.sweep(small(), values, grid=False)


def test_one_build_of_a_sweep_is_the_lift_of_its_scenario(small):
    """In full exactly; by the quasi-static model within its accuracy."""
    inputs, masses = small(), [4.0, 8.0]
    full = winchsim.sweep(inputs, {"load.mass": masses}, simulate=True, workers=1)
    slow = winchsim.sweep(inputs, {"load.mass": masses})
    assert full.simulated and not slow.simulated
    for index, mass in enumerate(masses):
        found = assess(simulate(with_value(inputs, "load.mass", mass)), actions=False)
        assert full.status(index) is found.status and full.ends[index] is found.target.end
        assert full.results["lift_time"][index] == found.check(CheckKey.LIFT_TIME).value
        assert slow.results["lift_time"][index] == pytest.approx(
            found.check(CheckKey.LIFT_TIME).value, rel=0.01
        )
        for column in full.checks:
            check = found.check(column.key)
            assert column.rank[index] == check.status.rank
            if check.value is not None:
                assert column.value[index] == check.value


def test_a_check_of_programmes_says_nothing_of_a_lift_that_has_none(small):
    """The first runs on into its stop when it is up."""
    values = {"load.top_stop": [0.1001, 0.3]}
    found = winchsim.sweep(small(), values, simulate=True, ranges=False, workers=1)
    programme = found.check(CheckKey.PROGRAMME)
    assert [list(Status)[rank] for rank in programme.rank] == [Status.FAILS, Status.OK]
    assert found.check(CheckKey.TARGET).value.tolist() == pytest.approx([0.1, 0.1])
    assert found.status(0) is Status.FAILS


def test_the_time_of_a_raise_for_a_time_is_no_limit_of_a_lift(small):
    phases = (Phase(action="raise", time=0.5), Phase(action="raise", until="top", time=60.0))
    found = winchsim.sweep(small(phase=phases), {"load.mass": [4.0, 8.0]}, ranges=False)
    assert found.lifted.all() and np.all(found.results["lift_time"] > 0.5)
    assert found.check(CheckKey.LIFT_TIME).hard == 60.0
    assert programme(small(phase=phases)).phase[0].time is None


def test_texts_are_read_as_in_a_file_and_wrong_ones_refused(small):
    found = winchsim.sweep(small(), {"load.mass": ["4 kg", "500 g"]})
    assert found.values["load.mass"].tolist() == [4.0, 0.5]
    with pytest.raises(InputError, match=r"load\.mass"):
        winchsim.sweep(small(), {"load.mass": ["4 s"]})
    with pytest.raises((InputError, DomainError)):
        winchsim.sweep(small(), {"load.maas": [4.0]})


def test_a_key_that_does_not_apply_is_not_varied(small):
    with pytest.raises(InputError, match=r"stage\.1\.starts: starts does not apply"):
        winchsim.sweep(small(), {"stage.1.starts": [1, 2]})
    both = {"supply.kind": ["bench", "battery"], "supply.capacity": [1.0]}
    assert [len(winchsim.sweep(small(), both)), small().supply.kind] == [2, "bench"]


def test_an_executor_gives_the_same(small):
    values = {"load.mass": [4.0, 40.0]}
    with ThreadPoolExecutor(2) as executor:
        pooled = winchsim.sweep(small(), values, simulate=True, executor=executor)
    assert pooled.rows() == winchsim.sweep(small(), values, simulate=True, workers=1).rows()


@pytest.mark.parametrize("full", [False, True])
def test_a_build_that_cannot_be_made_fails_and_says_why(small, full):
    found = winchsim.sweep(small(), {"load.mass": [4.0, -1.0]}, simulate=full, workers=1)
    assert (found.status(1), found.ends[1]) == (Status.FAILS, None)
    assert "load.mass" in found.problems[1]
    assert found.rows()[1]["lift_time_s"] is None and found.ends[0] is End.REACHED


def test_rows_are_in_si_with_the_unit_in_the_key_and_csv_and_frame_hold_them(small):
    found = winchsim.sweep(small(), {"load.mass": [4.0, 8.0], "supply.voltage": ["6 V"]})
    rows = found.rows()
    assert rows[0]["load.mass_kg"] == 4.0 and rows[0]["supply.voltage_v"] == 6.0
    names = {
        "lift_time_s",
        "peak_current_a",
        "starting_margin_hot",
        "holding_margin",
        "weakest_part",
        "winding_temperature_c",
        "part",
        "status",
        "binding",
    }
    assert names <= set(rows[0])
    read = list(csv.DictReader(io.StringIO(found.to_csv())))
    assert [float(row["lift_time_s"]) for row in read] == pytest.approx(
        found.results["lift_time"].tolist(), rel=1e-8
    )
    pandas = pytest.importorskip("pandas")
    assert isinstance(found.to_frame(), pandas.DataFrame) and len(found.to_frame()) == 2


def test_the_binding_check_is_one_that_the_values_change(small):
    """The drum is too thin for the rope whatever the load is: that is no news about the load."""
    found = winchsim.sweep(
        small(drum={"diameter": 0.008}), {"load.mass": np.linspace(2.0, 40.0, 8)}
    )
    assert CheckKey.ROPE_BEND not in {found.binding(index) for index in range(len(found))}
    assert found.binding(7) is CheckKey.TARGET


def test_a_failing_build_is_never_taken_where_another_does_not_fail(small):
    """Nor is one whose rope is thin at 1.3 times its load taken for one that fails."""
    masses = np.array([6.0, 8.0, 40.0])
    found = winchsim.sweep(small(rope={"breaking_force": 160.0}), {"load.mass": masses})
    assert found.sound.tolist() == [True, True, False]
    assert found.order(-masses)[0] in (0, 1) and found.order(masses)[0] == 0
    assert found.order(-masses)[-1] == 2


def test_a_limit_that_the_values_cannot_change_is_not_counted(small):
    """The rope's bend is thin whatever the load is."""
    found = winchsim.sweep(small(drum={"diameter": 0.008}), {"load.mass": [4.0, 6.0]})
    assert (found.check(CheckKey.ROPE_BEND).rank == Status.THIN.rank).all()
    assert CheckKey.ROPE_BEND not in found.changeable
