"""The winch as a switched problem: what is built from a scenario, how it moves in each mode, when
modes change.

`machine` holds the built winch, `build` makes it from a scenario, `keys` names the modes, `motion`
has the right-hand side of every mode, `guards` what ends it, `switching` the state that a mode
begins with, `ledger` the powers of the energy balance, `electric` the law of supply and motors,
`estimate` the closed-form balance at steady speed. `motors` fits the motors, and makes scenarios
with what was fitted as data sheets; `trial` makes them as a test was made.

A `ModeKey` is one combination of phase, drum (raising, held, running back), layer, rope (taut,
slack, settled), place of the load and regime of the supply. Inside it the right-hand side is smooth
but for kinks where a direction of power turns over.

- Held means zero creep: drum speed and take-up are exactly zero. A drum at rest starts when the
  torque passes the breakaway band. At the end of a layer it is judged with the radius of each side.
- A stall is a drum at rest under power, its voltage no longer rising, for ten bounce periods and at
  least 0.2 s. The power stays on until a winding passes its limit or for `stall_watch`.
- Floor, snag and top stop are rigid and inelastic. Guide friction sticks with the same breakaway
  ratio; after 40 slips in a phase the load follows its mean motion.
- A pawl holds against running back except while lowering. A brake is a drag of the given torque.
- A broken part ends the run; the fall after it is in closed form.
- Settled rope: once the bounce is below 0.1 % of the static stretch, the load rides with the drum,
  and the energy left in the bounce is booked as rope damping. A minute's lift then costs no more
  than its first seconds. It moves the lift time by less than 1e-5.
"""

from winchsim.model.build import LEAST_LEFT, build
from winchsim.model.electric import DriveLaw
from winchsim.model.estimate import hanging_pulls, pull, raise_time, raising_phase, steady_speed
from winchsim.model.keys import (
    Action,
    AtGroup,
    AtLayer,
    AtLink,
    Event,
    LoadPlace,
    ModeKey,
    RecordedEvent,
    Target,
)
from winchsim.model.ledger import Term, powers, stored_energy
from winchsim.model.link_demands import Channels, link_shares, stalled_channels
from winchsim.model.links import contact_of, pitch_speed, tooth_of
from winchsim.model.machine import (
    Assumed,
    DriveGroup,
    LinkLimit,
    Machine,
    Mesh,
    PhaseStep,
    gear_ratio,
    on_one_gear,
)
from winchsim.model.motion import Flow, Motion
from winchsim.model.motors import with_data_sheets
from winchsim.model.reductions import module_of, pinion_material_name
from winchsim.model.shaft_losses import stalled_torque
from winchsim.model.switching import WinchProblem
from winchsim.model.trial import UNLOADED, first_raise, plain_raise, trial_values

__all__ = [
    "LEAST_LEFT",
    "UNLOADED",
    "Action",
    "Assumed",
    "AtGroup",
    "AtLayer",
    "AtLink",
    "Channels",
    "DriveGroup",
    "DriveLaw",
    "Event",
    "Flow",
    "LinkLimit",
    "LoadPlace",
    "Machine",
    "Mesh",
    "ModeKey",
    "Motion",
    "PhaseStep",
    "RecordedEvent",
    "Target",
    "Term",
    "WinchProblem",
    "build",
    "contact_of",
    "first_raise",
    "gear_ratio",
    "hanging_pulls",
    "link_shares",
    "module_of",
    "on_one_gear",
    "pinion_material_name",
    "pitch_speed",
    "plain_raise",
    "powers",
    "pull",
    "raise_time",
    "raising_phase",
    "stalled_channels",
    "stalled_torque",
    "steady_speed",
    "stored_energy",
    "tooth_of",
    "trial_values",
    "with_data_sheets",
]
