"""Whatever the text: inputs or an InputError, soon, and equal things read equal."""

import tomllib
from typing import Any

from hypothesis import given, settings, strategies as st

from winchsim.errors import InputError
from winchsim.face import parse as loads
from winchsim.inputs import Inputs, walk
from winchsim.quantity_text import PRINTED_UNITS
from winchsim.scenario.files import index_lines
from winchsim.scenario.sheet import SheetRow, read_sheet, write_sheet
from winchsim.scenario.starter import STARTER
from winchsim.scenario.values import known_paths
from winchsim.units import parse_quantity

QUICK = settings(max_examples=50, deadline=None, derandomize=True)


def _read(text: str, *overrides: str) -> Inputs | InputError:
    """Inputs or the error that was raised; any other exception fails the test."""
    try:
        return loads(text, "x.toml", overrides)
    except InputError as error:
        return error


def _is_told(result: Inputs | InputError) -> bool:
    """Whether the result is a scenario, or an error that says something about every fault."""
    if isinstance(result, Inputs):
        return True
    return bool(result.faults) and all(fault.message and fault.code for fault in result.faults)


@QUICK
@given(st.text(max_size=300))
def test_any_text_gives_inputs_or_an_input_error(text):
    result = _read(text)
    assert isinstance(result, InputError)
    assert _is_told(result)


_PIECES = st.sampled_from(
    [
        "[",
        "]",
        "[[",
        "]]",
        "{",
        "}",
        "=",
        ".",
        ",",
        "\n",
        "\r\n",
        '"',
        "'",
        '"""',
        "'''",
        "#",
        "\\",
        " ",
        "\t",
        "mass",
        "load",
        "motors",
        "1",
        "true",
        "nan",
        "inf",
        '"25 kg"',
        "0x1",
        "1e5",
        "2026-01-02",
        "\x00",
        "°",
        "-",
    ]
)


@QUICK
@given(st.lists(_PIECES, max_size=60).map("".join))
def test_any_heap_of_toml_signs_gives_inputs_or_an_input_error(text):
    assert _is_told(_read(text))
    index_lines(text)


@QUICK
@given(st.data())
def test_a_broken_scenario_gives_inputs_or_an_input_error(data):
    start = data.draw(st.integers(0, len(STARTER)))
    length = data.draw(st.integers(0, 40))
    insert = data.draw(st.lists(_PIECES, max_size=4).map("".join))
    assert _is_told(_read(STARTER[:start] + insert + STARTER[start + length :]))


_RAW = st.one_of(
    st.none().map(lambda _: "[]"),
    st.integers().map(str),
    st.floats().map(repr),
    st.booleans().map(lambda b: str(b).lower()),
    st.sampled_from(
        [
            "{}",
            "[{}]",
            "[1, 2]",
            "2026-01-02",
            "12:00:00",
            '"25 kg"',
            '"1e400 V"',
            '"5 %"',
            "''",
            '"PLA"',
        ]
    ),
    st.text(max_size=20).map(lambda s: "'" + s.replace("'", "") + "'"),
)


@QUICK
@given(st.sampled_from(sorted(known_paths())), _RAW)
def test_any_value_at_any_path_gives_inputs_or_an_input_error(path, raw):
    assert _is_told(_read(STARTER, f"{path}={raw}"))


@QUICK
@given(st.lists(st.text(max_size=40), max_size=3))
def test_any_option_gives_inputs_or_an_input_error(overrides):
    assert _is_told(_read(STARTER, *overrides))


@QUICK
@given(st.text(max_size=80), st.sampled_from(sorted(PRINTED_UNITS)))
def test_any_quantity_gives_a_finite_number_or_an_input_error(text, unit):
    try:
        value = parse_quantity(text, unit)
    except InputError as error:
        value = float(len(error.faults) - 1)
    assert abs(value) < float("inf")


