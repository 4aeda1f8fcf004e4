"""The test day: the ladder as a form beside the winch, kept as the sheet that ``winchsim
calibrate`` reads."""

import dataclasses
import os
from functools import partial
from typing import Any

from nicegui import ui

from winchsim.errors import InputError
from winchsim.page.charts import axis, chart, points
from winchsim.page.long_job import LongJob
from winchsim.page.row import fault_text, field, mark_wrong, value_text
from winchsim.quantity_text import quantity
from winchsim.report.render.options import harmless
from winchsim.scenario.sheet import SheetRow, origin_line, read_planned_sheet, write_sheet
from winchsim.scenario.values import raw_value, read_value

ASKED = {
    "measured_time": "measured time",
    "measured_current": "measured steady current",
    "measured_voltage": "voltage at the motors",
    "outcome": "how it ended",
    "broke_link": "what broke",
    "held": "held with the power off",
    "note": "note",
}
"""What is filled in for each test, and its label."""

_SPECS = {
    f.name: dataclasses.replace(f.metadata["spec"], label=ASKED[f.name])
    for f in dataclasses.fields(SheetRow)
    if f.name in ASKED
}


def read_cell(name: str, text: str) -> Any:
    """Value of one field as it was typed: a number alone is in the unit of its column; None where
    it is empty.

    Raises
    ------
    InputError
        It cannot be read.
    """
    spec, text = _SPECS[name], text.strip()
    if spec.kind == "quantity":
        text = text.replace(",", ".")
    return read_value(spec, raw_value(spec, text), in_si=True) if text else None


class TestDay:
    """Panel with the form, the calibration, and measured against predicted."""

    def __init__(self, tab: Any) -> None:
        self.tab = tab
        self.path = os.path.splitext(tab.site.path)[0] + ".tests.csv"
        self._rows: list[SheetRow] = []
        self._comments: tuple[str, ...] = ()
        self._fields: dict[tuple[int, str], Any] = {}
        with ui.element("section").classes("sheet").props('aria-label="Test day"'):
            kept = f"The tests are kept in {os.path.basename(self.path)}, as winchsim calibrate "
            ui.label(harmless(f"{kept}reads it."))
            with ui.element("div").classes("line"):
                for text, do in (
                    ("Plan the tests", self._plan),
                    ("Calibrate", self._calibrate),
                    ("Why did it fail?", self._why),
                ):
                    ui.button(text, on_click=do).props("outline no-caps")
            self._job = LongJob(tab)
            self._result = ui.element("div")
            self._box = ui.element("div").classes("tests")
            if tab.site.share_address:
                ui.label("For a phone in the same network").classes("heading")
                import segno

                code = segno.make(tab.site.share_address, error="m")
                drawn = code.svg_inline(scale=5, border=3, light="white")
                ui.html(drawn, sanitize=False).classes("code")
                ui.label(tab.site.share_address).classes("address")
        if os.path.exists(self.path):
            self._read()

    def _read(self) -> None:
        rows, origin = self.tab.tried(read_planned_sheet, self.path) or ((), None)
        self._rows, self._comments = list(rows), () if origin is None else (origin_line(origin),)
        self._box.clear()
        with self._box:
            for number, row in enumerate(self._rows):
                self._test(number, row)

    def _test(self, number: int, row: SheetRow) -> None:
        load = "Unloaded run" if not row.mass else quantity(row.mass, "kg")
        predicted = ((row.predicted_time, "s"), (row.predicted_current, "A"))
        expected = ", ".join(quantity(v, unit) for v, unit in predicted if v is not None)
        with ui.element("fieldset").classes("table"):
            with ui.element("legend"):
                ui.label(f"Test {number + 1}: {load}")
            ui.label(f"Predicted: {expected or 'none'}").classes("info")
            for name, spec in _SPECS.items():
                about, text = (
                    f"{spec.label}, test {number + 1}",
                    value_text(spec, getattr(row, name)),
                )
                put = partial(self._put, number, name)
                self._fields[number, name] = field(
                    spec, spec.choices, about, text, put, "not noted"
                )

    def _put(self, number: int, name: str, text: str) -> None:
        made, row = self._fields[number, name], self._rows[number]
        try:
            self._rows[number] = dataclasses.replace(row, **{name: read_cell(name, text)})
        except InputError as error:
            mark_wrong(made, fault_text(error))
            return
        mark_wrong(made, "")
        self.tab.write(self.path, write_sheet(self._rows, comments=self._comments))

    async def _plan(self) -> None:
        scenario, warning = self.tab.scenario(), "All that is filled in would be lost."
        if scenario is None or not await self.tab.may_replace(self.path, warning):
            return
        text = await self._job.result("The tests are being planned.", "ladder", scenario)
        if text is not None and self.tab.write(self.path, text):
            self._read()

    async def _why(self) -> None:
        state = self.tab.state
        await self._job.fill(
            self._result,
            lambda found: ui.html(found, sanitize=False).classes("report"),
            "Causes of the last failed test are being compared.",
            "why",
            state.scenario,
            state.inputs,
            tuple(self._rows),
        )

    async def _calibrate(self) -> None:
        await self._job.fill(
            self._result,
            self._calibrated,
            "Calibrating. This may take half a minute.",
            "calibration",
            self.tab.state.inputs,
            tuple(self._rows),
        )

    def _calibrated(self, found: dict[str, Any]) -> None:
        self.tab.state.keep("calibrated", found["numbers"], found["inputs"])
        self.tab.changed()
        ui.button(
            "Take the calibrated build", on_click=lambda: self.tab.take(found["inputs"])
        ).props("outline no-caps")
        for kind in dict.fromkeys(row["kind"] for row in found["rows"]):
            self._chart(kind, [row for row in found["rows"] if row["kind"] == kind])

    def _chart(self, kind: str, rows: list[dict[str, Any]]) -> None:
        looks = (
            ("measured", "diamond", 14),
            ("calibrated", "circle", 10),
            ("before", "emptyCircle", 10),
        )
        series = [points(*look, [row["values"][n] for row in rows]) for n, look in enumerate(looks)]
        tests = [row["test"] for row in rows]
        texts = "; ".join(
            f"{row['test']}: measured {row['values'][0]}, calibrated {row['values'][1]}"
            for row in rows
        )
        name = f"{kind}, {rows[0]['unit']}"
        chart(f"{name}: {texts}", axis(words=tests), axis(name), series).classes("small")
