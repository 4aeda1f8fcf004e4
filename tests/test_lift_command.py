"""``winchsim lift`` from the file to the exit code, on every scenario that comes with winchsim."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path

import pytest

from winchsim import cli
from winchsim.commands.env import Env, ExitCode
from winchsim.hybrid import Outcome
from winchsim.verdict.finding import FindingKind

SCENARIOS = Path(__file__).parent.parent / "scenarios"

EXPECTED = {
    "01-workshop-hoist": (0, r"Lifts 12 kg by 1\.2 m in \d\.\d+ s and holds it with the power off, on its pawl\."),
    "02-tender-stalls": (1, r"Stalls: the load never leaves the floor; the motors give [3-6]\d % of the torque .*\."),
    "03-theatre-flat-runs-back": (
        1,
        r"Lifts 8 kg by 2 m in \d\.\d+ s, but runs back to the floor at up to \d\.\d+ m/s when the power goes off\.",
    ),
    "04-greenhouse-vent-strips-a-tooth": (
        1,
        r"Breaks the pinion tooth of stage 2 after [\d.]+ ms, before the load lifts off\.",
    ),
    "05-harvest-basket-on-a-battery": (
        0,
        r"Lifts 6 kg by 3 m in 1\d\.\d s and holds it with the power off, on its pawl\.",
    ),
    "06-wardrobe-snags": (
        1,
        r"Breaks the pinion tooth of stage 2 after \d\.\d+ s, with the load 0\.600 m up\.",
    ),
    "07-bicycle-by-bench-motor": (
        0,
        r"Lifts 14 kg by 1\.6 m in 1\d\.\d s and holds it with the power off, on its brake\.",
    ),
    "08-bell-into-its-frame": (
        0,
        r"Lifts 23 kg by 1\.2 m in [4-7]\d\.\d s and holds it with the power off, by friction only\.",
    ),
}
"""Exit code and verdict of each."""

KINDS = {
    "01-workshop-hoist": {FindingKind.LIFTED, FindingKind.HELD},
    "02-tender-stalls": {FindingKind.STALLED},
    "03-theatre-flat-runs-back": {FindingKind.LIFTED, FindingKind.RAN_BACK},
    "04-greenhouse-vent-strips-a-tooth": {FindingKind.OVERLOAD},
    "05-harvest-basket-on-a-battery": {FindingKind.LIFTED, FindingKind.HELD},
    "06-wardrobe-snags": {FindingKind.SNAGGED, FindingKind.OVERLOAD},
    "07-bicycle-by-bench-motor": {FindingKind.LIFTED, FindingKind.HELD},
    "08-bell-into-its-frame": {FindingKind.LIFTED, FindingKind.HELD_BY_FRICTION_ONLY},
}


class Ran:
    """Output of one command line."""

    def __init__(self, *arguments: str) -> None:
        self.env = Env(io.StringIO(), io.StringIO())
        self.code = cli.main(["lift", *arguments], self.env)
        self.out = self.env.stdout.getvalue()
        self.err = self.env.stderr.getvalue()

    @property
    def document(self) -> dict:
        """Its JSON document."""
        return json.loads(self.out, parse_constant=lambda name: pytest.fail(name))


def _file(name: str) -> str:
    return str(SCENARIOS / f"{name}.toml")


@pytest.fixture(scope="module")
def documents():
    """JSON document of every shipped scenario, with the exit code."""
    return {name: Ran(_file(name), "--json") for name in EXPECTED}


def test_every_shipped_scenario_is_expected_here():
    assert sorted(path.stem for path in SCENARIOS.glob("*.toml")) == sorted(EXPECTED)


@pytest.mark.parametrize("name", EXPECTED)
def test_verdict_and_exit_code(documents, name):
    code, sentence = EXPECTED[name]
    ran = documents[name]
    assert re.fullmatch(sentence, ran.document["verdict"]), ran.document["verdict"]
    assert ran.code == code and ran.err == ""


@pytest.mark.parametrize("name", EXPECTED)
def test_the_file_says_what_to_expect(name):
    """Its comment teaches one thing, and names the verdict in words that the verdict bears out."""
    head = (SCENARIOS / f"{name}.toml").read_text(encoding="utf-8").split("\n\n")[0]
    assert head.startswith("# Teaches: ") and "# Expected verdict: " in head
    first = head.split("# Expected verdict: ")[1].split()[0].strip(",:")
    assert EXPECTED[name][1].lower().startswith(first)


@pytest.mark.parametrize("name", EXPECTED)
def test_energy_closes(documents, name):
    energy = documents[name].document["energy"]
    assert energy["closes"] and energy["error"] <= 1e-4


@pytest.mark.parametrize("name", EXPECTED)
def test_findings_and_cautions(documents, name):
    document = documents[name].document
    assert KINDS[name] <= {row["kind"] for row in document["findings"]}
    assert len(document["cautions"]) == 9 and document["rows"] and document["assumed"]
    if EXPECTED[name][0] == 0:
        assert document["lifted"] is True and document["held"] is True and document["safe"] is True


def test_the_stall_is_remedied_in_more_than_one_way(documents):
    remedies = documents["02-tender-stalls"].document["remedies"]
    assert {"load.mass", "motors.1.count", "stage.1.repeat"} <= {remedy["path"] for remedy in remedies if remedy["confirmed"]}


def test_a_remedy_works_when_it_is_set(documents):
    remedy = next(c for c in documents["02-tender-stalls"].document["remedies"] if c["path"] == "motors.1.count")
    ran = Ran(_file("02-tender-stalls"), "--set", f"motors.1.count={remedy['after']}", "--json")
    assert ran.code == 0 and ran.document["summary"]["lift_time_s"] == pytest.approx(remedy["lift_time_s"])


def test_the_run_back_is_remedied_by_a_pawl(documents):
    assert "pawl.fitted" in {remedy["path"] for remedy in documents["03-theatre-flat-runs-back"].document["remedies"]}
    assert Ran(_file("03-theatre-flat-runs-back"), "--set", "pawl.fitted=true").code == 0


def test_a_wider_face_carries_the_load():
    """The remedy that the scenario's comment names."""
    ran = Ran(_file("04-greenhouse-vent-strips-a-tooth"), "--set", "stage.2.width=25 mm", "--json")
    assert ran.document["lifted"] is True
    tooth = next(row for row in ran.document["rows"] if row["kind"] == "tooth_pinion")
    assert tooth["factor"] >= 1.0


