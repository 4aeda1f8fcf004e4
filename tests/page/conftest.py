"""The page served by a process of its own, and a browser to look at it."""

import os
import shutil
import signal
import subprocess
import sys
import time
from importlib.util import find_spec
from pathlib import Path

import pytest

from winchsim.commands.try_page import OPEN_WARNING

SCENARIOS = Path(__file__).parents[2] / "scenarios"
PATIENCE = 60_000
"""Longest wait for anything on the page. [ms]"""


class Server:
    """One running ``winchsim try`` with its scenario in a folder of its own."""

    def __init__(self, folder: Path, example: str, *arguments: str) -> None:
        self.path, self.log = folder / "hoist.toml", folder / "errors.txt"
        shutil.copy(next(SCENARIOS.glob(f"{example}-*.toml")), self.path)
        for sheet in SCENARIOS.glob(f"{example}-*.csv"):
            shutil.copy(sheet, folder / "hoist.tests.csv")
        self.arguments = arguments
        self.start()

    def start(self) -> None:
        """Start it, and wait for its address."""
        environment = {
            k: v for k, v in os.environ.items() if not k.startswith(("PYTEST", "NICEGUI"))
        }
        line = [
            sys.executable,
            "-m",
            "winchsim",
            "try",
            str(self.path),
            "--no-browser",
            *self.arguments,
        ]
        with self.log.open("a") as log:
            self.process = subprocess.Popen(
                line,
                stdout=subprocess.PIPE,
                stderr=log,
                text=True,
                env=environment,
                cwd=SCENARIOS.parent,
            )
        self.address = self.process.stdout.readline().strip()
        assert self.address.startswith("http://"), self.log.read_text()

    @property
    def origin(self) -> str:
        """Address without its token."""
        return self.address.partition("/?")[0]

    def stop(self) -> float:
        """Ctrl-C; seconds until it has ended."""
        begun = time.monotonic()
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        self.process.wait(20)
        self.process.stdout.close()
        return time.monotonic() - begun


@pytest.fixture
def arguments():
    """Further arguments of the server; a test may give its own."""
    return ()


@pytest.fixture
def example():
    """Number of the scenario that is served; a test may give its own."""
    return "01"


@pytest.fixture
def server(tmp_path, example, arguments):
    """A server that ends with the test."""
    if find_spec("nicegui") is None:
        pytest.skip(
            "left out: the packages of the page are not installed (pip install 'winchsim[page]')"
        )
    running = Server(tmp_path, example, *arguments)
    yield running
    running.stop()


class View:
    """One window on a server, with all that the browser complained of and asked for elsewhere."""

    def __init__(self, browser, server: Server, width: int = 1280, **options) -> None:
        self.complaints: list[str] = []
        self.elsewhere: list[str] = []
        self.context = browser.new_context(viewport={"width": width, "height": 900}, **options)
        self.context.set_default_timeout(PATIENCE)
        self.page = self.context.new_page()
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("console", lambda m: m.type == "error" and self.complaints.append(m.text))
        self.page.on("request", lambda r: self._asked(r.url, server.origin))
        self.open(server)

    def _asked(self, url: str, origin: str) -> None:
        if not url.startswith((origin, origin.replace("http", "ws"), "data:", "blob:")):
            self.elsewhere.append(url)

    def open(self, server: Server) -> None:
        """Load the page, and wait for its first answer."""
        self.page.goto(server.address)
        self.page.locator(".checks").first.wait_for()

    def set(self, path: str, text: str) -> None:
        """Write a value into its control."""
        field = self.page.get_by_label(path, exact=False).first
        field.fill(text)
        field.press("Enter")
        field.blur()

    def head(self, words: str) -> None:
        """Wait until the answer begins with some words."""
        self.page.locator(".head", has_text=words).wait_for()

    def part(self, name: str) -> None:
        """Choose a part of the build."""
        self.page.locator(".part", has_text=name).first.click()
        self.page.locator(".part[aria-pressed=true]", has_text=name).wait_for()

    def value(self, path: str) -> str:
        """What stands in a control."""
        return self.page.get_by_label(path, exact=False).first.input_value()

    def button(self, name: str):
        """A button by its name."""
        return self.page.get_by_role("button", name=name)

    def view(self, name: str) -> None:
        """Choose one of the views."""
        self.page.get_by_role("tab", name=name).click()


@pytest.fixture
def look(chromium, server):
    """Opens windows; every one is checked at the end for complaints and foreign requests."""
    views: list[View] = []

    def opened(width: int = 1280, **options) -> View:
        views.append(View(chromium, server, width, **options))
        return views[-1]

    yield opened
    for view in views:
        view.context.close()
    assert [view.complaints for view in views if view.complaints] == []
    assert [view.elsewhere for view in views if view.elsewhere] == []
    assert server.log.read_text().replace(OPEN_WARNING, "").strip() == ""
