"""The winch as a switched problem: what is built from a scenario, how it moves in each mode, when modes change.

Rooms: `machine` holds the built winch, `build` makes it from a scenario, `keys` names the modes, `motion` has the right-hand
side and the guards of every mode, `switching` says what follows when a guard fires, `ledger` has the powers behind the energy
books, `estimate` the closed-form balance at steady speed. Two make scenarios: `restate` with what a build assumed as values,
`trial` as a test was made.
"""

from winchsim.model.build import build
from winchsim.model.estimate import pull, raise_time, steady_speed
from winchsim.model.keys import Action, AtGroup, AtLayer, AtLink, Event, LoadPlace, ModeKey, Target
from winchsim.model.ledger import Head, powers, stored_energy
from winchsim.model.machine import Machine
from winchsim.model.motion import Flow, Motion
from winchsim.model.switching import WinchProblem, start

__all__ = [
    "Action",
    "AtGroup",
    "AtLayer",
    "AtLink",
    "Event",
    "Flow",
    "Head",
    "LoadPlace",
    "Machine",
    "ModeKey",
    "Motion",
    "Target",
    "WinchProblem",
    "build",
    "powers",
    "pull",
    "raise_time",
    "start",
    "steady_speed",
    "stored_energy",
]
