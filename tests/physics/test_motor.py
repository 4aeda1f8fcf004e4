"""The motor's law, and its constants from a data sheet, points, bench measures or a label."""

import dataclasses
import math

import numpy as np
import pytest

from winchsim.errors import DomainError
from winchsim.physics.motor import (
    Motor,
    Output,
    OutputGearbox,
    constant_at,
    copper_loss,
    from_bench,
    from_data_sheet,
    from_label,
    from_points,
    no_load,
    operating_point,
    resistance_at,
    shaft_torque,
    stall,
    steady_current,
)
from winchsim.physics.motor.fitted import FitNote, Remark

RPM = 2.0 * math.pi / 60.0
PLAIN = Motor(resistance=2.0, constant=0.01, drag=0.002)
FULL = Motor(resistance=2.0, constant=0.01, drag=0.001, drag_slope=2e-6, brush_drop=0.8)


# --- the law


def warmed(motor, winding, magnet):
    """A motor as it is at other temperatures than 20 °C."""
    resistance = resistance_at(motor.resistance, winding, motor.copper_coefficient)
    return dataclasses.replace(
        motor,
        resistance=resistance,
        constant=constant_at(motor.constant, magnet, motor.magnet_coefficient),
    )


def off(fit):
    """How far speed and current of fitted points are off, as shares of free speed, stall current."""
    (values,) = [note.values for note in fit.notes if note.kind is Remark.FITTED]
    return values[1:]


def test_copper_loss_and_its_growth_are_those_of_the_warm_resistance():
    loss, growth = copper_loss(PLAIN, 3.0, 80.0)
    assert loss == pytest.approx(9.0 * resistance_at(2.0, 80.0))
    assert growth == pytest.approx(copper_loss(PLAIN, 3.0, 81.0)[0] - loss), (
        "the same current, one kelvin warmer"
    )
    power = 6.0 * steady_current(warmed(PLAIN, 80.0, 20.0), 6.0, 0.0)
    warmer = 6.0 * steady_current(warmed(PLAIN, 80.01, 20.0), 6.0, 0.0)
    _, growth = copper_loss(PLAIN, power / 6.0, 80.0)
    assert (warmer - power) / 0.01 == pytest.approx(-growth, rel=1e-3), (
        "the same voltage: it falls by as much"
    )


def test_standstill_torque_is_what_the_drag_leaves():
    assert stall(PLAIN, 6.0)[0] == pytest.approx(0.028)
    assert stall(PLAIN, 0.3)[0] == 0.0  # 0.0015 N·m of magnetic torque does not overcome 0.002


def test_no_current_within_the_brush_drop():
    found = [steady_current(FULL, 5.0, speed) for speed in (400.0, 450.0, 570.0, 600.0)]
    assert found == [pytest.approx(0.1), 0.0, 0.0, pytest.approx(-0.1)]


@pytest.mark.parametrize("motor", [PLAIN, FULL])
@pytest.mark.parametrize("voltage", [6.0, 1.5])
@pytest.mark.parametrize("torque", [0.0, 0.0005, 0.0025, 0.01, 0.05])
def test_operating_point_is_where_the_torques_meet(motor, voltage, torque):
    point = operating_point(motor, voltage, torque)
    assert point.current == pytest.approx(steady_current(motor, voltage, point.speed))
    if point.speed:
        assert shaft_torque(motor, voltage, point.speed) == pytest.approx(torque, abs=1e-12)
    else:
        assert motor.constant * point.current <= torque + motor.drag + 1e-12


def test_free_running_motor_without_drag_draws_nothing():
    motor = Motor(resistance=1.0, constant=0.5, drag=0.0, brush_drop=0.2)
    assert no_load(motor, 1.4) == (pytest.approx(2.4), 0.0)


def test_operating_point_of_an_array_is_that_of_each_entry():
    torques = np.linspace(0.0, 0.05, 101)
    together = operating_point(FULL, 6.0, torques)
    alone = [operating_point(FULL, 6.0, float(torque)) for torque in torques]
    assert together.speed.tolist() == pytest.approx([point.speed for point in alone], rel=1e-14)
    assert together.current.tolist() == pytest.approx([point.current for point in alone], rel=1e-14)
    assert np.any(together.speed == 0.0)
    assert np.all(np.diff(together.speed) <= 0.0)


