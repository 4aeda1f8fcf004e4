"""The start of a slow lift under a voltage that rises, beside full runs."""

from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from winchsim.face import read
from winchsim.frozen import replace
from winchsim.inputs import Inputs, Pawl, Phase
from winchsim.model import Event, build
from winchsim.simulation import simulate
from winchsim.slow import lift_batch, lift_machine, stack_machines
from winchsim.slow.climb import Climb
from winchsim.strength.link import LinkKind

SCENARIOS = Path(__file__).parents[2] / "scenarios"
HANGS = "load.start_height=0.4 m"


def ramped(name: str, ramp: float, *values: str) -> Inputs:
    """A scenario of the project, with other values, whose voltage rises: one layer, held by a pawl
    alone, and no longer than to the top."""
    inputs = read(next(SCENARIOS.glob(f"{name}*.toml")), ["drum.width=500 mm", *values])
    phase = Phase(action="raise", until="top", ramp=ramp)
    return replace(inputs, phase=(phase,), pawl=Pawl(), brake=None)


STARTS = {
    "breaks away": ("14", 0.3, HANGS, "settings.breakaway=1.5", "load.mass=8 kg"),
    "breaks away, soft": ("10", 0.1, HANGS, "load.mass=12 kg", "rope.axial_stiffness=3 kN"),
    "bounces": ("03", 0.2, HANGS, "settings.breakaway=1.5"),
    "gentle": ("11", 0.5, HANGS, "rope.axial_stiffness=150 kN"),
    "rotors": ("05", 0.06, HANGS, "load.height=1 m", "rope.axial_stiffness=30 kN"),
    "from the floor": ("03", 0.4, "load.mass=5 kg"),
    "from the floor, stiff": ("07", 0.34, "load.height=0.5 m", "rope.axial_stiffness=100 kN"),
    "loose rope": ("12", 0.6, "load.height=1 m", "rope.slack=20 mm"),
}
"""What decides in a start, and a scenario where it does."""


@pytest.mark.parametrize("start", STARTS.values(), ids=STARTS)
def test_a_rising_voltage_asks_of_the_links_what_it_does_in_the_full_run(start):
    """And it takes as long, as much current and as much charge."""
    machine = build(ramped(*start))
    slow, record = lift_machine(machine), simulate(machine)
    assert record.first(Event.TOP) is not None
    for place, kind in enumerate(LinkKind):
        shares = [k.share for k in record.demands if machine.links[k.link].kind is kind]
        if shares:
            assert 0.98 < max(shares) * slow["kind_factors"][place] < 1.02, kind
    assert slow["peak_tension"] == pytest.approx(record["tension"].max(), rel=0.01)
    assert slow["lift_time"] == pytest.approx(record.time[-1], rel=0.01)
    assert slow["peak_current"] == pytest.approx(record["current"].max(), rel=0.05)
    assert slow["charge"] == pytest.approx(record["charge"][-1], rel=0.03)


@pytest.mark.parametrize("slack", [0.0, 0.02])
@pytest.mark.parametrize("ramp", [0.05, 0.3, 1.5])
def test_the_load_lifts_off_when_it_does_in_the_full_run_and_as_fast(ramp, slack):
    machine = build(ramped("03", ramp, f"rope.slack={slack} m", "rope.damping_ratio=0.01"))
    record = simulate(machine)
    lift_off = record.first(Event.LIFT_OFF)
    with np.errstate(all="ignore"):
        start = Climb(stack_machines([machine])).start
        speed, time = start.take_up()
    at = int(np.searchsorted(record.time, lift_off.time))
    assert time[0] == pytest.approx(lift_off.time, rel=0.05)
    assert speed[0] == pytest.approx(record["drum_speed"][at], rel=0.05, abs=0.01 * start.loaded[0])


@pytest.mark.parametrize("ramp", [0.001, 0.1, 10.0])
def test_largest_acceleration_under_a_rising_voltage_is_that_of_the_integrated_motion(small, ramp):
    """Just after breakaway in a long ramp, at the end of a short one."""
    phase = Phase(action="raise", until="top", ramp=ramp)
    inputs = small(load={"start_height": 0.1}, settings={"breakaway": 1.5}, phase=phase)
    with np.errstate(all="ignore"):
        start = Climb(stack_machines([build(inputs)])).start
        at_once = start.held / start.tau
        most = start.gain(at_once)[0]
    rest, held = start.ramp - start.begins, start.held
    moved = solve_ivp(
        lambda t, w: (start.freed + (held - start.freed) * t / rest - w) / start.tau,
        (0.0, rest[0]),
        [0.0],
        rtol=1e-9,
        atol=1e-12,
    )
    last = (held[0] - moved.y[0, -1]) / start.tau[0]
    assert most == pytest.approx(max(start.freed[0] / start.tau[0], last), rel=1e-6)
    assert bool(most > last * 1.01) is (ramp > 0.01) and most < at_once[0]


def test_a_voltage_that_is_on_at_once_is_the_end_of_ever_shorter_ramps(small):
    """Also side by side in one batch."""
    machines = [
        build(small(phase=Phase(action="raise", until="top", ramp=ramp))) for ramp in (0.0, 1e-6)
    ]
    at_once, short = lift_batch(stack_machines(machines))
    for name in ("lift_time", "peak_tension", "peak_current", "factor", "charge"):
        assert short[name] == pytest.approx(at_once[name], rel=2e-3), name
    assert at_once["peak_current"] == at_once["standstill_current"]
