"""Balance of the air stream: what it carries into and out of every segment, and what the two surfaces gave to it.

Written independently of the solution for the state of the air, so that it can prove that wrong: where the air comes
from follows from the flows of links and openings alone, node by node, and what the surfaces gave is what the wall lost.

Key: S segments, J openings (nodes), K = J - 1 links; excess: temperature [K] or vapour pressure [Pa] over outdoor air.
"""

from __future__ import annotations

from cavity._jit import jit

# terms of the balance, positive into the air of the segment; they add up to 0
CARRIED_IN, CARRIED_OUT, EXCHANGED, FROM_CLADDING, FROM_WALL, TERMS = 0, 1, 2, 3, 4, 5


@jit
def _leaves(segment_link, excess, node, k, up):
    """Return the excess of the air that leaves link k upwards or downwards; a link without segments passes it on."""
    leaving = node[k] if up else node[k + 1]
    for s in range(segment_link.size):
        if segment_link[s] == k:
            leaving = excess[s]
            if not up:
                break
    return leaving


@jit
def _mix(segment_link, flow, excess, node, j):
    """Set the excess of node j: all that arrives there, outdoor air (no excess) with it, over all the air (E73)."""
    air = brought = 0.0
    below = flow[j - 1] if j > 0 else 0.0
    above = flow[j] if j < flow.size else 0.0
    if below > 0.0:
        air += below
        brought += below * _leaves(segment_link, excess, node, j - 1, True)
    if above < 0.0:
        air -= above
        brought -= above * _leaves(segment_link, excess, node, j, False)
    air += max(above - below, 0.0)  # the opening takes in what the links carry away beyond what they bring
    node[j] = brought / air if air > 0.0 else 0.0


@jit
def carried(segment_link, flow, excess, node, into, out):
    """Write flow times excess that enters and leaves each segment with the air, (S,) each (E73).

    flow (K,): upwards [kg/(s m)]; excess (S,): of the air that leaves each segment; node (J,): scratch, on return the
    excess of the air at each opening.
    """
    J = node.size
    node[:] = 0.0
    for j in range(J):  # links without segments hand on upwards ...
        _mix(segment_link, flow, excess, node, j)
    for j in range(J - 1, -1, -1):  # ... and downwards
        _mix(segment_link, flow, excess, node, j)
    S = segment_link.size
    for s in range(S):
        k = segment_link[s]
        into[s] = out[s] = 0.0
        if k < 0 or k >= flow.size:
            continue
        out[s] = abs(flow[k]) * excess[s]
        before = s - 1 if flow[k] >= 0.0 else s + 1
        if 0 <= before < S and segment_link[before] == k:
            into[s] = abs(flow[k]) * excess[before]
        else:
            into[s] = abs(flow[k]) * (node[k] if flow[k] >= 0.0 else node[k + 1])
