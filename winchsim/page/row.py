"""One value of a scenario on the page: a field made from its declaration, what is assumed for it,
and a way to leave it out."""

import math
from collections.abc import Callable
from typing import Any

from nicegui import ui

from winchsim.errors import InputError, WinchsimError
from winchsim.frozen import dataclass
from winchsim.inputs import GROUPS, Inputs, Spec, specs, value_at, walk
from winchsim.page.state import with_text
from winchsim.quantity_text import in_unit
from winchsim.report.render.options import harmless
from winchsim.scenario.values import LEFT_OUT

LONGEST = 2000
"""Characters of a value that are read. [-]"""


@dataclass(frozen=True)
class Control:
    """One value of a scenario with what a form needs.

    Attributes
    ----------
    path : str
    value : object
        In SI (°C for temperatures); None where it is left out.
    spec : Spec
    group : str
        One of `GROUPS`.
    applies : bool
        Whether the value has a meaning with the present values of its table.
    given : bool
        Whether the scenario gives it.
    choices : tuple of str
        Words or names to choose from; empty for a value of another kind.
    """

    path: str
    value: Any
    spec: Spec
    group: str
    applies: bool
    given: bool
    choices: tuple[str, ...]


def controls(inputs: Inputs) -> tuple[Control, ...]:
    """Every value of a scenario for a form, the groups along the way of the power."""
    found = []
    for path, value, spec in walk(inputs):
        head = path.rpartition(".")[0]
        owner = value_at(inputs, head) if head else inputs
        group = specs(Inputs)[path.partition(".")[0]].group
        choices = tuple(getattr(inputs, spec.names)) if spec.names else spec.choices
        found.append(
            Control(path, value, spec, group, spec.applies_to(owner), path in inputs.given, choices)
        )
    return tuple(sorted(found, key=lambda control: GROUPS.index(control.group)))


def step_of(spec: Spec) -> float:
    """Step of a control in the printed unit: 1, 2 or 5 of a decade, about a fiftieth of the usual
    range."""
    if spec.kind == "integer":
        return 1.0
    low, high = spec.usual or (spec.low, spec.high)
    span = (in_unit(high, spec.unit) - in_unit(low, spec.unit)) / 50
    if not 0 < span < math.inf:
        return 0.0
    decade = math.floor(math.log10(span))
    digit = max(d for d in (1, 2, 5) if d <= span / 10.0**decade * (1 + 1e-12))
    return float(f"{digit}e{decade}")


def fault_text(error: Exception) -> str:
    """What is wrong, in the words of the command line, on one line."""
    if not isinstance(error, InputError):
        return harmless(str(error).strip().splitlines()[-1][-300:])
    found = []
    for fault in error.faults[:3]:
        expected = f"expected {fault.expected}" if fault.expected else ""
        message = f"{fault.key}: {fault.message}" if fault.key else fault.message
        found.append("; ".join(part for part in (message, expected, fault.hint) if part))
    return harmless(" · ".join(found))


def value_text(spec: Spec, value: Any) -> str:
    """A value as a file would write it; empty where it is left out."""
    if value is None or isinstance(value, str):
        return value or ""
    if isinstance(value, bool):
        return str(value).lower()
    return f"{in_unit(value, spec.unit):.6g} {spec.unit}".strip()


def ends(spec: Spec, value: float | None) -> tuple[float, float] | None:
    """Ends of a slider in the printed unit: the usual range, widened to the present value."""
    if spec.usual is None or step_of(spec) <= 0:
        return None
    numbers = (*spec.usual, *(() if value is None else (value,)))
    return in_unit(min(numbers), spec.unit), in_unit(max(numbers), spec.unit)


def field(
    spec: Spec,
    choices: tuple[str, ...],
    name: str,
    text: str,
    put: Callable[[str], None],
    blank: str = LEFT_OUT,
) -> Any:
    """Control that calls `put` with what is chosen or typed; empty for what is left out.

    Parameters
    ----------
    spec : Spec
    choices : tuple of str
        Empty for what is typed.
    name : str
        For a screen reader.
    text : str
        That stands in it at first.
    put : callable
    blank : str
        What stands there for nothing.
    """
    own = {"true": "yes", "false": "no"} if spec.kind == "flag" else {c: c for c in choices}
    if own:
        made: Any = ui.select({"": blank} | own, label=spec.label, value=text * (text in own))
        made.on_value_change(lambda e: put(e.value or ""))
    else:
        made = ui.input(spec.label, value=text)
        typed = "(v) => emit(v?.target ? v.target.value : v)"
        made.on("change", lambda e: put(str(e.args or "").strip()[:LONGEST]), js_handler=typed)
    made.props("dense outlined options-dense autocomplete=off").props["aria-label"] = name
    return made


