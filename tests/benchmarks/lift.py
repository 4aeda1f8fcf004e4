"""The shipped working lift against a plain scipy script of the same equations with smoothed
friction, in one run, as ratios.

Run it by hand: ``python tests/benchmarks/lift.py``. It is no test: nothing here depends on a clock
to pass.

The script is what a careful engineer would write in an afternoon: the same motor, chain, drum, rope
and heat, the sign of every friction smoothed by ``tanh(w / w0)``, floor and slack rope by ``max``,
a terminal event at the top and a second run with the power off. Its tolerances are the loosest that
give the same lift time to 0.1 %.
"""

from __future__ import annotations

import math
import time
from pathlib import Path

import numpy as np
from scipy.integrate import solve_ivp

from winchsim.model import Machine, build
from winchsim.model.keys import Event
from winchsim.physics.chain import Chain, drum_ratios
from winchsim.scenario.read import load
from winchsim.simulation import simulate

SCENARIO = next(iter(sorted(Path(__file__).parents[2].joinpath("scenarios").glob("08*.toml"))))
SMOOTHING = 1e-3
"""Drum speed over which friction changes its sign, as a share of the no-load speed."""

TOLERANCES = (1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8)


def smoothed_script(m: Machine, powered: bool):
    """Right-hand side of the same lift with smoothed friction; state: wound, drum speed, travel,
    speed, two temperatures."""
    g, line, body = m.groups[0], m.line, m.body
    k20, r20, n, ratio = g.motor.constant, g.motor.resistance, g.live, g.ratio
    chain: Chain = m.chain
    ratios = drum_ratios(chain)
    rows = [
        (e.ratio, 1 / e.forward, e.reverse, e.drag, e.inertia, q)
        for e, q in zip(chain.elements, ratios[1:], strict=True)
    ]
    rotors = chain.groups[0].inertia * ratios[0]
    w0 = SMOOTHING * m.scales.drum_speed
    mass = body.mass + body.rope_mass
    weight = body.mass * body.gravity
    layers = [(layer.end - m.wound_at_start, layer.radius) for layer in m.layers]
    volts = m.phases[0].voltage if powered else 0.0
    limit = m.phases[0].current_limit
    path = g.heat

    def rhs(t, y):
        s, w, u, v, tw, tc = y.tolist()
        unstretched = m.free_rope - s
        elastic = max(
            0.0,
            line.stiffness * (line.falls * (m.reach - u) + line.lead - unstretched) / unstretched,
        )
        radius = next((r for end, r in layers if s < end), layers[-1][1])
        ds = radius * w / (1 + elastic / line.stiffness)
        tension = max(0.0, elastic + line.damping * (ds - line.falls * v)) if elastic > 0 else 0.0
        r, k = r20 * (1 + 0.00393 * (tw - 20)), k20 * (1 - 0.002 * (tc - 20))
        if powered:
            i = (volts - k * ratio * w) / (r + n * m.source.resistance)
            if n * i > limit:
                i = limit / n
        else:
            i = 0.0
        sign = math.tanh(w / w0)
        up = (1 + sign) / 2
        torque, inertia = tension * radius, 0.0
        for e_ratio, forward, reverse, drag, j, q in reversed(rows):
            inertia += j * q * q
            torque = sign * drag + torque / e_ratio * (up * forward + (1 - up) * reverse)
        inertia += rotors * ratios[0]
        dw = (n * k * i - torque) * ratios[0] / inertia
        dv = (line.falls * tension - weight) / mass
        if u <= 0 and dv < 0:
            dv, v = -v / 1e-3, max(v, 0.0)
        inward = (tw - tc) / path.winding_to_case
        return [
            ds,
            dw,
            v,
            dv,
            (i * i * r - inward) / path.winding_capacity,
            (inward - (tc - m.ambient) / path.case_to_ambient) / path.case_capacity,
        ]

    return rhs


def run_script(m: Machine, method: str, rtol: float) -> tuple[float, int]:
    """Lift time of the script [s] and its right-hand-side calls: the raise to the top, then the
    watch with the power off."""
    y = np.array([0.0, 0.0, m.start_travel, 0.0, m.ambient, m.ambient])
    scale = np.array(
        [m.scales.stretch, m.scales.drum_speed, m.scales.stretch, m.scales.load_speed, 1.0, 1.0]
    )

    def top(t, y):
        return y[2] - m.top_travel

    top.terminal, top.direction = True, 1
    up = solve_ivp(
        smoothed_script(m, True),
        (0, m.phases[0].time),
        y,
        method=method,
        rtol=rtol,
        atol=rtol * scale,
        events=top,
        dense_output=True,
    )
    held = solve_ivp(
        smoothed_script(m, False),
        (up.t[-1], up.t[-1] + 10),
        up.y[:, -1],
        method=method,
        rtol=rtol,
        atol=rtol * scale,
        dense_output=True,
    )
    return float(up.t[-1]), up.nfev + held.nfev


def best_of(call, repeats: int = 5) -> float:
    """Least processor time of several calls. [s]"""
    best = math.inf
    for _ in range(repeats):
        start = time.process_time()
        call()
        best = min(best, time.process_time() - start)
    return best


def loosest(m: Machine, method: str, lift_time: float) -> float | None:
    """Loosest tolerance with which the script gives the lift time to 0.1 %."""
    for rtol in TOLERANCES:
        found, calls = run_script(m, method, rtol)
        if abs(found / lift_time - 1) < 1e-3:
            return rtol
        if calls > 400_000:
            break
    return None


def main() -> None:
    """Print the ratios."""
    inputs = load(str(SCENARIO))
    m = build(inputs)
    record = simulate(m)
    lift_time = record.first(Event.TOP).time
    own = best_of(lambda: simulate(m))
    print(
        f"{SCENARIO.name}: lift time {lift_time:.3f} s, {record.stats.steps} steps, {record.stats.rhs_calls} calls"
    )
    print(f"simulate(): {own * 1e3:.1f} ms")
    for method in ("LSODA", "RK45"):
        rtol = loosest(m, method, lift_time)
        if rtol is None:
            print(f"smoothed script, {method}: no tolerance gives the lift time to 0.1 %")
            continue
        taken = best_of(lambda: run_script(m, method, rtol), 3)  # noqa: B023
        print(
            f"smoothed script, {method}, rtol {rtol:g}: {taken * 1e3:.1f} ms; simulate() takes {own / taken:.2f} of that"
        )
    tall = build(_ten_times_higher(inputs))
    print(f"ten times the height: {best_of(lambda: simulate(tall), 3) / own:.2f} times the cost")


def _ten_times_higher(inputs):
    from winchsim.inputs import with_value

    higher = with_value(inputs, "load.height", inputs.load.height * 10)
    if higher.load.drum_height is not None:
        higher = with_value(
            higher, "load.drum_height", inputs.load.drum_height + 9 * inputs.load.height
        )
    return higher


if __name__ == "__main__":
    main()
