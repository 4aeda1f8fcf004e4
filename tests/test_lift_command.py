"""``winchsim lift`` from the file to the exit code, on every scenario that comes with winchsim."""

import io
import json
import re

import pytest
from shipped import FOLDER

from tests.screen import Screen
from winchsim import cli
from winchsim.assessment.kinds import End, Holding
from winchsim.commands.call import Env, ExitCode
from winchsim.hybrid import Outcome

EXPECTED = {
    "01-workshop-hoist": (0, End.REACHED, Holding.PAWL),
    "02-tender-stalls": (1, End.STALLED, Holding.PAWL),
    "03-theatre-flat-runs-back": (1, End.REACHED, Holding.NONE),
    "04-greenhouse-vent-strips-a-tooth": (1, End.PART_BROKE, Holding.PAWL),
    "05-harvest-basket-on-a-battery": (0, End.REACHED, Holding.PAWL),
    "06-wardrobe-snags": (1, End.PART_BROKE, Holding.PAWL),
    "07-bicycle-by-bench-motor": (0, End.REACHED, Holding.BRAKE),
    "08-bell-into-its-frame": (0, End.REACHED, Holding.FRICTION),
    "09-signboard-on-a-controller": (0, End.REACHED, Holding.BRAKE),
    "10-projector-label-or-bench": (1, End.STALLED, Holding.PAWL),
    "11-aquarium-lid-on-a-worm": (0, End.REACHED, Holding.LOCKED_TRAIN),
    "12-sail-from-parts": (0, End.REACHED, Holding.PAWL),
    "13-gate-tooth": (0, End.REACHED, Holding.PAWL),
    "14-curtain-stalls": (0, End.REACHED, Holding.PAWL),
}
"""Exit code, how the lift ends, and what holds the load."""

KINDS = {
    "01-workshop-hoist": {"held"},
    "02-tender-stalls": {"stalled"},
    "03-theatre-flat-runs-back": {"back_driven"},
    "04-greenhouse-vent-strips-a-tooth": {"part_broke"},
    "05-harvest-basket-on-a-battery": {"held"},
    "06-wardrobe-snags": {"snagged", "part_broke"},
    "07-bicycle-by-bench-motor": {"held"},
    "08-bell-into-its-frame": {"held"},
    "09-signboard-on-a-controller": {"held"},
    "10-projector-label-or-bench": {"stalled"},
    "11-aquarium-lid-on-a-worm": {"held"},
    "12-sail-from-parts": {"held"},
    "13-gate-tooth": {"held"},
    "14-curtain-stalls": {"held"},
}


class Ran(Screen):
    """One lift on the command line."""

    def __init__(self, *arguments: str, **options) -> None:
        super().__init__(**options)
        self.run("lift", *arguments)

    @property
    def document(self) -> dict:
        """Its JSON document."""
        return json.loads(self.out, parse_constant=lambda name: pytest.fail(name))


def _file(name: str) -> str:
    return str(FOLDER / f"{name}.toml")


@pytest.fixture(scope="module")
def documents():
    """JSON document of every shipped scenario, with the exit code."""
    return {name: Ran(_file(name), "--json") for name in EXPECTED}


def test_every_shipped_scenario_is_expected_here():
    assert sorted(path.stem for path in FOLDER.glob("*.toml")) == sorted(EXPECTED)


@pytest.mark.parametrize("name", EXPECTED)
def test_end_and_exit_code(documents, name):
    code, end, held = EXPECTED[name]
    ran = documents[name]
    assert (ran.code, ran.document["target"]["end"], ran.document["held"]) == (code, end, held)
    assert ran.err == "" and (ran.document["status"] == "fails") == (code == 1)


@pytest.mark.parametrize("name", EXPECTED)
def test_findings_and_cautions(documents, name):
    document = documents[name].document
    assert KINDS[name] <= {row["kind"] for row in document["findings"]}
    assert len(document["cautions"]) == 9 and document["rows"] and document["assumed"]
    given = [row for row in document["inputs"] if row["basis"] == "given"]
    assert given and all(row["source"] for row in document["inputs"] if row["basis"] == "assumed")