def mark_wrong(made: Any, trouble: str) -> None:
    """Show what is wrong with what stands in a field, or that it is right."""
    made.error = trouble or None
    made.props["aria-invalid"] = "true" if trouble else "false"
    made.update()


class KeyRow:
    """Control of one value, with its slider."""

    def __init__(self, form: Any, control: Control) -> None:
        self.form, self.path, self.spec = form, control.path, control.spec
        self._trouble = ""
        name = f"{control.spec.label}, {control.path}"
        with ui.element("div").classes("key"):
            self._field = field(
                self.spec, control.choices, name, value_text(self.spec, control.value), self.set_to
            )
            self._clear = ui.button(icon="backspace", on_click=lambda: self.set_to(""))
            self._clear.props(f'flat dense size=sm aria-label="Leave out {control.path}"')
            self._clear.classes("clear")
            span = ends(self.spec, control.value)
            self._slider = None if span is None else self._slide(span, name)
            self._info = ui.label("").classes("info")
        if step_of(self.spec) > 0 and not control.choices:
            for key, sign in (("up", 1), ("down", -1)):
                self._field.on(f"keydown.{key}.prevent", lambda _, s=sign: self._step(s))
        self.sync(control)

    def _slide(self, span: tuple[float, float], name: str) -> Any:
        made = ui.slider(min=span[0], max=span[1], step=step_of(self.spec), value=span[0])
        made.props(f'dense aria-label="{name}, slider"').classes("slide")
        made.on("update:model-value", lambda e: self._put_number(e.args), throttle=0.1)
        return made

    def _step(self, sign: int) -> None:
        span = ends(self.spec, self._value) or (0.0, 0.0)
        now = span[0] if self._value is None else in_unit(self._value, self.spec.unit)
        self._put_number(now + sign * step_of(self.spec))

    def _put_number(self, number: float) -> None:
        self.set_to(f"{number:.6g} {self.spec.unit}".strip())

    def set_to(self, text: str) -> None:
        """Change the value, or leave it out; what is wrong with it is told here."""
        tab, path = self.form.tab, self.path
        if text == self._text and not self._trouble:
            return
        self._trouble = ""
        try:
            tab.take(with_text(tab.state.inputs, path, text or LEFT_OUT), path)
        except WinchsimError as error:
            self._trouble = fault_text(error)
        mark_wrong(self._field, self._trouble)
        if self._trouble:
            self._field.set_value(text)

    def sync(self, control: Control) -> None:
        """Show the present value, unless a wrong one stands here."""
        if self._trouble:
            return
        self._value, self._text = control.value, value_text(self.spec, control.value)
        options = getattr(self._field, "options", (self._text,))
        wanted = self._text if self._text in options else ""
        if self._field.value != wanted:
            self._field.set_value(wanted)
        if self._slider is not None and control.value is not None:
            number = in_unit(control.value, self.spec.unit)
            now = self._slider.props
            if not now["min"] <= number <= now["max"]:
                now.update(min=min(now["min"], number), max=max(now["max"], number))
                self._slider.update()
            self._slider.set_value(number)
        self._field.set_enabled(control.applies)
        self._clear.set_visibility(control.given)
        self._info.set_text(harmless(self._about(control)))

    def _about(self, control: Control) -> str:
        """What the value is; where it is not given, what is assumed instead."""
        spec = control.spec
        if not control.applies and spec.condition is not None:
            return f"only for {spec.condition[0]} {' or '.join(spec.condition[1])}"
        if control.given:
            return spec.meaning
        otherwise = spec.left_out or ("default" if self._text else "left out")
        return self.form.assumed.get(control.path, f"{spec.meaning}; {otherwise}")
