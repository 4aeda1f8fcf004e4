"""Sizing questions as pictures, and a map of two keys: a click takes a build."""

from functools import partial
from typing import Any

from nicegui import ui

from winchsim.errors import InputError
from winchsim.inputs import value_at
from winchsim.page.charts import axis, by_status, chart, points
from winchsim.page.long_job import LongJob
from winchsim.page.row import controls, fault_text
from winchsim.page.state import with_text
from winchsim.quantity_text import from_unit, in_unit

QUESTIONS = {
    "drum": "Which drum?",
    "gears": "Which gears?",
    "motors": "How many motors?",
    "voltage": "Which voltage?",
    "heaviest": "Which load?",
    "choose": "Which of the parts at hand?",
}

LINES, INKS = ("solid", "dashed", "dotted"), ("#2a6fb0", "#8a4fa3", "#6b5a3a", "#b0562a")
"""Kinds and colours of the lines of a map; a pair of them comes again after twelve."""


class Sizing:
    """Panel with the questions and the map."""

    def __init__(self, tab: Any) -> None:
        self.tab = tab
        with ui.element("section").classes("sheet").props('aria-label="Questions"'):
            with ui.element("div").classes("line"):
                for name, text in QUESTIONS.items():
                    ui.button(text, on_click=lambda n=name: self._ask(n)).props("outline no-caps")
            self._job = LongJob(tab)
            self._box = ui.element("div")
        with ui.element("section").classes("sheet").props('aria-label="Map of two keys"'):
            ui.label("Map of two keys").classes("heading")
            self._keys = [self._key("across", "load.mass"), self._key("up", "drum.diameter")]
            ui.button("Draw the map", on_click=self._map).props("outline no-caps")
            self._map_box = ui.element("div").classes("scroll").props("tabindex=0")

    # --- questions ----------------------------------------------------------------------------

    async def _ask(self, name: str) -> None:
        if name == "choose" and self.tab.state.inputs.parts is None:
            self._job.tell("No parts are listed. Add them on Lift, under scenario.")
        else:
            await self._job.fill(
                self._box,
                partial(self._answer, name),
                f"{QUESTIONS[name]} Candidates are being tried.",
                "question",
                self.tab.state.inputs,
                name,
            )

    def _answer(self, name: str, found: dict[str, Any]) -> None:
        ui.label(QUESTIONS[name]).classes("heading")
        if found["checks"]:
            self._matrix(found["rows"], found["checks"])
        box = ui.element("div").classes("candidates").props("role=group")
        with box.props('aria-label="Candidates"'):
            for row in found["rows"]:
                self._candidate(row)

    def _matrix(self, rows: list[dict[str, Any]], checks: list[str]) -> None:
        """Every candidate against every check; a click takes the candidate."""
        places = [
            (rank, [x, y]) for x, row in enumerate(rows) for y, rank in enumerate(row["ranks"])
        ]
        x, y = axis(words=[row["text"] for row in rows]), axis(words=checks)
        about = "Candidates against the checks; the buttons below take one"
        with ui.element("div").classes("scroll").props("tabindex=0"):
            made = chart(about, x, y, by_status(places, 9), lambda e: self._take(rows[e.data[0]]))
            made.classes("matrix").style(f"height: {100 + 22 * len(checks)}px")

    def _candidate(self, row: dict[str, Any]) -> None:
        button = ui.button(on_click=lambda: self._take(row)).props("outline dense no-caps")
        button.classes("best" if row["is_recommended"] else "")
        with button:
            ui.html(
                f"<b>{row['text']}</b> {row['mark']}<br><small>{row['about']}</small>",
                sanitize=False,
            )

    def _take(self, row: dict[str, Any]) -> None:
        self.tab.take(row["inputs"])
        self._job.tell(f"Taken: {row['text']}. Undo takes it back.")

    # --- map ----------------------------------------------------------------------------------

    def _key(self, name: str, path: str) -> dict[str, Any]:
        """Fields of one key: which, from where, to where."""
        choices = [
            control.path
            for control in controls(self.tab.state.inputs)
            if control.applies and isinstance(control.value, float) and control.value > 0
        ]
        with ui.element("div").classes("line"):
            row: dict[str, Any] = {
                "path": ui.select(choices, label=f"key {name}", value=path, with_input=True),
                "low": ui.input("from"),
                "high": ui.input("to"),
            }
        for key, label in (("path", "key"), ("low", "from,"), ("high", "to,")):
            row[key].props(f'dense outlined aria-label="{label} {name}"')
        row["path"].on_value_change(lambda: self._usual(row))
        self._usual(row)
        return row

    def _usual(self, row: dict[str, Any]) -> None:
        """Fill in a range about the present value of a key."""
        for control in controls(self.tab.state.inputs):
            if control.path == row["path"].value:
                spec = control.spec
                for key, ends in (("low", control.value / 3), ("high", control.value * 3)):
                    end = in_unit(min(max(ends, spec.low), spec.high), spec.unit)
                    row[key].set_value(f"{end:.3g} {spec.unit}".strip())

    def _ends(self, row: dict[str, Any]) -> tuple[str, list[float]]:
        path, inputs = row["path"].value, self.tab.state.inputs
        texts = (row["low"].value or "", row["high"].value or "")
        return path, sorted(value_at(with_text(inputs, path, text), path) for text in texts)

    async def _map(self) -> None:
        try:
            keys = dict(self._ends(row) for row in self._keys)
        except InputError as error:
            self._job.tell(fault_text(error))
            return
        if len(keys) < 2:
            self._job.tell("Choose two different keys.")
            return
        await self._job.fill(
            self._map_box,
            partial(self._draw, list(keys)),
            "The map is being computed.",
            "two_keys",
            self.tab.state.inputs,
            keys,
        )

    def _draw(self, paths: list[str], found: dict[str, Any]) -> None:
        """Status of each pair of values, lines where a check begins to fail, and this build."""
        known = {control.path: control for control in controls(self.tab.state.inputs)}
        units = [known[path].spec.unit for path in paths]

        def place(*values: float | None) -> list[float | None]:
            pairs = zip(values, units, strict=True)
            return [None if v is None else float(f"{in_unit(v, u):.5g}") for v, u in pairs]

        cells = [
            (rank, place(x, y))
            for x, ranks in zip(found["x"], found["ranks"], strict=True)
            for y, rank in zip(found["y"], ranks, strict=True)
        ]
        series = by_status(cells, 8)
        names = list(dict.fromkeys(line["name"] for line in found["lines"]))
        by_kind = sorted(found["lines"], key=lambda line: names.index(line["name"]) % 3)
        for line in by_kind:  # where two coincide, the gaps of one show the other
            n = names.index(line["name"])
            style = {"width": 3, "type": LINES[n % 3], "color": INKS[n % 4]}
            drawn = {"type": "line", "name": line["name"], "lineStyle": style, "silent": True}
            data = [place(*point) for point in line["points"]]
            more = {"data": data, "showSymbol": False, "itemStyle": {"color": INKS[n % 4]}}
            series.append(drawn | more)
        here = place(*(known[path].value for path in paths))
        series.append(points("this build", "pin", 30, [here], silent=True))
        x, y = (axis(f"{path}, {unit}") for path, unit in zip(paths, units, strict=True))
        about = (
            f"Map of {paths[0]} and {paths[1]}: status of each pair of values, and lines where "
            "a check begins to fail"
        )
        chart(about, x, y, series, lambda e: self._take_cell(paths, units, e.data)).classes("map")

    def _take_cell(self, paths: list[str], units: list[str], cell: list[float]) -> None:
        pairs = list(zip(paths, units, cell, strict=True))
        self.tab.apply([(path, from_unit(number, unit)) for path, unit, number in pairs])
        texts = ", ".join(f"{path} {number:g} {unit}" for path, unit, number in pairs)
        self._job.tell(f"Taken: {texts}. Undo takes it back.")
