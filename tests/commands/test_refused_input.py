"""What a command line may ask for in vain: too much, nothing that answers, a table that is none;
said, with nothing written."""

import json
import sys
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import pytest

from tests import screen
from winchsim.commands.call import ExitCode
from winchsim.commands.curves import MOST_LIFTS
from winchsim.scenario.starter import STARTER

HEAD = "mass_kg,voltage_v,winding_start_c,measured_time_s,outcome\n"


def run(*arguments: str):
    """Exit code, output and errors of a command line, its folded lines joined."""
    code, out, err = screen.run(*arguments)
    return code, out, " ".join(err.split())


CRATE = STARTER.replace('height = "0.6 m"', 'height = "0.06 m"')


# --- curves


def test_too_many_scenarios_for_one_picture(crate, tmp_path):
    code, said, noted = run("curves", *[crate] * (MOST_LIFTS + 1), "--out", str(tmp_path / "o"))
    assert (code, said) == (ExitCode.MISUSE, "") and f"at most {MOST_LIFTS}" in noted
    assert not (tmp_path / "o").exists()


def test_too_many_tests_for_one_picture(crate, tmp_path, monkeypatch):
    monkeypatch.setattr("winchsim.commands.curves.MOST_LIFTS", 3)
    sheet = tmp_path / "tests.csv"
    sheet.write_text(HEAD + "".join(f"{1 + k},,,5,lifted\n" for k in range(4)))
    code, said, noted = run("curves", crate, "--measured", str(sheet), "--out", str(tmp_path / "o"))
    assert (code, said) == (ExitCode.MISUSE, "")
    assert "more than 3 different tests" in noted and "in parts" in noted
    assert not (tmp_path / "o").exists()


def test_a_test_is_simulated_as_warm_as_it_was_and_repeats_once(crate, tmp_path):
    # The hot winding has more resistance: the same load takes longer.
    sheet = tmp_path / "tests.csv"
    sheet.write_text(HEAD + "4,,20,5,lifted\n4,,20,5.2,lifted\n4,,110,5,lifted\n")
    code, said, _ = run(
        "curves",
        crate,
        "--measured",
        str(sheet),
        "--out",
        str(tmp_path / "o"),
        "--json",
        "--format",
        "svg",
    )
    cold, again, hot = json.loads(said)["differences"]
    assert code == ExitCode.GOOD
    assert cold["simulated_time_s"] == again["simulated_time_s"] < hot["simulated_time_s"]
    assert (cold["measured_time_s"], again["measured_time_s"]) == (5, 5.2)


# --- lift


def test_a_snag_that_cannot_be_is_said(crate):
    code, said, noted = run("lift", crate, "--snag", "--no-remedies", "--set", "load.mass=200 kg")
    assert code == ExitCode.BAD and "breaks before lift-off" in " ".join(said.split())
    assert "no snag was simulated" in noted


def test_an_override_where_the_file_holds_a_number_for_a_table(tmp_path):
    path = tmp_path / "odd.toml"
    path.write_text(
        STARTER.replace("[supply]", "[bulk]").replace("[[motors]]", "supply = 3\n[[motors]]", 1)
    )
    code, said, noted = run("lift", str(path), "--set", "supply.voltage=6 V")
    assert (code, said) == (ExitCode.MISUSE, "") and "supply is not a table in this file" in noted


# --- spread on a scheduler


def refusing(error):
    """A scheduler's library whose client cannot be made."""

    def refuse(address, timeout):
        raise error

    return SimpleNamespace(Client=refuse)


@pytest.mark.parametrize(
    ("library", "words"),
    [
        # None makes its import fail, also where it is installed.
        (None, ['needs the extra "cluster"', 'pip install "winchsim[cluster]"']),
        (refusing(OSError("timed out")), ["no scheduler answers at tcp://127.0.0.1:9", "OSError"]),
        (refusing(ValueError("no such scheme")), ["no scheduler answers at", "ValueError"]),
    ],
    ids=["no library", "no answer", "no scheme"],
)
def test_a_scheduler_that_cannot_be_had(crate, monkeypatch, library, words):
    monkeypatch.setitem(sys.modules, "distributed", library)
    code, said, noted = run("spread", crate, "--builds", "10", "--scheduler", "tcp://127.0.0.1:9")
    assert (code, said) == (ExitCode.MISUSE, "") and all(word in noted for word in words)


def test_a_scheduler_gives_the_same_numbers_as_this_machine(crate, monkeypatch):
    class Client:
        """A scheduler's face, with threads behind it."""

        def __init__(self, address, timeout):
            assert address == "tcp://127.0.0.1:9"

        def __enter__(self):
            self.pool = ThreadPoolExecutor(2)
            return self

        def __exit__(self, *error):
            self.pool.shutdown()

        def get_executor(self):
            return self.pool

    here = run("spread", crate, "--builds", "20", "--json", "--workers", "1")
    monkeypatch.setitem(sys.modules, "distributed", SimpleNamespace(Client=Client))
    there = run("spread", crate, "--builds", "20", "--json", "--scheduler", "tcp://127.0.0.1:9")
    assert there[:2] == here[:2]


@pytest.mark.parametrize(
    ("command", "option", "value"),
    [
        ("ladder", "--target", "5 metres"),
        ("drum", "--range", "5kg:6kg"),
        ("motors", "--margin", "two"),
        ("voltage", "--target-time", "1"),
        ("spread", "--level", "0.9 A"),
        ("lift", "--pause", "2"),
    ],
)
def test_a_value_of_an_option_is_refused_by_its_name(crate, command, option, value):
    code, _, noted = run(command, crate, option, value)
    assert code == ExitCode.MISUSE and noted.startswith(f"{option}: ")


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("--pause", "3 s"), "--pause without --repeat"),
        (("--repeat", "0"), "--repeat 0 is out of range"),
    ],
)
def test_a_series_needs_its_number_of_lifts(crate, options, message):
    code, _, noted = run("lift", crate, *options)
    assert code == ExitCode.MISUSE and message in noted
