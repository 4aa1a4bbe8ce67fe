"""
Windows of the water packed anew, compiled.

The rafts in a turned window are taken out, all others stay. Rows of any type, along or across,
are laid into the room that is left; the worth of the whole plan may only rise.
"""

from typing import Any

import numba
import numpy as np

from geoplan.compiled import ZERO, inner
from geoplan.placement.pose_kernels import (
    Rafts,
    Terms,
    Water,
    edges_near,
    nearest_allowed,
    raft_worth,
    worth_at,
)
from geoplan.placement.row_kernels import best_stack, extremes
from geoplan.placement.shadow_kernels import keep_legal, mark_worth, running_sums
from geoplan.site import FloatArray

#: Edges this near a window are looked at, so that rounding loses none that touches it [m].
_NEAR_M = 0.01


@inner
def _corners(water: Water, rafts: Rafts, near: Any, view: Any) -> FloatArray:
    """Return the corners of rafts in the window's frame, counter-clockwise, shape (n, 4, 2)."""
    east, north, cos, sin = view
    out = np.empty((len(near), 4, 2))
    for k in range(len(near)):
        i = near[k]
        dx, dy = rafts.east[i] - east, rafts.north[i] - north
        u, v = dx * cos + dy * sin, -dx * sin + dy * cos
        angle = rafts.turn[i] - np.arctan2(sin, cos)
        c, s = np.cos(angle), np.sin(angle)
        a, b = water.sides[rafts.kind[i], 0] / 2, water.sides[rafts.kind[i], 1] / 2
        for j in range(4):
            p = a if 0 < j < 3 else -a
            q = b if j >= 2 else -b
            out[k, j, 0], out[k, j, 1] = u + p * c - q * s, v + p * s + q * c
    return out


@inner
def _turned(water: Water, near: Any, view: Any, box: FloatArray) -> FloatArray:
    """Return the edges that may reach into a box in the window's frame, shape (n, 4)."""
    east, north, cos, sin = view
    out = np.empty((len(near), 4))
    n = 0
    for k in near:
        x0, y0 = water.edges[k, 0] - east, water.edges[k, 1] - north
        x1, y1 = water.edges[k, 2] - east, water.edges[k, 3] - north
        u0, v0 = x0 * cos + y0 * sin, -x0 * sin + y0 * cos
        u1, v1 = x1 * cos + y1 * sin, -x1 * sin + y1 * cos
        is_aside = max(u0, u1) < box[0] - _NEAR_M or min(u0, u1) > box[1] + _NEAR_M
        if not is_aside and max(v0, v1) > box[2] - _NEAR_M and min(v0, v1) < box[3] + _NEAR_M:
            out[n, 0], out[n, 1], out[n, 2], out[n, 3] = u0, v0, u1, v1
            n += 1
    return out[:n]


@inner
def _parted(
    water: Water, rafts: Rafts, n: int, view: Any, half: Any, box: FloatArray, reach: float
) -> Any:
    """Return the rafts in a window, those near it, and widen the box to hold the first."""
    east, north, cos, sin = view
    inside, near = np.empty(n, np.int64), np.empty(n, np.int64)
    n_inside = n_near = 0
    for i in range(n):
        dx, dy = rafts.east[i] - east, rafts.north[i] - north
        if dx * dx + dy * dy > reach * reach:
            continue
        u, v = dx * cos + dy * sin, -dx * sin + dy * cos
        if abs(u) < half[0] and abs(v) < half[1]:
            inside[n_inside] = i
            n_inside += 1
            c = abs(np.cos(rafts.turn[i]) * cos + np.sin(rafts.turn[i]) * sin)
            s = np.sqrt(max(1 - c * c, 0.0))
            a, b = water.sides[rafts.kind[i], 0] / 2, water.sides[rafts.kind[i], 1] / 2
            box[0], box[1] = min(box[0], u - a * c - b * s), max(box[1], u + a * c + b * s)
            box[2], box[3] = min(box[2], v - a * s - b * c), max(box[3], v + a * s + b * c)
        else:
            near[n_near] = i
            n_near += 1
    return inside[:n_inside], near[:n_near]


