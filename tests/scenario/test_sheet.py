"""The test sheet."""

import pytest

from winchsim.errors import InputError
from winchsim.scenario.sheet import (
    MAX_ROWS,
    SheetOrigin,
    SheetRow,
    origin_line,
    read_planned_sheet,
    read_sheet,
    write_sheet,
)

ROWS = [
    SheetRow(
        rung=1,
        mass=5.0,
        height=0.5,
        predicted_time=12.3,
        predicted_current=1.25,
        voltage=6.0,
        winding_start=20.0,
        rest_before=300.0,
        measured_time=12.8,
        measured_current=1.3,
        measured_voltage=5.9,
        held=True,
        outcome="lifted",
        note='slow, "but" steady',
    ),
    SheetRow(rung=1, mass=5.0, held=False, outcome="broke", broke_link="stage 5 teeth"),
    SheetRow(rung=2, mass=10.0, predicted_time=25.0),
]


@pytest.fixture
def sheet(tmp_path):
    def write(content: str | bytes):
        path = tmp_path / "tests.csv"
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return str(path)

    return write


@pytest.fixture
def faults_of(sheet):
    def faults(content: str | bytes, read=read_sheet):
        with pytest.raises(InputError) as caught:
            read(sheet(content))
        return caught.value.faults

    return faults


@pytest.mark.parametrize("us", [False, True])
def test_what_is_written_is_read_back(sheet, us):
    rows = read_sheet(sheet(write_sheet(ROWS, us=us, comments=["winchsim", "scenario abc"])))
    assert len(rows) == len(ROWS)
    for row, wrote in zip(rows, ROWS, strict=True):
        for name in SheetRow.__dataclass_fields__:
            value, expected = getattr(row, name), getattr(wrote, name)
            assert value == (
                pytest.approx(expected, rel=1e-6) if isinstance(expected, float) else expected
            ), name


@pytest.mark.parametrize("spoilt", ["{}", "{},,,,", "{};;;", "{}\t\t"])
def test_a_sheet_names_the_scenario_that_it_was_planned_for(sheet, spoilt):
    origin = SheetOrigin("Crate, scenario of May, scenario 0123456789ab", "abcdef012345")
    text = write_sheet(ROWS, comments=[origin_line(origin), "more"])
    first, rest = text.split("\n", 1)
    rows, found = read_planned_sheet(sheet(spoilt.format(first) + "\n" + rest))
    assert found == origin and len(rows) == len(ROWS)


@pytest.mark.parametrize("first", ["", "# winchsim 0.1.0, ladder of a winch\n", "# of my own\n"])
def test_a_sheet_need_not_say_what_it_was_planned_for(sheet, first):
    assert read_planned_sheet(sheet(first + "mass_kg\n5\n"))[1] is None


def test_heads_are_those_of_the_trade():
    assert write_sheet([]).strip() == (
        "rung,mass_kg,height_m,predicted_time_s,predicted_current_a,voltage_v,winding_start_c,rest_before_s,"
        "measured_time_s,measured_current_a,measured_voltage_v,held,outcome,broke_link,note"
    )
    assert ",mass_kg,mass_lb,height_m,height_ft," in write_sheet([], us=True)


def test_other_units_by_the_head(sheet):
    text = "mass_lb,height_in,measured_time_min,measured_current_ma,winding_start_f\n10,20,0.5,1500,68\n"
    (row,) = read_sheet(sheet(text))
    # inch and pound: exact by the international yard and pound agreement (1959)
    assert (row.mass, row.height) == pytest.approx((4.5359237, 0.508))
    assert (row.measured_time, row.measured_current, row.winding_start) == pytest.approx(
        (30.0, 1.5, 20.0)
    )


