"""Who may talk to the page, and how much: exact host, exact origin, the token of this run, bounded
sizes and rates; for requests and sockets alike."""

import secrets
import time
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

from starlette.requests import HTTPConnection
from starlette.responses import PlainTextResponse, RedirectResponse, Response

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]

MOST_BYTES = 1_000_000
"""Largest body of a request, and largest message of a socket. [bytes]"""

MOST_REQUESTS = 600
"""Requests that are answered in one second; a page takes some sixty. [-]"""

MOST_MESSAGES = 200
"""Messages that a socket may send in one second; a slider sends ten. [-]"""

_REFUSED = (
    "This address does not belong to a page that is open. Use the full address that "
    "winchsim try printed in the terminal.\n"
)

_POLICY = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; "
    "style-src 'self' 'unsafe-inline'; img-src 'self' data:; font-src 'self' data:; "
    "connect-src 'self' {sockets}; frame-ancestors 'none'; base-uri 'self'; form-action 'self'"
)


class Rate:
    """Bound of how often something may happen in one second."""

    def __init__(self, most: int) -> None:
        self._most, self._second, self._count = most, 0, 0

    def passes(self) -> bool:
        """Count once more, and say whether that is still within the bound."""
        now = int(time.monotonic())
        self._count = self._count + 1 if now == self._second else 1
        self._second = now
        return self._count <= self._most


class RequestGuard:
    """ASGI application around the page that lets nothing else in.

    Parameters
    ----------
    app : ASGI application
    hosts : sequence of str
        Values that the ``Host`` header may have, each with its port.
    token : str
        Secret in the address; the first request swaps it for a cookie.
    """

    def __init__(self, app: Any, hosts: tuple[str, ...], token: str) -> None:
        self.app, self.token = app, token
        self.hosts = frozenset(hosts)
        self.origins = frozenset(f"http://{host}" for host in hosts)
        self.cookie = f"winchsim-{hosts[0].rpartition(':')[2]}"
        policy = _POLICY.format(sockets=" ".join(f"ws://{host}" for host in hosts))
        self._sealing = [
            (b"content-security-policy", policy.encode()),
            (b"x-content-type-options", b"nosniff"),
            (b"referrer-policy", b"no-referrer"),
        ]
        self._rate = Rate(MOST_REQUESTS)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        asked = HTTPConnection(scope)
        if scope["type"] == "websocket":
            is_own = asked.headers.get("host") in self.hosts
            if is_own and asked.headers.get("origin") in self.origins and self._has_cookie(asked):
                await self.app(scope, _bounded(receive, Rate(MOST_MESSAGES)), send)
            else:
                await send({"type": "websocket.close", "code": 1008})
        elif (refusal := self._refusal(asked)) is not None:
            await refusal(scope, receive, send)
        else:
            await self.app(scope, receive, self._sealed(send))

    def _refusal(self, asked: HTTPConnection) -> Response | None:
        """What is answered in place of the page; None where the page answers."""
        origin, method = asked.headers.get("origin"), asked.scope["method"]
        if not self._rate.passes():
            return PlainTextResponse("too many requests\n", 429)
        if asked.headers.get("host") not in self.hosts:
            return PlainTextResponse("unknown host\n", 400)
        if origin is not None and origin not in self.origins:
            return PlainTextResponse("unknown origin\n", 403)
        if method not in ("GET", "HEAD") and origin is None:
            return PlainTextResponse("origin missing\n", 403)
        if _length(asked) > MOST_BYTES:
            return PlainTextResponse("too large\n", 413)
        if asked.scope["path"] == "/" and self._is_token(asked.query_params.get("token", "")):
            swapped = RedirectResponse("/", 303)
            swapped.set_cookie(self.cookie, self.token, httponly=True, samesite="strict")
            return swapped
        return None if self._has_cookie(asked) else PlainTextResponse(_REFUSED, 403)

    def _is_token(self, given: str) -> bool:
        return secrets.compare_digest(given.encode(), self.token.encode())

    def _has_cookie(self, asked: HTTPConnection) -> bool:
        return self._is_token(asked.cookies.get(self.cookie, ""))

    def _sealed(self, send: Send) -> Send:
        """Send that adds what keeps a browser from loading anything from elsewhere."""

        async def sealed(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message.get("headers", ()), *self._sealing]}
            await send(message)

        return sealed


def _bounded(receive: Receive, rate: Rate) -> Receive:
    """Receive that takes a socket with too many messages for one that is gone."""

    async def bounded() -> MutableMapping[str, Any]:
        message = await receive()
        return message if rate.passes() else {"type": "websocket.disconnect", "code": 1008}

    return bounded


def _length(asked: HTTPConnection) -> int:
    """Bytes of a body; too many where a body does not say."""
    text = asked.headers.get("content-length", "")
    has_none = asked.scope["method"] in ("GET", "HEAD")
    return int(text) if text.isdecimal() else 0 if has_none else MOST_BYTES + 1
