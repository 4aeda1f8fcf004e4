"""Which line each path stands on."""

from __future__ import annotations

import pytest

from winchsim.scenario.lines import MAX_ITEMS, index_lines

TEXT = '''\
title = "a # no remark"   # a remark

[[motors]]
count = 2
"body_diameter" = "20 mm"
[motors.gearbox]
ratio = 20
[[motors]]
count = 3
points = [
  { torque = "1 mNm", speed = "2 rpm" },  # first
  # between
  { torque = "3 mNm",
    speed = "4 rpm" },
]
note = """
[[motors]]
count = 9
"""
[supply]
voltage = "6 V"
wires.length = '3 m [x] # {'
[drum]
size = { width = "3 mm", core = { diameter = "4 mm" } }
numbers = [1.5,
  2.5]
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        ("title", 1),
        ("motors", 3),
        ("motors.1", 3),
        ("motors.1.count", 4),
        ("motors.1.body_diameter", 5),
        ("motors.1.gearbox", 6),
        ("motors.1.gearbox.ratio", 7),
        ("motors.2", 8),
        ("motors.2.count", 9),
        ("motors.2.points", 10),
        ("motors.2.points.1", 11),
        ("motors.2.points.1.speed", 11),
        ("motors.2.points.2.torque", 13),
        ("motors.2.points.2.speed", 14),
        ("motors.2.note", 16),
        ("supply.voltage", 21),
        ("supply.wires.length", 22),
        ("drum.size.width", 24),
        ("drum.size.core.diameter", 24),
        ("drum.numbers.1", 25),
        ("drum.numbers.2", 26),
    ],
)
def test_line_of_a_path(path, line):
    assert index_lines(TEXT).where[path] == line


def test_a_path_that_is_not_there_falls_back_to_its_table():
    index = index_lines(TEXT)
    assert index.line("motors.2.voltage") == 8
    assert index.line("motors.2.points.2.current") == 13
    assert index.line("rope.diameter") is None
    assert index.text(None) == ""


def test_keys_inside_a_text_are_no_keys():
    assert "motors.3" not in index_lines(TEXT).where


def test_lines_are_without_their_ends():
    index = index_lines("a = 1\r\nb = 2\r\n")
    assert index.lines == ("a = 1", "b = 2", "")
    assert index.where == {"a": 1, "b": 2}


def test_a_multi_line_text_may_end_in_quotes():
    assert index_lines('a = """x""""\nb = 1\n').where["b"] == 2
    assert index_lines("a = '''x'''''\nb = 1\n").where["b"] == 2


def test_lines_before_a_break_are_known():
    where = index_lines('a = 1\nb = "open\nc = [ }\nd = 2').where
    assert (where["a"], where["b"], where["c"]) == (1, 2, 3)


@pytest.mark.parametrize("text", ["a = " + "[" * 20, "a = " + "{b=" * 20, "a." * 20 + "b = 1", "[" + "a." * 20 + "b]"])
def test_absurd_nesting_is_told_with_its_line(text):
    assert index_lines("x = 1\n" + text).absurd == (2, "nested far too deeply")


def test_absurd_numbers_of_keys_are_told():
    line, reason = index_lines("a = 1\n" * (MAX_ITEMS + 5)).absurd
    assert line == MAX_ITEMS + 1
    assert str(MAX_ITEMS) in reason
