"""Which drum diameters work for a load: the band, what bounds it at each end, and one diameter to take."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from winchsim.constants import INCH
from winchsim.errors import DomainError
from winchsim.inputs import Inputs
from winchsim.model import Machine, build
from winchsim.model.assumptions import Notebook
from winchsim.quantity_text import number, quantity
from winchsim.slow import Hold, Lifts, Variants, lift_all, vary
from winchsim.strength.line import bend
from winchsim.verdict.candidates import Edge, Judged, Limit, Wanted, judge_all, without_snag
from winchsim.verdict.choice import Choice, choose, sharpened, why
from winchsim.verdict.crosscheck import Progress, not_without, silent
from winchsim.verdict.finding import FindingKind
from winchsim.verdict.words import duration

PATH = "drum.diameter"

COARSE = 80
"""Diameters tried to find where the motors stall, when no range is given. [-]"""

CANDIDATES = 200
"""Diameters tried over the range, besides the sizes that can be bought. [-]"""

STOCK = tuple(
    size / 1000 for size in (2, 3, 4, 5, 6, 8, 10, 12, 14, 15, 16, 18, 20, 22, 25, 28, 30, 32, 35, 40, 45, 50, 60, 70, 80, 90,
                             100, 120, 140, 160, 180, 200, 250, 300, 350, 400, 450, 500)
)  # fmt: skip
"""Diameters that round bar and tube are sold in. [m] Common practice, no published source."""

STOCK_INCH = tuple(eighths / 8 * INCH for eighths in (1, 1.5, 2, 2.5, 3, 4, 5, 6, 7, 8, 10, 12, 14, 16, 20, 24, 28, 32, 40, 48))
"""The same in inches, an eighth to six. [m] Common practice, no published source."""

TURNED_STEP = 0.0005
"""Where no stock size works, a diameter that can be turned: whole half millimetres. [m]"""

MOST_TURNED = 100
"""Whole half millimetres tried, from the thin end of the range on. [-]"""

PLACES = 9
"""Decimal places of a metre to which two diameters are the same."""

LARGEST = 10.0
"""Largest diameter tried. [m]"""


@dataclass(frozen=True)
class DrumStudy:
    """Result of a drum study.

    Attributes
    ----------
    inputs : Inputs
    machine : Machine
        Of the scenario as it stands.
    wanted : Wanted
    choice : Choice
        Its values are the diameters. [m]
    bend_ratios : ndarray
        Drum over rope diameter. [-]
    holds_up_to : float or None
        Largest diameter at which the load stays up with the power off, jolted or not; None for none. [m]
    stock : bool
        Whether the recommended size can be bought.
    sentence : str
        The answer.
    reason : str
        Why this diameter; empty where there is none.
    """

    inputs: Inputs
    machine: Machine
    wanted: Wanted
    choice: Choice
    bend_ratios: np.ndarray
    holds_up_to: float | None
    stock: bool
    sentence: str
    reason: str

    @property
    def diameters(self) -> np.ndarray:
        """Candidates, ascending. [m]"""
        return self.choice.values


def study_drum(
    inputs: Inputs,
    wanted: Wanted | None = None,
    *,
    low: float | None = None,
    high: float | None = None,
    inch: bool = False,
    on_progress: Progress = silent,
) -> DrumStudy:
    """Which drum diameters work for a scenario's load.

    Parameters
    ----------
    inputs : Inputs
    wanted : Wanted, optional
        What is asked of the lift.
    low, high : float, optional
        Range of diameters; left out, from the rope's diameter to a little beyond where the motors stall. [m]
    inch : bool
        Whether inch sizes count as sizes that can be bought.
    on_progress : callable
        Called with the full runs done and their number.

    Raises
    ------
    InputError, DomainError
        The scenario cannot be built, or the range is empty.
    """
    wanted = wanted or Wanted()
    inputs, notes = without_snag(inputs)
    machine = build(inputs)
    low, high = _range(inputs, low, high)
    sizes = sorted({*STOCK, *STOCK_INCH} if inch else STOCK)
    stock = np.array([size for size in sizes if low <= size <= high])
    own = [inputs.drum.diameter] if low <= inputs.drum.diameter <= high else []
    turned = np.arange(math.ceil(low / TURNED_STEP), math.floor(high / TURNED_STEP) + 1)[:MOST_TURNED] * TURNED_STEP
    sizes_tried = np.concatenate([np.geomspace(low, high, CANDIDATES), stock, turned, own])
    diameters = np.unique(np.round(sizes_tried, PLACES))  # 36 half millimetres and 18 mm are one size
    diameters, judged, variants = sharpened(diameters, lambda values: _judged(inputs, machine, wanted, values))
    sold = np.isin(np.round(diameters, PLACES), np.round(stock, PLACES))
    halves = diameters / TURNED_STEP
    groups = (sold, np.abs(halves - np.round(halves)) < 1e-6, np.ones(len(diameters), dtype=bool))
    choice = choose(variants, judged, diameters, lambda i: size_text(diameters[i]), groups, on_progress, notes=notes)
    is_stock = choice.recommended is not None and bool(sold[choice.recommended])
    sort = "sizes that can be bought" if is_stock else "diameters that can be turned (no stock size works)"
    return DrumStudy(
        inputs, machine, wanted, choice, diameters / inputs.rope.diameter, _holds_up_to(diameters, judged.lifts), is_stock,
        _sentence(choice), why(choice, sort),
    )  # fmt: skip


def _range(inputs: Inputs, low: float | None, high: float | None) -> tuple[float, float]:
    if low is None:
        low = inputs.rope.diameter
    if high is None:
        coarse = np.geomspace(low, LARGEST, COARSE)
        stalls = coarse[~(lift_all(inputs, {PATH: coarse}).stall_margin_cold >= 1)]
        high = max(1.2 * float(stalls.min(initial=LARGEST)), 4 * low, 1.2 * inputs.drum.diameter)
    high = min(high, LARGEST)
    if not 0 < low < high:
        raise DomainError("--range", f"{quantity(low, 'mm')} to {quantity(high, 'mm')}", "a range that grows")
    return low, high


def _judged(inputs: Inputs, machine: Machine, wanted: Wanted, diameters: np.ndarray) -> tuple[Judged, Variants]:
    variants = vary(inputs, {PATH: diameters})
    mildest = bend(Notebook().rope(inputs), 1.0, inputs.rope.diameter).low
    ratio = diameters / inputs.rope.diameter
    tight = Limit(
        "bend of the rope", "bend", False, ratio / mildest,
        lambda i: f"the rope is bent over {number(ratio[i], 2)} times its diameter, even the mildest rule asks for {mildest:g}",
        FindingKind.ROPE_BEND_TIGHT,
    )  # fmt: skip
    return judge_all(lift_all(variants), machine, wanted, (tight,)), variants


def _holds_up_to(diameters: np.ndarray, lifts: Lifts) -> float | None:
    holds = np.flatnonzero((lifts.holding == Hold.HOLDS) & lifts.lifted)
    return float(diameters[holds[-1]]) if len(holds) else None


# --- words ----------------------------------------------------------------------------------------------------------


def size_text(diameter: Any, digits: int = 3) -> str:
    """A diameter for people."""
    return quantity(float(diameter), "mm", digits)


def edge_text(edge: Edge) -> str:
    """The diameter at which a band ends, for people."""
    return size_text(edge.told, edge.digits)


def _sentence(choice: Choice) -> str:
    diameters, judged = choice.values, choice.judged
    if choice.band is None or choice.recommended is None:
        nearest = int(np.argmax(judged.room))
        return (
            f"No drum between {size_text(diameters[0])} and {size_text(diameters[-1])} works: at "
            f"{size_text(diameters[nearest])}, which comes nearest, {judged.reason(nearest)}."
        )
    text = f"Drums from {edge_text(choice.band.low)} to {edge_text(choice.band.high)} work"
    own, take = choice.confirmation, size_text(diameters[choice.recommended])
    assert own is not None
    if not own.sound:
        return f"{text} by the quasi-static model, but the full run of {take} says otherwise: {own.sentence}"
    return f"{text}; take {take}: up in {duration(own.full_time or math.nan)}{not_without(own.dangers)}"


def edge_words(edge: Edge, which: str) -> str:
    """What bounds the band at one end, for people.

    Parameters
    ----------
    edge : Edge
    which : str
        ``below`` or ``above``.
    """
    if edge.beyond is None:
        return f"{which.capitalize()} {edge_text(edge)} nothing was tried."
    return f"{which.capitalize()} {edge_text(edge)} {edge.reason}."


def rows_to_show(study: DrumStudy, most: int = 14) -> list[int]:
    """Candidates worth a row in print: sizes that can be bought around the recommended one, the edges, the scenario's own."""
    diameters, choice = study.diameters, study.choice
    sizes = {round(size, PLACES) for size in (*STOCK, *STOCK_INCH)}
    stock = [i for i, d in enumerate(diameters) if round(float(d), PLACES) in sizes]
    centre = study.inputs.drum.diameter if choice.recommended is None else diameters[choice.recommended]
    stock.sort(key=lambda i: abs(math.log(diameters[i] / centre)))
    keep = set(stock[:most]) | {run.index for run in choice.runs}
    keep.update(np.flatnonzero(np.abs(diameters - study.inputs.drum.diameter) < 0.6 * 10**-PLACES).tolist())
    return sorted(keep)
