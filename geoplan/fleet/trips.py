"""
Trips of a trailer: which stops on which, and in which order.

What fills the trailer goes alone; the rest is joined by savings (Clarke and Wright 1964): two
trips become one where that saves most way and load and day allow it. A few stops are settled by
trying every order.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import minimum_spanning_tree
from scipy.spatial import KDTree

from geoplan.site import FloatArray

#: Stops up to which every order is tried.
_MOST_EXACT = 7
#: Neighbours of each stop with which joining is tried.
_NEIGHBOURS = 24
#: Stops up to which the spanning tree of all pairs is made for the bound.
_MOST_PAIRS = 3000


@dataclass(frozen=True, eq=False)
class Stops:
    """
    Where rafts go, seen from the yard.

    Attributes
    ----------
    place_m : ndarray of float, shape (n, 2)
        Easting and northing of each stop, the yard at the origin [m].
    load : tuple of int
        Rafts for each.
    most : int
        Rafts on a trip.
    work_h : tuple of float
        Work for setting up at a stop, and for one raft where ``raft_h`` is empty [h].
    speed_m_h : float
        Along the straight line, detours counted [m/h].
    day_h : float
        Longest trip, where it has more than one stop [h].
    raft_h : tuple of float
        Work for one raft at each stop, the mean of those there; empty: alike everywhere [h].
    """

    place_m: FloatArray
    load: tuple[int, ...]
    most: int
    work_h: tuple[float, float]
    speed_m_h: float
    day_h: float
    raft_h: tuple[float, ...] = ()

    def length_m(self, stops: Sequence[int]) -> float:
        """
        Return the way from the yard through stops and back.

        Parameters
        ----------
        stops : sequence of int
            In order.

        Returns
        -------
        float
            Straight lines [m].
        """
        way = np.vstack([np.zeros(2), self.place_m[list(stops)], np.zeros(2)])
        return float(np.hypot(*np.diff(way, axis=0).T).sum())

    def fits(self, stops: Sequence[int], loads: Sequence[int]) -> bool:
        """
        Tell whether stops may share a trip.

        Parameters
        ----------
        stops : sequence of int
            In order.
        loads : sequence of int
            Rafts left at each.

        Returns
        -------
        bool
            True where load and day allow it; a lone stop may take longer than a day.
        """
        hours = self.length_m(stops) / self.speed_m_h
        each = [self.raft_h[stop] if self.raft_h else self.work_h[1] for stop in stops]
        hours += len(stops) * self.work_h[0]
        hours += sum(load * raft_h for load, raft_h in zip(loads, each, strict=True))
        return sum(loads) <= self.most and (len(stops) == 1 or hours <= self.day_h + 1e-9)


def trips(stops: Stops) -> list[list[tuple[int, int]]]:
    """
    Return the trips that bring every raft to its stop.

    Parameters
    ----------
    stops : Stops
        Where how many go.

    Returns
    -------
    list of list of (int, int)
        For each trip its stops in order, each with the rafts left there; full loads first.
    """
    full = [
        [(k, stops.most)] for k, load in enumerate(stops.load) for _ in range(load // stops.most)
    ]
    rest = {k: load % stops.most for k, load in enumerate(stops.load) if load % stops.most}
    if len(rest) <= _MOST_EXACT:
        routes = _exact(stops, rest)
    else:
        routes = [_ordered(stops, route, rest) for route in _joined(stops, rest)]
    return [*full, *([(k, rest[k]) for k in route] for route in routes)]


def least_length_m(stops: Stops) -> float:
    """
    Return a way that no set of trips is shorter than.

    Parameters
    ----------
    stops : Stops
        Where how many go.

    Returns
    -------
    float
        The larger of twice the distance of every raft over the load of a trip (Haimovich and
        Rinnooy Kan 1985), and the shortest tree that joins all stops to the yard [m].
    """
    there = np.array(stops.load) > 0
    away = np.hypot(*stops.place_m.T)
    radial = 2.0 * float(away @ np.array(stops.load)) / stops.most
    points = np.vstack([np.zeros(2), stops.place_m[there]])
    if len(points) > _MOST_PAIRS:
        return radial
    pairs = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    return max(radial, float(minimum_spanning_tree(csr_array(pairs)).sum()))


def _exact(stops: Stops, rest: dict[int, int]) -> list[list[int]]:
    """Return the shortest trips: every order, each divided at its best places."""
    best = [[k] for k in rest]
    least = sum(stops.length_m(route) for route in best)
    known: dict[tuple[int, ...], float] = {}
    for order in itertools.permutations(rest):
        if len(order) > 1 and order[0] > order[-1]:
            continue  # the same trips the other way round
        length, routes = _divided(stops, order, rest, known)
        if length < least - 1e-9:
            best, least = routes, length
    return best


def _divided(
    stops: Stops, order: Sequence[int], rest: dict[int, int], known: dict[tuple[int, ...], float]
) -> tuple[float, list[list[int]]]:
    """Return an order divided into the trips of least length that load and day allow."""
    ends: list[tuple[float, list[list[int]]]] = [(0.0, [])]
    for end in range(1, len(order) + 1):
        tries = []
        for start in range(end):
            part = tuple(order[start:end])
            if part not in known:
                is_possible = stops.fits(part, [rest[k] for k in part])
                known[part] = stops.length_m(part) if is_possible else np.inf
            tries.append((ends[start][0] + known[part], start))
        length, start = min(tries)
        ends.append((length, [*ends[start][1], list(order[start:end])]))
    return ends[-1]


def _joined(stops: Stops, rest: dict[int, int]) -> list[list[int]]:
    """Return trips joined end to end where that saves most."""
    names = list(rest)
    place = stops.place_m[names]
    away = np.hypot(*place.T)
    count = min(_NEIGHBOURS, len(names) - 1)
    distance, near = KDTree(place).query(place, count + 1)
    saved = [
        (-(away[i] + away[j] - d), names[i], names[j])
        for i in range(len(names))
        for d, j in zip(distance[i], near[i], strict=True)
        if i < j
    ]
    route_of = {k: [k] for k in names}
    for loss, one, other in sorted(saved):
        a, b = route_of[one], route_of[other]
        if loss >= 0 or a is b or one not in (a[0], a[-1]) or other not in (b[0], b[-1]):
            continue
        joined = (a if a[-1] == one else a[::-1]) + (b if b[0] == other else b[::-1])
        if stops.fits(joined, [rest[k] for k in joined]):
            for k in joined:
                route_of[k] = joined
    return [route for k, route in route_of.items() if k == min(route)]


def _ordered(stops: Stops, route: list[int], rest: dict[int, int]) -> list[int]:
    """Return the stops of a trip in their best order, or improved by turning parts of it."""
    if len(route) <= _MOST_EXACT:
        orders = itertools.permutations(route)
        return list(min((stops.length_m(order), order) for order in orders)[1])
    best, least = route, stops.length_m(route)
    is_better = True
    while is_better:
        is_better = False
        for i, j in itertools.combinations(range(len(best) + 1), 2):
            turned = best[:i] + best[i:j][::-1] + best[j:]
            length = stops.length_m(turned)
            if length < least - 1e-6:
                best, least, is_better = turned, length, True
    return best if stops.fits(best, [rest[k] for k in best]) else route
