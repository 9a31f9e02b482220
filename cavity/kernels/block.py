"""Block-tridiagonal elimination with 2 x 2 blocks, in place and without allocation."""

from __future__ import annotations

from cavity._jit import jit
from cavity.kernels.lanes import LANES

# columns from the first of the system, see lanes: 2 x 2 blocks [[a, b], [c, d]] that couple a row of the system to the
# one before, to itself and to the one after; the right-hand side, which becomes the solution
BELOW, OWN, ABOVE, RIGHT, COLUMNS = 0, 4 * LANES, 8 * LANES, 12 * LANES, 14
A, B, C, D = 0, LANES, 2 * LANES, 3 * LANES


@jit
def solve(cell, place, first):
    """Solve a block-tridiagonal system in place, whose columns begin at `first` of each place.

    No pivoting between rows: the own blocks of an implicit conservation law dominate. Returns 0, or 1 on a singular
    block.
    """
    n = place.size
    # the row before, times the inverse of its own block
    p0 = p1 = p2 = p3 = x = y = 0.0
    for i in range(n):
        at = place[i] + first
        e, f, g, h = cell[at + BELOW + A], cell[at + BELOW + B], cell[at + BELOW + C], cell[at + BELOW + D]
        a, b, c, d = cell[at + OWN + A], cell[at + OWN + B], cell[at + OWN + C], cell[at + OWN + D]
        r, s = cell[at + RIGHT], cell[at + RIGHT + LANES]
        if i:
            a -= e * p0 + f * p2
            b -= e * p1 + f * p3
            c -= g * p0 + h * p2
            d -= g * p1 + h * p3
            r -= e * x + f * y
            s -= g * x + h * y
        det = a * d - b * c
        if not abs(det) > 0.0:
            return 1
        inv = 1.0 / det
        a, b, c, d = a * inv, b * inv, c * inv, d * inv
        x = d * r - b * s
        y = a * s - c * r
        cell[at + RIGHT], cell[at + RIGHT + LANES] = x, y
        e, f, g, h = cell[at + ABOVE + A], cell[at + ABOVE + B], cell[at + ABOVE + C], cell[at + ABOVE + D]
        p0 = d * e - b * g
        p1 = d * f - b * h
        p2 = a * g - c * e
        p3 = a * h - c * f
        cell[at + ABOVE + A], cell[at + ABOVE + B], cell[at + ABOVE + C], cell[at + ABOVE + D] = p0, p1, p2, p3
    for i in range(n - 2, -1, -1):
        at = place[i] + first
        r, s = x, y
        x = cell[at + RIGHT] - (cell[at + ABOVE + A] * r + cell[at + ABOVE + B] * s)
        y = cell[at + RIGHT + LANES] - (cell[at + ABOVE + C] * r + cell[at + ABOVE + D] * s)
        cell[at + RIGHT], cell[at + RIGHT + LANES] = x, y
    return 0
