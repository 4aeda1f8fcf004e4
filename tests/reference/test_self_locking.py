"""Running back and self-locking: screws as elements of the chain. Sources at each test.

A screw's element has torque at its input and force at its output: its ratio is 2 pi over the lead.
Its two efficiencies are the exact ones, e = tan L/tan(L + phi) and q = tan(L - phi)/tan L, with
lead angle L and friction angle phi.

Examples of textbooks were read in openly published collections of solved examples that follow the
book (its data, a solution, the printed answer; most in FOSSEE, Python-Textbook-Companions, commit
d34b2ae7, so in the edition that it follows), other sources in their own text, unless a check says
how else: excerpt, second hand, or from memory (then it bears that mark).
"""

import math

import pytest

from tests.screws import alone, raises, screw
from winchsim.physics.chain import Element, StartMargins, demand

pytestmark = pytest.mark.reference

INCH, POUND_FORCE = 0.0254, 4.4482216
POUND_INCH = POUND_FORCE * INCH


def lowers(element: Element, force: float) -> float:
    """Torque needed to lower it: positive where the screw must be driven down."""
    return -demand(alone(element), -1)(force)


@pytest.mark.parametrize(("friction", "efficiency"), [(0.1, 0.495), (0.15, 0.48875), (0.2, 0.48)])
def test_limit_of_self_locking(friction, efficiency):
    # G. W. Housner, D. E. Hudson, Applied Mechanics: Statics, 5.6.1: a screw just locks where lead
    # angle and friction angle are equal; its efficiency is then (1 - tan² phi)/2, at most one half
    # (problem 3: the best self-locking screw has 50 %).
    at_limit = screw(0.02, 0.02 * math.pi * friction, friction)
    assert at_limit.forward == pytest.approx(efficiency, rel=1e-9)
    assert at_limit.forward == pytest.approx((1 - friction**2) / 2) and at_limit.forward <= 0.5
    assert at_limit.reverse == pytest.approx(0.0, abs=1e-12)


def test_jack_of_two_threads_per_inch():
    # G. W. Housner, D. E. Hudson, Applied Mechanics: Statics, section 5.6, problem 2: 10 000 lb,
    # mean diameter 2 in, friction 0.2. Printed: 2840 in·lb (recomputed 2840.990); it locks, 1185.4
    # in·lb lower it.
    jack = screw(2 * INCH, 0.5 * INCH, 0.2)
    load = 10000 * POUND_FORCE
    assert raises(jack, load) / POUND_INCH == pytest.approx(2840, abs=1.0)
    assert raises(jack, load) / POUND_INCH == pytest.approx(2840.990, abs=1e-3)
    assert lowers(jack, load) / POUND_INCH == pytest.approx(1185.4, abs=0.05)
    assert StartMargins(alone(jack), 1.0)([0.0], load)[1] < 0


def test_screw_that_runs_back_and_the_collar_that_holds_it():
    # J. E. Shigley, Mechanical Engineering Design, Ex. 8-1: d 32 mm, pitch 4 mm, double thread,
    # friction 0.08, collar 0.08 on 40 mm, 6.4 kN. Printed: raise 15.94 + 10.24 = 26.2 N·m, lower
    # -0.47 + 10.24 = 9.8 N·m.
    bare, collared = screw(0.030, 0.008, 0.08), screw(0.030, 0.008, 0.08, 0.08, 0.040)
    assert raises(bare, 6400) == pytest.approx(15.94, abs=0.005)
    assert raises(collared, 6400) == pytest.approx(26.17695, abs=5e-5)
    assert lowers(bare, 6400) == pytest.approx(-0.47, abs=0.005)
    assert lowers(bare, 6400) == pytest.approx(-0.46557, abs=5e-5)
    assert lowers(collared, 6400) == pytest.approx(9.8, abs=0.05)
    assert lowers(collared, 6400) == pytest.approx(9.77443, abs=5e-5)
    for element, runs_back in ((bare, True), (collared, False)):
        assert (StartMargins(alone(element), 1.0)([0.0], 6400.0)[1] > 0) is runs_back


def test_screw_with_a_collar():
    # J. E. Shigley, Mechanical Engineering Design, Problem 8-4: 6 kN, lead 5 mm, mean diameter 22.5
    # mm, friction 0.08, collar 0.05 on 40 mm. Printed: 16.23 and 6.622 N·m, efficiency 0.294.
    press = screw(0.0225, 0.005, 0.08, 0.05, 0.040)
    assert raises(press, 6000) == pytest.approx(16.23, abs=0.005)
    assert (lowers(press, 6000), press.forward) == pytest.approx((6.622, 0.294), abs=0.0005)