def _actions(ran):
    return {
        change["path"]: action for action in ran.document["actions"] for change in action["changes"]
    }


def test_an_action_does_what_it_says_when_it_is_set(documents):
    action = _actions(documents["02-tender-stalls"])["motors.1.count"]
    count = action["changes"][0]["after"]
    ran = Ran(_file("02-tender-stalls"), "--set", f"motors.1.count={count}", "--json")
    (time,) = (check["value"] for check in ran.document["checks"] if check["key"] == "lift_time")
    assert ran.code == 0 and time == pytest.approx(action["lift_time_s"])
    assert ran.document["status"] == action["status"]


def test_a_load_that_runs_back_is_held_by_a_pawl(documents):
    assert "pawl.fitted" in _actions(documents["03-theatre-flat-runs-back"])
    assert Ran(_file("03-theatre-flat-runs-back"), "--set", "pawl.fitted=true").code == 0


@pytest.mark.slow
def test_a_current_limit_prevents_the_break_in_a_snag():
    found = Ran(_file("06-wardrobe-snags"), "--snag", "--json").document["snag"]
    limit = found["safe"]["current_limit_a"]
    saved = Ran(
        _file("06-wardrobe-snags"), "--set", f"supply.current_limit={limit} A", "--json"
    ).document
    assert "part_broke" not in {row["kind"] for row in saved["findings"]}
    assert found["sentence"] in " ".join(
        Ran(_file("06-wardrobe-snags"), "--snag", "--full").out.split()
    )


def test_lessons_of_the_controller_and_of_the_label():
    motor_side = ("--set", "supply.controller.limit_side=motor")
    assert Ran(_file("09-signboard-on-a-controller"), *motor_side).code == 1
    path = FOLDER / "10-projector-label-or-bench.toml"
    label = re.findall(r'--set (motors\.1\.\w+)="?([^"\n]+?)"?(?= --set|\n)', path.read_text())
    assert len(label) == 5
    changes = [word for key, value in label for word in ("--set", f"{key}={value}")]
    assert Ran(str(path), *changes).code == 0


def test_layers_slow_the_lift_and_the_dead_motor_drags():
    lively = Ran(
        _file("05-harvest-basket-on-a-battery"), "--set", "motors.1.dead=0", "--json"
    ).document
    dead = Ran(_file("05-harvest-basket-on-a-battery"), "--json").document
    assert len([row for row in dead["events"] if row["event"] == "layer"]) >= 4
    assert lively["target"]["time_s"] < dead["target"]["time_s"]


# --- options


def test_a_series_that_fails_is_the_answer_in_words_in_json_and_as_exit_code(monkeypatch):
    monkeypatch.chdir(FOLDER)
    series = ("--repeat", "3", "--pause", "1 min")
    basket = "05-harvest-basket-on-a-battery.toml"
    ran = Ran(basket, *series, "--json", "--set", "supply.capacity=0.03 A*h")
    assert ran.document["verdict"].startswith("Of 3 lifts in a row 1 reaches the target; lift 2:")
    assert (ran.code, ran.document["status"]) == (1, "fails")
    good = Ran("13-gate-tooth.toml", *series[:2], "--snag")
    first, *_, last = good.out.splitlines()
    assert good.code == 0 and "Of 3 lifts in a row 3 reach the target." in first
    assert last == "All details: winchsim lift 13-gate-tooth.toml --repeat 3 --snag --full"


def test_an_old_encoding_gets_plain_characters():
    class Latin(io.StringIO):
        encoding = "latin-1"

    env = Env(Latin(), io.StringIO())
    cli.main(["lift", _file("07-bicycle-by-bench-motor")], env)
    assert env.stdout.getvalue().isascii() and ">= " in env.stdout.getvalue()


