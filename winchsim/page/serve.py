"""The server of the page: one socket, bound before anything is printed, closed to others, gone on
Ctrl-C."""

from __future__ import annotations

import contextlib
import secrets
import socket
import threading
import webbrowser
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from winchsim.errors import Code, Fault, InputError

if TYPE_CHECKING:
    from winchsim.page.process import Worker
    from winchsim.page.tab import Site
    from winchsim.scenario.read import Scenario

PORTS = range(8321, 8331)
"""Ports that are tried one after the other. [-]"""

GRACE = 1
"""Longest wait for open connections at the end. [s]"""


def bind(address: str, port: int | None) -> socket.socket:
    """Socket that listens on the first free port, or on the one that is named.

    Raises
    ------
    InputError
        The address is not one of this machine, or no port is free.
    """
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    reason = ""
    for number in PORTS if port is None else (port,):
        try:
            address.encode("idna")  # one that is no name would be refused with its socket open
            return socket.create_server((address, number), family=family, backlog=64)
        except (OSError, OverflowError, UnicodeError) as error:
            reason = str(getattr(error, "strerror", None) or error).lower()
    wanted = (
        f"{address}:{port}" if port is not None else f"{address}, ports {PORTS[0]} to {PORTS[-1]}"
    )
    raise InputError(
        (
            Fault(
                f"cannot listen on {wanted}: {reason}",
                hint="give a free one with --port",
                code=Code.USAGE,
            ),
        )
    )


def addresses(listening: socket.socket) -> tuple[str, ...]:
    """Hosts, each with the port, under which a socket is reached; the one for other devices
    last."""
    address, port = listening.getsockname()[:2]
    names = ["127.0.0.1", "localhost"]
    if address == "0.0.0.0":
        names.append(_own_address())
    elif address not in names:
        names = [f"[{address}]" if ":" in address else address]
    return tuple(f"{name}:{port}" for name in dict.fromkeys(names))


def _own_address() -> str:
    """Address of this machine in its network; nothing is sent to find it."""
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))
        return str(probe.getsockname()[0])
    return "127.0.0.1"


def serve(
    scenario: Scenario,
    path: str,
    spare: Worker,
    listening: socket.socket,
    ready: Callable[[str], None],
    *,
    browse: bool,
) -> None:
    """Serve the page until Ctrl-C.

    Parameters
    ----------
    scenario : Scenario
    path : str
        Its file.
    spare : Worker
        One that was started ahead.
    listening : socket
        From `bind`.
    ready : callable
        Called with the address; whoever opens it at once waits until the page is there.
    browse : bool
        Whether to open a browser, which starts while the page's library is imported.
    """
    hosts, token = addresses(listening), secrets.token_urlsafe(18)
    address, shared = (f"http://{host}/?token={token}" for host in (hosts[0], hosts[-1]))
    ready(address)
    if browse:
        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
    with contextlib.suppress(KeyboardInterrupt):  # raised again by the server when it has ended
        import uvicorn

        from winchsim.page.guard import MOST_BYTES, RequestGuard
        from winchsim.page.tab import Site

        is_shared = not hosts[-1].startswith(("127.", "localhost", "[::1]"))
        site = Site(scenario, path, spare, shared if is_shared else "")
        config = uvicorn.Config(
            RequestGuard(_application(site, hosts, MOST_BYTES), hosts, token),
            log_level="error",
            access_log=False,
            ws_max_size=MOST_BYTES,
            timeout_graceful_shutdown=GRACE,
            lifespan="on",
        )
        with contextlib.closing(site):
            uvicorn.Server(config).run(sockets=[listening])


def _application(site: Site, hosts: tuple[str, ...], most_bytes: int) -> Any:
    from fastapi import FastAPI
    from nicegui import core, ui

    app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None)
    ui.page("/", title="winchsim")(site.open_tab)
    ui.run_with(
        app,
        dark=None,
        language="en-GB",
        tailwind=False,
        binding_refresh_interval=None,
        reconnect_timeout=10,
        show_welcome_message=False,
        message_history_length=200,
        gzip_middleware_factory=None,  # packing costs more than loopback or a workshop's network
    )
    core.sio.eio.cors_allowed_origins = [f"http://{host}" for host in hosts]
    core.sio.eio.max_http_buffer_size = most_bytes
    return app
