"""``winchsim try``: a page in the browser on which a build is changed and lifted again."""

from importlib.util import find_spec

from winchsim.commands.call import Env, ExitCode, Namespace, refuse
from winchsim.scenario.read import read_string
from winchsim.scenario.starter import STARTER

OPEN_WARNING = (
    "Everybody in this network who has the address can change and save this "
    "scenario: end the page when you do not need it."
)


def run(options: Namespace, env: Env) -> int:
    """Serve the page until it is interrupted."""
    refuse(
        (
            not find_spec("nicegui"),
            "the page needs further packages",
            "pip install 'winchsim[page]'",
        )
    )
    from winchsim.page.process import Worker

    worker = Worker()
    worker.start()  # loads while the page's library does
    try:
        path = options.file or "winch.toml"
        scenario = options.scenario or read_string(STARTER, path, options.overrides)
        from winchsim.page.serve import bind, serve

        listening = bind(options.listen, options.port)
        if not options.listen.startswith(("127.", "::1", "localhost")):
            env.note(OPEN_WARNING)
        serve(
            scenario,
            path,
            worker,
            listening,
            lambda address: env.out(f"{address}\nCtrl-C ends the page."),
            browse=not options.no_browser,
        )
    finally:
        worker.stop(again=False)
    return ExitCode.GOOD
