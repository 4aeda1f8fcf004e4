"""Static balances: what the motors can give against what the load asks, at one place of its way,
and at a stall of a run.

Time until a stalled winding is hot. The way to the limit is divided into equal steps of
temperature, the loss straight in each between what supply and motors do at rest at its ends. At a
constant voltage it falls as 1/R, behind the source resistance Rs of n motors as ``R/(R + n Rs)^2``,
which rises up to ``R = n Rs``.
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from scipy.optimize import brentq

from winchsim.assessment.history import History
from winchsim.elementwise import larger
from winchsim.frozen import dataclass, replace
from winchsim.model import DriveLaw, Event, Machine, PhaseStep, pull, raising_phase
from winchsim.physics import heat
from winchsim.physics.chain import demand, shaft_ratios, torque_margin
from winchsim.physics.motor import copper_loss
from winchsim.physics.supply import Regime
from winchsim.simulation import RecordedEvent


@dataclass(frozen=True)
class Margins:
    """Torque that the motors can give at zero speed over the torque that raising takes; 1 just
    stalls.

    Attributes
    ----------
    moving : float
        With the losses of motion: below 1 the drum slows down and stops. [-]
    resting : float
        With the losses at rest: below 1 a drum at rest does not start. [-]
    """

    moving: float
    resting: float

    @property
    def deciding(self) -> float:
        """The one that explains a stall: motion, unless that was possible and only the start from
        rest was not. [-]"""
        return self.moving if self.moving < 1 else self.resting


def margins(
    machine: Machine,
    travel: float,
    layer: int,
    *,
    windings: Sequence[float] | None = None,
    cases: Sequence[float] | None = None,
    phase: PhaseStep | None = None,
) -> Margins:
    """Margins at one place of the load's way.

    Parameters
    ----------
    machine : Machine
    travel : float
        Of the load. [m]
    layer : int
        That the rope runs onto, from 0.
    windings, cases : sequence of float, optional
        Temperatures of each live group; left out, those of the start. [°C]
    phase : PhaseStep, optional
        Left out: the first that raises.
    """
    m, radius = machine, machine.layers[layer].radius
    law = DriveLaw(m, phase or raising_phase(m), *_temperatures(m, windings, cases))
    torques, grips = law.drive(0.0).torques, (1.0, m.breakaway)
    needed = [demand(m.chain, 1, grip)(pull(m, travel, grip) * radius) for grip in grips]
    return Margins(
        *(torque_margin(m.chain, torques, *pair) for pair in zip(needed, grips, strict=True))
    )


def hardest_margins(machine: Machine, *, hot: bool = False) -> Margins:
    """Margins on the fullest layer of the lift.

    Parameters
    ----------
    machine : Machine
    hot : bool
        Whether with the windings at their limits rather than as warm as at the start.
    """
    windings = [g.winding_limit for g in machine.groups] if hot else None
    found = [
        margins(machine, machine.start_travel, i, windings=windings) for i in machine.layers_used
    ]
    return Margins(min(f.moving for f in found), min(f.resting for f in found))


BRAKE_REQUIRED = 1.25
"""What is required of `brake_margin`. [-] Own choice."""


def brake_margin(machine: Machine, radius: Any = None) -> Any:
    """Pull that the brake holds by itself over the pull of the load at the top; 0 without one. [-]

    No friction counts, neither that of the load nor that of gears between it and the brake.

    Parameters
    ----------
    machine : Machine
    radius : float or ndarray, optional
        Of the layer that the rope is on at the top; left out, that of the machine. [m]
    """
    elements, ratios = machine.braked_chain.elements, shaft_ratios(machine.braked_chain)
    radius = machine.layers[max(machine.layers_used)].radius if radius is None else radius
    brakes = (e.drag * n for e, n in zip(elements, ratios[:-1], strict=True) if e.name == "brake")
    return sum(brakes) / larger(pull(machine, machine.top_travel, 0.0) * radius, 1e-12)


HOT_STEPS = 12
"""Steps of temperature in which the warming of a stalled winding is followed up to its limit.
[-]"""


def times_until_hot(
    machine: Machine, phase: PhaseStep, windings: Sequence[float], cases: Sequence[float]
) -> tuple[float, ...]:
    """Time until the stalled winding of each live group passes its limit; infinite where it never
    does. [s]

    Parameters
    ----------
    machine : Machine
    phase : PhaseStep
        Gives voltage and current limit.
    windings, cases : sequence of float
        Temperatures of each live group as the time begins. [°C]

    Notes
    -----
    In `HOT_STEPS` equal steps of temperature, in each of which the loss is linear in it, between
    what supply and motors do at rest at both of its ends: it grows under a current limit, falls at
    a constant voltage, and behind a source's own resistance falls by less, or rises until the two
    resistances are equal. Of each group's way to its limit the others are taken to have gone the
    same share. Own derivation, head of `assessment/margins.py`.
    """
    ways = [
        max(g.winding_limit - winding, 0.0)
        for g, winding in zip(machine.groups, windings, strict=True)
    ]
    stations = [
        [winding + way * step / HOT_STEPS for winding, way in zip(windings, ways, strict=True)]
        for step in range(HOT_STEPS + 1)
    ]
    losses = [_losses_at_rest(machine, phase, station, cases) for station in stations]
    return tuple(
        _time_through(
            g.heat,
            [station[i] for station in stations],
            [loss[i] for loss in losses],
            cases[i],
            machine.ambient,
        )
        for i, g in enumerate(machine.groups)
    )


def _losses_at_rest(
    m: Machine, phase: PhaseStep, windings: Sequence[float], cases: Sequence[float]
) -> list[float]:
    """Heat in one winding of each live group while the motors stand still under power. [W]"""
    return [
        float(copper_loss(g.motor, current, winding)[0])
        for g, current, winding in zip(
            m.groups, DriveLaw(m, phase, windings, cases).drive(0.0).currents, windings, strict=True
        )
    ]


def _time_through(
    path: heat.HeatPath,
    windings: Sequence[float],
    losses: Sequence[float],
    case: float,
    ambient: float,
) -> float:
    """Time in which a winding goes through ascending temperatures, its loss at each of them given;
    infinite for never. [s]"""
    total = 0.0
    for (start, end), (loss, later) in zip(pairwise(windings), pairwise(losses), strict=True):
        if not end > start:
            continue
        growth = (later - loss) / (end - start)
        time = float(heat.time_to_limit(path, loss, start, case, ambient, end, growth))
        if math.isinf(time):
            return math.inf
        case = float(heat.step_exact(path, loss, start, case, ambient, time, growth)[1])
        total += time
    return total


def stalled_until_hot(machine: Machine) -> float:
    """Time that the motors bear standing still under power, from the temperatures of the start on.
    [s]

    Parameters
    ----------
    machine : Machine
    """
    return min(
        times_until_hot(machine, raising_phase(machine), *_temperatures(machine, None, None))
    )


def stalled_windings(history: History) -> dict[int, float]:
    """Temperature of the windings of each live group, by its number, if the warmest motors of a
    run stalled and stayed under power for as long as a run leaves them. [°C]

    Parameters
    ----------
    history : History
    """
    m, record = history.machine, history.record
    windings, cases = (
        [float(record[f"motor_{g.number}_{part}"].max()) for g in m.groups]
        for part in ("winding", "case")
    )
    for _ in range(HOT_STEPS):
        losses = _losses_at_rest(m, raising_phase(m), windings, cases)
        for i, (g, loss) in enumerate(zip(m.groups, losses, strict=True)):
            windings[i], cases[i] = heat.step_exact(
                g.heat, loss, windings[i], cases[i], m.ambient, m.stall_watch / HOT_STEPS
            )
    return {g.number: winding for g, winding in zip(m.groups, windings, strict=True)}


def needed_current(machine: Machine, *, at_rest: bool = False) -> float | None:
    """Supply current at which the motors, at zero speed, just raise the load on the fullest layer;
    None where none does. [A]

    Parameters
    ----------
    machine : Machine
    at_rest : bool
        With the losses at rest, as for a load that hangs at the start.
    """
    phase = replace(raising_phase(machine), current_limit=math.inf)
    most = DriveLaw(machine, phase, *_temperatures(machine, None, None)).drive(0.0).total

    def spare(share: float) -> float:
        found = hardest_margins(
            replace(
                machine, phases=(replace(phase, current_limit=share * most), *machine.phases[1:])
            )
        )
        return min(found.resting if at_rest else found.moving, 2.0) - 1

    if spare(math.inf) < 0:
        return None
    if spare(LEAST_CURRENT) >= 0:
        return LEAST_CURRENT * most
    return float(brentq(spare, LEAST_CURRENT, 1.0)) * most if spare(1.0) > 0 else most


LEAST_CURRENT = 1e-9
"""Share of the current of the stalled motors below which a lift counts as needing none. [-]"""


def _temperatures(
    m: Machine, windings: Sequence[float] | None, cases: Sequence[float] | None
) -> tuple[Sequence[float], Sequence[float]]:
    own = [g.winding_start for g in m.groups], [g.case_start for g in m.groups]
    return windings or own[0], cases or own[1]


LAYER_END = 0.05
"""Share of a turn that counts as the end of a layer: a drum that the next layer stops runs on to it
for a little. [-] Own assumption."""


def stall_margins(history: History, event: RecordedEvent) -> Margins:
    """Margins at the place and the temperatures of a stall; at a layer's end, of the next layer.

    Parameters
    ----------
    history : History
    event : RecordedEvent
        The stall.
    """
    lower, now = layer_that_ends(history, event), history.record["layer"][history.at(event.time)]
    return _on_layer(history, event, int(now) - 1 if lower is None else lower + 1)


def _on_layer(history: History, event: RecordedEvent, layer: int) -> Margins:
    m, (windings, cases) = history.machine, history.temperatures(event.time)
    phase = history.span_at(event.time).step
    return margins(
        m,
        event.height / m.body.rise,
        layer,
        windings=windings,
        cases=cases,
        phase=phase if phase.action == "raise" else None,
    )


def layer_that_ends(history: History, event: RecordedEvent) -> int | None:
    """Layer at whose end the drum stalled, though the motors raise the load on it; None otherwise.

    Parameters
    ----------
    history : History
    event : RecordedEvent
    """
    m = history.machine
    place = m.wound_at_start + float(history.record["rope_wound"][history.at(event.time)])
    near = [
        i
        for i, k in enumerate(m.layers[:-1])
        if abs(place - k.end) <= 2 * math.pi * LAYER_END * k.radius
    ]
    return near[0] if near and _on_layer(history, event, near[0]).moving >= 1 else None


def blocked_by(history: History, event: RecordedEvent) -> str:
    """What keeps the load where it stalled besides weight and friction; empty for nothing.

    Parameters
    ----------
    history : History
    event : RecordedEvent

    Returns
    -------
    str
        ``battery_empty``, ``supply_tripped``, ``snagged`` or ``top_stop``.
    """
    words = {
        Event.EMPTY: "battery_empty",
        Event.SUPPLY: "supply_tripped",
        Event.SNAGGED: "snagged",
        Event.TOP_STOP: "top_stop",
    }
    found = [
        other.event
        for other in history.of(*words)
        if other.time <= event.time
        and (
            other.target is Regime.TRIPPED
            if other.event is Event.SUPPLY
            else other.event is Event.EMPTY or abs(other.height - event.height) < 1e-6
        )
    ]
    return words[Event.EMPTY if Event.EMPTY in found else found[0]] if found else ""
