"""The built winch: every number that the equations of motion need, in SI, and nothing that they do
not."""

import math
from collections.abc import Sequence
from typing import Any

from winchsim.assumption import Assumed
from winchsim.elementwise import Floats
from winchsim.frozen import dataclass
from winchsim.physics.chain import Chain, drum_ratios
from winchsim.physics.drum import Layer
from winchsim.physics.heat import HeatPath
from winchsim.physics.load import Body
from winchsim.physics.motor import FitNote, Motor, MotorFit
from winchsim.physics.rope import Line
from winchsim.physics.supply import Source
from winchsim.physics.worm import Locking
from winchsim.strength.link import LinkKind, Strength
from winchsim.strength.materials import Material


@dataclass(frozen=True)
class DriveGroup:
    """The running motors of one group, or its dead ones, which the common gear drags along.

    Attributes
    ----------
    number : int
        Number of the group in the scenario, from 1.
    runs : bool
    count : int
        Motors.
    motor : Motor
    fit : MotorFit
        How the motor's data were found.
    heat : HeatPath
    winding_limit, winding_start, case_start : float
        [°C]
    own_efficiency : float
        Of the motor itself behind its drag, its gearbox left out. [-]
    stall_current : float
        Of one motor at the voltage of its data. [A]
    ratio : float
        Motor speed over drum speed. [-]
    """

    number: int
    runs: bool
    count: int
    motor: Motor
    fit: MotorFit
    heat: HeatPath
    winding_limit: float
    winding_start: float
    case_start: float
    own_efficiency: float
    stall_current: float
    ratio: float = 1.0


@dataclass(frozen=True)
class Mesh:
    """One spur mesh, or one other reduction, of the unrolled train.

    Attributes
    ----------
    path : str
        ``stage.2``.
    label : str
        ``stage 2`` or ``stage 2, 3rd of 5``.
    element : int or None
        Its element in the chain; None where several groups share the common gear, whose meshes are
        the chain's groups.
    chain_group : int or None
        Then: which of the chain's groups.
    pinions : int
        Pinions that share the torque. [-]
    pinion_teeth, gear_teeth : int or None
        None for a stage that is not a spur pair.
    module : float or None
        [m]
    locking : Locking or None
        Of a worm: whether it locks against its load.
    """

    path: str
    label: str
    element: int | None
    chain_group: int | None
    pinions: int
    pinion_teeth: int | None
    gear_teeth: int | None
    module: float | None
    locking: Locking | None = None

    @property
    def pinion_radius(self) -> float:
        """Pitch radius of the pinion; 1 m where there is none, so that force and torque are the
        same number."""
        teeth, module = self.pinion_teeth, self.module
        return 1.0 if teeth is None or module is None else teeth * module / 2


def bracketed(label: str) -> str:
    """Label of a mesh with what stands behind its comma in brackets: ``stage 1 (5th of 5)``."""
    head, comma, rest = label.partition(", ")
    return f"{head} ({rest})" if comma else label


def on_one_gear(meshes: Sequence[Mesh], mesh: Mesh) -> list[int]:
    """Places of all meshes of a mesh's gear: its own, and on the common gear those of every
    group."""
    return [i for i, m in enumerate(meshes) if m is mesh or mesh.element is m.element is None]


def gear_ratio(chain: Chain, mesh: Mesh) -> float:
    """Speed of a mesh's gear, or of a reduction's output, over the drum's. [-]"""
    return drum_ratios(chain)[0 if mesh.element is None else mesh.element + 1]


@dataclass(frozen=True)
class LinkLimit:
    """A link, the channel that its demand is read from, and what it bears.

    Attributes
    ----------
    kind : LinkKind
    where : str
        Path into the scenario.
    part, place : str
        For people: ``pinion tooth``, and the mesh or reduction that it belongs to, as that is
        labelled; empty for a part of which there is one.
    channel : str
        ``mesh`` (tooth force of `meshes[index]`), ``output`` (torque of the output shaft of chain
        element `index`), ``common`` (torque of the common gear's shaft), ``gearbox`` (torque behind
        the gearboxes of the chain's group `index`, all its motors together), ``tension`` (rope at
        the load), ``pull`` (rope at the drum) or ``drum`` (torque on the drum rod).
    index : int
        Which mesh, element or group; 0 for the others.
    scale : float
        Demand per unit of the channel. [-, 1/m or m]
    strength : Strength
    required : float
        Factor below which it is a caution. [-]
    material : Material or None
        What a tooth is made of; None for the others.
    """

    kind: LinkKind
    where: str
    part: str
    place: str
    channel: str
    index: int
    scale: float
    strength: Strength
    required: float
    material: Material | None = None

    @property
    def label(self) -> str:
        """The link in words, without its article: ``pinion tooth of stage 1 (5th of 5)``."""
        return f"{self.part} of {bracketed(self.place)}" if self.place else self.part

    @property
    def bears(self) -> float:
        """Value of the channel at which the link breaks; infinite where nothing is asked of it."""
        return self.strength.value / self.scale if self.scale > 0 else math.inf


