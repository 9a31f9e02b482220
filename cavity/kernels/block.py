"""Block-tridiagonal elimination with 2 x 2 blocks, in place and without allocation."""

from __future__ import annotations

from cavity._jit import jit
from cavity.kernels.lanes import LANES

# columns from the first of the system, see lanes: 2 x 2 blocks [[a, b], [c, d]] that couple a row of the system to the
# one before, to itself and to the one after; the right-hand side, which becomes the solution
BELOW, OWN, ABOVE, RIGHT, COLUMNS = 0, 4 * LANES, 8 * LANES, 12 * LANES, 14
A, B, C, D = 0, LANES, 2 * LANES, 3 * LANES


@jit
def solve(cell, offset, first):
    """Solve a block-tridiagonal system in place, whose columns begin at `first` from each offset.

    From both ends to the middle and back: each row waits for the one before, so two chains side by side take half the
    time of one. No pivoting between rows: the diagonal blocks of an implicit conservation law dominate. Returns 0, or 1
    on a singular block.
    """
    n = offset.size
    middle = (n - 1) // 2
    even = n - 1 - middle > middle
    low = high = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    sound = True
    for i in range(middle):
        at, end = offset[i] + first, offset[n - 1 - i] + first
        low, good = _normalise(cell, at, ABOVE, _eliminate(cell, at, BELOW, low, _own(cell, at)))
        high, fine = _normalise(cell, end, BELOW, _eliminate(cell, end, ABOVE, high, _own(cell, end)))
        sound = sound and good and fine
    if even:
        end = offset[middle + 1] + first
        high, fine = _normalise(cell, end, BELOW, _eliminate(cell, end, ABOVE, high, _own(cell, end)))
        sound = sound and fine
    at = offset[middle] + first
    own = _eliminate(cell, at, ABOVE, high, _eliminate(cell, at, BELOW, low, _own(cell, at)))
    low, good = _normalise(cell, at, ABOVE, own)
    if not (sound and good):
        return 1
    x, y = u, v = low[4], low[5]
    if even:
        u, v = _substitute(cell, offset[middle + 1] + first, BELOW, u, v)
    for i in range(middle - 1, -1, -1):
        x, y = _substitute(cell, offset[i] + first, ABOVE, x, y)
        u, v = _substitute(cell, offset[n - 1 - i] + first, BELOW, u, v)
    return 0


@jit
def _own(cell, at):
    """Return own block and right-hand side of the row at `at`."""
    return (
        cell[at + OWN + A], cell[at + OWN + B], cell[at + OWN + C], cell[at + OWN + D], cell[at + RIGHT],
        cell[at + RIGHT + LANES],
    )  # fmt: skip


@jit
def _eliminate(cell, at, side, neighbour, own):
    """Return own block and right-hand side without the neighbour on one side, itself as `_normalise` returned it."""
    a, b, c, d, r, s = own
    p0, p1, p2, p3, x, y = neighbour
    e, f, g, h = cell[at + side + A], cell[at + side + B], cell[at + side + C], cell[at + side + D]
    return (
        a - e * p0 - f * p2, b - e * p1 - f * p3, c - g * p0 - h * p2, d - g * p1 - h * p3,
        r - e * x - f * y, s - g * x - h * y,
    )  # fmt: skip


@jit
def _normalise(cell, at, ahead, own):
    """Multiply the row at `at` by the inverse of its own block, which is not singular where the second result is true.

    Writes the block on the side `ahead` and the right-hand side into the row and returns them.
    """
    a, b, c, d, r, s = own
    det = a * d - b * c
    inv = 1.0 / det  # comes late: nothing but the last product waits for it
    x, y = (d * r - b * s) * inv, (a * s - c * r) * inv
    cell[at + RIGHT], cell[at + RIGHT + LANES] = x, y
    e, f, g, h = cell[at + ahead + A], cell[at + ahead + B], cell[at + ahead + C], cell[at + ahead + D]
    p0, p1, p2, p3 = (d * e - b * g) * inv, (d * f - b * h) * inv, (a * g - c * e) * inv, (a * h - c * f) * inv
    cell[at + ahead + A], cell[at + ahead + B], cell[at + ahead + C], cell[at + ahead + D] = p0, p1, p2, p3
    return (p0, p1, p2, p3, x, y), abs(det) > 0.0


@jit
def _substitute(cell, at, ahead, x, y):
    """Put the solution of the neighbour on the side `ahead` into the row at `at`; return the solution of the row."""
    r = cell[at + RIGHT] - (cell[at + ahead + A] * x + cell[at + ahead + B] * y)
    s = cell[at + RIGHT + LANES] - (cell[at + ahead + C] * x + cell[at + ahead + D] * y)
    cell[at + RIGHT], cell[at + RIGHT + LANES] = r, s
    return r, s
