"""The loop of a tab: which builds are looked at a second time."""

import asyncio
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace
from unittest.mock import MagicMock

import pytest

pytest.importorskip("nicegui")

from winchsim.page import tab as module
from winchsim.page.state import WorkFile
from winchsim.scenario.change import with_value
from winchsim.scenario.read import read_string
from winchsim.scenario.starter import STARTER


class Stub:
    """A worker whose jobs wait until they may end."""

    busy = False

    def __init__(self):
        self.asked, self.go = [], asyncio.Event()

    async def run(self, job, given):
        self.asked.append(given)
        await self.go.wait()
        yield {"run": given, "followed": {}, "tracks": 0, "motion": 0, "svg": "", "actions": []}

    def stop(self):
        pass


def outcome(story):
    with ThreadPoolExecutor(1) as own:  # a browser's test may leave a running loop in this one
        return own.submit(asyncio.run, story).result()


def test_a_build_that_was_changed_meanwhile_gets_no_second_pass(monkeypatch):
    monkeypatch.setattr(module.background_tasks, "create", asyncio.ensure_future)
    monkeypatch.setattr(module, "QUIET", 0)

    async def story():
        tab = module.Tab.__new__(module.Tab)
        tab.state = SimpleNamespace(inputs="old", base="base", done=[])
        tab.answer, tab.base, tab._before, tab._grey, tab._later = {}, {}, {}, None, []
        tab.screen, tab._wanted = MagicMock(), asyncio.Event()
        tab.first, tab._second = Stub(), Stub()
        tab._second.go.set()
        loop = asyncio.ensure_future(tab._compute())
        tab._wanted.set()
        while tab.first.asked != ["old"]:
            await asyncio.sleep(0)
        tab.state.inputs = "new"
        tab._wanted.set()
        tab.first.go.set()
        while "new" not in tab._second.asked:
            await asyncio.sleep(0)
        loop.cancel()
        return tab._second.asked

    assert outcome(story()) == ["new"]


def test_a_tab_that_is_loaded_anew_goes_on_where_it_was(monkeypatch, tmp_path):
    for name in ("Screen", "Worker"):
        monkeypatch.setattr(module, name, MagicMock())
    monkeypatch.setattr(module.background_tasks, "create", asyncio.ensure_future)
    scenario = read_string(STARTER, "winch.toml")
    heavier, heaviest = (with_value(scenario.inputs, "load.mass", mass) for mass in (13.0, 14.0))

    async def story():
        site = module.Site(scenario, str(tmp_path / "a.toml"), MagicMock(), "")
        tabs = [module.Tab(site, SimpleNamespace(tab_id="1", on_delete=MagicMock())) for _ in "ab"]
        tabs[0].begin()
        tabs[0].take(heavier)
        tabs[1].begin()
        found = tabs[1].state.inputs
        tabs[1].take(heaviest)
        tabs[0].close()  # its connection is given up
        tabs[1].close()
        return found, WorkFile(site.path).of_tab("1")["values"]["load"]["mass"]

    assert outcome(story()) == (heavier, 14.0)
