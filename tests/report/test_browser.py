"""The report in a real headless browser: nothing complains, asks, overlaps or is cut off; printed,
it paginates.

Needs a Chromium; where there is none, or none that runs, the tests say so and are left out. It is
spoken to over its own pipe, with nothing but the standard library.
"""

from __future__ import annotations

import base64
import contextlib
import fcntl
import json
import os
import re
import select
import shutil
import subprocess
import time
from pathlib import Path

import pytest

from winchsim.assessment.evaluate import assess
from winchsim.report.bundle import report_files
from winchsim.report.lift import build
from winchsim.scenario.read import read_string
from winchsim.simulation import simulate

PROGRAMS = ("chromium", "chromium-browser", "google-chrome", "chrome")
TIME_LIMIT = 30.0
"""Longest wait for one answer. [s]"""

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


class Browser:
    """A running browser with one page."""

    def __init__(self, program: str, folder: Path) -> None:
        (to_read, self._write), (self._read, to_write) = os.pipe(), os.pipe()
        to_read, to_write = (_moved_up(end) for end in (to_read, to_write))
        arguments = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--hide-scrollbars",
            "--no-first-run",
            "--disable-extensions",
            "--disable-background-networking",
            f"--user-data-dir={folder}",
            "--remote-debugging-pipe",
            "about:blank",
        ]
        # the browser takes its orders from descriptor 3 and answers on 4
        script = f'exec 3<&{to_read} 4>&{to_write} {to_read}<&- {to_write}>&-; exec "$0" "$@"'
        self._process = subprocess.Popen(
            ["bash", "-c", script, program, *arguments],
            pass_fds=(to_read, to_write),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        os.close(to_read)
        os.close(to_write)
        self._number, self._buffer = 0, b""
        self._session: str | None = None
        self.heard: list[dict] = []
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.ask("Target.attachToTarget", targetId=target, flatten=True)[
            "sessionId"
        ]
        for domain in ("Page", "Network", "Log", "Runtime"):
            self.ask(f"{domain}.enable")

    def ask(self, method: str, **parameters):
        """Answer to one order."""
        self._number += 1
        order = {"id": self._number, "method": method, "params": parameters}
        if self._session:
            order["sessionId"] = self._session
        os.write(self._write, json.dumps(order).encode() + b"\0")
        while (message := self._next()).get("id") != self._number:
            self.heard.append(message)
        assert "error" not in message, message["error"]
        return message["result"]

    def _next(self) -> dict:
        end = time.monotonic() + TIME_LIMIT
        while b"\0" not in self._buffer:
            ready, _, _ = select.select([self._read], [], [], max(0.0, end - time.monotonic()))
            if not ready:
                raise TimeoutError("the browser does not answer")
            data = os.read(self._read, 1 << 20)
            if not data:
                raise ConnectionError("the browser has gone")
            self._buffer += data
        message, _, self._buffer = self._buffer.partition(b"\0")
        return json.loads(message)

    def open(self, path: Path, width: int, *, phone: bool) -> None:
        """Load a file in a window of a width in CSS pixels."""
        self.heard.clear()
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=900,
            deviceScaleFactor=1,
            mobile=phone,
        )
        self.ask("Page.navigate", url=path.resolve().as_uri())
        while not any(message.get("method") == "Page.loadEventFired" for message in self.heard):
            self.heard.append(self._next())

    def value(self, expression: str):
        """Value of an expression in the page."""
        found = self.ask("Runtime.evaluate", expression=expression, returnByValue=True)
        assert "exceptionDetails" not in found, found["exceptionDetails"]
        return found["result"].get("value")

    def complaints(self) -> list[str]:
        """What console, log and scripts said since the page was opened."""
        said = (
            "Log.entryAdded",
            "Runtime.exceptionThrown",
            "Runtime.consoleAPICalled",
            "Page.javascriptDialogOpening",
        )
        return [json.dumps(m["params"])[:300] for m in self.heard if m.get("method") in said]

    def requests(self) -> list[str]:
        """Addresses asked for since the page was opened."""
        sent = (m for m in self.heard if m.get("method") == "Network.requestWillBeSent")
        return [message["params"]["request"]["url"] for message in sent]

    def pdf(self) -> bytes:
        """The page printed as its style sheet says."""
        return base64.b64decode(
            self.ask("Page.printToPDF", preferCSSPageSize=True, printBackground=True)["data"]
        )

    def close(self) -> None:
        """End the browser, and only this one."""
        self._session = None
        with contextlib.suppress(OSError, AssertionError):
            self.ask("Browser.close")
        for end in (self._read, self._write):
            os.close(end)
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()