def test_the_snag_is_survived_with_less_current(documents):
    limit = Ran(_file("06-wardrobe-snags"), "--snag", "--json").document["snag"]["safe"]["current_limit_a"]
    saved = Ran(_file("06-wardrobe-snags"), "--set", f"supply.current_limit={limit} A", "--json").document
    assert saved["verdict"].startswith("Stalls: the load has snagged 0.600 m up")
    assert not [row for row in saved["findings"] if row["kind"] in ("overload", "rope_broke")]


def test_layers_slow_the_lift_and_the_dead_motor_drags():
    lively = Ran(_file("05-harvest-basket-on-a-battery"), "--set", "motors.1.dead=0", "--json").document
    dead = Ran(_file("05-harvest-basket-on-a-battery"), "--json").document
    layers = [row for row in dead["events"] if row["event"] == "layer"]
    assert len(layers) >= 4
    assert lively["summary"]["lift_time_s"] < dead["summary"]["lift_time_s"]


# --- options --------------------------------------------------------------------------------------------------------


def test_text_begins_with_the_verdict(documents):
    ran = Ran(_file("07-bicycle-by-bench-motor"))
    assert ran.out.split("\n")[0] == documents["07-bicycle-by-bench-motor"].document["verdict"]
    assert ran.code == ExitCode.GOOD


