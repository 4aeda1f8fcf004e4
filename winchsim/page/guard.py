"""Who may talk to the page: exact host, exact origin, and the token of this run, for requests and
sockets alike."""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]

MOST_BYTES = 1_000_000
"""Largest body of a request. [bytes]"""

_REFUSED = (
    "This address does not belong to a page that is open. Use the full address that "
    "winchsim try printed in the terminal.\n"
)

_POLICY = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; "
    "style-src 'self' 'unsafe-inline'; img-src 'self' data:; font-src 'self' data:; "
    "connect-src 'self' {sockets}; frame-ancestors 'none'; base-uri 'self'; form-action 'self'"
)


class Guard:
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
        self.app = app
        self.hosts = frozenset(hosts)
        self.origins = frozenset(f"http://{host}" for host in hosts)
        self.token = token
        self.cookie = f"winchsim-{hosts[0].rpartition(':')[2]}"
        self.policy = _POLICY.format(sockets=" ".join(f"ws://{host}" for host in hosts))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
        elif scope["type"] == "websocket":
            await self._socket(scope, receive, send)
        else:
            await self._request(scope, receive, send)

    async def _socket(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = _headers(scope)
        known = headers.get("host") in self.hosts and headers.get("origin") in self.origins
        if known and self._has_cookie(headers):
            await self.app(scope, receive, send)
        else:
            await send({"type": "websocket.close", "code": 1008})

    async def _request(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers, method = _headers(scope), scope["method"]
        origin = headers.get("origin")
        if headers.get("host") not in self.hosts:
            await _answer(send, 400, "unknown host\n")
        elif origin is not None and origin not in self.origins:
            await _answer(send, 403, "unknown origin\n")
        elif method not in ("GET", "HEAD") and origin is None:
            await _answer(send, 403, "origin missing\n")
        elif _length(headers, method) > MOST_BYTES:
            await _answer(send, 413, "too large\n")
        elif scope["path"] == "/" and self._is_token(_query(scope)):
            cookie = f"{self.cookie}={self.token}; HttpOnly; SameSite=Strict; Path=/"
            await _answer(send, 303, "", (b"location", b"/"), (b"set-cookie", cookie.encode()))
        elif not self._has_cookie(headers):
            await _answer(send, 403, _REFUSED)
        else:
            await self.app(scope, receive, self._sealed(send))

    def _is_token(self, given: str) -> bool:
        return secrets.compare_digest(given.encode(), self.token.encode())

    def _has_cookie(self, headers: dict[str, str]) -> bool:
        try:
            found = SimpleCookie(headers.get("cookie", "")).get(self.cookie)
        except CookieError:
            return False
        return found is not None and self._is_token(found.value)

    def _sealed(self, send: Send) -> Send:
        """Send that adds what keeps a browser from loading anything from elsewhere."""
        added = [
            (b"content-security-policy", self.policy.encode()),
            (b"x-content-type-options", b"nosniff"),
            (b"referrer-policy", b"no-referrer"),
        ]

        async def sealed(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message.get("headers", ()), *added]}
            await send(message)

        return sealed


def _headers(scope: Scope) -> dict[str, str]:
    return {name.decode("latin-1").lower(): v.decode("latin-1") for name, v in scope["headers"]}


def _length(headers: dict[str, str], method: str) -> int:
    """Bytes of a body; too many where a body does not say."""
    text = headers.get("content-length", "")
    if text.isdecimal():
        return int(text)
    return 0 if method in ("GET", "HEAD") else MOST_BYTES + 1


def _query(scope: Scope) -> str:
    fields = parse_qs(scope.get("query_string", b"").decode("latin-1"))
    return fields.get("token", [""])[0]


async def _answer(send: Send, status: int, text: str, *headers: tuple[bytes, bytes]) -> None:
    plain = (b"content-type", b"text/plain; charset=utf-8")
    await send({"type": "http.response.start", "status": status, "headers": [plain, *headers]})
    await send({"type": "http.response.body", "body": text.encode()})
