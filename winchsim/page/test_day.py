"""The test day: the ladder as a form beside the winch, kept as the sheet that ``winchsim
calibrate`` reads."""

from __future__ import annotations

import dataclasses
import os
from typing import Any

from nicegui import ui

from winchsim.errors import InputError, OutputError, WinchsimError
from winchsim.page.form import LEFT_OUT, fault_text
from winchsim.page.long_job import LongJob
from winchsim.page.take_out import rewritten
from winchsim.quantity_text import in_unit, quantity
from winchsim.report.plain_text import harmless
from winchsim.report.writing import write_file
from winchsim.scenario.sheet import SheetRow, origin_line, read_planned_sheet, write_sheet
from winchsim.scenario.values import read_value

ASKED = (
    ("measured_time", "measured time"),
    ("measured_current", "measured current"),
    ("measured_voltage", "voltage at the motors"),
    ("outcome", "how it ended"),
    ("held", "held with the power off"),
    ("note", "note"),
)
"""What is filled in for each test, and its label."""

_SPECS = {f.name: f.metadata["spec"] for f in dataclasses.fields(SheetRow)}


def read_cell(name: str, text: str) -> Any:
    """Value of one field as it was typed: a number alone is in the unit of its column; None where
    it is empty.

    Raises
    ------
    InputError
        It cannot be read.
    """
    spec, text = _SPECS[name], text.strip()
    if not text or text == LEFT_OUT:
        return None
    if spec.kind == "flag":
        return text == "yes"
    if spec.kind == "quantity":
        text = text.replace(",", ".")
        text = f"{text} {spec.unit}" if text.replace(".", "", 1).isdecimal() else text
    return read_value(spec, text)


class TestDay:
    """Panel with the form, the calibration, and measured against predicted."""

    def __init__(self, tab: Any) -> None:
        self.tab = tab
        self.path = os.path.splitext(tab.site.path)[0] + ".tests.csv"
        self._rows: list[SheetRow] = []
        self._comments: tuple[str, ...] = ()
        with ui.element("section").classes("sheet").props('aria-label="Test day"'):
            ui.label(
                harmless(
                    f"The tests are kept in {os.path.basename(self.path)}, as "
                    f"winchsim calibrate reads it."
                )
            )
            with ui.element("div").classes("line"):
                ui.button("Plan the tests", on_click=self._plan).props("outline no-caps")
                ui.button("Calibrate", on_click=self._calibrate).props("outline no-caps")
            self._job = LongJob(tab)
            self._result = ui.element("div")
            self._box = ui.element("div").classes("tests")
        if os.path.exists(self.path):
            self._read()

    def _read(self) -> None:
        try:
            rows, origin = read_planned_sheet(self.path)
        except WinchsimError as error:
            self._job.tell(
                fault_text(error) if isinstance(error, InputError) else harmless(str(error))
            )
            return
        self._rows, self._comments = list(rows), () if origin is None else (origin_line(origin),)
        self._box.clear()
        with self._box:
            for number, row in enumerate(self._rows):
                self._test(number, row)

    def _test(self, number: int, row: SheetRow) -> None:
        load = "Unloaded run" if not row.mass else quantity(row.mass, "kg")
        expected = [
            quantity(v, unit)
            for v, unit in ((row.predicted_time, "s"), (row.predicted_current, "A"))
            if v is not None
        ]
        with ui.element("fieldset").classes("table"):
            with ui.element("legend"):
                ui.label(f"Test {number + 1}: {load}")
            ui.label("Predicted: " + (", ".join(expected) if expected else "no lift")).classes(
                "info"
            )
            for name, label in ASKED:
                self._field(number, name, f"{label}, test {number + 1}", label)

    def _field(self, number: int, name: str, label: str, short: str) -> None:
        spec, value = _SPECS[name], getattr(self._rows[number], name)
        if spec.kind in ("choice", "flag"):
            options = [LEFT_OUT, *(spec.choices or ("yes", "no"))]
            now = (
                LEFT_OUT
                if value is None
                else value
                if isinstance(value, str)
                else "yes"
                if value
                else "no"
            )
            field: Any = ui.select(options, label=short, value=now)
            field.on_value_change(lambda e: self._put(number, name, str(e.value), field))
        else:
            text = (
                ""
                if value is None
                else value
                if isinstance(value, str)
                else f"{in_unit(value, spec.unit):.6g} {spec.unit}"
            )
            field = ui.input(short, value=text)
            handler = "(v) => emit(v?.target ? v.target.value : v)"
            field.on(
                "change", lambda e: self._put(number, name, str(e.args), field), js_handler=handler
            )
        field.props("dense outlined").props["aria-label"] = label

    def _put(self, number: int, name: str, text: str, field: Any) -> None:
        try:
            value = read_cell(name, text[:500])
            self._rows[number] = dataclasses.replace(self._rows[number], **{name: value})
            field.error = None
            write_file(self.path, write_sheet(self._rows, comments=self._comments), force=True)
        except InputError as error:
            field.error = fault_text(error)
        except OutputError as error:
            self.tab.tell(str(error))

    async def _plan(self) -> None:
        if os.path.exists(self.path) and not await self.tab.agreed(
            f"{self.path} exists. Replace it, with all that is filled in?"
        ):
            return
        try:
            text = await self._job.result(
                "The tests are being planned.", "ladder", rewritten(self.tab.state)
            )
            if text is not None:
                write_file(self.path, text, force=True)
                self._read()
        except (InputError, OutputError) as error:
            self._job.tell(str(error))

    async def _calibrate(self) -> None:
        if not any(row.measured_time or row.measured_current or row.outcome for row in self._rows):
            self._job.tell("Plan the tests first, and fill in what was measured.")
            return
        what = "Calibrating. This may take half a minute."
        found = await self._job.result(
            what, "calibration", self.tab.state.inputs, tuple(self._rows)
        )
        if found is not None:
            self._show(found)

    def _show(self, found: dict[str, Any]) -> None:
        self._result.clear()
        self.tab.state.keep("calibrated", {})
        self.tab.state.variants[-1].inputs = found["inputs"]
        self.tab.changed()
        with self._result:
            ui.button(
                "Take the calibrated build",
                on_click=lambda: self.tab.take(found["inputs"], "This is the calibrated build."),
            ).props("outline no-caps")
            for kind in dict.fromkeys(row["kind"] for row in found["rows"]):
                self._chart(kind, [row for row in found["rows"] if row["kind"] == kind])

    def _chart(self, kind: str, rows: list[dict[str, Any]]) -> None:
        names = ("measured", "calibrated", "before")
        symbols, sizes = ("diamond", "circle", "emptyCircle"), (14, 10, 10)
        series = [
            {
                "type": "scatter",
                "name": name,
                "symbol": symbol,
                "symbolSize": size,
                "data": [row["values"][n] for row in rows],
            }
            for n, (name, symbol, size) in enumerate(zip(names, symbols, sizes, strict=True))
        ]
        options = {
            "animation": False,
            "legend": {"top": 0, "textStyle": {"color": "#7a8790"}},
            "xAxis": {"type": "category", "data": [row["test"] for row in rows]},
            "yAxis": {
                "type": "value",
                "name": f"{kind}, {rows[0]['unit']}",
                "scale": True,
                "splitLine": {"lineStyle": {"opacity": 0.3}},
            },
            "series": series,
        }
        text = "; ".join(
            f"{row['test']}: measured {row['values'][0]}, calibrated {row['values'][1]}"
            for row in rows
        )
        chart = ui.echart(options).classes("small").props('role="img"')
        chart.props["aria-label"] = f"{kind} in {rows[0]['unit']}: {text}"