@inner
def _sizes(water: Water, t: int, turned: int, box: FloatArray, grid: Any) -> Any:
    """Return sides of a raft along and across the rows, and how many strips and places it has."""
    along, across = water.sides[t, turned], water.sides[t, 1 - turned]
    if box[3] - box[2] < across or box[1] - box[0] < along:
        return along, across, 0, 0
    strips = int((box[3] - box[2] - across) / grid[3] + 1e-9) + 1
    places = int((box[1] - box[0] - along) / grid[2] + 1e-9) + 1
    return along, across, strips, places


@inner
def _worths(water: Water, t: int, price: float, view: Any, box: FloatArray, places: Any) -> bool:
    """Fill in what rafts of a type are worth above their price, and tell whether any pays."""
    grid, value, pays = places
    _, _, du, dv = grid
    rows = int((box[3] - box[2]) / dv) + 2
    cols = int((box[1] - box[0]) / du) + 2
    at = water.node_west, water.node_south, water.node_step
    sums = running_sums(water.nodes[t], at, view, grid, (rows, cols))
    is_any = False
    for turned in range(2):
        along, across, m, n = _sizes(water, t, turned, box, grid)
        if m > 0:
            k = 2 * t + turned
            scale = water.planted[t] * du * dv / (along * across)
            size = along / du, across / dv
            is_any |= mark_worth(sums, size, scale, price, (m, n), value[k], pays[k])
    return is_any


@inner
def _priced(
    water: Water, rafts: Rafts, near: Any, view: Any, box: FloatArray, terms: Terms, places: Any
) -> None:
    """Fill in what a raft of each kind is worth above its price at each place; 0 if not legal."""
    grid, value, pays = places
    reach = max(-box[0], box[1], -box[2], box[3]) * np.sqrt(2.0) + 1.0
    fixed = np.empty((0, 4, 2))
    for t in range(len(water.sides)):
        if not _worths(water, t, terms.prices[t], view, box, places):
            continue
        if len(fixed) < len(near):
            fixed = _corners(water, rafts, near, view)
        edges = _turned(water, edges_near(water, t, view[0], view[1], reach), view, box)
        for turned in range(2):
            raft = _sizes(water, t, turned, box, grid)
            k = 2 * t + turned
            keep_legal(water, t, raft, view, grid, (edges, fixed, terms.gap), value[k], pays[k])


