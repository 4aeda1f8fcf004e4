"""What follows when a guard fires: one small rule for each, and the state that the next mode starts
from."""

import math
from collections.abc import Callable, Hashable

import numpy as np

from winchsim.hybrid import UNTIL, Mode, Switch
from winchsim.model.electric import Motors
from winchsim.model.guards import FOLLOWED_BOUNCES, mode
from winchsim.model.keys import (
    Action,
    AtGroup,
    AtLayer,
    AtLink,
    Event,
    LoadPlace,
    ModeKey,
    RecordedEvent,
    Step,
    Trip,
)
from winchsim.model.link_demands import link_shares
from winchsim.model.machine import Machine
from winchsim.model.motion import CALM, Flow, Motion, sticking_force
from winchsim.physics import load, rope, supply as sp
from winchsim.physics.chain import drum_inertia
from winchsim.physics.supply import Regime

PROGRESS = 1e-6
"""Share of the height that counts as an advance of load or take-up. [-]"""

DYING = 0.05
SMALLEST = 1e-6
"""A bounce that dies down by this share is getting on, down to this share of the static stretch.
[-]"""

RISING = 0.01
"""Share of its end by which a rising voltage is getting on. [-]"""

FOLLOWED_SLIPS = 40
"""Slips of a load in its guide, in one phase, that are followed one by one; from then on its mean
motion is. [-] Own choice: enough to see how often it slips and how far the pull swings."""

BRIEFLY = 3.0
"""Bounce periods for which a bounce is followed after `FOLLOWED_BOUNCES`, which show its peak, and
the mean motion after that. [-] Own choice."""

AVERAGED_GAIN = 0.05
"""Share of the pull that may speed up a load whose bounces are averaged: the mean motion leaves it
out of the pull. [-] Own choice."""

RETRY_PERIODS, RETRY_SHARE = 10.0, 0.1
"""A rope that was not found settled is looked at again after ten bounce periods, or a tenth of the
phase's time. Own choice."""

CONFIRM_PERIODS = 10.0
SHORTEST_CONFIRM = 0.2
"""A drum at rest under power counts as stalled when it has stayed so for ten bounce periods, or for
one where the power then goes off, and at least this long [s]: before that, the bounce of the load
may still let it start again. Own assumption."""


