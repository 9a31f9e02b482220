"""Two-dimensional steady conduction through a wall with studs or rails, as a check of the methods for U-values.

Finite volumes on a rectangular grid over one half of the repeating width (adiabatic at both ends); each cell has one
conductivity. ISO 10211 describes what such a calculation has to hold; the grid is halved once to see the error.
"""

import itertools

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import spsolve


def _edges(breaks, smallest, growth=1.25):
    """Cell edges that hold every break, fine beside each, growing between."""
    edges = [breaks[0]]
    for a, b in itertools.pairwise(breaks):
        sizes, side, left = [], smallest, b - a
        if left <= 2 * smallest:
            sizes = [left / 2, left / 2]
        else:
            half = []
            while sum(half) + side < left / 2:
                half.append(side)
                side *= growth
            half = np.array(half) * (left / 2) / sum(half)
            sizes = [*half, *half[::-1]]
        edges += list(a + np.cumsum(sizes))
        edges[-1] = b
    return np.array(edges)


def u_value(width, layers, blocks, *, outside, inside, smallest=0.0004):
    """Return the U-value [W/(m2 K)] of a strip of the wall.

    Parameters
    ----------
    width : float
        Half the distance of studs: from the middle of one to halfway to the next. [m]
    layers : list of (thickness, conductivity)
        Outside to inside. [m, W/(m K)]
    blocks : list of (x0, x1, y0, y1, conductivity)
        Rectangles that replace what is there; x across from the middle of the stud, y from outside. [m, W/(m K)]
    outside, inside : float
        Surface resistances. [m2 K/W]
    """
    depth = np.round(np.concatenate(([0.0], np.cumsum([d for d, _ in layers]))), 9)
    xs = _edges(sorted({0.0, width, *(round(x, 9) for block in blocks for x in block[:2])}), smallest)
    ys = _edges(sorted({*depth, *(round(y, 9) for block in blocks for y in block[2:4])}), smallest)
    dx, dy = np.diff(xs), np.diff(ys)
    x, y = 0.5 * (xs[1:] + xs[:-1]), 0.5 * (ys[1:] + ys[:-1])
    lam = np.empty((x.size, y.size))
    lam[:] = [next(lmb for (_, lmb), top in zip(layers, depth[1:], strict=True) if one < top) for one in y]
    for x0, x1, y0, y1, value in blocks:
        lam[np.ix_((x > x0) & (x < x1), (y > y0) & (y < y1))] = value
    number = np.arange(lam.size).reshape(lam.shape)
    rows, cols, values = [], [], []

    def link(a, b, conductance):
        rows.extend([a, b, a, b])
        cols.extend([a, b, b, a])
        values.extend([conductance, conductance, -conductance, -conductance])

    half_x, half_y = 0.5 * dx[:, None] / lam, 0.5 * dy[None, :] / lam
    link_x = dy[None, :] / (half_x[1:] + half_x[:-1])
    link_y = dx[:, None] / (half_y[:, 1:] + half_y[:, :-1])
    link(number[1:].ravel(), number[:-1].ravel(), link_x.ravel())
    link(number[:, 1:].ravel(), number[:, :-1].ravel(), link_y.ravel())
    room = dx / (half_y[:, -1] + inside)
    cold = dx / (half_y[:, 0] + outside)
    for nodes, conductance in ((number[:, -1], room), (number[:, 0], cold)):
        rows.append(nodes)
        cols.append(nodes)
        values.append(conductance)
    matrix = coo_matrix(
        (np.concatenate(values), (np.concatenate(rows), np.concatenate(cols))), shape=(lam.size, lam.size)
    ).tocsc()
    given = np.zeros(lam.size)
    given[number[:, -1]] = room  # 1 K warmer inside
    T = spsolve(matrix, given)
    return float(np.sum(room * (1.0 - T[number[:, -1]])) / width), T.reshape(lam.shape), x, y
