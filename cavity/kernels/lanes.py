"""How the nodes of a line are laid out in memory so that eight of them are worked on at once.

Node i of n is in lane i // rows and row 1 + i % rows, with rows = ceil(n / LANES): neighbours follow each other in
the same lane. A loop over the lanes of one row then does the same work for all of them and finds the next node
one row on. Lanes are joined by two more rows: row 0 repeats the last row one lane on, the last row the first one lane
back.

All columns of all rows are one flat array, `column + lane` from the start of the row: within one array and at constant
distances the compiler sees that nothing overlaps, and uses the vector unit. Columns are numbered in steps of LANES.
"""

from __future__ import annotations

import numpy as np

from cavity._jit import jit

LANES = 8


def rows_of(nodes: int) -> int:
    """Return the number of rows that hold this many nodes."""
    return -(-nodes // LANES)


def offsets(nodes: int, span: int) -> np.ndarray:
    """Return where the record of each node begins, (nodes,), in rows of `span` numbers."""
    lane, row = np.divmod(np.arange(nodes), rows_of(nodes))
    return (1 + row) * span + lane


@jit
def cubic(c0, c1, c2, c3, x):
    """Return (value, slope in x) of a cubic."""
    return c0 + x * (c1 + x * (c2 + x * c3)), c1 + x * (2.0 * c2 + 3.0 * x * c3)


@jit
def log_one_plus(x):
    """Return ln(1 + x) for 0 <= x <= 1, within 1e-14: 2 artanh(s), s = x/(2 + x), by its series."""
    s = x / (2.0 + x)
    q = s * s
    low = 1.0 / 3.0 + q * (0.2 + q * (1.0 / 7.0 + q * (1.0 / 9.0 + q * (1.0 / 11.0 + q * (1.0 / 13.0)))))
    high = 1.0 / 15.0 + q * (1.0 / 17.0 + q * (1.0 / 19.0 + q * (1.0 / 21.0 + q * (1.0 / 23.0 + q * (1.0 / 25.0)))))
    q3 = q * q * q
    return 2.0 * s * (1.0 + q * (low + q3 * q3 * high))


@jit
def exp(x):
    """Return e to the power x for -40 < x < 30.

    Error below 5e-16, or 1e-13 of the result where that is larger (3e-10 of it beyond x = 13, pressures over 4 bar).
    math.exp is a call for every single number. Here the series of e^(x/64) - 1, then six doublings of the argument by
    e^2y - 1 = w (2 + w), w = e^y - 1: sums and products alone, and without the round-off of squaring e^y itself.
    """
    y = x * (1.0 / 64.0)
    y2 = y * y
    y4 = y2 * y2
    # in pairs and pairs of pairs: fewer sums that wait for one another
    low = (1.0 + y * 0.5) + y2 * (1.0 / 6.0 + y * (1.0 / 24.0))
    high = (1.0 / 120.0 + y * (1.0 / 720.0)) + y2 * (1.0 / 5040.0 + y * (1.0 / 40320.0))
    w = y * (low + y4 * (high + y4 * (1.0 / 362880.0 + y * (1.0 / 3628800.0))))
    w *= 2.0 + w
    w *= 2.0 + w
    w *= 2.0 + w
    w *= 2.0 + w
    w *= 2.0 + w
    w *= 2.0 + w
    return 1.0 + w
