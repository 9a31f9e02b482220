"""Block-tridiagonal elimination with 2 x 2 blocks, in place and without allocation."""

from __future__ import annotations

from cavity._jit import jit


@jit
def solve(system):
    """Solve a block-tridiagonal system (n, 14) in place; columns 12 and 13 become the solution.

    Row i holds three blocks (a, b, c, d) for [[a, b], [c, d]]: columns 0-3 couple it to row i - 1, 4-7 are its own,
    8-11 couple it to row i + 1; columns 12 and 13 are the right-hand side. No pivoting between rows: the own blocks of
    an implicit conservation law dominate. Returns 0, or 1 on a singular block.
    """
    n = system.shape[0]
    # the row before, times the inverse of its own block
    p0 = p1 = p2 = p3 = x = y = 0.0
    for i in range(n):
        e, f, g, h = system[i, 0], system[i, 1], system[i, 2], system[i, 3]
        a, b, c, d = system[i, 4], system[i, 5], system[i, 6], system[i, 7]
        r, s = system[i, 12], system[i, 13]
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
        system[i, 12], system[i, 13] = x, y
        e, f, g, h = system[i, 8], system[i, 9], system[i, 10], system[i, 11]
        p0 = d * e - b * g
        p1 = d * f - b * h
        p2 = a * g - c * e
        p3 = a * h - c * f
        system[i, 8], system[i, 9], system[i, 10], system[i, 11] = p0, p1, p2, p3
    for i in range(n - 2, -1, -1):
        r, s = x, y
        x = system[i, 12] - (system[i, 8] * r + system[i, 9] * s)
        y = system[i, 13] - (system[i, 10] * r + system[i, 11] * s)
        system[i, 12], system[i, 13] = x, y
    return 0
