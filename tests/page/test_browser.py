"""The page in a real browser."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest

from winchsim.scenario.change import to_values
from winchsim.scenario.read import load
from winchsim.scenario.sheet import read_sheet

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def test_a_change_is_lifted_and_undone(look):
    view = look()
    view.head("Lifts 12 kg")
    view.set("mass, load.mass", "80 kg")
    view.head("Stalls")
    view.page.get_by_label("Undo").click()
    view.head("Lifts 12 kg")
    assert view.page.get_by_label("mass, load.mass").first.input_value() == "12 kg"
    view.page.get_by_label("Redo").click()
    view.head("Stalls")


def test_a_wrong_value_is_told_at_its_control_and_the_answer_stays(look):
    view = look()
    view.set("mass, load.mass", "12 furlongs")
    message = view.page.locator(".key", has_text="mass").locator("[role=alert]").first
    message.wait_for()
    assert "expected" in message.inner_text()
    assert view.page.get_by_label("mass, load.mass").first.get_attribute("aria-invalid") == "true"
    view.head("Lifts 12 kg")
    view.set("mass, load.mass", "30 lb")
    view.head("Lifts 13.6 kg")


def test_actions_improve_the_build(look):
    view = look()
    view.set("mass, load.mass", "60 kg")
    view.head("Stalls")
    view.page.get_by_label("Apply action 1").click()
    view.page.locator(".head", has_text="Lifts").wait_for()


def test_stages_are_added_and_removed(look):
    view = look()
    view.part("gears")
    view.page.get_by_label("Copy stage.2").click()
    view.page.locator("legend", has_text="stage 3").wait_for()
    view.page.locator(".part", has_text="159 : 1").wait_for()
    view.page.get_by_label("Remove stage.3").click()
    view.page.locator(".part", has_text="45.4 : 1").wait_for()


def test_work_outlives_tab_and_server(look, server):
    view = look()
    view.set("mass, load.mass", "13 kg")
    view.head("Lifts 13 kg")
    view.page.reload()
    view.head("Lifts 13 kg")
    view.context.close()
    server.stop()
    kept = json.loads(server.path.with_suffix(".work.json").read_text())
    assert [tab["state"]["values"]["load"]["mass"] for tab in kept["tabs"].values()] == [13.0]
    server.start()
    view = look()
    view.page.get_by_role("button", name="Continue it").click()
    view.head("Lifts 13 kg")


def test_saved_file_has_the_same_inputs_and_its_comments(look, server):
    before = server.path.read_text()
    view = look()
    view.set("mass, load.mass", "13.5 kg")
    view.head("Lifts 13.5 kg")
    view.view("Save")
    assert '--set "load.mass=13.5 kg"' in view.page.locator("pre").inner_text().replace("'", '"')
    view.page.get_by_role("button", name="Save as").click()
    view.page.get_by_role("button", name="Replace").click()
    view.page.get_by_text("Saved as").wait_for()
    after = server.path.read_text()
    assert after == before.replace('mass = "12 kg"', 'mass = "13.5 kg"')
    assert to_values(load(str(server.path)))["load"]["mass"] == 13.5


def test_two_tabs_are_two_states(look):
    one, other = look(), look()
    one.set("mass, load.mass", "80 kg")
    one.head("Stalls")
    other.head("Lifts 12 kg")
    other.set("height, load.height", "0.5 m")
    other.head("by 0.5 m")
    one.head("Stalls")


def test_variants_are_kept_and_taken(look):
    view = look()
    view.set("mass, load.mass", "13 kg")
    view.head("Lifts 13 kg")
    view.view("Variants")
    view.page.get_by_label("Name of this variant").fill("<b>heavier</b>")
    view.page.get_by_role("button", name="Keep the present build").click()
    view.page.locator("td", has_text="<b>heavier</b>").wait_for()
    view.page.get_by_role("button", name="Back to the file").click()
    view.head("Lifts 12 kg")
    view.page.get_by_role("button", name="Take: <b>heavier</b>").click()
    view.head("Lifts 13 kg")


def test_keyboard_alone(look):
    view = look()
    view.page.get_by_label("mass, load.mass").first.focus()
    for _ in range(3):
        view.page.keyboard.press("ArrowUp")
    view.page.locator(".head", has_text="Lifts 12 kg").wait_for(state="detached")
    view.page.keyboard.press("Tab")
    view.page.locator(".part", has_text="drum").first.focus()
    view.page.keyboard.press("Enter")
    view.page.get_by_label("diameter, drum.diameter").first.wait_for()
    view.page.locator("#w-play").focus()
    view.page.keyboard.press("Enter")
    view.page.wait_for_function("parseFloat(document.getElementById('w-now').textContent) > 0.2")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 2560])
def test_accessible_and_no_wider_than_the_window(look, width, scheme):
    from axe_playwright_python.sync_playwright import Axe

    view = look(width, color_scheme=scheme)
    for name in ("Lift", "Variants", "Sizing", "Test day", "Save"):
        view.view(name)
        view.page.wait_for_timeout(300)
        found = (
            Axe().run(view.page, context={"exclude": [["#q-loading-bar"]]}).response["violations"]
        )
        serious = {
            v["id"]: [n["html"][:200] for n in v["nodes"][:3]]
            for v in found
            if v["impact"] in ("serious", "critical")
        }
        assert serious == {}, name
        assert view.page.evaluate("document.documentElement.scrollWidth <= innerWidth"), name
    assert "Not rated lifting equipment" in view.page.locator("footer").inner_text()


def test_many_random_changes_leave_no_error(look):
    view = look()
    rng = random.Random(7)
    fields = {
        "load": (("mass, load.mass", "kg", 1, 60), ("height, load.height", "m", 0.2, 3)),
        "drum": (("diameter, drum.diameter", "mm", 8, 80), ("width, drum.width", "mm", 10, 150)),
    }
    for group, rows in fields.items():
        view.part(group)
        for _ in range(75):
            label, unit, low, high = rng.choice(rows)
            view.set(label, f"{rng.uniform(low, high):.3g} {unit}")
    view.part("load")
    view.set("mass, load.mass", "1 kg")
    view.set("height, load.height", "0.4 m")
    view.head("by 0.4 m")
    assert view.page.locator(".checks tr").count() > 5


def test_ladder_is_filled_in_beside_the_winch_and_calibrated(look, server):
    view = look(390, has_touch=True)
    view.view("Test day")
    view.page.get_by_role("button", name="Plan the tests").click()
    view.page.get_by_label("measured time, test 2").wait_for()
    sheet = server.path.with_suffix(".tests.csv")
    rows = read_sheet(str(sheet))
    for number, row in enumerate(rows[1:4], start=2):
        view.set(f"measured time, test {number}", f"{1.1 * row.predicted_time:.2f}")
        view.set(f"measured current, test {number}", f"{1.05 * row.predicted_current:.2f} A")
    view.set("measured time, test 1", "quick")
    view.page.locator("[role=alert]").first.wait_for()
    view.page.get_by_role("button", name="Calibrate").click()
    view.page.get_by_role("button", name="Take the calibrated build").click(timeout=240_000)
    view.view("Save")
    view.page.get_by_text("differ from the file:").wait_for()
    view.context.close()
    server.stop()
    times = [row.measured_time for row in read_sheet(str(sheet))[1:4]]
    assert times == pytest.approx([1.1 * row.predicted_time for row in rows[1:4]], rel=0.01)
    kept = json.loads(server.path.with_suffix(".work.json").read_text())
    values = next(iter(kept["tabs"].values()))["state"]["values"]
    assert values != to_values(load(str(server.path))), "the calibrated build is another one"


def test_a_drum_is_taken_from_the_picture_and_a_pair_from_the_map(look):
    view = look()
    view.view("Sizing")
    view.page.get_by_role("button", name="Which drum?").click()
    view.page.locator(".candidates .q-btn", has_text="20 mm").first.click()
    view.page.get_by_text("Taken: 20 mm. Undo").wait_for()
    view.view("Lift")
    view.part("drum")
    assert view.page.get_by_label("diameter, drum.diameter").first.input_value() == "20 mm"
    view.view("Sizing")
    view.page.get_by_label("to, across").fill("12 furlongs")
    view.page.get_by_role("button", name="Draw the map").click()
    view.page.locator("[role=status]", has_text="expected").first.wait_for()
    view.page.get_by_label("to, across").fill("14 kg")
    view.page.get_by_role("button", name="Draw the map").click()
    canvas = view.page.locator(".map canvas").first
    canvas.wait_for()
    taken = view.page.get_by_text("Taken: load.mass").first
    box = canvas.bounding_box()
    for share in range(30, 90):  # along the diagonal until a cell is met
        if taken.count():
            break
        canvas.click(
            position={"x": box["width"] * share / 100, "y": box["height"] * (0.9 - share / 130)}
        )
    taken.wait_for()


def test_a_page_left_open_does_not_grow(look, server):
    view = look()

    def resident():
        lines = Path(f"/proc/{server.process.pid}/status").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS")) / 1024

    for mass in range(10, 20):
        view.set("mass, load.mass", f"{mass} kg")
        view.head(f"Lifts {mass} kg")
    before = resident()
    for mass in range(10, 70):
        view.set("mass, load.mass", f"{10 + mass / 10:.1f} kg")
    view.head("Lifts 16.9 kg")
    assert resident() - before < 20, "MB"