class WinchProblem:
    """A machine as the runner wants it: modes, switches, and what counts as getting on.

    Parameters
    ----------
    machine : Machine

    Attributes
    ----------
    last_key : ModeKey
        Mode reached at the last switch, also where that switch ended the run.
    """

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.motion = Motion(machine)
        self._way = self._place = self._at = 0.0
        self._slips = 0  # of the load in its guide, since the phase began
        self._bouncing = self._since = 0.0  # time for which it has bounced, up to the last switch
        self._averaged = False  # whether the record says so of this phase
        start, halt = self._start_drum, self._halt
        rubs = machine.body.friction > 0
        up, down = (LoadPlace.UP, LoadPlace.DOWN) if rubs else (LoadPlace.FREE, LoadPlace.FREE)
        self._rules: dict[Hashable, Callable[..., None]] = {
            Trip.DRUM_STOPS: self._stop_drum,
            Trip.RAISES: lambda step: start(step, 1),
            Trip.RUNS_BACK: lambda step: start(step, -1),
            Trip.WEDGES: self._on_wedges,
            Trip.LAYER_UP: lambda step: self._change_layer(step, step.key.layer + 1),
            Trip.LAYER_DOWN: lambda step: self._change_layer(step, step.key.layer - 1),
            Trip.PAID_OUT: lambda step: step.finish(Event.PAID_OUT),
            Trip.OVERLOAD: self._on_overload,
            Trip.TAUT: lambda step: step.mark(Event.TAUT, taut=True),
            Trip.SLACK: lambda step: step.mark(Event.SLACK, taut=False),
            Trip.SETTLES: self._on_settles,
            Trip.LIFTS: lambda step: step.mark(Event.LIFT_OFF, load=up),
            Trip.COMES_OFF: lambda step: step.mark(Event.CAME_OFF, load=down),
            Trip.LOAD_STOPS: self._on_load_stops,
            Trip.SLIPS_UP: lambda step: self._slip(step, LoadPlace.UP),
            Trip.SLIPS_DOWN: lambda step: self._slip(step, LoadPlace.DOWN),
            Trip.FLOOR: self._on_floor,
            Trip.SNAG: lambda step: halt(step, LoadPlace.SNAG, Event.SNAGGED, machine.snag_travel),
            Trip.TOP: self._on_top,
            Trip.TOP_STOP: lambda step: halt(
                step, LoadPlace.STOP, Event.TOP_STOP, machine.stop_travel
            ),
            Trip.REGIME: self._on_regime,
            Trip.HOT: self._on_hot,
            Trip.EMPTY: self._on_empty,
            UNTIL: self._on_until,
        }

    def begin(self) -> tuple[ModeKey, np.ndarray, tuple[RecordedEvent, ...]]:
        """Mode and state in which a run begins, and what happens at once."""
        m, y = self.machine, np.zeros(self.machine.states)
        y[2] = m.start_travel
        y[4] = rope.span(m.line, m.reach - m.start_travel) - m.free_rope
        y[5:-1] = [start for g in m.groups for start in (g.winding_start, g.case_start)]
        wound, last = m.wound_at_start, len(m.layers) - 1
        layer = next((i for i, row in enumerate(m.layers) if wound < row.end), last)
        hangs = LoadPlace.STUCK if m.body.friction > 0 else LoadPlace.FREE
        key = ModeKey(
            phase=0,
            drum=0,
            layer=layer,
            layer_below=layer,
            taut=bool(y[4] >= 0),
            settled=False,
            settle_after=m.scales.bounce_period,
            load=hangs if m.start_travel > 0 else LoadPlace.FLOOR,
            regime=Regime.OPEN,
            hot=frozenset(),
            empty=False,
            wedged=-1,
            stalled=False,
            phase_start=0.0,
            phase_end=math.inf,
            ramp_end=math.inf,
            ramp_from=0.0,
            held_since=0.0,
            confirm_at=math.inf,
        )
        step = Step(key, 0.0, y)
        self.enter_phase(step, 0)
        self.settle(step)
        self.last_key = step.key
        return step.key, step.y, step.events_at(float(m.height(m.start_travel)))

    def mode(self, key: ModeKey) -> Mode:
        """Mode of a key."""
        return mode(self.motion, key)

    def progress(self, t: float, y: np.ndarray) -> tuple[float, ...]:
        """Way that the load has gone, to and fro, and take-up, in millionths of the height; the
        bounce, which gets on by dying down; and a voltage that rises, under which a drum may stick
        and slip. Called once for each switch."""
        m, scales, falls = self.machine, self.machine.scales, self.machine.line.falls
        unit = PROGRESS * max(m.top_travel - m.start_travel, 1e-3)
        softness = (m.free_rope - float(y[0])) / (falls * m.line.stiffness)
        # Stretch of the rope as long as it is now, under the hanging load.
        hung = load.pull_needed(m.body, m.reach - float(y[2])) * softness
        off = max(abs(float(y[4]) - hung) - m.body.friction * softness, 0.0)
        bounce = math.hypot(off, falls * float(y[3]) * scales.bounce_period / (2 * math.pi))
        # A load thrown up comes down where it rose: its speed tells the way between.
        self._way += max(abs(float(y[2]) - self._place), abs(float(y[3])) * (t - self._at) / 2)
        self._place, self._at = float(y[2]), t
        key = self.last_key
        risen = (t - key.phase_start) / m.phases[key.phase].ramp if key.ramping else 0.0
        return (
            self._way / unit,
            float(y[0]) / unit,
            math.log(max(bounce, SMALLEST * scales.stretch)) / DYING,
            risen / RISING,
        )

    def switch(self, key: ModeKey, fired: tuple[Hashable, ...], t: float, y: np.ndarray) -> Switch:
        """What follows when guards have fired."""
        step = Step(key, t, y)
        self._count_bounces(step)
        for name in fired:
            trip, *about = name if isinstance(name, tuple) else (name,)
            self._rules[trip](step, *about)
            if step.ends:
                break  # what else fired at this instant belonged to a winch that is no more
        stirred = step.calm < len(fired) or bool(step.next_phase)
        if step.next_phase and not step.ends:
            self._leave_phase(step)
        if not step.ends:
            self.settle(step)
            if step.key.brief and set(fired) <= {Trip.TAUT, Trip.SLACK}:
                # A load that goes on throwing its rope slack rides, once its bounce was followed.
                if t >= step.key.settle_after and self.motion.may_settle(step.key):
                    self._ride(step)
            elif stirred or not step.key.settled:
                periods = BRIEFLY if step.key.brief else 1.0
                wait = step.wait or periods * self.machine.scales.bounce_period
                step.change(settled=False, settle_after=t + wait)
        self.last_key = step.key
        if step.ends:
            step.mark(Event.END)
        return Switch(
            None if step.ends else step.key,
            step.y,
            step.events_at(float(self.machine.height(step.y[2]))),
        )

    def _count_bounces(self, step: Step) -> None:
        """Note for how long the load has bounced in this phase."""
        if step.key.load.moves and not step.key.settled:
            self._bouncing += step.t - self._since
        self._since = step.t
        long = FOLLOWED_BOUNCES * self.machine.scales.bounce_period
        if (
            self._bouncing > long
            and not step.key.brief
            and step.key.drum
            and not self.motion.speeds_up(step.key, step.t, step.y, AVERAGED_GAIN)
        ):
            step.change(brief=True)

    def flow(self, step: Step) -> Flow:
        """Forces and currents at a switch, in the mode reached so far."""
        return self.motion.flow(step.key)(step.t, step.y.tolist())

    # --- phases

    def enter_phase(self, step: Step, index: int) -> None:
        """Begin a phase: its voltage, its time, the supply's regime, brake and pawl."""
        phases, phase = self.machine.phases, self.machine.phases[index]
        same = index > 0 and phases[step.key.phase].action == phase.action
        step.mark(
            Event.PHASE_STARTS,
            Action(phase.action),
            phase=index,
            phase_start=step.t,
            phase_end=step.t + phase.time,
            ramp_from=self.motion.open_voltage(step.key, step.t)
            if same
            else math.copysign(0.0, phase.voltage),
            stalled=False,
            ramp_end=step.t + phase.ramp if phase.ramp > 0 else math.inf,
            confirm_at=math.inf,
            brief=False,
        )
        self._slips, self._bouncing, self._averaged = 0, 0.0, False
        if phase.action == "short":
            regime = Regime.SHORTED
        elif not phase.powered:
            regime = Regime.EACH_OPEN if self.machine.off_each else Regime.OPEN
        else:
            regime = Regime.EMPTY if step.key.empty else self._powered_regime(step)
        self._hold(step, regime)
        if step.key.drum < 0 and self.motion.pawl_grips(step.key):
            self._stop_drum(step, jerk=True)
        down = phase.until == "floor" and step.key.load is LoadPlace.FLOOR
        if down and index < len(phases) - 2:
            self.enter_phase(step, index + 1)  # it is there already

    def _hold(self, step: Step, regime: Regime) -> None:
        """Change the supply's regime, and count the time at its limit."""
        step.change(
            regime=regime,
            trip_at=step.t
            + (self.machine.source.trip_delay if regime is Regime.CURRENT else math.inf),
        )

    def _powered_regime(self, step: Step) -> Regime:
        m, motors = self.machine, Motors(self.machine)
        step.change(regime=Regime.VOLTAGE)
        now = self.flow(step)
        return sp.first_regime(
            now.open_voltage,
            m.source,
            motors.counts,
            now.resistances,
            motors.emfs(now.constants, step.y[1]),
            motors.drops,
            m.phases[step.key.phase].current_limit,
        )

    def _leave_phase(self, step: Step) -> None:
        last, watch = len(self.machine.phases) - 1, step.next_phase == "watch"
        index = last if watch else step.key.phase + 1
        step.ends = step.key.phase == last or (index == last and not watch)
        if not step.ends:
            self.enter_phase(step, index)

    def settle(self, step: Step) -> None:
        """Decide what a drum at rest does next, and whether a stall has to be waited for."""
        if step.key.drum == 0:
            self._decide(step)
        key, phase = step.key, self.machine.phases[step.key.phase]
        waits = (phase.powered and phase.until != "time") or phase.action == "raise"
        down = phase.action == "lower" and key.load is LoadPlace.FLOOR
        found = key.stalled or key.ramping or key.confirm_at < math.inf
        if key.drum == 0 and waits and not down and not found:
            step.change(confirm_at=step.t + self._settling(CONFIRM_PERIODS))

    def _settling(self, periods: float) -> float:
        """Time in which the load bounces so many times, at least the shortest that counts. [s]"""
        return max(SHORTEST_CONFIRM, periods * self.machine.scales.bounce_period)

    # --- the drum

    def _decide(self, step: Step) -> None:
        """Direction in which a drum at rest starts, if any, with the radius of the side that it is
        on."""
        m, key = self.machine, step.key
        place = m.wound_at_start + float(step.y[0])
        slack = 1e-6 * m.scales.stretch
        above = below = key.layer
        if key.layer + 1 < len(m.layers) and abs(place - m.layers[key.layer].end) <= slack:
            above = key.layer + 1
        elif key.layer > 0 and abs(place - m.layers[key.layer].start) <= slack:
            below = key.layer - 1
        step.change(layer=above, layer_below=below)
        up, down = self.motion.start_margins(step.key)(self.flow(step))
        grips = self.motion.pawl_grips(step.key)
        if up > 0 and not (down > 0 and not grips and down > up):
            self._start_drum(step, 1)
        elif down > 0 and not grips:
            self._start_drum(step, -1)

    def _start_drum(self, step: Step, direction: int) -> None:
        m, layer = self.machine, step.key.layer if direction > 0 else step.key.layer_below
        again = Event.RESTARTS if step.key.stalled else Event.DRUM_STARTS
        step.mark(
            again if direction > 0 else Event.RUNS_BACK,
            drum=direction,
            wedged=step.key.wedged if step.key.wedged == step.key.phase else -1,
            layer=layer,
            layer_below=layer,
            held_since=math.inf,
            confirm_at=math.inf,
        )
        loose = step.key.load is LoadPlace.FLOOR or not step.key.taut
        start, lowest = m.wound_at_start, m.lowest_in(step.key.phase, loose=loose)
        if direction < 0 and start + step.y[0] <= lowest + start:
            step.finish(Event.PAID_OUT)

    def _on_wedges(self, step: Step) -> None:
        """The drum stops at once with all that turns; the load goes on by itself. A settled rope is
        first let bounce."""
        if not step.key.settled:
            self._stop_drum(step, Event.WEDGED, abs(float(step.y[1])), jerk=True)
            step.change(wedged=step.key.phase)

    def _stop_drum(
        self,
        step: Step,
        event: Event = Event.DRUM_STOPS,
        value: float | None = None,
        *,
        jerk: bool = False,
    ) -> None:
        lost = (
            (drum_inertia(self.motion.train(step.key)) if jerk else 0.0) * float(step.y[1]) ** 2 / 2
        )
        step.y[1] = 0.0
        step.mark(event, None, value, lost, drum=0, layer_below=step.key.layer, held_since=step.t)

    def _change_layer(self, step: Step, layer: int) -> None:
        if layer >= len(self.machine.layers):
            step.finish(Event.OVERFLOW)
            return
        step.mark(Event.LAYER, AtLayer(layer), layer=layer, layer_below=layer)
        bounce = self.motion.bounce(step.key, step.y.tolist(), self.flow(step))
        if (
            step.key.settled
            and bounce < CALM * self.machine.scales.stretch
            and not self.motion.speeds_up(step.key, step.t, step.y)
        ):
            self._ride(step)  # the new radius stirs the rope less than what counts as settled

    def _on_overload(self, step: Step) -> None:
        shares = [
            float(np.max(share))
            for share in link_shares(self.machine, self.motion.channels(step.key)(self.flow(step)))
        ]
        worst = shares.index(max(shares))
        step.finish(Event.OVERLOAD, AtLink(worst), shares[worst])

    # --- the load

    def _halt(self, step: Step, place: LoadPlace, event: Event, travel: float) -> None:
        """The load meets something rigid at a travel; what it was found to be past it counts with
        the impact."""
        m, speed = self.machine, float(step.y[3])
        past = load.potential_energy(m.body, float(step.y[2]), m.reach - float(step.y[2]))
        past -= load.potential_energy(m.body, travel, m.reach - travel)
        step.mark(
            event,
            value=abs(speed),
            energy=load.inertia(m.body) * speed * speed / 2 + past,
            load=place,
        )
        step.y[2], step.y[3] = travel, 0.0

    def _on_floor(self, step: Step) -> None:
        self._halt(step, LoadPlace.FLOOR, Event.LANDED, 0.0)
        if self.machine.phases[step.key.phase].until == "floor":
            step.next_phase = "next"

    def _on_top(self, step: Step) -> None:
        step.mark(Event.TOP)
        step.next_phase = "next"

    def _on_load_stops(self, step: Step) -> None:
        step.y[3] = 0.0
        now = self.flow(step)
        net = self.machine.line.falls * now.tension - load.pull_needed(
            self.machine.body, self.machine.reach - float(step.y[2])
        )
        if abs(net) <= sticking_force(self.machine):
            step.mark(Event.STICKS, load=LoadPlace.STUCK)
        else:
            step.change(load=LoadPlace.UP if net > 0 else LoadPlace.DOWN)

    def _slip(self, step: Step, place: LoadPlace) -> None:
        step.mark(Event.SLIPS, load=place)
        self._slips += 1
        if (
            self._slips >= FOLLOWED_SLIPS
            and self.motion.may_settle(step.key)
            and not self.motion.speeds_up(step.key, step.t, step.y)
        ):
            # The mean pull of stick and slip is weight and friction in motion, as where it settles.
            self._ride(step, averaged=True)

    def _on_settles(self, step: Step) -> None:
        if not step.key.brief and self.motion.speeds_up(step.key, step.t, step.y):
            # The bounce goes through zero, but about another pull than the steady one.
            step.wait = max(
                RETRY_PERIODS * self.machine.scales.bounce_period,
                RETRY_SHARE * (step.t - step.key.phase_start),
            )
        else:
            self._ride(step)

    def _ride(self, step: Step, *, averaged: bool = False) -> None:
        """The load rides with the drum from here on."""
        if (averaged or step.key.brief) and not self._averaged:
            step.mark(Event.AVERAGED)
            self._averaged = True
        step.change(settled=True)
        step.mark(Event.SETTLED, energy=self.motion.ride(step.key, step.y))
        step.calm += 1

    # --- supply, heat, time

    def _on_regime(self, step: Step, regime: Regime) -> None:
        self._hold(step, regime)
        step.mark(Event.SUPPLY, regime)

    def _on_hot(self, step: Step, group: int) -> None:
        limit = self.machine.groups[group].winding_limit
        step.mark(Event.HOT, AtGroup(group), limit, hot=step.key.hot | {group})
        if step.key.stalled:
            step.next_phase = "watch"

    def _on_empty(self, step: Step) -> None:
        self._hold(step, Regime.EMPTY)
        step.mark(Event.EMPTY, empty=True)

    def _on_until(self, step: Step) -> None:
        key = step.key
        if step.t >= key.ramp_end:
            step.change(ramp_end=math.inf)
        if step.t >= key.trip_at:
            self._on_regime(step, Regime.TRIPPED)
        ends, seen = step.t >= key.phase_end, key.held_since + self._settling(1.0)
        if step.t >= key.confirm_at or (ends and seen <= step.t < key.confirm_at < math.inf):
            step.change(confirm_at=math.inf)
            self._find_stall(step)
        if step.t >= step.key.phase_end:
            phase = self.machine.phases[key.phase]
            there = phase.until == "floor" and step.key.load is LoadPlace.FLOOR
            late = phase.until != "time" and not there
            if late and not step.key.stalled:
                step.mark(Event.TIME_UP, Action(phase.action))
            step.next_phase = "watch" if step.key.stalled or late else "next"

    def _find_stall(self, step: Step) -> None:
        key = step.key
        if key.drum == 0:
            up, _ = self.motion.start_margins(key)(self.flow(step))
            end = min(key.phase_end, key.held_since + self.machine.stall_watch)
            step.mark(Event.STALLED, value=-up, time=key.held_since, stalled=True, phase_end=end)
            if key.hot:
                step.next_phase = "watch"