def test_hot_motor_is_weaker_and_quicker():
    hot = warmed(PLAIN, winding=120.0, magnet=70.0)
    assert (hot.resistance, hot.constant) == pytest.approx((2.0 * 1.393, 0.009))
    assert stall(hot, 6.0)[0] < stall(PLAIN, 6.0)[0]
    assert no_load(hot, 6.0)[0] > no_load(PLAIN, 6.0)[0]


def test_temperature_laws_take_arrays():
    temperatures = np.array([20.0, 120.0])
    assert resistance_at(2.0, temperatures) == pytest.approx([2.0, 2.786])
    assert constant_at(0.01, temperatures) == pytest.approx([0.01, 0.008])


# --- data sheet


def sheet_of(motor, voltage):
    (speed, idle), (torque, current) = no_load(motor, voltage), stall(motor, voltage)
    return speed, idle, torque, current


SPEED, IDLE, TORQUE, CURRENT = sheet_of(PLAIN, 6.0)


@pytest.mark.parametrize(
    "gearbox",
    [None, OutputGearbox(30.0), OutputGearbox(30.0, 0.8), OutputGearbox(30.0, data_at="motor")],
)
@pytest.mark.parametrize("extras", [{}, {"brush_drop": 0.4}, {"drag_speed_share": 0.6}])
def test_free_run_and_stall_come_back_exactly(gearbox, extras):
    """A fit that compromises between torque and speed, or counts a gearbox twice, misses one of the
    four."""
    fit = from_data_sheet(6.0, 60.0, 0.2, 0.19, 3.0, gearbox=gearbox, measured=True, **extras)
    free, held = fit.operating_point(6.0, 0.0), fit.operating_point(6.0, 0.19 * (1 - 1e-12))
    assert (free.speed, free.current) == (
        pytest.approx(60.0, rel=1e-9),
        pytest.approx(0.2, rel=1e-9),
    )
    assert (held.speed, held.current) == (
        pytest.approx(0.0, abs=1e-6),
        pytest.approx(3.0, rel=1e-9),
    )
    assert (fit.no_load_speed, fit.stall_torque, fit.stall_current) == pytest.approx(
        (60.0, 0.19, 3.0)
    )


def test_what_torque_lacks_against_speed_is_a_loss_in_proportion_to_it():
    fit = from_data_sheet(6.0, SPEED, IDLE, 0.8 * TORQUE, CURRENT)
    assert dataclasses.replace(fit.motor, inertia=0.0) == PLAIN, (
        "speed and current are not touched by it"
    )
    assert fit.output.efficiency == pytest.approx(0.8)
    assert fit.output.reverse == pytest.approx(math.sqrt(0.8)), (
        "what holds a load is taken at the end that holds least"
    )
    row = fit.assumed["reverse_efficiency"]
    assert (row.low, row.high) == (pytest.approx(2 - 1 / 0.8), pytest.approx(math.sqrt(0.8)))


def test_a_stall_torque_of_a_data_sheet_may_be_less_at_rest_and_a_lever_test_is_what_it_is():
    sheet = from_data_sheet(6.0, 560.0, 0.2, 0.0252, 3.0)
    assert sheet.assumed["breakaway"][:3] == (1.0, 1.0, 1.3)
    assert "breakaway" not in from_bench(**bench(lever_force=0.045)).assumed
    # Behind a lever test of the motor alone a gearbox of which only the efficiency in motion is
    # known may still take more at rest; one that was tested with it may not.
    for data_at, unsure in (("motor", True), ("output", False)):
        box = OutputGearbox(ratio=10.0, data_at=data_at)
        tested = from_bench(**bench(lever_force=0.045), gearbox=box)
        assert ("breakaway" in tested.assumed) is unsure


