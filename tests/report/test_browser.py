"""The report in a real browser: nothing complains, asks, overlaps or is cut off; printed, it
paginates."""

import json
import re
from pathlib import Path

import pytest

from winchsim.assessment.evaluate import assess
from winchsim.report.bundle import report_files
from winchsim.report.lift import build
from winchsim.scenario.read import read_string
from winchsim.simulation import simulate

pytestmark = pytest.mark.browser

TITLE = (
    'Crate "A" & <b>B</b> </title><script>alert(1)</script> $x_1$ {y} | 漢字 かな עברית العربية 😀 '
    + "verylong" * 40
)

SCENARIO = """# </pre><script>document.title = "x"</script> ``` <img src=http://example.invalid/x.png onerror=alert(1)>
# %s
title = %s
[[motors]]
count = 5
voltage = "6 V"
no_load_speed = "11500 rpm"
no_load_current = "90 mA"
stall_torque = "6.1 mN*m"
stall_current = "1.4 A"
[supply]
voltage = "6 V"
resistance = "0.15 ohm"
current_limit = "6 A"
[[stage]]
repeat = 5
pinion = 12
gear = 36
module = "1 mm"
width = "10 mm"
material = "PETG"
walls = 4
infill = "30 %%"
[[stage]]
kind = "belt"
ratio = 2
efficiency = 0.93
[drum]
diameter = "10 mm"
width = "12 mm"
[rope]
material = "polyester"
diameter = "3 mm"
[load]
mass = "12 kg"
height = "0.5 m"
"""

LAYOUT = Path(__file__).with_name("layout.js").read_text(encoding="utf-8")


class View:
    """One file of a report in a window, with all that it complained of and asked for."""

    def __init__(self, browser, path: Path, width: int, *, phone: bool) -> None:
        self.complaints: list[str] = []
        self.requests: list[str] = []
        self.context = browser.new_context(
            viewport={"width": width, "height": 900}, is_mobile=phone
        )
        self.page = self.context.new_page()
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("dialog", lambda dialog: self.complaints.append(dialog.message))
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.goto(path.resolve().as_uri())
        self.value = self.page.evaluate


@pytest.fixture
def look(chromium):
    """Opens files of reports, each in a window of a width in CSS pixels."""
    views: list[View] = []

    def opened(path: Path, width: int = 1280, *, phone: bool = False) -> View:
        views.append(View(chromium, path, width, phone=phone))
        return views[-1]

    yield opened
    for view in views:
        view.context.close()


@pytest.fixture(scope="module")
def reports(tmp_path_factory):
    """Files of reports: of a lift, of one that breaks at once, of one that jerks for long, each
    under a nasty title."""
    folder = tmp_path_factory.mktemp("reports")
    text = SCENARIO % ("x" * 300, json.dumps(TITLE, ensure_ascii=False))
    cases = {
        "lift": (),
        "breaks": ("load.mass=150 kg", "stage.1.width=3 mm"),
        "jerks": (
            "load.mass=3 kg",
            "load.guide_friction=25 N",
            "rope.axial_stiffness=900 N",
            "load.height=0.2 m",
        ),
        "us": ("load.mass=11 kg",),
    }
    files = {}
    for name, overrides in cases.items():
        scenario = read_string(text, "odd 'name' <i>&.toml", overrides)
        record = simulate(scenario.inputs)
        us = name == "us"
        document = build(assess(record, actions=False), scenario, record)
        page = report_files(document, scenario, record, us=us)["report.html"]
        files[name] = folder / f"{name}.html"
        files[name].write_text(page, encoding="utf-8")
    return files


@pytest.mark.parametrize("name", ["lift", "breaks", "jerks", "us"])
@pytest.mark.parametrize(("width", "phone"), [(390, True), (1280, False)], ids=["phone", "desktop"])
def test_page_is_quiet_whole_and_uncovered(look, reports, name, width, phone):
    view = look(reports[name], width, phone=phone)
    assert view.complaints == [] and view.requests == [reports[name].resolve().as_uri()]
    view.value("document.querySelectorAll('details').forEach(part => { part.open = true })")
    found = view.value(LAYOUT)
    assert found.pop("width") == width
    assert found.pop("figures") == 8 and found.pop("texts") > 100
    assert found == {"outside": [], "clipped": [], "beyond": [], "overlapping": [], "covered": []}


def test_title_is_text_and_nothing_runs(look, reports):
    view = look(reports["lift"])
    assert view.value("document.title").strip() == TITLE.strip()
    assert view.value("document.querySelector('h1').textContent") == TITLE
    assert view.value("document.scripts.length") == 0
    source = view.value("document.querySelector('pre').textContent")
    assert source.startswith('# </pre><script>document.title = "x"')
    foreign = "document.querySelectorAll('img, iframe, object, link:not([rel=icon])').length"
    assert view.value(foreign) == 0


def test_the_layout_check_finds_what_is_wrong(look, reports):
    view = look(reports["lift"])
    view.value("document.querySelector('table').style.marginBottom = '-90px'")
    text = "document.querySelectorAll('svg.figure text')[3]"
    view.value(f"{text}.setAttribute('transform', 'translate(-900 0)')")
    title = "document.querySelector('h1').style"
    view.value(f"Object.assign({title}, {{position: 'relative', left: '900px'}})")
    found = view.value(LAYOUT)
    assert found["covered"] and found["beyond"] and found["outside"]


def test_print_paginates(look, reports):
    view = look(reports["lift"])
    pdf = view.page.pdf(prefer_css_page_size=True, print_background=True)
    sizes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    assert 1 <= len(sizes) <= 3, "details are closed"
    for wide, high in sizes:  # A4
        assert float(wide) == pytest.approx(595, abs=2) and float(high) == pytest.approx(842, abs=2)
    view.page.emulate_media(media="print")
    view.page.set_viewport_size({"width": 680, "height": 998})
    beyond = "wider than the paper between its margins"
    assert view.value("document.documentElement.scrollWidth") == 680, beyond
    high = "[...document.querySelectorAll('figure, tr, li')].map(e => e.getBoundingClientRect().height)"
    assert view.value(f"Math.max(...{high})") < 998, "does not fit a page, so it would be cut"