@QUICK
@given(
    st.integers(1, 10**5),
    st.integers(0, 3),
    st.sampled_from(["kg", "N·m", "rpm", "mm", "MPa", "ohm", "A·h", "g·cm²"]),
)
def test_a_printed_quantity_is_read_back(digits, places, unit):
    text = f"{digits / 10**places:.{places}f}"
    expected = float(text) / PRINTED_UNITS[unit].factor
    assert abs(parse_quantity(f"{text} {unit}", unit) - expected) <= 4e-16 * 10 * abs(expected)


@QUICK
@given(st.integers(1, 10**6))
def test_a_scenario_in_inches_and_in_millimetres_is_the_same(millionths):
    """1 in = 25.4 mm exactly: international yard and pound agreement (1959)."""
    inches = f"{millionths / 10**6:.6f}"
    millimetres = f"{254 * millionths // 10**7}.{254 * millionths % 10**7:07d}"
    scenario = STARTER.replace('module = "1 mm"', 'module = "MODULE"')
    one = loads(scenario.replace("MODULE", f"{inches} in"))
    other = loads(scenario.replace("MODULE", f"{millimetres} mm"))
    assert one.stage[0].module == other.stage[0].module
    assert [v for _, v, _ in walk(one)] == [v for _, v, _ in walk(other)]


def _toml(value: Any, depth: int) -> str:
    if isinstance(value, dict):
        return (
            "{ "
            + ", ".join(f"{key} = {_toml(item, depth + 1)}" for key, item in value.items())
            + " }"
        )
    if isinstance(value, list):
        return "[\n" + ",\n".join(_toml(item, depth + 1) for item in value) + "\n]"
    return f'"{value}"' if isinstance(value, str) else str(value)


_NAMES = st.sampled_from(["a", "b", "c", "d_1", "'q k'"])
_LEAVES = st.one_of(
    st.integers(0, 99), st.sampled_from(["x", "1 # no remark", "[no.table]", "{", "a = 1"])
)
_VALUES = st.recursive(
    _LEAVES,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(_NAMES, inner, max_size=3)
    ),
    max_leaves=6,
)


@QUICK
@given(
    st.lists(
        st.tuples(st.sampled_from(["t", "u"]), st.dictionaries(_NAMES, _VALUES, max_size=3)),
        min_size=1,
        max_size=4,
    )
)
def test_line_index_agrees_with_the_toml_reader(tables):
    """Every path that the TOML reader of the standard library finds has the line of its key in a
    table."""
    text = "".join(
        f"[[{name}]]\n" + "".join(f"{k} = {_toml(v, 0)}\n" for k, v in keys.items())
        for name, keys in tables
    )
    raw, index = tomllib.loads(text), index_lines(text)
    for path, _ in _paths(raw, ""):
        key = path.split(".")[2] if path.count(".") > 1 else f"[[{path[0]}]]"
        assert key in index.text(index.line(path)), text


def _paths(node: Any, prefix: str):
    if isinstance(node, list):
        node = {str(number): item for number, item in enumerate(node, start=1)}
    if isinstance(node, dict):
        for key, item in node.items():
            path = f"{prefix}.{key}" if prefix else key
            yield path, key
            yield from _paths(item, path)


_NUMBERS = st.one_of(st.none(), st.integers(1, 999_999).map(lambda n: n / 1000))


@QUICK
@given(
    st.lists(
        st.builds(
            SheetRow,
            rung=st.one_of(st.none(), st.integers(0, 99)),
            mass=_NUMBERS.filter(bool),
            height=_NUMBERS,
            held=st.sampled_from([None, True, False]),
            note=st.sampled_from([None, "a;b", 'x "y", z', "#1"]),
        ),
        min_size=1,
        max_size=4,
    )
)
def test_a_sheet_is_read_back(tmp_path_factory, rows):
    path = tmp_path_factory.mktemp("sheet") / "tests.csv"
    path.write_text(write_sheet(rows))
    assert list(read_sheet(str(path))) == rows
