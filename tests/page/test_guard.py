"""What the guard lets in: exact host, exact origin, the token of this run; for requests and
sockets."""

import asyncio
from concurrent.futures import ThreadPoolExecutor

import pytest

from winchsim.page.guard import MOST_BYTES, MOST_MESSAGES, MOST_REQUESTS, Rate, RequestGuard

HOST, TOKEN = "127.0.0.1:8321", "secret"
COOKIE = f"winchsim-8321={TOKEN}"


async def _app(scope, receive, send):
    if scope["type"] == "websocket":
        await send({"type": "websocket.accept"})
    else:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b"inside"})


OWN = {"host": HOST, "origin": f"http://{HOST}", "cookie": COOKIE}


def asked(kind="http", path="/", query="", method="GET", guard=None, receive=None, **headers):
    """What the guard answers: its first message, and the whole body."""
    sent = []
    head = [(k.replace("_", "-").encode(), v.encode()) for k, v in headers.items() if v is not None]
    scope = {
        "type": kind,
        "path": path,
        "query_string": query.encode(),
        "method": method,
        "headers": head,
    }

    async def send(message):
        sent.append(message)

    with ThreadPoolExecutor(1) as own:  # a browser's test may leave a running loop in this thread
        guard = guard or RequestGuard(_app, (HOST,), TOKEN)
        own.submit(asyncio.run, guard(scope, receive, send)).result()
    return sent[0], b"".join(message.get("body", b"") for message in sent)


def test_token_in_the_address_is_swapped_for_a_strict_cookie():
    start, _ = asked(query=f"token={TOKEN}", host=HOST)
    headers = dict(start["headers"])
    assert start["status"] == 303 and headers[b"location"] == b"/"
    cookie, *rules = headers[b"set-cookie"].decode().split("; ")
    assert cookie == COOKIE and {"HttpOnly", "SameSite=strict", "Path=/"} == set(rules)
    assert TOKEN not in headers[b"location"].decode()


def test_with_the_cookie_the_page_is_served_and_sealed():
    start, body = asked(host=HOST, cookie=COOKIE)
    assert (start["status"], body) == (200, b"inside")
    policy = dict(start["headers"])[b"content-security-policy"].decode()
    assert "default-src 'self'" in policy and f"connect-src 'self' ws://{HOST};" in policy


@pytest.mark.parametrize(
    ("status", "request_"),
    [
        (
            400,
            {"host": "evil.example:8321", "cookie": COOKIE},
        ),  # a name that was rebound to this machine
        (400, {"host": "127.0.0.1", "cookie": COOKIE}),
        (400, {"host": None, "cookie": COOKIE}),
        (403, {"host": HOST}),
        (403, {"host": HOST, "query": "token=wrong"}),
        (403, {"host": HOST, "query": "token="}),
        (403, {"host": HOST, "cookie": "winchsim-8321=wrong"}),
        (403, {"host": HOST, "cookie": "winchsim-8322=secret"}),
        (403, {"host": HOST, "cookie": COOKIE, "origin": "http://evil.example"}),
        (403, {"host": HOST, "cookie": COOKIE, "origin": "null"}),
        (403, {"host": HOST, "cookie": COOKIE, "method": "POST"}),
        (413, {"host": HOST, "cookie": COOKIE, "method": "POST", "origin": f"http://{HOST}"}),
        (
            413,
            {
                "host": HOST,
                "cookie": COOKIE,
                "method": "POST",
                "origin": f"http://{HOST}",
                "content_length": str(MOST_BYTES + 1),
            },
        ),
    ],
)
def test_everything_else_is_refused(status, request_):
    start, body = asked(**request_)
    assert start["status"] == status and b"inside" not in body


@pytest.mark.parametrize(
    ("accepted", "headers"),
    [
        (True, {"host": HOST, "origin": f"http://{HOST}", "cookie": COOKIE}),
        (False, {"host": HOST, "origin": f"http://{HOST}"}),
        (False, {"host": HOST, "cookie": COOKIE}),
        (False, {"host": HOST, "origin": "http://evil.example", "cookie": COOKIE}),
        (False, {"host": "evil.example:8321", "origin": f"http://{HOST}", "cookie": COOKIE}),
        (False, {"host": HOST, "origin": f"https://{HOST}", "cookie": COOKIE}),
    ],
)
def test_sockets_need_host_origin_and_cookie(accepted, headers):
    start, _ = asked("websocket", "/_nicegui_ws/socket.io/", **headers)
    assert start["type"] == ("websocket.accept" if accepted else "websocket.close")


def test_a_rate_begins_anew_each_second(monkeypatch):
    now = [100.0]
    monkeypatch.setattr("winchsim.page.guard.time.monotonic", lambda: now[0])
    rate = Rate(2)
    assert [rate.passes() for _ in range(4)] == [True, True, False, False]
    now[0] += 1
    assert rate.passes()


def test_too_many_requests_are_refused(monkeypatch):
    monkeypatch.setattr("winchsim.page.guard.time.monotonic", lambda: 100.0)
    guard = RequestGuard(_app, (HOST,), TOKEN)
    answers = [asked(guard=guard, host=HOST, cookie=COOKIE)[0] for _ in range(MOST_REQUESTS + 1)]
    assert {answer["status"] for answer in answers[:-1]} == {200}
    assert answers[-1]["status"] == 429


def test_a_socket_with_too_many_messages_is_cut(monkeypatch):
    monkeypatch.setattr("winchsim.page.guard.time.monotonic", lambda: 100.0)
    kinds = []

    async def message():
        return {"type": "websocket.receive", "text": "x"}

    async def listening(scope, receive, send):
        while not kinds or kinds[-1] != "websocket.disconnect":
            kinds.append((await receive())["type"])
        await send({"type": "websocket.close"})

    asked("websocket", guard=RequestGuard(listening, (HOST,), TOKEN), receive=message, **OWN)
    assert kinds.count("websocket.receive") == MOST_MESSAGES
