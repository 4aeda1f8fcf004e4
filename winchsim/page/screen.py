"""What one tab shows: its layout, and the newest answer in it."""

import json
from importlib.resources import files
from typing import Any

from nicegui import ui

from winchsim.page.form import Form
from winchsim.page.sizing import Sizing
from winchsim.page.take_out import TakeOut
from winchsim.page.test_day import TestDay
from winchsim.page.variants import VariantsView
from winchsim.report.render.options import harmless, safe
from winchsim.report.words.advice import CAUTIONS

CAUTION = (
    "Not rated lifting equipment. Nobody under or beside the load, no people on it, "
    "guard teeth and rope, begin with small test loads."
)

VIEWS = {"Variants": VariantsView, "Questions": Sizing, "Test day": TestDay, "Save": TakeOut}
"""What each view beside the lift shows."""


class Screen:
    """Elements of one tab; what happens with them is asked of the tab."""

    def __init__(self, tab: Any) -> None:
        self.tab = tab
        ui.colors(primary="#24577a", negative="#b3261e")
        package = files("winchsim.page")
        ui.add_css((package / "page.css").read_text(encoding="utf-8"))
        ui.add_body_html(f"<script>{(package / 'page.js').read_text(encoding='utf-8')}</script>")
        self._lay_out_top()
        with ui.tabs().props("no-caps dense align=left outside-arrows mobile-arrows") as tabs:
            for name in ("Lift", *VIEWS):
                ui.tab(name)
        tabs.classes("views")
        tabs.on_value_change(lambda: tab.client.run_javascript("setTimeout(winch.redraw, 100)"))
        with ui.tab_panels(tabs, value="Lift", animated=False, keep_alive=True).classes("panels"):
            with ui.tab_panel("Lift"), ui.element("div").classes("work"):
                self.form = Form(tab)
                self._lay_out_answer((package / "player.html").read_text(encoding="utf-8"))
            for name, view in VIEWS.items():
                with ui.tab_panel(name):
                    view(tab)
        self._lay_out_cautions()
        ui.keyboard(on_key=self._key, ignore=["input", "textarea", "select"])

    def _lay_out_top(self) -> None:
        tab = self.tab
        with ui.header().classes("top"):
            with ui.element("div").classes("bar1"):
                ui.label(harmless(tab.state.base.title or tab.site.path)).classes("title")
                self._undo, self._redo, self._reset = (
                    ui.button(icon=icon, on_click=do).props(f'flat dense aria-label="{label}"')
                    for icon, do, label in (
                        ("undo", lambda: tab.step(back=True), "Undo"),
                        ("redo", lambda: tab.step(back=False), "Redo"),
                        (
                            "restart_alt",
                            lambda: tab.take(tab.state.base),
                            "All values as in the file",
                        ),
                    )
                )
            with ui.element("div").classes("verdict").props("role=status aria-live=polite"):
                self._head = ui.html("Computing the first answer", sanitize=False).classes("head")
                self._effect, self._note = (
                    ui.label("").classes(f"note {kind}") for kind in ("effect", "remark")
                )
                self._stop = ui.button("Stop this run", on_click=lambda: tab.first.stop())
                self._stop.props("outline dense no-caps").set_visibility(False)
            self._offered = ui.element("div").classes("line")

    def _lay_out_answer(self, player: str) -> None:
        with ui.element("section").classes("moving").props('aria-label="Picture"'):
            self._picture = ui.html("", sanitize=False).classes("picture")
            ui.html(player, sanitize=False)
        with ui.element("section").classes("checked").props('aria-label="Answer"'):
            self._actions = ui.element("div").classes("actions")
            self._body = ui.html("", sanitize=False)
        with ui.element("section").classes("drawn").props('aria-label="Curves"'):
            self._chart = ui.echart({"series": []}, renderer="canvas").classes("curves")
            self._chart.props("role=img").props["aria-label"] = (
                "Curves of the lift over time; their values at the time cursor stand below"
            )
            ui.html('<div class="readout" id="w-readout"></div>', sanitize=False)

    def _lay_out_cautions(self) -> None:
        with ui.footer().classes("caution"):
            self._caution = ui.label(CAUTION)
            every = "".join(f"<li>{safe(text)}</li>" for text in CAUTIONS.values())
            ui.html(
                f"<summary>All cautions</summary><ul>{every}</ul>", sanitize=False, tag="details"
            )

    def _key(self, event: Any) -> None:
        if event.action.keydown and event.modifiers.ctrl and event.key.name in ("z", "Z", "y"):
            self.tab.step(back=event.key.name != "y" and not event.modifiers.shift)

    def offer(self, when: str, dumped: dict[str, Any]) -> None:
        """Offer to go on with the latest work."""
        with self._offered:
            ui.label(f"There is work of {when} on this scenario.")
            for text, do in (
                ("Continue it", lambda: self.tab.state.restore(dumped)),
                ("Start from the file", lambda: None),
            ):
                button = ui.button(text, on_click=do).on_click(self.tab.changed)
                button.on_click(self._offered.clear)
                button.props("outline dense no-caps")

    def refresh(self) -> None:
        """Show the present build."""
        self._undo.set_enabled(bool(self.tab.state.done))
        self._redo.set_enabled(bool(self.tab.state.undone))
        self._reset.set_enabled(self.tab.state.inputs != self.tab.state.base)
        self.form.refresh()
        for follow in self.tab.followers:
            follow()

    # --- answers ------------------------------------------------------------------------------

    def note(self, text: str) -> None:
        """Show a remark beside the answer."""
        self._note.set_text(harmless(text))

    def slow(self) -> None:
        """Offer to stop the run."""
        self.old("Still computing.")
        self._stop.set_visibility(True)

    def old(self, why: str) -> None:
        """Mark the answer as that of an earlier build."""
        self._stop.set_visibility(False)
        self.note(f"{why} This is the answer of an earlier build.")
        for element in (self._head, self._body):
            element.classes(add="old")

    def show(self, found: dict[str, Any], note: str) -> None:
        """Show an answer of the present build."""
        self._stop.set_visibility(False)
        for element, html in ((self._head, found["head"]), (self._body, found["body"])):
            element.classes(remove="old").set_content(html)
        self._caution.set_text(f"{found['last']} {CAUTION}".replace("\N{NO-BREAK SPACE}", " "))
        self.note(note)
        self.form.assumed, self.form.status = found["assumed"], found["status"]
        self.refresh()

    def show_effect(self, before: dict[str, str], now: dict[str, str]) -> None:
        """Show key numbers before and after the last change."""
        rows = (
            f"{name} {before.get(name, 'none')} → {now.get(name, 'none')}"
            for name in before | now
            if before and before.get(name) != now.get(name)
        )
        self._effect.set_text("; ".join(rows))

    def draw(self, found: dict[str, Any], base: dict[str, Any] | None) -> None:
        """Draw picture and curves, those of another build in grey behind them."""
        self._picture.set_content(found["svg"])
        data = json.dumps({"tracks": found["tracks"], "motion": found["motion"], "base": base})
        self.tab.client.run_javascript(f"winch.show({self._chart.id}, {data})")

    def show_actions(self, actions: list[dict[str, Any]]) -> None:
        """Offer to apply actions."""
        self._actions.clear()
        with self._actions:
            for number, action in enumerate(actions, start=1):
                with ui.element("div").classes("action"):
                    ui.html(f"{number}. {action['text']}", sanitize=False)
                    apply = ui.button(
                        "Apply", on_click=lambda a=action: self.tab.apply(a["changes"])
                    )
                    apply.props(f'outline dense no-caps aria-label="Apply action {number}"')
