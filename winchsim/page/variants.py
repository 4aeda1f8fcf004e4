"""Variants of the build: kept under a name, compared with the file in a table, taken again."""

from __future__ import annotations

import csv
import io
from typing import Any

from nicegui import ui

from winchsim.errors import InputError
from winchsim.page.form import fault_text
from winchsim.page.state import changes
from winchsim.report.plain_text import harmless

MOST_CHANGES = 6
"""Changed keys that a row names. [-]"""


class Variants:
    """Panel with the table of variants."""

    def __init__(self, tab: Any) -> None:
        self.tab = tab
        self._shown: Any = None
        with ui.element("section").classes("sheet").props('aria-label="Variants"'):
            with ui.element("div").classes("line"):
                self._name = ui.input("Name of this variant").props("dense outlined maxlength=60")
                ui.button("Keep the present build", on_click=self._keep).props("outline no-caps")
                back = ui.button(
                    "Back to the file",
                    on_click=lambda: tab.take(tab.state.base, "This is the build of the file."),
                )
                back.props("outline no-caps")
                ui.button("CSV", on_click=self._csv).props(
                    'outline no-caps aria-label="Table as CSV"'
                )
            self._box = ui.element("div").classes("scroll")
        tab.followers.append(self._refresh)

    def _keep(self) -> None:
        try:
            numbers = self.tab.answer.get("numbers", {})
            self.tab.state.keep(harmless(self._name.value or ""), numbers)
        except InputError as error:
            self.tab.tell(fault_text(error))
            return
        self._name.set_value("")
        self.tab.changed()

    def rows(self) -> list[dict[str, Any]]:
        """Rows of the table: name, what was changed, key numbers."""
        state, found = self.tab.state, []
        for variant in state.variants:
            changed = changes(state.base, variant.inputs)
            about = ", ".join(path for path, _ in changed[:MOST_CHANGES]) or "none"
            if len(changed) > MOST_CHANGES:
                about += f" and {len(changed) - MOST_CHANGES} more"
            numbers = {
                key: value[0].replace("\N{NO-BREAK SPACE}", " ")
                for key, value in variant.numbers.items()
            }
            order = {f"{key}#": value[1] for key, value in variant.numbers.items()}
            found.append({"variant": variant.name, "changed keys": about} | numbers | order)
        return found

    def _refresh(self) -> None:
        rows = self.rows()
        if rows == self._shown:
            return
        self._shown = rows
        self._box.clear()
        with self._box:
            if not rows:
                ui.label("No variant is kept yet.")
                return
            names = [key for key in rows[0] if not key.endswith("#")]
            columns = [self._column(name) for name in names]
            ui.table(columns=columns, rows=rows, row_key="variant").props("flat dense").classes(
                "wide"
            )
            for variant in self.tab.state.variants:
                with ui.element("div").classes("line"):
                    ui.label(variant.name)
                    self._button(
                        "Take",
                        variant.name,
                        lambda v=variant: self.tab.take(v.inputs, f"This is {v.name}."),
                    )
                    self._button(
                        "Compare in grey", variant.name, lambda v=variant: self._compare(v)
                    )
                    self._button("Remove", variant.name, lambda v=variant: self._remove(v))

    def _column(self, name: str) -> dict[str, Any]:
        # a table sorts by the number where there is one, not by its text
        by = f"(a, b, r, s) => (r['{name}#'] ?? 1e99) - (s['{name}#'] ?? 1e99)"
        sort = {":sort": by} if name not in ("variant", "changed keys") else {}
        return {
            "name": name,
            "label": name,
            "field": name,
            "sortable": True,
            "align": "left",
        } | sort

    def _button(self, text: str, name: str, do: Any) -> None:
        ui.button(text, on_click=do).props("outline dense no-caps").props["aria-label"] = (
            f"{text}: {name}"
        )

    def _compare(self, variant: Any) -> None:
        self.tab.compare(variant.inputs, variant.name)

    def _remove(self, variant: Any) -> None:
        self.tab.state.variants.remove(variant)
        self.tab.changed()

    def _csv(self) -> None:
        rows = [{k: v for k, v in row.items() if not k.endswith("#")} for row in self.rows()]
        if not rows:
            self.tab.tell("No variant is kept yet.")
            return
        text = io.StringIO()
        writer = csv.DictWriter(text, list(rows[0]))
        writer.writeheader()
        # a cell that a spreadsheet would take for a formula gets an apostrophe before it
        writer.writerows(
            {k: f"'{v}" if v[:1] in "=+-@" else v for k, v in row.items()} for row in rows
        )
        ui.download.content(text.getvalue(), "variants.csv", "text/csv")
