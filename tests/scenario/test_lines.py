"""Which line each table and key starts on."""

import pytest

from winchsim.scenario.files import index_lines

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
  { torque = "3 mNm", speed = "4 rpm" },
]
note = """
[[motors]]
count = 9
"""
[supply]
voltage = "6 V"
wires.length = '3 m [x] # {'
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
        ("motors.2.points.2.torque", 10),
        ("motors.2.note", 14),
        ("motors.2.voltage", 8),
        ("supply.voltage", 19),
        ("supply.wires.length", 20),
        ("rope.diameter", None),
    ],
)
def test_line_of_a_path_or_of_what_holds_it(path, line):
    assert index_lines(TEXT).line(path) == line


def test_keys_inside_a_text_are_no_keys():
    assert "motors.3" not in index_lines(TEXT).where


def test_lines_are_without_their_ends():
    index = index_lines("a = 1\r\nb = 2\r\n")
    assert (index.lines, index.where) == (("a = 1", "b = 2", ""), {"a": 1, "b": 2})
    assert index.text(None) == "" and index.text(2) == "b = 2"


def test_lines_before_a_break_are_known():
    assert index_lines('a = 1\nb = "open\nc = [ }\nd = 2').where == {"a": 1, "b": 2, "c": 3, "d": 4}
