"""Materials of teeth, shafts and ropes as SI numbers, each with where it comes from.

The records are declared here, free of files; the table that comes with winchsim is read elsewhere
and handed in. Temperatures are in °C.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import MISSING, field, fields
from types import MappingProxyType
from typing import Any, Literal

from winchsim.errors import DomainError
from winchsim.frozen import dataclass
from winchsim.strength.link import Basis, weakest_basis

Family = Literal["printed polymer", "moulded polymer", "metal"]

FROM_MEMORY = "from memory"
"""How the source of a value starts when it was recalled and not looked up."""

GIVEN = "given in the scenario"
"""Source of a value that the user gave."""


@dataclass(frozen=True)
class Origin:
    """Where one value of a row comes from, and how far sources differ.

    Attributes
    ----------
    source : str
        Author, title and place, or a text that starts with ``from memory``.
    low, high : float or None
        Range that the sources or the trade give. [unit of the value]
    range_source : str
        Where the range comes from when not from `source`; may be empty.
    """

    source: str
    low: float | None = None
    high: float | None = None
    range_source: str = ""

    @property
    def basis(self) -> Basis:
        """What the value may be called in a report."""
        if self.source.lower().startswith(FROM_MEMORY):
            return "from memory"
        return "given" if self.source == GIVEN else "tabled"


def sourced(unit: str, meaning: str, default: Any = MISSING) -> Any:
    """Dataclass field of a number that comes with an origin.

    Parameters
    ----------
    unit : str
        Unit it is printed in, one of quantity_text.PRINTED_UNITS.
    meaning : str
        Heading for people.
    default : object
        Value where the row does not give it; left out, the row must.
    """
    return field(default=default, metadata={"unit": unit, "meaning": meaning})


def sourced_values(row: Any) -> dict[str, tuple[str, str]]:
    """Unit and meaning of every sourced number of a row, by name, in the order of declaration."""
    return {
        f.name: (f.metadata["unit"], f.metadata["meaning"])
        for f in fields(row)
        if "unit" in f.metadata
    }


class _Sourced:
    """Behaviour shared by the rows: every number can be asked for its origin."""

    name: str
    origins: Mapping[str, Origin]

    def origin(self, key: str) -> Origin:
        """Origin of the value called `key`, which the row has."""
        return self.origins[key]

    def basis(self, *keys: str) -> Basis:
        """What an estimate rests on that uses the values called `keys`."""
        return weakest_basis(*(self.origin(key).basis for key in keys))

    def span(self, key: str) -> tuple[float, float]:
        """Lowest and highest value that the sources give for `key`; the value itself twice without
        a range."""
        value, origin = getattr(self, key), self.origin(key)
        return (value if origin.low is None else origin.low), (
            value if origin.high is None else origin.high
        )


@dataclass(frozen=True)
class Material(_Sourced):
    """One material of gears, shafts or pins.

    Attributes
    ----------
    name : str
        As written in a scenario.
    family : str
        ``printed polymer``, ``moulded polymer`` or ``metal``.
    density : float
        Solid density. [kg/m³]
    tensile_strength : float
        Tensile strength; of a printed polymer solid and in the plane of its layers, at 23 °C. [Pa]
    flexural_strength : float or None
        Strength in bending of a printed polymer, solid and lying, at 23 °C: what its teeth break
        at. [Pa]
    elastic_modulus : float
        Young's modulus, called elastic modulus to users, at the same conditions. [Pa]
    yield_strength : float or None
        Yield strength, for metals. [Pa]
    softening : float or None
        Temperature at which little strength is left: glass transition of a glassy polymer,
        deflection temperature (0.45 MPa) of a partly crystalline one. [°C]
    service_limit : float or None
        Highest temperature for lasting use. [°C]
    across_layers : float or None
        Strength across the layers of a print over the strength in their plane. [-]
    fatigue_stress, fatigue_cycles, fatigue_slope : float or None
        One point of its S–N line, largest stress of a cycle that starts near zero, and the line's
        slope: cycles grow as the stress to the power minus this. [Pa], [-], [-]
    note : str
        One sentence for the reader of the table; may be empty.
    origins : Mapping of str to Origin
        Where each of these numbers comes from, by its name here.
    """

    name: str
    family: Family
    density: float = sourced("kg/m³", "density")
    tensile_strength: float = sourced("MPa", "tensile strength")
    elastic_modulus: float = sourced("GPa", "elastic modulus")
    yield_strength: float | None = sourced("MPa", "yield strength", None)
    softening: float | None = sourced("°C", "softens at", None)
    service_limit: float | None = sourced("°C", "lasting use up to", None)
    across_layers: float | None = sourced("", "share of strength across layers", None)
    flexural_strength: float | None = sourced("MPa", "flexural strength", None)
    fatigue_stress: float | None = sourced("MPa", "fatigue stress of the S–N line", None)
    fatigue_cycles: float | None = sourced("", "cycles at that stress", None)
    fatigue_slope: float | None = sourced("", "slope of the S–N line", None)
    note: str = ""
    origins: Mapping[str, Origin] = field(default_factory=lambda: MappingProxyType({}))

    def __hash__(self) -> int:
        """That of its name, so that results are kept by material."""
        return hash(self.name)

    @property
    def is_metal(self) -> bool:
        """Whether it is a metal."""
        return self.family == "metal"

    @property
    def bearing_key(self) -> str:
        """Name of the value that says where a part made of it gives way: yield of a metal, tensile
        strength of a polymer."""
        return "yield_strength" if self.yield_strength is not None else "tensile_strength"

    @property
    def bearing_strength(self) -> float:
        """Stress at which a part made of it gives way. [Pa]"""
        return self.yield_strength if self.yield_strength is not None else self.tensile_strength

    @property
    def tooth_key(self) -> str:
        """Name of the value that says where a tooth made of it gives way: flexural strength of a
        print, else `bearing_key`."""
        return "flexural_strength" if self.flexural_strength is not None else self.bearing_key

    @property
    def tooth_stress(self) -> float:
        """Stress at which a tooth made of it gives way. [Pa]"""
        return float(getattr(self, self.tooth_key))


@dataclass(frozen=True)
class RopeMaterial(_Sourced):
    """One kind of rope; its numbers scale with the square of the rope's diameter.

    Attributes
    ----------
    name : str
        As written in a scenario.
    strength_per_area : float
        Breaking force of a new straight rope over its diameter squared. [Pa]
    stiffness_ratio : float
        EA (force per unit of strain) over breaking force. [-]
    mass_per_volume : float
        Mass per metre over the diameter squared. [kg/m³]
    knot_efficiency : float
        Share of the strength that is left at a knot. [-]
    splice_efficiency : float
        The same at a splice, or at a ferrule of a wire rope. [-]
    bend_ratio : float
        Drum diameter over rope diameter that the trade asks for; its range is wide. [-]
    construction : str
        ``fibre`` or ``wire``.
    note : str
        One sentence; may be empty.
    origins : Mapping of str to Origin
        Where each number comes from.
    """

    name: str
    strength_per_area: float = sourced("MPa", "breaking force over diameter squared")
    stiffness_ratio: float = sourced("", "EA over breaking force")
    mass_per_volume: float = sourced("kg/m³", "mass per metre over diameter squared")
    knot_efficiency: float = sourced("", "share of strength at a knot")
    splice_efficiency: float = sourced("", "share of strength at a splice")
    bend_ratio: float = sourced("", "drum over rope diameter")
    construction: str = "fibre"
    note: str = ""
    origins: Mapping[str, Origin] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True)
class FrictionPair(_Sourced):
    """Mean coefficient of friction of two materials' flanks.

    Attributes
    ----------
    first, second : str
        Names of materials or of families (``polymer``, ``metal``), in either order.
    greased : bool
        Whether the teeth are greased.
    friction : float
        Coefficient. [-]
    origins : Mapping of str to Origin
        Holds the origin of ``friction``.
    """

    first: str
    second: str
    greased: bool
    friction: float = sourced("", "coefficient of friction")
    origins: Mapping[str, Origin] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def name(self) -> str:  # type: ignore[override]
        """Both materials and how they run, for messages."""
        return f"{self.first} on {self.second}, {'greased' if self.greased else 'dry'}"


def find_friction(
    pairs: Iterable[FrictionPair], first: Material, second: Material, greased: bool
) -> FrictionPair:
    """Friction pair that fits two materials best: by both names, by one name and a family, by both
    families.

    Parameters
    ----------
    pairs : iterable of FrictionPair
        The table.
    first, second : Material
        The two flanks, in either order.
    greased : bool
        Whether the teeth are greased.

    Returns
    -------
    FrictionPair
        The closest row; of equally close ones the first.

    Raises
    ------
    DomainError
        No row fits.
    """

    def fit(pair: FrictionPair) -> int:
        return max(
            _match(pair.first, one) * _match(pair.second, other)
            for one, other in ((first, second), (second, first))
        )

    best = max((pair for pair in pairs if pair.greased is greased), key=fit, default=None)
    if best is None or not fit(best):
        asked = FrictionPair(first.name, second.name, greased, 0.0).name
        raise DomainError("friction pair", asked, "a pair in the friction table")
    return best


_Guess = tuple[float, float | None, float | None]
"""What is taken for a value of a user's material that they do not give, with its range; cautious,
from memory."""

_OF_POLYMERS: dict[str, _Guess] = {
    "density": (1200.0, None, None),
    "elastic_modulus": (2e9, None, None),
    "softening": (60.0, None, None),
}
_GUESSES: dict[Family, dict[str, _Guess]] = {
    "printed polymer": {**_OF_POLYMERS, "across_layers": (0.6, 0.33, 0.85)},
    "moulded polymer": _OF_POLYMERS,
    "metal": {"density": (7850.0, None, None), "elastic_modulus": (70e9, None, None)},
}

YIELD_SHARE = (0.5, 0.4, 0.85)
"""Yield strength of a metal over its tensile strength, and its range. [-] From memory: annealed
stainless steel 0.4, common structural steel 0.6, aged aluminium 0.85."""


FLEXURAL_SHARE = (1.5, 1.35, 1.7)
"""Flexural over tensile strength of a solid print, and its range. [-] From the bars of the table:
PETG 1.37, PLA and ABS 1.7."""


def own_material(
    name: str, family: Family, given: Mapping[str, float], fatigue_source: str = ""
) -> Material:
    """Material that a user describes; what is left out is filled with cautious assumptions, marked
    as from memory.

    Parameters
    ----------
    name : str
        Its name.
    family : str
        ``printed polymer``, ``moulded polymer`` or ``metal``.
    given : Mapping of str to float
        Sourced numbers of `Material` by name, in SI; the tensile strength at least.
    fatigue_source : str
        Where the point and slope of its S–N line are from, if these are given.

    Returns
    -------
    Material
    """
    guesses = dict(_GUESSES[family])
    shares = {
        "metal": {"yield_strength": YIELD_SHARE},
        "printed polymer": {"flexural_strength": FLEXURAL_SHARE},
    }
    for key, (value, low, high) in shares.get(family, {}).items():
        tensile = given["tensile_strength"]
        guesses[key] = (value * tensile, low * tensile, high * tensile)
    source = f"{FROM_MEMORY}: cautious value for a material described without it"
    origins = {key: Origin(source, low, high) for key, (_, low, high) in guesses.items()}
    origins |= {
        key: Origin(fatigue_source if key.startswith("fatigue_") else GIVEN) for key in given
    }
    values: dict[str, Any] = {key: guess[0] for key, guess in guesses.items()} | dict(given)
    return Material(
        name=name,
        family=family,
        note="described in the scenario",
        origins=MappingProxyType(origins),
        **values,
    )


def _match(wanted: str, material: Material) -> int:
    """How well a name in a friction row fits a material: 3 by name, 1 by family, 0 not at all."""
    if wanted == material.name:
        return 3
    return int(wanted == ("metal" if material.is_metal else "polymer"))


# --- lasting and repeated load --------------------------------------------------------------------

LINEAR_CREEP_SHARE = 0.5
"""Share of the strength up to which lasting load makes a print creep in proportion to it, and no
more [-]. Polymers 17 (2025) 2075, abstract: printed PETG, constant stress for 5 and 20 h."""


def cycles_to_failure(
    share: float, material: Material, spread: float = 1.0
) -> tuple[float, float, float] | None:
    """Low, best and high number of load cycles to failure; None where no S–N line is known. [-]

    Parameters
    ----------
    share : float
        Demand over strength at the cycle's maximum; at 1 the first cycle breaks it. [-]
    material : Material
    spread : float
        Factor by which the strength may be lower or higher. [-]

    References
    ----------
    Straight line on two logarithmic scales through the row's point, whose range of slopes counts
    too. Printed PLA, 90 % survival: O. H. Ezeh and L. Susmel, Int. J. Fatigue 126 (2019) 319-326
    (second-hand).
    """
    if (
        material.fatigue_stress is None
        or material.fatigue_cycles is None
        or material.fatigue_slope is None
    ):
        return None
    cycles, line = material.fatigue_cycles, material.fatigue_stress / material.bearing_strength
    low, high = material.span("fatigue_slope")

    def life(at: float, slope: float) -> float:
        if at <= 0.0:
            return math.inf
        return 1.0 if at >= 1.0 else max(1.0, cycles * (line / at) ** slope)

    ends = [life(share * by, slope) for by in (1.0 / spread, spread) for slope in (low, high)]
    return min(ends), life(share, material.fatigue_slope), max(ends)


def creeps(share: float, temperature: float, material: Material) -> bool:
    """Whether a lasting load calls for a caution: a polymer that creeps more than in proportion, or
    is too warm.

    Parameters
    ----------
    share : float
        Demand over strength that lasts. [-]
    temperature : float
        [°C]
    material : Material

    References
    ----------
    `LINEAR_CREEP_SHARE`; printed PLA at 60 °C broke within 3 h even at 10 MPa, none of six printed
    materials did at 25 or 40 °C and 20 MPa (O. Dogan, Strojniški vestnik 68 (2022) 451-460,
    second-hand). No amount is predicted.
    """
    warm = material.service_limit is not None and temperature > material.service_limit
    return not material.is_metal and share > 0.0 and (share > LINEAR_CREEP_SHARE or warm)