def test_a_rounding_excess_of_torque_is_clipped_and_a_larger_one_refused():
    fit = from_data_sheet(6.0, SPEED, IDLE, 1.04 * TORQUE, CURRENT)
    assert fit.output.efficiency == 1.0
    assert (fit.no_load_speed, fit.stall_torque) == (pytest.approx(SPEED), pytest.approx(TORQUE))
    assert fit.notes == (FitNote(Remark.CONTRADICTION, (pytest.approx(0.04),)),)
    with pytest.raises(DomainError, match=r"^stall_torque is"):
        from_data_sheet(6.0, SPEED, IDLE, 1.06 * TORQUE, CURRENT)
    varied = from_data_sheet(6.0, SPEED, IDLE, 1.5 * TORQUE, CURRENT, strict=False)
    assert varied.stall_torque == pytest.approx(TORQUE)


def test_hardly_any_torque_is_asked_about_unless_it_was_measured():
    with pytest.raises(DomainError, match=r"^stall_torque is"):
        from_data_sheet(6.0, SPEED, IDLE, 0.19 * TORQUE, CURRENT)
    assert from_data_sheet(
        6.0, SPEED, IDLE, 0.19 * TORQUE, CURRENT, measured=True
    ).output.efficiency == pytest.approx(0.19)


def test_rotor_inertia_left_out_comes_from_a_time_constant():
    fit = from_data_sheet(6.0, *sheet_of(PLAIN, 6.0))
    assumption = fit.assumed["rotor_inertia"]
    assert fit.motor.inertia == assumption.value == pytest.approx(0.015 * 0.028 / 560.0)
    assert assumption.low < assumption.value < assumption.high


def test_data_at_a_gearbox_output_contain_all_its_losses():
    data = (6.0, SPEED / 50.0, IDLE, TORQUE * 50.0 * 0.6, CURRENT)
    fit, split = (
        from_data_sheet(*data, gearbox=OutputGearbox(50.0)),
        from_data_sheet(*data, gearbox=OutputGearbox(50.0, 0.7)),
    )
    assert fit.motor == split.motor
    assert fit.motor.drag == pytest.approx(
        PLAIN.drag
    )  # the gearbox' idle drag is in the current, so it is in here
    assert fit.output.efficiency == split.output.efficiency == pytest.approx(0.6), (
        "none comes on top"
    )
    assert split.output.own_efficiency == pytest.approx(0.6 / 0.7), (
        "a given one only divides the loss"
    )
    assert (fit.output.ratio, fit.output.geared) == (50.0, True)
    assert "gearbox.efficiency" not in fit.assumed


def test_data_of_the_motor_alone_get_the_gearbox_on_top():
    sheet = sheet_of(PLAIN, 6.0)
    fit = from_data_sheet(6.0, *sheet, gearbox=OutputGearbox(36.0, data_at="motor"))
    assert fit.output.efficiency == pytest.approx(0.9**3)  # three pairs of 3.3:1
    assert (fit.no_load_speed, fit.stall_torque) == (
        pytest.approx(sheet[0]),
        pytest.approx(sheet[2]),
    )
    row = fit.assumed["gearbox.efficiency"]
    assert (row.low, row.high) == pytest.approx((0.87**3, 0.94**3))
    planetary = from_data_sheet(
        6.0, *sheet, gearbox=OutputGearbox(20.0, kind="planetary", data_at="motor")
    )
    assert planetary.output.efficiency == pytest.approx(0.81**2)


def test_a_speed_that_no_output_shaft_has_is_asked_about():
    data = (6.0, 560.0, 0.2, 0.025, 3.0)
    with pytest.raises(DomainError, match=r"^gearbox\.data_at is"):
        from_data_sheet(*data, gearbox=OutputGearbox(10.0))
    assert from_data_sheet(
        *data, gearbox=OutputGearbox(10.0, data_at="output")
    ).motor.constant == pytest.approx(0.001)
    assert from_data_sheet(*data, gearbox=OutputGearbox(9.0)).output.ratio == 9.0


