"""``winchsim try``: a page in the browser on which a build is changed and lifted again."""

from __future__ import annotations

import argparse
from importlib.util import find_spec
from typing import Any

from winchsim.commands.env import Env, ExitCode
from winchsim.commands.options import SET, Command, argument
from winchsim.errors import Code, Fault, InputError

OPEN_WARNING = (
    "Everybody in this network who has the address can change and save this "
    "scenario: end the page when you do not need it."
)


def run(options: argparse.Namespace, env: Env) -> int:
    """Serve the page until it is interrupted."""
    if find_spec("nicegui") is None:
        fault = Fault(
            "the page needs further packages", hint="pip install 'winchsim[page]'", code=Code.USAGE
        )
        raise InputError((fault,))
    from winchsim.page.process import Worker

    worker = Worker()
    worker.start()  # loads while the page's library does
    try:
        scenario, path = _scenario(options)
        from winchsim.page.serve import bind, serve
        from winchsim.page.tab import Site

        site = Site(scenario, path, worker)
        listening = bind(options.listen, options.port)
        if not options.listen.startswith(("127.", "::1", "localhost")):
            env.note(OPEN_WARNING)
        serve(site, listening, lambda address: _ready(env, address), browse=not options.no_browser)
    finally:
        worker.stop(again=False)
    return ExitCode.GOOD


def _scenario(options: argparse.Namespace) -> tuple[Any, str]:
    from winchsim.scenario.read import read, read_string
    from winchsim.scenario.starter import STARTER

    if options.file is None:
        return read_string(STARTER, "winch.toml", options.overrides), "winch.toml"
    return read(options.file, options.overrides), options.file


def _ready(env: Env, address: str) -> None:
    env.out(f"{address}\nCtrl-C ends the page.")


COMMANDS = (
    Command(
        "try",
        "open a page on which a build is changed and lifted again",
        run,
        "winchsim try crate.toml",
        (
            argument("file", metavar="FILE", nargs="?", help="scenario file"),
            SET,
            argument(
                "--listen",
                metavar="ADDRESS",
                default="127.0.0.1",
                help="address to serve on; 0.0.0.0 opens the page to the network, for a phone "
                "beside the winch",
            ),
            argument("--port", type=int, help="port to serve on"),
            argument("--no-browser", action="store_true", help="only print the address"),
        ),
        "The page is served from this machine, for this machine alone, until Ctrl-C. "
        "Without a file it starts from the scenario that winchsim new writes.",
    ),
)
