"""Block-tridiagonal elimination with 2 x 2 blocks, in place and without allocation."""

from __future__ import annotations

from cavity._jit import jit


@jit
def solve(lower, diagonal, upper, rhs):
    """Solve a block-tridiagonal system; rhs (n, 2) becomes the solution, the blocks (n, 4) are overwritten.

    Block i holds (a, b, c, d) for [[a, b], [c, d]]; lower[i] couples row i to i - 1, upper[i] to i + 1. No pivoting
    between rows: the diagonal blocks of an implicit conservation law dominate. Returns 0, or 1 on a singular block.
    """
    n = rhs.shape[0]
    for i in range(n):
        a, b, c, d = diagonal[i, 0], diagonal[i, 1], diagonal[i, 2], diagonal[i, 3]
        r, s = rhs[i, 0], rhs[i, 1]
        if i:
            e, f, g, h = lower[i, 0], lower[i, 1], lower[i, 2], lower[i, 3]
            # upper[i - 1] already holds (diagonal inverse) x upper
            a -= e * upper[i - 1, 0] + f * upper[i - 1, 2]
            b -= e * upper[i - 1, 1] + f * upper[i - 1, 3]
            c -= g * upper[i - 1, 0] + h * upper[i - 1, 2]
            d -= g * upper[i - 1, 1] + h * upper[i - 1, 3]
            r -= e * rhs[i - 1, 0] + f * rhs[i - 1, 1]
            s -= g * rhs[i - 1, 0] + h * rhs[i - 1, 1]
        det = a * d - b * c
        if not abs(det) > 0.0:
            return 1
        inv = 1.0 / det
        rhs[i, 0] = (d * r - b * s) * inv
        rhs[i, 1] = (a * s - c * r) * inv
        if i < n - 1:
            e, f, g, h = upper[i, 0], upper[i, 1], upper[i, 2], upper[i, 3]
            upper[i, 0] = (d * e - b * g) * inv
            upper[i, 1] = (d * f - b * h) * inv
            upper[i, 2] = (a * g - c * e) * inv
            upper[i, 3] = (a * h - c * f) * inv
    for i in range(n - 2, -1, -1):
        r, s = rhs[i + 1, 0], rhs[i + 1, 1]
        rhs[i, 0] -= upper[i, 0] * r + upper[i, 1] * s
        rhs[i, 1] -= upper[i, 2] * r + upper[i, 3] * s
    return 0