def test_reverse_efficiency_is_taken_by_gear_pairs():
    four = Output(100.0, 0.9**4, 1.0, 4)
    assert four.reverse_range[0] == four.dragged == pytest.approx((2.0 - 1.0 / 0.9) ** 4)
    assert four.reverse_range[1] < four.reverse_range[0] < four.reverse_range[2] == four.reverse
    assert Output(1.0, 0.4, 1.0).reverse_range[0] == pytest.approx(-0.5)
    assert Output(1.0, 0.4, 1.0, given_reverse=-0.1).reverse == -0.1
    assert Output(1.0, 1.0, 1.0).assumed == {}
    assert [OutputGearbox(ratio).pairs for ratio in (1.5, 6.25, 30.0, 150.0)] == [1, 2, 3, 4]


# --- points


def points_of(motor, voltage, torques):
    found = [operating_point(motor, voltage, torque) for torque in torques]
    return torques, [point.speed for point in found], [point.current for point in found]


@pytest.mark.parametrize("torques", [[0.0, 0.028], [0.004, 0.021], [0.0, 0.005, 0.01, 0.02]])
def test_points_of_a_motor_with_a_loss_in_proportion_to_torque_come_back(torques):
    lossy = from_data_sheet(6.0, 560.0, 0.2, 0.02, 3.0, inertia=1e-7)
    points = [lossy.operating_point(6.0, 20 / 28 * torque) for torque in torques]
    columns = [[getattr(point, key) for point in points] for key in ("torque", "speed", "current")]
    fit = from_points(6.0, *columns, inertia=1e-7)
    assert fit.output.efficiency == pytest.approx(20 / 28)
    assert dataclasses.asdict(fit.motor) == pytest.approx(dataclasses.asdict(lossy.motor))
    assert max(off(fit)) < 1e-6


@pytest.mark.parametrize("torques", [[0.0, 0.005, 0.01, 0.02], [0.004, 0.02]])
def test_points_with_brush_drop_and_growing_drag(torques):
    """Where no point is the free run, its speed follows from the others."""
    motor = dataclasses.replace(FULL, drag_slope=0.001 / no_load(FULL, 6.0)[0])
    w0 = no_load(motor, 6.0)[0]
    share = motor.drag_slope * w0 / (motor.drag + motor.drag_slope * w0)
    fit = from_points(
        6.0,
        *points_of(motor, 6.0, torques),
        brush_drop=0.8,
        drag_speed_share=share,
    )
    known = dataclasses.replace(motor, inertia=fit.motor.inertia)
    assert dataclasses.asdict(fit.motor) == pytest.approx(dataclasses.asdict(known), rel=1e-6)


def test_points_at_a_gearbox_output():
    torques, speeds, currents = points_of(PLAIN, 6.0, [0.0, 0.01, 0.02])
    box = OutputGearbox(30.0, 0.8)
    fit = from_points(
        6.0, [24.0 * m for m in torques], [w / 30.0 for w in speeds], currents, gearbox=box
    )
    assert (fit.motor.constant, fit.output.efficiency) == pytest.approx((0.01, 0.8))
    assert fit.no_load_speed == pytest.approx(560.0 / 30.0)


def test_scattered_points_report_how_far_they_are_off():
    torques, speeds, currents = points_of(PLAIN, 6.0, [0.0, 0.008, 0.016, 0.024])
    speeds[1] *= 0.7
    fit = from_points(6.0, torques, speeds, currents)
    assert off(fit)[0] > 0.1 > off(fit)[1]
    assert fit.best_measurement == FitNote(Remark.WORKING_POINT, (6.0,))


def test_points_never_fit_a_drag_below_zero():
    torques, speeds, currents = points_of(PLAIN, 6.0, [0.004, 0.02])
    fit = from_points(6.0, torques, speeds, [current - 0.3 for current in currents])
    assert fit.motor.drag == 0.0
    assert max(off(fit)) > 0.0


# --- bench

WHOLE_BENCH = {
    "terminal_resistance": 2.0,
    "no_load_voltage": 6.0,
    "no_load_speed": 560.0,
    "no_load_current": 0.2,
    "lever_voltage": 1.5,
    "lever_current": 0.75,
    "lever_force": 0.055,
    "lever_arm": 0.1,
}


def bench(*left_out, **changed):
    return {key: value for key, value in (WHOLE_BENCH | changed).items() if key not in left_out}


