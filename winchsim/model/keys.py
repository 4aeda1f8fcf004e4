"""Names of the modes, the events that mark the passage from one to the next, and a passage in the
making."""

import math
from enum import Enum, StrEnum

import numpy as np

from winchsim.frozen import dataclass, replace
from winchsim.physics.supply import Regime


class LoadPlace(Enum):
    """Where the load is and what it is doing; the value is the phrase shown to the user."""

    FLOOR = "on the floor"
    FREE = "hanging"
    UP = "rising in its guide"
    DOWN = "sinking in its guide"
    STUCK = "stuck in its guide"
    SNAG = "snagged"
    STOP = "against the top stop"

    @property
    def moves(self) -> bool:
        """Whether the load can move in this place."""
        return self in (LoadPlace.FREE, LoadPlace.UP, LoadPlace.DOWN)


@dataclass(frozen=True)
class ModeKey:
    """One combination of modes, inside which the right-hand side is smooth.

    Attributes
    ----------
    phase : int
        Place in the machine's programme.
    drum : int
        +1 raising, 0 held, -1 running back.
    layer : int
        Layer that the rope runs onto when the drum raises.
    layer_below : int
        Layer that it runs off when the drum goes back; differs from `layer` only for a drum held at
        a layer's end.
    taut : bool
        Whether the rope pulls.
    settled : bool
        Whether the bounce has died down, so that the load rides with the drum.
    settle_after : float
        Before this time the bounce is not taken as died down. [s]
    load : LoadPlace
    regime : Regime
        Of the supply.
    hot : frozenset of int
        Groups with a winding that has passed its limit.
    empty : bool
        Whether the battery is empty.
    wedged : int
        Phase in which the train wedged last; -1 for none. While that phase lasts the drum judders
        when it turns.
    stalled : bool
        Whether a stall has been found in this phase.
    phase_start, phase_end : float
        [s]
    ramp_end : float
        When the voltage has risen; infinite once it has. [s]
    ramp_from : float
        Voltage that the ramp starts from. [V]
    held_since : float
        When the drum came to rest; infinite while it turns. [s]
    confirm_at : float
        When a drum at rest under power counts as stalled; infinite where it does not matter. [s]
    trip_at : float
        When a supply at its limit switches off; infinite where it does not. [s]
    brief : bool
        Whether the phase has been bouncing for so long that a bounce is followed for a few periods
        only.
    """

    phase: int
    drum: int
    layer: int
    layer_below: int
    taut: bool
    settled: bool
    settle_after: float
    load: LoadPlace
    regime: Regime
    hot: frozenset[int]
    empty: bool
    wedged: int
    stalled: bool
    phase_start: float
    phase_end: float
    ramp_end: float
    ramp_from: float
    held_since: float
    confirm_at: float
    trip_at: float = math.inf
    brief: bool = False

    @property
    def until(self) -> float:
        """Next time at which something is known to change. [s]"""
        return min(self.phase_end, self.ramp_end, self.confirm_at, self.trip_at)

    @property
    def judders(self) -> bool:
        """Whether the drum stops and starts faster than is followed: its mean motion is what
        counts."""
        return self.drum != 0 and self.wedged >= 0

    @property
    def ramping(self) -> bool:
        """Whether the voltage is still rising."""
        return self.ramp_end < math.inf


Trip = Enum(
    "Trip",
    [
        "DRUM_STOPS",
        "RAISES",
        "RUNS_BACK",
        "WEDGES",
        "LAYER_UP",
        "LAYER_DOWN",
        "PAID_OUT",
        "OVERLOAD",
        "TAUT",
        "SLACK",
        "SETTLES",
        "LIFTS",
        "COMES_OFF",
        "LOAD_STOPS",
        "SLIPS_UP",
        "SLIPS_DOWN",
        "FLOOR",
        "SNAG",
        "TOP",
        "TOP_STOP",
        "REGIME",
        "HOT",
        "EMPTY",
    ],
)
"""Guards of the modes: what ends one. `REGIME` and `HOT` stand in a pair with the regime or the
group."""


