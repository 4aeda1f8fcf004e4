"""A switch from one mode to the next in the making."""

import math

import numpy as np

from winchsim.frozen import replace
from winchsim.model.keys import Event, ModeKey, RecordedEvent, Target


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
