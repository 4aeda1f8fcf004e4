"""Variants of the build: kept under a name, compared with the file in a table, taken again."""

from typing import Any

from nicegui import ui

from winchsim.page.long_job import LongJob
from winchsim.page.state import Variant, changed_keys
from winchsim.quantity_text import csv_text
from winchsim.report.render.options import harmless

OF_THE_FILE = "(file)"
"""Row of the scenario as its file has it."""


class VariantsView:
    """Panel with the table of variants."""

    def __init__(self, tab: Any) -> None:
        self.tab = tab
        self._shown: Any = None
        with ui.element("section").classes("sheet").props('aria-label="Variants"'):
            with ui.element("div").classes("line"):
                self._name = ui.input("Name of this variant").props("dense outlined maxlength=60")
                for text, do in (
                    ("Keep the present build", self._keep),
                    ("Table as CSV", self._csv),
                ):
                    ui.button(text, on_click=do).props("outline no-caps")
            self._job = LongJob(tab)
            self._box = ui.element("div").classes("scroll")
            self._box.props('tabindex=0 role=region aria-label="Table of variants"')
        tab.followers.append(self._refresh)

    def _keep(self) -> None:
        name, answer = harmless(self._name.value or ""), self.tab.answer
        if trouble := self.tab.state.keep(name, answer.get("numbers", {})):
            self.tab.tell(trouble)
        else:
            self._name.set_value("")
            self.tab.changed()

    def _variants(self) -> list[Variant]:
        base = Variant(OF_THE_FILE, self.tab.state.base, self.tab.base.get("numbers", {}))
        return [base, *self.tab.state.variants]

    def rows(self) -> list[dict[str, Any]]:
        """Rows of the table: name, what was changed, key numbers; the file first."""
        state, found = self.tab.state, []
        for variant in self._variants():
            about = changed_keys(state.base, variant.inputs) or "none"
            row = {"variant": variant.name, "changed keys": about}
            for key, (text, number) in variant.numbers.items():
                row |= {key: text.replace("\N{NO-BREAK SPACE}", " "), f"{key}#": number}
            found.append(row)
        return found

    def _refresh(self) -> None:
        rows = self.rows()
        if rows == self._shown:
            return
        self._shown = rows
        self._box.clear()
        with self._box:
            columns = [_column(name) for name in _names(rows)]
            ui.table(columns=columns, rows=rows, row_key="variant").props("flat dense wrap-cells")
            for variant in self._variants():
                with ui.element("div").classes("line"):
                    ui.label(variant.name)
                    for text, do in (
                        ("Take", lambda v=variant: self.tab.take(v.inputs)),
                        ("Compare in grey", lambda v=variant: self._compare(v)),
                        ("Remove", lambda v=variant: self._remove(v)),
                    )[: 2 if variant.name == OF_THE_FILE else 3]:
                        button = ui.button(text, on_click=do).props("outline dense no-caps")
                        button.props["aria-label"] = f"{text}: {variant.name}"

    async def _compare(self, variant: Variant) -> None:
        found = await self._job.result("The other lift is computed.", "lift", variant.inputs)
        if found is not None:
            self.tab.compare(found["tracks"], variant.name)

    def _remove(self, variant: Variant) -> None:
        self.tab.state.variants.remove(variant)
        self.tab.changed()

    def _csv(self) -> None:
        rows, names = self.rows(), _names(self.rows())
        text = csv_text(names, ([row.get(name) for name in names] for row in rows))
        ui.download.content(text, "variants.csv", "text/csv")


def _names(rows: list[dict[str, Any]]) -> list[str]:
    return list(dict.fromkeys(key for row in rows for key in row if not key.endswith("#")))


def _column(name: str) -> dict[str, Any]:
    """A column that is sorted by the number behind a text where there is one."""
    by = f"(a, b, r, s) => (r['{name}#'] ?? 1e99) - (s['{name}#'] ?? 1e99)"
    sort = {} if name in ("variant", "changed keys") else {":sort": by}
    return {"name": name, "label": name, "field": name, "sortable": True, "align": "left"} | sort