@pytest.mark.parametrize(
    "content",
    [
        b"\xef\xbb\xbfrung,mass_kg,held\r\n1,5.5,yes\r\n\r\n",
        "rung;mass_kg;held\n1;5.5;YES\n;;\n",
        "rung\tmass_kg\theld\n1\t5.5\ty\n",
        "# a remark\nheld,Mass_kg,rung,\nTrue, 5.5 ,1,\n",
        "rung,mass kg,held\r1,5.5,1\r",
        "held,mass_kg,rung\nyes,5.5,1\n# a remark below\n",
        "rung;mass_kg;held;measured_time_s\n1;5,5;ok;-\n",
        'rung,mass_kg,held,measured_time_s\n1,"5,50",x,n/a\n',
    ],
)
def test_as_spreadsheets_write_it(sheet, content):
    assert read_sheet(sheet(content)) == (SheetRow(rung=1, mass=5.5, held=True),)


def test_a_lift_that_went_well_may_be_noted_as_ok(sheet):
    (row,) = read_sheet(sheet("mass_kg;outcome;note\n0,125;OK;all, well\n"))
    assert (row.mass, row.outcome, row.note) == (0.125, "lifted", "all, well")


def test_short_rows_are_filled_with_blanks(sheet):
    assert read_sheet(sheet("mass_kg,note,held\n5\n")) == (SheetRow(mass=5.0),)


def test_both_units_of_one_column_must_agree(sheet, faults_of):
    assert read_sheet(sheet("mass_kg,mass_lb\n5,\n,11.0231\n"))[1].mass == pytest.approx(
        5.0, rel=1e-5
    )
    (fault,) = faults_of("mass_kg,mass_lb\n5,11.0231\n5,12\n")
    assert (fault.line, fault.key) == (3, "mass_lb")
    assert "disagree" in fault.message


def test_all_faults_of_a_sheet_at_once(faults_of):
    content = "rung;mass_kg;heigth_m;held;outcome\n1;5,500;1;yes;lifted\n1.5;-3;1;perhaps;lift\nx;5 kg;1;;\n2;nan;1;;;9\n"
    found = [(f.line, f.key, f.code) for f in faults_of(content)]
    assert found == [
        (1, "heigth_m", "wrong column"),
        (2, "mass_kg", "wrong cell"),
        (3, "rung", "wrong cell"),
        (3, "mass_kg", "wrong cell"),
        (3, "held", "wrong cell"),
        (3, "outcome", "wrong cell"),
        (4, "rung", "wrong cell"),
        (4, "mass_kg", "wrong cell"),
        (5, "", "wrong cell"),
        (5, "mass_kg", "wrong cell"),
    ]


@pytest.mark.parametrize(
    ("content", "message", "hint"),
    [
        ("mass\n5\n", "mass has no unit", "mass_kg"),
        ("mass_v\n5\n", "v is no unit for mass", "mass_kg"),
        ("masss_kg\n5\n", "unknown column", "mass_kg"),
        ("mass_kg,mass_kg\n5,5\n", "two columns are called mass_kg", ""),
        ("mass_kg\n5;5\n", "not a number", ""),
        ("mass_kg\n5 kg\n", "", "its unit stands in the head"),
        ('mass_kg\n"5,500"\n', "comma", "decimal point"),
        ("mass_kg,outcome\n5,liftd\n", "no choice here", "lifted"),
        ('mass_kg\n"5\n', "not readable as CSV", ""),
        ("mass_kg\n5,6\n", "more cells than heads", ""),
        ("rung\n1\n", "no column mass_kg", ""),
        ("mass_kg\n", "no rows", ""),
        ("mass_kg" + "," * 200_000 + "\n1\n", "more than 1000 columns", ""),
        ("", "empty", ""),
    ],
)
def test_one_clear_message(faults_of, content, message, hint):
    fault = faults_of(content)[0]
    assert message in fault.message
    assert hint in fault.hint


def test_line_of_a_row_below_a_cell_of_several_lines(faults_of):
    (fault,) = faults_of('mass_kg,note\n5,"two\nlines"\n-1,\n')
    assert fault.line == 4


def test_too_many_rows(faults_of):
    assert faults_of("mass_kg\n" + "1\n" * (MAX_ROWS + 1))[-1].code == "too much"


def test_a_trace_in_place_of_a_sheet_is_one_fault_that_says_so(faults_of):
    (fault,) = faults_of("time_s,height_m,phase,layer,tension_n\n0,0,1,1,2\n1,0.1,1,1,2\n")
    assert "no test sheet" in fault.message and "--measured" in fault.hint and fault.line == 1