def test_us_units_leave_json_alone():
    plain, both = (
        Ran(_file("07-bicycle-by-bench-motor"), "--json", "--units", units).out
        for units in ("si", "us")
    )
    assert plain == both


def test_no_actions():
    assert Ran(_file("02-tender-stalls"), "--json", "--no-remedies").document["actions"] == []
    assert "Actions" not in Ran(_file("02-tender-stalls"), "--no-remedies").out


def test_set_changes_the_scenario_and_its_hash(documents):
    changed = Ran(_file("07-bicycle-by-bench-motor"), "--json", "--set", "load.mass=10 kg").document
    assert changed["verdict"].startswith("Lifts 10 kg")
    assert (
        changed["meta"]["scenario_hash"]
        != documents["07-bicycle-by-bench-motor"].document["meta"]["scenario_hash"]
    )


def test_csv_is_written_and_not_overwritten(tmp_path):
    path = tmp_path / "lift.csv"
    first = Ran(_file("07-bicycle-by-bench-motor"), "--csv", str(path))
    assert first.code == 0 and f"wrote {path}" in first.err
    content = path.read_text(encoding="utf-8")
    assert content.startswith("time_s,phase,segment,held,height_m,speed_m_s,tension_n")
    again = Ran(_file("07-bicycle-by-bench-motor"), "--csv", str(path), "--json")
    assert again.code == ExitCode.MISUSE and again.document["error"]["file"] == str(path)
    forced = Ran(_file("07-bicycle-by-bench-motor"), "--csv", str(path), "--force")
    assert forced.code == 0 and path.read_text(encoding="utf-8") == content


def test_cautions_lie_beside_a_csv_or_go_to_standard_error(tmp_path):
    path = tmp_path / "lift.csv"
    Ran(_file("07-bicycle-by-bench-motor"), "--csv", str(path), "--no-remedies")
    beside = json.loads((tmp_path / "lift.about.json").read_text(encoding="utf-8"))
    piped = Ran(_file("07-bicycle-by-bench-motor"), "--csv", "-", "--no-remedies")
    assert (
        any("Local codes" in caution for caution in beside["cautions"])
        and "Local codes" in piped.err
    )
    assert piped.out == path.read_text(encoding="utf-8")


def test_the_samples_of_the_scenario_are_the_rows_of_the_csv(tmp_path):
    path = tmp_path / "run.csv"
    assert (
        Ran(
            _file("07-bicycle-by-bench-motor"),
            "--csv",
            str(path),
            "--set",
            "settings.sample_step=0.5 s",
        ).code
        == 0
    )
    times = [
        float(line.split(",")[0]) for line in path.read_text(encoding="utf-8").splitlines()[1:]
    ]
    assert {0.5 * k for k in range(int(2 * times[-1]) + 1)} <= set(times)
    assert len(times) < 2 * times[-1] + 50


@pytest.mark.parametrize("outcome", [Outcome.CHATTER, Outcome.BUDGET])
def test_no_trust_no_answer(monkeypatch, outcome):
    from dataclasses import replace

    import winchsim.commands.lift as room

    real = room.simulate
    monkeypatch.setattr(
        room,
        "simulate",
        lambda inputs, **options: replace(real(inputs, **options), outcome=outcome),
    )
    ran = Ran(_file("07-bicycle-by-bench-motor"), "--json")
    assert ran.code == ExitCode.NO_TRUST and ran.document["error"]["code"] == "not trusted"
    assert ran.document["target"]["reached"] is False and ran.document["actions"] == []
    assert Ran(_file("07-bicycle-by-bench-motor")).out.startswith("NO RESULT")


def test_missing_file():
    ran = Ran("nowhere.toml")
    assert ran.code == ExitCode.MISUSE and "nowhere.toml" in ran.err and ran.out == ""


def test_help_shows_an_example():
    text = Ran("-h").out
    assert "winchsim lift crate.toml" in text and "--no-remedies" in text