@dataclass(frozen=True)
class PhaseStep:
    """One phase of the programme with its defaults filled in.

    Attributes
    ----------
    action : str
        ``raise``, ``lower``, ``off`` or ``short``.
    until : str
        ``top``, ``floor`` or ``time``.
    time : float
        Longest time. [s]
    voltage : float
        Open-circuit voltage, signed: negative while lowering, 0 with the power off. [V]
    current_limit : float
        [A]
    ramp : float
        Time in which the voltage rises. [s]
    """

    action: str
    until: str
    time: float
    voltage: float
    current_limit: float
    ramp: float

    @property
    def powered(self) -> bool:
        """Whether the supply is connected."""
        return self.action in ("raise", "lower")


@dataclass(frozen=True)
class Scales:
    """Sizes that tolerances and bands are taken from.

    Attributes
    ----------
    stretch : float
        Rope stretch under the hanging load. [m]
    drum_speed : float
        No-load speed of the drum. [rad/s]
    rope_speed : float
        Of the rope at that, or of the deepest bounce to be followed, `DEEPEST_BOUNCE`, if slower.
        [m/s]
    pull : float
        Weight along the path. [N]
    torque : float
        Torque that the hanging load asks of the common gear, or the motors' stall torque there if
        larger. [N·m]
    bounce_period : float
        Of the load on the rope of the start, hanging. [s]
    """

    stretch: float
    drum_speed: float
    rope_speed: float
    pull: float
    torque: float
    bounce_period: float


@dataclass(frozen=True)
class Machine:
    """A winch ready to run.

    Attributes
    ----------
    title : str
    groups : tuple of DriveGroup
        Running motors.
    dragged : tuple of DriveGroup
        Dead motors.
    source : Source
    off_each : bool
        Whether power off opens each motor rather than the common lead.
    chain, braked_chain : Chain
        The second with the brake gripping; the same where there is none.
    drum_element : int
        Which element of the chain is the drum's bearings.
    meshes : tuple of Mesh
        Every reduction of the unrolled train, from the motors on.
    layers : tuple of Layer
    wound_at_start : float
        Rope on the drum at the start, counted as in `layers`. [m]
    lowest_wound : float
        Rope on the drum, less that of the start, when only the dead turns are left. [m] at most 0
    line : Line
    free_rope : float
        Unstretched rope between drum and load at the start. [m]
    body : Body
    reach : float
        Travel from the floor to the top sheave. [m]
    start_travel, top_travel, stop_travel : float
        Where the load starts, where it is to go, and where it meets a rigid stop. [m] along the
        path
    snag_travel : float
        Where it snags; infinite for nowhere. [m]
    pawl : bool
    phases : tuple of PhaseStep
        The programme; the last one is the watch with the power off that follows a stall, outside
        the programme.
    links : tuple of LinkLimit
    breakaway : float
        Losses at rest against losses in motion. [-]
    ambient : float
        [°C]
    stall_watch : float
        How long the power stays on after a stall. [s]
    scales : Scales
    assumed : tuple of Assumed
    notes : tuple of str
        What the reader of a report should know of how the winch was built.
    """

    title: str
    groups: tuple[DriveGroup, ...]
    dragged: tuple[DriveGroup, ...]
    source: Source
    off_each: bool
    chain: Chain
    braked_chain: Chain
    drum_element: int
    meshes: tuple[Mesh, ...]
    layers: tuple[Layer, ...]
    wound_at_start: float
    lowest_wound: float
    line: Line
    free_rope: float
    body: Body
    reach: float
    start_travel: float
    top_travel: float
    stop_travel: float
    snag_travel: float
    pawl: bool
    phases: tuple[PhaseStep, ...]
    links: tuple[LinkLimit, ...]
    breakaway: float
    ambient: float
    stall_watch: float
    scales: Scales
    assumed: tuple[Assumed, ...]
    notes: tuple[tuple[int, FitNote], ...]

    @property
    def units(self) -> tuple[DriveGroup, ...]:
        """The motors of each of the chain's groups: the running ones first."""
        return (*self.groups, *self.dragged)

    @property
    def states(self) -> int:
        """Number of states: rope wound, drum speed, travel, speed, stretch, temperatures,
        charge."""
        return 6 + 2 * len(self.groups)

    def heat_state(self, group: int) -> int:
        """Place of a group's winding temperature in the state; its case temperature follows."""
        return 5 + 2 * group

    @property
    def layers_used(self) -> tuple[int, ...]:
        """Layers of the drum that a lift to the top winds onto, from 0; at least one."""
        last = self.wound_at_start + self.line.falls * (self.top_travel - self.start_travel)
        used = [
            i
            for i, layer in enumerate(self.layers)
            if layer.start < last and layer.end > self.wound_at_start
        ]
        return tuple(used) or (len(self.layers) - 1,)

    def lowest_in(self, phase: int, *, loose: bool) -> float:
        """Rope on the drum, less that of the start, at which a phase ends the run: when only the
        dead turns are left. A loose rope may come off whole where a raise, not the first phase,
        winds it on again. [m]"""
        raises = any(step.action == "raise" for step in self.phases[max(phase, 1) : -1])
        return -self.wound_at_start if loose and raises else self.lowest_wound

    def height(self, travel: Floats) -> Any:
        """Height above the start's floor at a travel along the path. [m]"""
        return travel * self.body.rise
