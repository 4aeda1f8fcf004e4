"""Tables of text with aligned columns."""

from __future__ import annotations

from collections.abc import Sequence


def aligned(rows: Sequence[Sequence[str]], right: str = "", gap: int = 2) -> list[str]:
    """Lines of a table.

    Parameters
    ----------
    rows : sequence of sequences of str
        Cells, the same number in each row.
    right : str
        One character a column: ``r`` aligns it to the right; columns beyond its end are to the
        left.
    gap : int
        Blanks between columns.

    Returns
    -------
    list of str
        Without blanks at their ends.
    """
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    sides = right.ljust(len(widths), "l")
    return [
        (" " * gap)
        .join(
            cell.rjust(width) if side == "r" else cell.ljust(width)
            for cell, width, side in zip(row, widths, sides, strict=True)
        )
        .rstrip()
        for row in rows
    ]
