"""The server as a process: closed without its token, one address a port, ended by Ctrl-C with
nothing left."""

import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from winchsim.cli import main
from winchsim.errors import InputError


def status(address, **headers):
    try:
        with urllib.request.urlopen(
            urllib.request.Request(address, headers=headers), timeout=20
        ) as answer:
            return answer.status
    except urllib.error.HTTPError as error:
        return error.code


def test_closed_without_its_token_and_gone_after_ctrl_c(server):
    paths = ("/", "/_nicegui/3.18.0/static/nicegui.js", "/openapi.json")
    assert [status(server.origin + path) for path in paths] == [403] * 3
    assert status(server.origin + "/", Host="rebound.example") == 400
    children = _children(server.process.pid)
    assert children
    server.stop()
    assert server.process.returncode == 0
    deadline = time.monotonic() + 20
    while running := [pid for pid in children if _runs(pid)]:
        assert time.monotonic() < deadline, running
        time.sleep(0.05)
    assert server.log.read_text() == ""


def _children(pid):
    found = subprocess.run(
        ["ps", "-o", "pid=", "--ppid", str(pid)], capture_output=True, text=True, check=False
    )
    return [int(word) for word in found.stdout.split()]


def _runs(pid):
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def test_a_busy_port_is_an_input_error():
    pytest.importorskip("nicegui")
    from winchsim.page.serve import PORTS, addresses, bind

    with (
        socket.create_server(("127.0.0.1", 0)) as taken,
        pytest.raises(InputError, match="cannot listen"),
    ):
        bind("127.0.0.1", taken.getsockname()[1])
    with pytest.raises(InputError, match="cannot listen on é"):
        bind("é" * 70, None)
    with bind("127.0.0.1", None) as first, bind("127.0.0.1", None) as second:
        assert first.getsockname()[1] in PORTS and first.getsockname() != second.getsockname()
        assert addresses(first) == tuple(
            f"{name}:{first.getsockname()[1]}" for name in ("127.0.0.1", "localhost")
        )


def test_without_the_extra_one_line_says_what_to_install(monkeypatch, capsys):
    from winchsim.commands import try_page

    monkeypatch.setattr(try_page, "find_spec", lambda name: None)
    assert main(["try", "--no-browser"]) == 2
    assert "pip install 'winchsim[page]'" in capsys.readouterr().err


def test_a_wrong_scenario_is_told_before_anything_is_served(tmp_path):
    path = tmp_path / "odd.toml"
    path.write_text("[load]\nmass = 3\n")
    line = [sys.executable, "-m", "winchsim", "try", str(path), "--no-browser"]
    done = subprocess.run(line, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2 and "odd.toml" in done.stderr and "http" not in done.stdout