@pytest.mark.parametrize("name", EXPECTED)
@pytest.mark.parametrize("units", ["si", "us"])
def test_text_fits_and_says_all(documents, name, units):
    text = Ran(_file(name), "--no-remedies", "--units", units).out
    assert max(map(len, text.split("\n"))) <= 100
    assert ("(lb" in text or " lb)" in text) is (units == "us")
    squeezed = " ".join(text.split())
    if units == "si":
        for row in documents[name].document["findings"]:
            assert row["sentence"] in squeezed


def test_us_units_leave_json_alone():
    plain, both = (Ran(_file("07-bicycle-by-bench-motor"), "--json", "--units", units).out for units in ("si", "us"))
    assert plain == both


def test_same_file_same_bytes():
    assert Ran(_file("02-tender-stalls"), "--json").out == Ran(_file("02-tender-stalls"), "--json").out


def test_no_remedies():
    assert Ran(_file("02-tender-stalls"), "--json", "--no-remedies").document["remedies"] == []


def test_set_changes_the_scenario_and_its_hash(documents):
    changed = Ran(_file("07-bicycle-by-bench-motor"), "--json", "--set", "load.mass=10 kg").document
    assert changed["verdict"].startswith("Lifts 10 kg")
    assert changed["meta"]["scenario_hash"] != documents["07-bicycle-by-bench-motor"].document["meta"]["scenario_hash"]


def test_csv_is_written_and_not_overwritten(tmp_path):
    path = tmp_path / "lift.csv"
    first = Ran(_file("07-bicycle-by-bench-motor"), "--csv", str(path))
    assert first.code == 0 and f"wrote {path}" in first.err
    content = path.read_text(encoding="utf-8")
    assert content.split("\n")[1].startswith("time_s,phase,segment,held,height_m,speed_m_s,tension_n")
    again = Ran(_file("07-bicycle-by-bench-motor"), "--csv", str(path), "--json")
    assert again.code == ExitCode.MISUSE and again.document["error"]["file"] == str(path)
    forced = Ran(_file("07-bicycle-by-bench-motor"), "--csv", str(path), "--force")
    assert forced.code == 0 and path.read_text(encoding="utf-8") == content


def test_the_samples_of_the_scenario_are_the_rows_of_the_csv(tmp_path):
    path = tmp_path / "run.csv"
    assert Ran(_file("07-bicycle-by-bench-motor"), "--csv", str(path), "--set", "settings.sample_step=0.5 s").code == 0
    times = [float(line.split(",")[0]) for line in path.read_text(encoding="utf-8").splitlines()[2:]]
    assert {0.5 * k for k in range(int(2 * times[-1]) + 1)} <= set(times)
    assert len(times) < 2 * times[-1] + 50


def test_snag_on_request():
    found = Ran(_file("06-wardrobe-snags"), "--snag", "--json").document["snag"]
    assert found["as_built"]["broke"] and found["safe"]["current_limit_a"] > 0
    assert "snag" in Ran(_file("06-wardrobe-snags"), "--snag").out


@pytest.mark.parametrize("outcome", [Outcome.CHATTER, Outcome.BUDGET])
def test_no_trust_no_answer(monkeypatch, outcome):
    from dataclasses import replace

    import winchsim.simulation as room

    real = room.simulate
    monkeypatch.setattr(room, "simulate", lambda inputs, **options: replace(real(inputs, **options), outcome=outcome))
    ran = Ran(_file("07-bicycle-by-bench-motor"), "--json")
    assert ran.code == ExitCode.NO_TRUST and ran.document["error"]["code"] == "W-T01"
    assert ran.document["lifted"] is False and ran.document["held"] is None
    assert Ran(_file("07-bicycle-by-bench-motor")).out.startswith("No trustworthy result: ")


def test_missing_file():
    ran = Ran("nowhere.toml")
    assert ran.code == ExitCode.MISUSE and "nowhere.toml" in ran.err and ran.out == ""


def test_help_shows_an_example():
    text = Ran("-h").out
    assert "winchsim lift crate.toml" in text and "--no-remedies" in text
