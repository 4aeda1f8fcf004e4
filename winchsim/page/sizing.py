"""Sizing questions as pictures, and a map of two keys: a click takes a build."""

from __future__ import annotations

from typing import Any

from nicegui import ui

from winchsim.errors import InputError
from winchsim.inputs import Control, Inputs, controls
from winchsim.page.facts import SIGNS
from winchsim.page.form import ends, fault_text
from winchsim.page.long_job import LongJob
from winchsim.page.state import with_text
from winchsim.quantity_text import from_unit, in_unit
from winchsim.report.plain_text import safe
from winchsim.report.words.values import MARKS

QUESTIONS = {
    "drum": "Which drum?",
    "gears": "Which gears?",
    "motors": "How many motors?",
    "voltage": "Which voltage?",
    "heaviest": "Which load?",
}

COLOURS = ("#c0392b", "#d9a02b", "#9aa3aa", "#3f9a6d")
SYMBOLS = ("path://M0 0L10 10M10 0L0 10", "triangle", "emptyCircle", "circle")
WORDS = ("fails", "thin", "not checked", "ok")
"""Colour, shape and word of each rank of a status."""

LINES, INKS = ("solid", "dashed", "dotted"), ("#2a6fb0", "#8a4fa3", "#6b5a3a")

_TEXT = {"color": "#7a8790"}
_GRID = {"splitLine": {"show": True, "lineStyle": {"opacity": 0.3}}}