Event = Enum(
    "Event",
    {
        "PHASE_STARTS": "phase starts",
        "DRUM_STARTS": "the drum starts",
        "LIFT_OFF": "the load lifts off",
        "TOP": "the load is up",
        "DRUM_STOPS": "the drum stops",
        "RUNS_BACK": "the drum runs back",
        "WEDGED": "the self-locking stage wedges: the drum stops at once",
        "STALLED": "stalled",
        "RESTARTS": "the drum starts again",
        "LAYER": "a new layer begins",
        "SETTLED": "the bounce has died down",
        "TAUT": "the rope goes taut",
        "SLACK": "the rope goes slack",
        "LANDED": "the load lands",
        "SNAGGED": "the load snags",
        "TOP_STOP": "the load hits the stop at the top",
        "CAME_OFF": "the load comes off its stop",
        "STICKS": "the load sticks in its guide",
        "SLIPS": "the load slips in its guide",
        "AVERAGED": "it goes on shaking, from here on its mean motion is followed",
        "SUPPLY": "the supply changes over",
        "HOT": "a winding passes its limit",
        "EMPTY": "the battery is empty",
        "OVERLOAD": "a link breaks",
        "OVERFLOW": "the rope climbs over the flange",
        "PAID_OUT": "the rope is paid out",
        "TIME_UP": "the phase's time is up",
        "END": "the run ends",
    },
)
"""Everything that the record marks in time; the value is the phrase shown to the user."""


Action = StrEnum("Action", ["RAISE", "LOWER", "OFF", "SHORT"])
"""What a phase of the programme does."""


@dataclass(frozen=True)
class AtLink:
    """A link of the machine, by its place in the machine's links."""

    index: int


@dataclass(frozen=True)
class AtGroup:
    """A live group of motors, by its place in the machine's groups."""

    index: int


@dataclass(frozen=True)
class AtLayer:
    """A layer of the drum, from 0."""

    index: int


Target = AtLink | AtGroup | AtLayer | Action | Regime | None
"""What an event is about."""


@dataclass(frozen=True)
class RecordedEvent:
    """One event with when and where it happened.

    Attributes
    ----------
    event : Event
    time : float
        [s]
    height : float
        Of the load. [m]
    target : Target
        The link that breaks, the group that is hot, the new layer, the action of the phase, the new
        regime.
    value : float or None
        The number that belongs to it, in SI: speed of an impact, factor of an overload.
    energy : float
        Lost at once: of motion in an impact or a sudden stop, of a bounce where the rope settles.
        [J]
    """

    event: Event
    time: float
    height: float
    target: Target = None
    value: float | None = None
    energy: float = 0.0


class Step:
    """A switch in the making: key and state so far, and the events on the way."""

    def __init__(self, key: ModeKey, t: float, y: np.ndarray) -> None:
        self.key, self.t, self.y = key, t, y
        self.events: list[RecordedEvent] = []
        self.ends = False
        self.next_phase = ""
        self.calm = 0  # guards that fired without stirring the rope
        self.wait = 0.0  # before the rope is looked at again, where a bounce period will not do

    def change(self, **fields: object) -> None:
        """Change the mode."""
        self.key = replace(self.key, **fields)  # type: ignore[arg-type]

    def mark(
        self,
        event: Event,
        target: Target = None,
        value: float | None = None,
        energy: float = 0.0,
        time: float | None = None,
        **fields: object,
    ) -> None:
        """Change the mode, and note what happens to it; it began at its time, or just now."""
        self.change(**fields)
        self.events.append(
            RecordedEvent(event, self.t if time is None else time, math.nan, target, value, energy)
        )

    def finish(self, event: Event, target: Target = None, value: float | None = None) -> None:
        """Note an event that ends the run."""
        self.mark(event, target, value)
        self.ends = True

    def events_at(self, height: float) -> tuple[RecordedEvent, ...]:
        """The events, with the height of the load that they leave. [m]"""
        return tuple(replace(event, height=height) for event in self.events)