@pytest.mark.parametrize(
    "measures",
    [
        bench(),
        bench(terminal_resistance=None),
        bench("lever_voltage", "lever_current", "lever_force", "lever_arm"),
        bench("lever_force", "lever_arm"),
    ],
)
def test_any_sufficient_bench_measures_give_the_motor(measures):
    motor = from_bench(**measures).motor
    assert (motor.resistance, motor.constant, motor.drag) == pytest.approx((2.0, 0.01, 0.002))


@pytest.mark.parametrize("measured", [2.0, None])
def test_lever_test_stands_in_for_a_tachometer(measured):
    """Pull and current of a stalled shaft give the torque constant; the speed follows from the
    usual ratio of the two."""
    alone = {"terminal_resistance": measured, "no_load_speed": None}
    fit = from_bench(**bench(**alone))
    assert fit.stall_torque == pytest.approx(0.01 * (3.0 - 0.2))
    assert fit.motor.constant == pytest.approx(0.01 / 0.85)
    row = fit.assumed["efficiency"]
    assert (row.low, row.value, row.high) == (0.78, 0.85, 1.0)
    assert fit.best_measurement is None, "nobody is sent for a tachometer"
    box = OutputGearbox(30.0)
    geared = from_bench(**bench(**alone, lever_force=30 * 0.05), gearbox=box)
    assert geared.output.efficiency == pytest.approx(0.85 * 0.9**3)


def test_bench_asks_for_the_stall_at_a_low_voltage_behind_a_guard():
    fit = from_bench(2.0, 6.0, 560.0, 0.2)
    assert fit.best_measurement == FitNote(Remark.STALL, (1.5,))


def test_bench_asks_for_what_is_missing_next():
    assert from_bench(**bench("lever_force")).best_measurement.kind is Remark.LEVER
    assert from_bench(**bench()).best_measurement is None


def test_bench_says_when_meter_and_stall_disagree():
    fit = from_bench(**bench(terminal_resistance=3.1))
    assert fit.motor.resistance == pytest.approx(2.0)
    assert fit.notes == (FitNote(Remark.METER_DISAGREES, (3.1, pytest.approx(2.0))),)


def test_run_and_lever_each_come_back_and_a_lever_that_pulls_too_much_is_refused():
    fit = from_bench(**bench(lever_force=0.055 * 0.8))
    assert (fit.no_load_speed, fit.output.efficiency) == (pytest.approx(560.0), pytest.approx(0.8))
    with pytest.raises(DomainError, match=r"^lever_force is"):
        from_bench(**bench(lever_force=0.055 * 1.5))


# --- label


def test_label_with_stall_current():
    fit = from_label(6.0, 560.0, stall_current=3.0)
    assert (fit.motor.resistance, fit.no_load_speed) == pytest.approx((2.0, 560.0))
    assert list(fit.assumed)[:3] == [
        "no_load_current",
        "efficiency",
        "rotor_inertia",
    ]
    assert fit.best_measurement.kind is Remark.FREE_RUN


def test_label_with_everything_but_the_torque_takes_it_from_the_usual_loss():
    fit = from_label(6.0, 560.0, stall_current=3.0, no_load_current=0.2)
    assert (fit.motor.constant, fit.stall_torque) == pytest.approx((0.01, 0.85 * 0.028))
    assert from_label(
        6.0, 560.0, stall_current=3.0, no_load_current=0.2, efficiency=0.9
    ).stall_torque == pytest.approx(0.0252)
    assert fit.best_measurement is None


def test_label_with_body_size_says_how_unsure_it_is():
    fit = from_label(6.0, 11500 * RPM, body_diameter=0.020, body_length=0.025)
    current = fit.assumed["stall_current"]
    assert current.high / current.low == pytest.approx(9.0)
    assert current.low < 1.4 < current.high  # what the data sheet of such a can says
    assert fit.no_load_speed == pytest.approx(11500 * RPM)
    assert fit.stall_torque / fit.no_load_speed == pytest.approx(0.85 * 1500.0 * 0.020**4 * 0.025)
    assert fit.best_measurement.kind is Remark.STALL