def _moved_up(descriptor: int) -> int:
    """The same end of a pipe under a number above 9, out of the way of 3 and 4."""
    higher = fcntl.fcntl(descriptor, fcntl.F_DUPFD_CLOEXEC, 10)
    os.close(descriptor)
    return higher


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    """A running browser."""
    program = next((found for name in PROGRAMS if (found := shutil.which(name))), None)
    if program is None:
        pytest.skip(
            f"left out: no headless browser here (none of {', '.join(PROGRAMS)} is installed)"
        )
    try:
        running = Browser(program, tmp_path_factory.mktemp("profile"))
    except (OSError, AssertionError) as error:
        pytest.skip(f"left out: {program} does not run here ({error})")
    yield running
    running.close()


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
        document = build(assess(record, actions=False), scenario, record, overrides)
        page = report_files(document, scenario, record, us=us)["report.html"]
        files[name] = folder / f"{name}.html"
        files[name].write_text(page, encoding="utf-8")
    return files


@pytest.mark.parametrize("name", ["lift", "breaks", "jerks", "us"])
@pytest.mark.parametrize(("width", "phone"), [(390, True), (1280, False)], ids=["phone", "desktop"])
def test_page_is_quiet_whole_and_uncovered(browser, reports, name, width, phone):
    browser.open(reports[name], width, phone=phone)
    assert browser.complaints() == []
    assert browser.requests() == [reports[name].resolve().as_uri()]
    browser.value("document.querySelectorAll('details').forEach(part => { part.open = true })")
    found = browser.value(LAYOUT)
    assert found.pop("width") == width
    assert found.pop("figures") == 8 and found.pop("texts") > 100
    assert found == {"outside": [], "clipped": [], "beyond": [], "overlapping": [], "covered": []}


def test_title_is_text_and_nothing_runs(browser, reports):
    browser.open(reports["lift"], 1280, phone=False)
    assert (
        browser.value("document.title") == TITLE.strip() or browser.value("document.title") == TITLE
    )
    assert browser.value("document.querySelector('h1').textContent") == TITLE
    assert browser.value("document.scripts.length") == 0
    assert browser.value("document.querySelector('pre').textContent").startswith(
        '# </pre><script>document.title = "x"'
    )
    assert (
        browser.value(
            "document.querySelectorAll('img, iframe, object, link:not([rel=icon])').length"
        )
        == 0
    )


def test_the_layout_check_finds_what_is_wrong(browser, reports):
    browser.open(reports["lift"], 1280, phone=False)
    browser.value("document.querySelector('table').style.marginBottom = '-90px'")
    browser.value(
        "document.querySelectorAll('svg.figure text')[3].setAttribute('transform', 'translate(-900 0)')"
    )
    browser.value(
        "Object.assign(document.querySelector('h1').style, {position: 'relative', left: '900px'})"
    )
    found = browser.value(LAYOUT)
    assert found["covered"] and found["beyond"] and found["outside"]


def test_print_paginates(browser, reports):
    browser.open(reports["lift"], 1280, phone=False)
    pdf = browser.pdf()
    sizes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    assert len(sizes) <= 3, "details are closed"
    for wide, high in sizes:  # A4
        assert float(wide) == pytest.approx(595, abs=2) and float(high) == pytest.approx(842, abs=2)
    browser.ask("Emulation.setEmulatedMedia", media="print")
    try:
        browser.ask(
            "Emulation.setDeviceMetricsOverride",
            width=680,
            height=998,
            deviceScaleFactor=1,
            mobile=False,
        )
        assert browser.value("document.documentElement.scrollWidth") == 680, (
            "wider than the paper between its margins"
        )
        tallest = "Math.max(...[...document.querySelectorAll('figure, tr, li')].map(e => e.getBoundingClientRect().height))"
        assert browser.value(tallest) < 998, "does not fit a page, so it would be cut"
    finally:
        browser.ask("Emulation.setEmulatedMedia", media="")
