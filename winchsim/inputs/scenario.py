"""A scenario as one dataclass."""

import copyreg
from collections.abc import Mapping
from dataclasses import field
from types import MappingProxyType
from typing import Any

from winchsim.frozen import dataclass
from winchsim.inputs.drum_rope_load import Brake, Drum, Edge, Load, Pawl, Rope, Sheave
from winchsim.inputs.motors import MotorGroup
from winchsim.inputs.parts import OwnMaterial, Parts
from winchsim.inputs.programme import Factors, Phase, Settings, Tolerance
from winchsim.inputs.spec import table, tables, text
from winchsim.inputs.supply import Supply
from winchsim.inputs.train import Stage

GROUPS = SUPPLY, MOTORS, GEARS, DRUM, ROPE, LOAD, PROGRAMME, FACTORS, CONDITIONS, SCENARIO = (
    "supply and controller",
    "motors",
    "gears",
    "drum",
    "rope",
    "load",
    "programme",
    "required factors",
    "conditions",
    "scenario",
)
"""Parts of a scenario along the way of the power, in the order of a form."""


def _read_only(values: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(values)


copyreg.pickle(MappingProxyType, lambda mapping: (_read_only, (dict(mapping),)))


@dataclass(frozen=True, kw_only=True)
class Inputs:
    """A whole scenario: everything that a simulation is built from.

    `given` holds the paths that the file (or the caller) gave; everything else is a default and
    listed as assumed. `unused` holds the given paths that are read but have no effect any more (see
    `REMOVED`). `materials`, `ropes` and `friction_pairs` are the tables that the names in the
    scenario refer to.
    """

    motors: tuple[MotorGroup, ...] = tables("motor groups on the common gear", group=MOTORS)
    supply: Supply = table("what feeds the motors", group=SUPPLY)
    stage: tuple[Stage, ...] = tables("reductions from the motors to the drum", group=GEARS)
    drum: Drum = table("the drum", group=DRUM)
    rope: Rope = table("the rope", group=ROPE)
    load: Load = table("the load", group=LOAD)
    title: str = text("title of the scenario", "", group=SCENARIO)
    note: str = text("anything the reader should know", "", group=SCENARIO)
    sheave: tuple[Sheave, ...] = tables("guide sheaves", (), group=ROPE)
    edge: tuple[Edge, ...] = tables("edges that the rope rubs on", (), group=ROPE)
    pawl: Pawl | None = table("pawl on the drum", None, group=DRUM)
    brake: Brake | None = table("brake that grips when the power is off", None, group=DRUM)
    phase: tuple[Phase, ...] = tables(
        "programme; left out: raise to the top, power off, watch", (), group=PROGRAMME
    )
    factors: Factors = table("required factors", Factors(), group=FACTORS)
    settings: Settings = table("surroundings and run", Settings(), group=CONDITIONS)
    tolerance: tuple[Tolerance, ...] = tables("tolerances for a spread", (), group=CONDITIONS)
    material: tuple[OwnMaterial, ...] = tables("own materials", (), group=CONDITIONS)
    parts: Parts | None = table("parts at hand, to choose a build from", None, group=SCENARIO)
    given: frozenset[str] = frozenset()
    unused: tuple[str, ...] = ()
    materials: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    ropes: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    friction_pairs: tuple[Any, ...] = ()