class Sizing:
    """Panel with the questions and the map."""

    def __init__(self, tab: Any) -> None:
        self.tab = tab
        with ui.element("section").classes("sheet").props('aria-label="Sizing"'):
            with ui.element("div").classes("line"):
                for name, text in QUESTIONS.items():
                    ui.button(text, on_click=lambda n=name: self._ask(n)).props("outline no-caps")
            self._job = LongJob(tab)
            self._box = ui.element("div")
        with ui.element("section").classes("sheet").props('aria-label="Map of two keys"'):
            ui.label("Map of two keys").classes("heading")
            self._keys = [self._key("across", "load.mass"), self._key("up", "drum.diameter")]
            ui.button("Draw the map", on_click=self._map).props("outline no-caps")
            self._map_box = ui.element("div")

    # --- questions ----------------------------------------------------------------------------

    async def _ask(self, name: str) -> None:
        found = await self._job.result(
            f"{QUESTIONS[name]} Candidates are being tried.",
            "question",
            self.tab.state.inputs,
            name,
        )
        if found is None:
            return
        self._box.clear()
        with self._box:
            ui.label(QUESTIONS[name]).classes("heading")
            self._matrix(found)
            with (
                ui.element("div")
                .classes("candidates")
                .props('role="group" aria-label="Candidates"')
            ):
                for row in found["rows"]:
                    self._candidate(row)

    def _matrix(self, found: dict[str, Any]) -> None:
        """Every candidate against every check; a click takes the candidate."""
        rows, checks = found["rows"], found["checks"]
        points: list[list[list[int]]] = [[], [], [], []]
        for x, row in enumerate(rows):
            for y, rank in enumerate(row["ranks"]):
                points[rank].append([x, y])
        series = [
            {
                "type": "scatter",
                "name": word,
                "symbol": symbol,
                "symbolSize": 9,
                "data": data,
                "itemStyle": {"color": colour, "borderColor": colour, "borderWidth": 2},
            }
            for word, symbol, colour, data in zip(WORDS, SYMBOLS, COLOURS, points, strict=True)
            if data
        ]
        options = {
            "animation": False,
            "legend": {"top": 0, "textStyle": _TEXT},
            "grid": {"left": 8, "right": 12, "top": 30, "bottom": 30, "containLabel": True},
            "xAxis": {
                "type": "category",
                "data": [row["text"] for row in rows],
                "axisLabel": _TEXT,
            },
            "yAxis": {
                "type": "category",
                "data": checks,
                "axisLabel": _TEXT,
                "splitLine": {"show": True, "lineStyle": {"opacity": 0.3}},
            },
            "series": series,
        }
        chart = ui.echart(options, on_point_click=lambda e: self._take(rows[e.data[0]])).classes(
            "small wider"
        )
        chart.props(
            'role="img" aria-label="Candidates against the checks; the buttons below take one"'
        )

    def _candidate(self, row: dict[str, Any]) -> None:
        tone = next(mark.tone for mark in MARKS.values() if mark.word == row["status"])
        about = (
            " · recommended"
            if row["is_recommended"]
            else " · as it is"
            if row["is_present"]
            else ""
        )
        button = ui.button(on_click=lambda: self._take(row)).props("outline dense no-caps")
        if row["is_recommended"]:
            button.classes("best")
        sign = (
            f'<span class="mark {tone}"><i '
            f'aria-hidden="true">{SIGNS[tone]}</i> {row["status"]}</span>'
        )
        with button:
            ui.html(
                f"<b>{safe(row['text'])}</b> {sign}<br><small>{row['time']}{about}</small>",
                sanitize=False,
            )

    def _take(self, row: dict[str, Any]) -> None:
        self.tab.take(row["inputs"], f"Taken: {row['text']}.")
        self._job.tell(f"Taken: {row['text']}. Undo takes it back.")

    # --- map ----------------------------------------------------------------------------------

    def _key(self, axis: str, path: str) -> dict[str, Any]:
        choices = [c.path for c in controls(self.tab.state.inputs) if _is_axis(c)]
        with ui.element("div").classes("line"):
            field = ui.select(
                choices,
                label=f"key {axis}",
                value=path if path in choices else choices[0],
                with_input=True,
            )
            low = ui.input("from").props(f'dense outlined aria-label="from, {axis}"')
            high = ui.input("to").props(f'dense outlined aria-label="to, {axis}"')
        field.props(f'dense outlined aria-label="key {axis}"')
        row = {"path": field, "low": low, "high": high}
        field.on_value_change(lambda: self._usual(row))
        self._usual(row)
        return row

    def _usual(self, row: dict[str, Any]) -> None:
        control = _control(self.tab.state.inputs, row["path"].value)
        if control is None:
            return
        span = ends(control.spec, None) or (0.0, 1.0)
        if isinstance(control.value, (int, float)) and control.value > 0:
            now = in_unit(control.value, control.spec.unit)
            span = max(span[0], now / 3), min(span[1], now * 3)
        for field, number in ((row["low"], span[0]), (row["high"], span[1])):
            field.set_value(f"{number:.3g} {control.spec.unit}".strip())

    def _ends(self, row: dict[str, Any]) -> tuple[str, tuple[float, float]]:
        path, inputs = row["path"].value, self.tab.state.inputs
        found = [
            _control(with_text(inputs, path, field.value or ""), path).value  # type: ignore[union-attr]
            for field in (row["low"], row["high"])
        ]
        return path, (min(found), max(found))

    async def _map(self) -> None:
        try:
            keys = dict(self._ends(row) for row in self._keys)
        except InputError as error:
            self._job.tell(fault_text(error))
            return
        if len(keys) < 2:
            self._job.tell("Choose two different keys.")
            return
        found = await self._job.result(
            "The map is being computed.", "two_keys", self.tab.state.inputs, keys
        )
        if found is not None:
            self._map_box.clear()
            with self._map_box:
                self._draw(list(keys), found)

    def _draw(self, paths: list[str], found: dict[str, Any]) -> None:
        inputs = self.tab.state.inputs
        across, up = (_control(inputs, path) for path in paths)
        assert across is not None and up is not None
        units = across.spec.unit, up.spec.unit

        def place(x: float, y: float | None) -> list[float | None]:
            return [
                None if v is None else float(f"{in_unit(v, unit):.5g}")
                for v, unit in zip((x, y), units, strict=True)
            ]

        cells: list[list[list[float | None]]] = [[], [], [], []]
        for x, row in zip(found["x"], found["ranks"], strict=True):
            for y, rank in zip(found["y"], row, strict=True):
                cells[rank].append(place(x, y))
        series: list[dict[str, Any]] = [
            {
                "type": "scatter",
                "name": word,
                "symbol": symbol,
                "symbolSize": 8,
                "data": data,
                "itemStyle": {
                    "color": colour,
                    "opacity": 0.75,
                    "borderColor": colour,
                    "borderWidth": 2,
                },
            }
            for word, symbol, colour, data in zip(WORDS, SYMBOLS, COLOURS, cells, strict=True)
            if data
        ]
        names = list(dict.fromkeys(line["name"] for line in found["lines"]))
        for line in found["lines"]:
            n = names.index(line["name"])
            style = {"width": 3, "type": LINES[n % 3], "color": INKS[n % 3]}
            points = [place(*point) for point in line["points"]]
            drawn = {"type": "line", "name": line["name"], "data": points, "lineStyle": style}
            series.append(
                drawn | {"showSymbol": False, "silent": True, "itemStyle": {"color": INKS[n % 3]}}
            )
        here = place(across.value, up.value)
        series.append(
            {
                "type": "scatter",
                "name": "this build",
                "symbol": "pin",
                "symbolSize": 30,
                "silent": True,
                "data": [here],
            }
        )
        axis = {
            "type": "value",
            "scale": True,
            "nameLocation": "middle",
            "nameGap": 28,
            "axisLabel": _TEXT,
            "nameTextStyle": _TEXT,
        }
        options = {
            "animation": False,
            "legend": {"top": 0, "textStyle": _TEXT, "type": "scroll"},
            "grid": {"left": 40, "right": 20, "top": 40, "bottom": 40, "containLabel": True},
            "xAxis": axis | {"name": f"{paths[0]}, {units[0]}"},
            "yAxis": axis | {"name": f"{paths[1]}, {units[1]}"},
            "series": series,
        }
        chart = ui.echart(
            options, on_point_click=lambda e: self._take_cell(paths, units, e.data)
        ).classes("map")
        about = (
            f"Map of {paths[0]} and {paths[1]}: status of each pair of values, and "
            f"lines where a check begins to fail"
        )
        chart.props('role="img"').props["aria-label"] = about

    def _take_cell(self, paths: list[str], units: tuple[str, str], cell: list[float]) -> None:
        values = [from_unit(number, unit) for number, unit in zip(cell, units, strict=True)]
        self.tab.apply(list(zip(paths, values, strict=True)))
        self._job.tell(
            f"Taken: {paths[0]} {cell[0]:g} {units[0]}, {paths[1]} {cell[1]:g} "
            f"{units[1]}. Undo takes it back."
        )


def _is_axis(control: Control) -> bool:
    return (
        control.applies
        and control.spec.kind in ("quantity", "number")
        and isinstance(control.value, float)
    )


def _control(inputs: Inputs, path: str) -> Control | None:
    return next((control for control in controls(inputs) if control.path == path), None)