@inner
def resolved(
    water: Water, rafts: Rafts, n: int, window: FloatArray, primary: int, terms: Terms
) -> int:
    """
    Pack one window anew; keep the old rafts unless the new ones are worth more.

    Parameters
    ----------
    water : Water
        The water.
    rafts : Rafts
        Rafts, changed in place.
    n : int
        How many there are.
    window : ndarray of float, shape (5,)
        Centre, easting and northing [m], turn [rad], and half its sides along and across [m].
    primary : int
        Kind whose rows lose no room to the steps: twice the type, one more for rafts across.
    terms : Terms
        Gap, prices and limits.

    Returns
    -------
    int
        How many rafts there are now.
    """
    gap, step = terms.gap, terms.step
    view = (window[0], window[1], np.cos(window[2]), np.sin(window[2]))
    half = (window[3], window[4])
    box = np.array([-half[0], half[0], -half[1], half[1]])
    longest, _, least = extremes(water.sides)
    reach = np.hypot(half[0], half[1]) + 2 * longest + gap
    inside, near = _parted(water, rafts, n, view, half, box, reach)
    main, turned = primary // 2, primary % 2
    period = water.sides[main, turned] + gap, water.sides[main, 1 - turned] + gap
    du = period[0] / np.ceil(period[0] / step - 1e-9)
    dv = period[1] / np.ceil(period[1] / step - 1e-9)
    if box[3] - box[2] < least or box[1] - box[0] < least:
        return n
    kinds = 2 * len(water.sides)
    strips = int((box[3] - box[2] - least) / dv + 1e-9) + 1
    places = int((box[1] - box[0] - least) / du + 1e-9) + 1
    grid = (box[0], box[2], du, dv)
    value, pays = np.zeros((kinds, strips, places)), np.zeros((kinds, strips), np.bool_)
    _priced(water, rafts, near, view, box, terms, (grid, value, pays))
    if not pays.any():
        return n
    apart, depth = np.empty(kinds, np.int64), np.empty(kinds, np.int64)
    for k in range(kinds):
        apart[k] = int(np.ceil((water.sides[k // 2, k % 2] + gap) / du - 1e-9))
        depth[k] = int(np.ceil((water.sides[k // 2, 1 - k % 2] + gap) / dv - 1e-9))
    found = best_stack(value, pays, apart, depth)
    return int(_taken(rafts, n, inside, _new_rafts(water, found, view, grid), terms))


@inner
def _new_rafts(water: Water, found: Any, view: Any, grid: Any) -> Rafts:
    """Return the rafts at places of a window."""
    east, north, cos, sin = view
    first, second, du, dv = grid
    m = len(found)
    new = Rafts(np.empty(m), np.empty(m), np.empty(m), np.empty(m), found[:, 0] // 2)
    for j in range(m):
        kind, turned = found[j, 0] // 2, found[j, 0] % 2
        u = first + found[j, 2] * du + water.sides[kind, turned] / 2
        v = second + found[j, 1] * dv + water.sides[kind, 1 - turned] / 2
        new.east[j], new.north[j] = east + u * cos - v * sin, north + u * sin + v * cos
        new.turn[j] = np.arctan2(sin, cos) + turned * np.pi / 2
        new.value[j] = raft_worth(water, kind, new.east[j], new.north[j], new.turn[j])
    return new


@inner
def _put(rafts: Rafts, to: int, source: Rafts, at: int) -> None:
    """Write one raft over another."""
    rafts.east[to], rafts.north[to] = source.east[at], source.north[at]
    rafts.turn[to], rafts.value[to] = source.turn[at], source.value[at]
    rafts.kind[to] = source.kind[at]


@inner
def _within_limits(rafts: Rafts, n: int, terms: Terms) -> int:
    """Take out the rafts worth least for what they use until every limit is kept."""
    for limit in range(len(terms.most)):
        used = 0.0
        for i in range(n):
            used += terms.use[limit, rafts.kind[i]]
        while used > terms.most[limit] + 1e-9:
            worst, least = ZERO - 1, np.inf
            for i in range(n):
                use = terms.use[limit, rafts.kind[i]]
                if use > 0 and rafts.value[i] / use < least:
                    worst, least = i, rafts.value[i] / use
            used -= terms.use[limit, rafts.kind[worst]]
            n -= 1
            _put(rafts, worst, rafts, n)
    return n


@inner
def _taken(rafts: Rafts, n: int, inside: Any, new: Rafts, terms: Terms) -> int:
    """Put new rafts in place of those in a window if the whole plan is worth more then."""
    gain = worth = 0.0
    for j in range(len(new.kind)):
        gain += new.value[j] - terms.prices[new.kind[j]]
    for i in inside:
        worth += rafts.value[i] - terms.prices[rafts.kind[i]]
    after = n - len(inside) + len(new.kind)
    if gain <= worth + 1e-9 * abs(worth) + 1e-12 or after > len(rafts.east):
        return n
    # fmt: off
    old = Rafts(
        rafts.east[:n].copy(), rafts.north[:n].copy(), rafts.turn[:n].copy(),
        rafts.value[:n].copy(), rafts.kind[:n].copy(),
    )
    # fmt: on
    left = n
    for i in inside[::-1]:
        left -= 1
        _put(rafts, i, rafts, left)
    for j in range(len(new.kind)):
        _put(rafts, left + j, new, j)
    left = _within_limits(rafts, after, terms)
    change = 0.0
    for i in range(n):
        change -= old.value[i] * (1 + 1e-9)
    for i in range(left):
        change += rafts.value[i]
    if change > 0:
        return int(left)
    for i in range(n):
        _put(rafts, i, old, i)
    return n


@inner
def _heading(water: Water, rafts: Rafts, n: int, east: float, north: float, draws: Any) -> float:
    """Return a turn for a window: of a raft, of the edge, of a line of equal worth, or any."""
    if draws[0] < 0.35 and n > 0:
        best = 0
        for i in range(n):
            if (rafts.east[i] - east) ** 2 + (rafts.north[i] - north) ** 2 < (
                rafts.east[best] - east
            ) ** 2 + (rafts.north[best] - north) ** 2:
                best = i
        return float(rafts.turn[best])
    if draws[0] < 0.75:
        reach = 2 * extremes(water.sides)[1]
        best_far, turn = reach * reach, draws[1] * np.pi
        for k in edges_near(water, ZERO, east, north, reach):
            x0, y0 = water.edges[k, 0] - east, water.edges[k, 1] - north
            dx, dy = water.edges[k, 2] - east - x0, water.edges[k, 3] - north - y0
            at = min(max(-(x0 * dx + y0 * dy) / max(dx * dx + dy * dy, 1e-12), 0.0), 1.0)
            far = (x0 + at * dx) ** 2 + (y0 + at * dy) ** 2
            if far < best_far:
                best_far, turn = far, np.arctan2(dy, dx)
        return float(turn)
    if draws[0] < 0.85:
        h = water.node_step
        slope_east = worth_at(water, ZERO, east + h, north)
        slope_east -= worth_at(water, ZERO, east - h, north)
        slope_north = worth_at(water, ZERO, east, north + h)
        slope_north -= worth_at(water, ZERO, east, north - h)
        return float(np.arctan2(slope_east, -slope_north))
    return float(draws[1] * np.pi)


@numba.njit(cache=True)
def swept(
    water: Water, rafts: Rafts, n: int, spots: FloatArray, draws: FloatArray, terms: Terms
) -> int:
    """
    Pack many windows anew, one after the other.

    Parameters
    ----------
    water : Water
        The water.
    rafts : Rafts
        Rafts, changed in place.
    n : int
        How many there are.
    spots : ndarray of float, shape (k, 2)
        Points worth a window beside the rafts, working CRS [m].
    draws : ndarray of float, shape (m, 8)
        Random numbers from 0 to 1 for each window [1].
    terms : Terms
        Gap, prices and limits.

    Returns
    -------
    int
        How many rafts there are now.
    """
    kinds = 2 * len(water.sides)
    window = np.empty(5)
    for draw in draws:
        primary = int(draw[0] * kinds)
        longest = water.sides[primary // 2, 0]
        if draw[1] < 0.5 and n > 0:
            i = int(draw[2] * n)
            window[0], window[1] = rafts.east[i], rafts.north[i]
        elif len(spots) > 0:
            window[0], window[1] = spots[int(draw[2] * len(spots))]
        else:
            continue
        window[0] += (draw[3] - 0.5) * longest
        window[1] += (draw[4] - 0.5) * longest
        turn = _heading(water, rafts, n, window[0], window[1], draw[5:7])
        window[2] = nearest_allowed(water, window[0], window[1], turn)
        size = (0.35 + 0.65 * draw[7] ** 2) * (longest + terms.gap)
        window[3] = size * (0.8 + 0.6 * draw[3])
        window[4] = size * (0.8 + 0.6 * draw[4])
        n = resolved(water, rafts, n, window, primary, terms)
    return n
