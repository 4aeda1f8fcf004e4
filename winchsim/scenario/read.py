"""A scenario file read into checked inputs, or every fault in it at once."""

import hashlib
from collections.abc import Collection, Iterator, Sequence
from typing import Any

from winchsim import inputs as declarations
from winchsim.errors import Code, DomainError, Fault, InputError, did_you_mean, nearest, refused
from winchsim.frozen import dataclass, replace
from winchsim.inputs import (
    REMOVED,
    SELECTORS,
    Inputs,
    Spec,
    idle,
    misplaced,
    specs,
    without_numbers,
)
from winchsim.quantity_text import quantity
from winchsim.scenario.files import Collector, read_text, read_toml, shortened
from winchsim.scenario.keys import key_tables
from winchsim.scenario.materials_table import load_materials, load_ropes, unknown_name, with_tables
from winchsim.scenario.values import apply_overrides, expectation, read_value, wrong_type
from winchsim.units import parse_quantity

MAX_BYTES = 1_000_000
"""Largest scenario file that is read [bytes]."""

MAX_TABLES = 200
"""Most tables of one list."""


@dataclass(frozen=True)
class Scenario:
    """A scenario as it was read.

    Attributes
    ----------
    inputs : Inputs
        Everything in SI.
    name : str
        File as the user typed it.
    text : str
        The file's text, for a rewrite that keeps its comments.
    digest : str
        SHA-256 of the text and the values set by options: the same for the same calculation asked
        for.
    """

    inputs: Inputs
    name: str
    text: str
    digest: str


def read(path: str, overrides: Sequence[str] = ()) -> Scenario:
    """Scenario file, TOML, UTF-8, at most 1 MB; otherwise as `read_string`."""
    return read_string(read_text(path, MAX_BYTES, "a scenario"), str(path), overrides)


def read_string(text: str, name: str, overrides: Sequence[str] = ()) -> Scenario:
    """Scenario given as text, with its digest.

    Parameters
    ----------
    text : str
        TOML.
    name : str
        What its faults call it.
    overrides : sequence of str
        ``path=value`` texts that change or add values, checked like the file's own.

    Returns
    -------
    Scenario

    Raises
    ------
    InputError
        With every fault found, each with its file, line and key.
    """
    raw, faults = read_toml(text, name)
    apply_overrides(raw, overrides, faults)
    return Scenario(inputs_of(raw, faults), name, text, _digest("\0".join([text, *overrides])))


def located(error: InputError, scenario: Scenario, overrides: Sequence[str] = ()) -> InputError:
    """What was found only as the winch was built, each fault with its file and line, or option.

    Parameters
    ----------
    error : InputError
        Its faults have paths into the scenario; what lies elsewhere stays as it is.
    scenario : Scenario
    overrides : sequence of str
        Those that it was read with.
    """
    raw, faults = read_toml(scenario.text, scenario.name)
    apply_overrides(raw, overrides, faults)
    for fault in error.faults:
        if fault.file or fault.key.partition(".")[0] not in specs(Inputs):
            return error
        faults.add(fault)
    return faults.error()


def with_parts(scenario: Scenario, path: str) -> Scenario:
    """Scenario with the parts at hand from a file of its own, in place of those it has.

    Parameters
    ----------
    scenario : Scenario
    path : str
        TOML file with ``[[parts.gears]]`` and the like, as they may stand in a scenario.

    Raises
    ------
    InputError
        With every fault found.
    """
    text = read_text(path, MAX_BYTES, "a list of parts")
    raw, faults = read_toml(text, str(path))
    inputs = scenario.inputs
    for key in (key for key in raw if key != "parts"):
        faults.add(Fault("no part", key, expected="[[parts.gears]] and the like only"))
    reading = _Reading(faults, [own.name for own in inputs.material])
    parts = reading.one(specs(Inputs)["parts"], raw.get("parts", {}), "parts")
    kept = {path for path in inputs.given if not path.startswith("parts.")}
    inputs = replace(inputs, parts=parts, given=frozenset(kept | reading.given))
    for fault in declarations.check(inputs):
        faults.add(replace(fault, code=Code.CONTRADICTION))
    faults.raise_if_any()
    return replace(scenario, inputs=inputs, digest=_digest(scenario.digest + text))


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode(errors="surrogatepass")).hexdigest()


# --- tables