@pytest.mark.parametrize(
    ("ratio", "load", "effort", "advantage", "efficiency"),
    [
        # R. S. Khurmi, A Textbook of Engineering Mechanics, Ex. 10.2: velocity ratio 30, 1500 N by
        # 125 N: 40 %, not reversible.
        (30.0, 1500.0, 125.0, 12.0, 0.40),
        # S. S. Bhavikatti, Engineering Mechanics, Ex. 6.5: 30, 5000 N by 360 N: 13.889, 46.296 %,
        # locks; friction 5800 N at the load.
        (30.0, 5000.0, 360.0, 13.88889, 0.4629630),
    ],
)
def test_lifting_machine_below_one_half_locks(ratio, load, effort, advantage, efficiency):
    machine = Element("machine", ratio, efficiency, 2 - 1 / efficiency)
    assert (raises(machine, load), load / raises(machine, load)) == pytest.approx(
        (effort, advantage), rel=1e-6
    )
    friction = (raises(machine, load) - load / ratio) * ratio
    assert friction == pytest.approx(effort * ratio - load, rel=1e-6)
    assert lowers(machine, load) == pytest.approx(
        (friction - load) / ratio
    )  # the same friction, now against the load
    assert StartMargins(alone(machine), 1.0)([0.0], load)[1] < 0


@pytest.mark.parametrize(
    ("mean", "lead", "friction", "load", "torque", "tolerance", "efficiency"),
    [
        # R. S. Khurmi, J. K. Gupta, Theory of Machines, Ex. 10.10: screw of 50 mm (taken as mean),
        # lead 12.5 mm, 0.13, 25 kN. Printed: 132.6 N·m, 37.6 % (recomputed 132.3551; 0.5 %).
        (0.050, 0.0125, 0.13, 25e3, 132.6, 0.005, 0.376),
        # The same, Ex. 10.11: 50 mm, lead 10 mm, 0.08, 20 kN. Printed: 44.1 %; recomputed 72.1987
        # N·m.
        (0.050, 0.010, 0.08, 20e3, 72.1987, 1e-5, 0.441),
    ],
)
def test_torque_and_efficiency_of_screws(mean, lead, friction, load, torque, tolerance, efficiency):
    found = screw(mean, lead, friction)
    assert raises(found, load) == pytest.approx(torque, rel=tolerance)
    assert found.forward == pytest.approx(efficiency, abs=0.0005)


def test_acme_screws():
    # R. L. Mott, Machine Elements in Mechanical Design, Ex. 17-1: Acme 1 1/2-4, pitch diameter
    # 1.3429 in, friction 0.15, 12 500 lb. Printed: 1809 lb·in (recomputed 1814.4, rounding in the
    # print: 0.3 %); efficiency 0.2741.
    acme = screw(1.3429 * INCH, 0.25 * INCH, 0.15, flank=14.5)
    assert raises(acme, 12500 * POUND_FORCE) / POUND_INCH == pytest.approx(1809, rel=0.0035)
    assert raises(acme, 12500 * POUND_FORCE) / POUND_INCH == pytest.approx(1814.4, abs=0.05)
    assert acme.forward == pytest.approx(0.2741, abs=5e-5)
    # D. Wentzell, Machine Design, Ex. 18.2: lead 1/3 in, pitch diameter 1.354 in, 0.15. Printed
    # with the formula for square threads: 33.9 % (recomputed 0.339117; with the flanks of 14.5
    # degrees 0.331814).
    assert screw(1.354 * INCH, INCH / 3, 0.15).forward == pytest.approx(0.339117, abs=5e-7)
    assert screw(1.354 * INCH, INCH / 3, 0.15, flank=14.5).forward == pytest.approx(
        0.331814, abs=5e-7
    )


def test_torque_of_a_whole_jack():
    # U. C. Jindal, Machine Design, Ex. 16-1: 30 mm screw, pitch 6 mm (mean 27 mm), 0.2, collar 0.15
    # on 24 mm, 20 kN. Printed: 110.15 N·m (recomputed 110.1476).
    assert raises(screw(0.027, 0.006, 0.2, 0.15, 0.024), 20e3) == pytest.approx(110.15, abs=0.005)


def test_same_khurmi_screw_driven_down():
    # R. S. Khurmi, J. K. Gupta, Theory of Machines, Ex. 10.10: raising over lowering torque 4.2
    # (recomputed 31.1914 N·m, 4.24332).
    found = screw(0.050, 0.0125, 0.13)
    assert lowers(found, 25e3) == pytest.approx(31.1914, abs=5e-5)
    assert raises(found, 25e3) / lowers(found, 25e3) == pytest.approx(4.2, abs=0.05)