def test_label_stall_torque_does_not_hang_on_the_winding():
    # Two windings of one can: another voltage and current for the same speed, the same torque.
    low = from_label(3.0, 900.0, body_diameter=0.024, body_length=0.031)
    high = from_label(12.0, 900.0, body_diameter=0.024, body_length=0.031)
    assert (high.stall_torque, high.stall_current) == pytest.approx(
        (low.stall_torque, low.stall_current / 4.0)
    )


def test_label_with_a_diameter_alone_assumes_the_length():
    fit = from_label(6.0, 900.0, body_diameter=0.024)
    assert fit.assumed["body_length"].value == pytest.approx(1.4 * 0.024)
    assert fit.motor == from_label(6.0, 900.0, body_diameter=0.024, body_length=1.4 * 0.024).motor


def test_label_behind_a_gearbox_takes_the_speed_at_the_output():
    bare = from_label(6.0, 900.0, body_diameter=0.024)
    geared = from_label(6.0, 9.0, body_diameter=0.024, gearbox=OutputGearbox(100.0, 0.6))
    assert geared.motor == bare.motor
    assert geared.stall_torque == pytest.approx(60.0 * bare.stall_torque)


# --- what does not suffice


SHEET = {
    "voltage": 6.0,
    "no_load_speed": 560.0,
    "no_load_current": 0.2,
    "stall_torque": 0.028,
    "stall_current": 3.0,
}
LABEL = {"voltage": 6.0, "no_load_speed": 560.0}


def points(torque, speed, current, voltage=6.0, **more):
    return {"voltage": voltage, "torque": torque, "speed": speed, "current": current, **more}


@pytest.mark.parametrize(
    ("fit", "values", "argument"),
    [
        (from_data_sheet, SHEET | {"no_load_current": 3.0}, "no_load_current"),
        (from_data_sheet, SHEET | {"stall_torque": 0.0}, "stall_torque"),
        (from_data_sheet, SHEET | {"stall_torque": 28.0}, "stall_torque"),  # N·m for mN·m
        (from_data_sheet, SHEET | {"stall_torque": 0.0028}, "stall_torque"),
        (from_data_sheet, SHEET | {"brush_drop": 6.0}, "brush_drop"),
        (from_points, points([0.01], [300.0], [1.0]), "points"),
        (from_points, points([0.01] * 2, [300.0] * 2, [1.0] * 2), "points"),  # the same twice
        # faster under load, drawing less; then a resistance below zero; then no straight line
        (from_points, points([0.0, 0.02], [300.0, 600.0], [2.0, 0.1]), "points"),
        (from_points, points([0.0, 0.02], [300.0, 600.0], [0.1, 0.2]), "points"),
        (from_points, points([0.0, 0.001, 0.02], [300.0, 500.0, 600.0], [0.1, 2.0, 0.1]), "points"),
        (from_points, points([0.0, 0.02], [0.0, 0.0], [2.0, 3.0]), "points.speed"),
        (
            from_points,
            points([0.0, 0.01], [300.0, 0.0], [0.2, 0.1], voltage=0.5, brush_drop=0.6),
            "voltage",
        ),
        (from_bench, bench(lever_force=55.0), "lever_force"),
        (from_bench, bench(lever_force=0.005), "lever_force"),
        (
            from_bench,
            bench(no_load_current=4.0, lever_current=5.0, lever_voltage=10.0),
            "no_load_current",
        ),
        (from_bench, bench(no_load_current=0.9), "lever_current"),
        (
            from_bench,
            bench(no_load_speed=None, no_load_current=4.0, lever_current=5.0, lever_voltage=10.0),
            "no_load_current",
        ),
        (from_label, LABEL, "body_diameter"),
        (from_label, LABEL | {"body_length": 0.03}, "body_diameter"),
        (from_label, LABEL | {"stall_current": 3.0, "no_load_current": 3.5}, "no_load_current"),
        (from_label, LABEL | {"stall_current": 3.0, "brush_drop": 7.0}, "brush_drop"),
    ],
)
def test_what_does_not_suffice_is_refused_at_its_argument(fit, values, argument):
    with pytest.raises(DomainError) as refused:
        fit(**values)
    assert refused.value.argument == argument
