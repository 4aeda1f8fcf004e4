"""The server of the page: one socket, bound before anything is printed, closed to others, gone on
Ctrl-C."""

from __future__ import annotations

import contextlib
import logging
import secrets
import socket
import threading
import webbrowser
from collections.abc import Callable

import uvicorn
from fastapi import FastAPI
from nicegui import core, ui

from winchsim.errors import Code, Fault, InputError
from winchsim.page.guard import MOST_BYTES, Guard
from winchsim.page.screen import Site, open_tab

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
        found = socket.socket(family, socket.SOCK_STREAM)
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            found.bind((address, number))
            found.listen(64)
        except (OSError, OverflowError) as error:
            found.close()
            reason = str(getattr(error, "strerror", None) or error).lower()
        else:
            return found
    wanted = (
        f"{address}:{port}" if port is not None else f"{address}, ports {PORTS[0]} to {PORTS[-1]}"
    )
    hint = "choose another one with --port" if port is not None else "give a free one with --port"
    raise InputError((Fault(f"cannot listen on {wanted}: {reason}", hint=hint, code=Code.USAGE),))


def addresses(listening: socket.socket) -> tuple[str, ...]:
    """Hosts, each with the port, under which a socket is reached; the one for other devices
    last."""
    address, port = listening.getsockname()[:2]
    names = ["127.0.0.1", "localhost"]
    if address == "0.0.0.0":
        names.append(_own_address())
    elif address == "::1":
        names = ["[::1]", "localhost"]
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
    site: Site, listening: socket.socket, ready: Callable[[str], None], *, browse: bool
) -> None:
    """Serve the page until Ctrl-C.

    Parameters
    ----------
    site : Site
        What the tabs share.
    listening : socket
        From `bind`.
    ready : callable
        Called with the address when the page can be opened.
    browse : bool
        Whether to open a browser.
    """
    hosts, token = addresses(listening), secrets.token_urlsafe(18)
    address = f"http://{hosts[0]}/?token={token}"
    site.share_address = f"http://{hosts[-1]}/?token={token}"
    logging.getLogger("nicegui").addHandler(site.log_handler)
    app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None)
    ui.page("/", title="winchsim")(lambda: open_tab(site))
    ui.run_with(
        app,
        dark=None,
        language="en-GB",
        tailwind=False,
        binding_refresh_interval=None,
        reconnect_timeout=10,
        show_welcome_message=False,
        message_history_length=200,
    )
    core.sio.eio.cors_allowed_origins = [f"http://{host}" for host in hosts]
    core.sio.eio.max_http_buffer_size = MOST_BYTES
    config = uvicorn.Config(
        Guard(app, hosts, token),
        log_level="error",
        access_log=False,
        ws_max_size=MOST_BYTES,
        timeout_graceful_shutdown=GRACE,
        lifespan="on",
    )
    server = _Server(config, lambda: _opened(ready, address, browse))
    try:
        server.run(sockets=[listening])
    except KeyboardInterrupt:  # raised again by the server when it has ended
        pass
    finally:
        site.close()


class _Server(uvicorn.Server):
    def __init__(self, config: uvicorn.Config, started: Callable[[], None]) -> None:
        super().__init__(config)
        self._when_started = started

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            self._when_started()


def _opened(ready: Callable[[str], None], address: str, browse: bool) -> None:
    ready(address)
    if browse:
        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