def inputs_of(raw: dict[str, Any], faults: Collector, *, in_si: bool = False) -> Inputs:
    """Inputs of raw tables, checked as a whole.

    Parameters
    ----------
    raw : dict
        Tables and values by key, as the TOML reader gives them.
    faults : Collector
        Holds the faults found so far.
    in_si : bool
        Whether a quantity may be a number in SI (°C for temperatures) besides a text with a unit.

    Raises
    ------
    InputError
        With every fault found.
    """
    own = raw["material"] if isinstance(raw.get("material"), list) else []
    names = [str(entry.get("name")) for entry in own if isinstance(entry, dict)]
    reading = _Reading(faults, names, in_si)
    inputs = reading.table(Inputs, raw, "")
    inputs = with_tables(
        replace(inputs, given=frozenset(reading.given), unused=tuple(reading.unused))
    )
    more = (
        *declarations.check(inputs),
        *_idle_faults(inputs, faults.origins, in_si),
        *_tolerance_faults(inputs),
    )
    for fault in [f for f in more if not faults.has_fault_in(f.key.rpartition(".")[0])]:
        if fault.key not in (known.key for known in faults.faults):
            faults.add(fault)
    faults.raise_if_any()
    return inputs


class _Reading:
    """One pass over the raw tables. Faults go to the collector; where a required value is missing
    or wrong, a usual one stands in so that the rest can be checked too."""

    def __init__(self, faults: Collector, materials: list[str], in_si: bool = False) -> None:
        self.faults, self.in_si = faults, in_si
        self.given: set[str] = set()
        self.unused: list[str] = []
        self.names = {"materials": (*load_materials(), *materials), "ropes": tuple(load_ropes())}

    def table(self, kind: type, raw: dict[str, Any], path: str) -> Any:
        """Dataclass made of a raw table; usual values stand in for those that are missing."""
        prefix = f"{path}." if path else ""
        declared, values = specs(kind), usual_values(kind)
        spelt = {key: key for key in raw if key in declared}
        for key in raw:
            if key not in declared and not self.faults.full:
                spelt.setdefault(self.unknown(key, kind, prefix), key)
        for key, spec in declared.items():
            value, given = None, raw[spelt[key]] if key in spelt else None
            if key not in spelt and spec.required:
                self.missing(key, spec, prefix)
            elif spelt.get(key) == key or isinstance(given, (dict, list)):
                value = None if self.faults.full else self.one(spec, given, prefix + spelt[key])
            if value is not None:
                values[key] = value
        return kind(**values)

    def one(self, spec: Spec, raw: Any, path: str) -> Any:
        """Value of one key; None where it is wrong."""
        if spec.table:
            return self.inner(spec.kind == "tables", spec.table, raw, path)
        try:
            value = read_value(spec, raw, in_si=self.in_si)
            if spec.names and value not in self.names[spec.names]:
                raise InputError((unknown_name(spec, value, self.names[spec.names]),))
        except InputError as error:
            for fault in error.faults:
                self.faults.add(fault, path)
            return None
        self.given.add(path)
        return value

    def inner(self, is_list: bool, kind: type, raw: Any, path: str) -> Any:
        """Table or list of tables inside another one; None where it is wrong."""
        if not is_list and isinstance(raw, dict):
            return self.table(kind, raw, path)
        if is_list and isinstance(raw, list) and all(isinstance(entry, dict) for entry in raw):
            if len(raw) <= MAX_TABLES:
                return tuple(
                    self.table(kind, row, f"{path}.{number}")
                    for number, row in enumerate(raw, start=1)
                )
            fault = Fault(
                f"{len(raw)} tables; at most {MAX_TABLES} are taken",
                path,
                code=Code.TOO_MUCH,
                hint="repeat or count makes several of one table",
            )
        else:
            name, expected = without_numbers(path), "a list of tables" if is_list else "a table"
            single = f"write [{name}]" + " with single brackets" * isinstance(raw, list)
            hint = f"write [[{name}]] with double brackets" if is_list else single
            fault = wrong_type(raw, expected, path, expected=expected, hint=hint)
        self.faults.add(fault)
        return None

    def unknown(self, key: str, kind: type, prefix: str) -> str:
        """Note an unknown key; returns the known key of the same table that may have been meant."""
        known = list(specs(kind))
        if without_numbers(prefix + key) in REMOVED:
            self.unused.append(prefix + key)
            return ""
        near, hint = nearest(key, known), did_you_mean(key, known)
        places = {
            f"in {table.heading}"
            if table.name
            else "at the top of the file, before the first table": table
            for table in key_tables()
            for row in table.rows
            if row["key"] == key and row["path"] != prefix + key
        }
        if places and near != key.lower():
            hint = f"{key} belongs " + " or ".join(list(places)[:3])
        where = f"key in [{without_numbers(prefix[:-1])}]" if prefix else "table or key"
        self.faults.add(
            Fault(
                f"unknown {where}",
                prefix + shortened(key, 60),
                got=shortened(key, 60),
                hint=hint,
                expected="one of: " + ", ".join(known) if len(known) <= 14 else "",
                code=Code.UNKNOWN_KEY,
            )
        )
        return near

    def missing(self, key: str, spec: Spec, prefix: str) -> None:
        """Note a required key or table that is not there."""
        heading = {"tables": f"[[{key}]]", "table": f"[{key}]"}.get(spec.kind)
        what = f"at least one {heading}" if spec.kind == "tables" else heading or expectation(spec)
        self.faults.add(
            Fault(
                f"no {heading} table" if heading else f"{key} is missing",
                prefix + key,
                expected=f"{what}: {spec.meaning}",
                code=Code.MISSING,
            )
        )


def usual_values(kind: type) -> dict[str, Any]:
    """Usual values for what a table requires."""
    return {key: _usual(spec) for key, spec in specs(kind).items() if spec.required}


def _usual(spec: Spec) -> Any:
    match spec.kind:
        case "table":
            return spec.table(**usual_values(spec.table))
        case "tables":
            return ()
        case "choice" | "text":
            return (*spec.choices, "")[0]
    return (spec.usual or (spec.low, spec.high))[1]


def _idle_faults(inputs: Inputs, origins: Collection[str], in_si: bool) -> Iterator[Fault]:
    """Given values that mean nothing with the kind of their table; not those of a description that
    is not chosen, nor what a change of the kind left behind."""
    for row in idle(inputs):
        path, decides, *_ = row
        is_selected = decides.rpartition(".")[2] in SELECTORS
        if path in origins or not (is_selected or in_si or decides in origins):
            yield misplaced(row)


def _tolerance_faults(inputs: Inputs) -> list[Fault]:
    """What is wrong with the paths and widths of the tolerances."""
    faults = []
    for number, tolerance in enumerate(inputs.tolerance, start=1):
        key = f"tolerance.{number}"
        try:
            tolerance_width(inputs, tolerance)
        except DomainError as error:
            faults.append(
                Fault(
                    f'no value "{error.value}" to vary',
                    f"{key}.path",
                    code=Code.UNKNOWN_NAME,
                    got=shortened(tolerance.path, 60),
                    expected=error.expected,
                )
            )
        except InputError as error:
            faults += [replace(fault, key=f"{key}.by") for fault in error.faults]
    return faults


def tolerance_width(inputs: Inputs, tolerance: declarations.Tolerance) -> float:
    """Half width of a tolerance in SI.

    Parameters
    ----------
    inputs : Inputs
        Scenario whose value it is; a percentage is taken of that value.
    tolerance : Tolerance
        Path and width as the file gives them.

    Returns
    -------
    float
        In the SI unit of the value (kelvin for temperatures).

    Raises
    ------
    DomainError
        The path names no number of this scenario.
    InputError
        The width cannot be read.
    """
    spec = declarations.spec_at(inputs, tolerance.path)
    value = declarations.value_at(inputs, tolerance.path)
    if spec.kind not in ("quantity", "number", "integer") or value is None:
        raise DomainError(
            tolerance.path, tolerance.path, "the path of a number that the scenario gives"
        )
    unit = "K" if spec.unit == "°C" else spec.unit
    if tolerance.by.strip().endswith("%") and spec.unit != "%/K":
        width = abs(parse_quantity(tolerance.by, "%") * value)
    else:
        width = abs(parse_quantity(tolerance.by, unit))
    most = value - spec.low if spec.low_open else spec.high - spec.low
    if not width < most:
        expected = f"less than {quantity(most, unit)}"
        raise refused("out of bounds", got=tolerance.by, expected=expected, code=Code.OUT_OF_BOUNDS)
    return width
