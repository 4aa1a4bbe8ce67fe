"""
The parts of a survey that are left out to judge it: tracks of a boat, else squares of water.

Parts are found by where soundings lie, for a file need not keep the order of a survey.
"""

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from geoplan.water import FloatArray, IntArray

#: Soundings nearer than this many usual steps to each other lie on one track.
_LINK_STEPS = 2.0
#: Most of the soundings that one track can hold if the survey is one of tracks [1].
_LARGEST_SHARE = 0.35
#: Fewest soundings of a usual track.
_LEAST_LENGTH = 5
#: Parts that a survey is split into at most.
MOST_FOLDS = 5


def folds(place_m: FloatArray, gap_m: float) -> IntArray:
    """
    Return which part of a survey each sounding is left out with.

    Parameters
    ----------
    place_m : ndarray of float, shape (n, 2)
        Easting and northing [m].
    gap_m : float
        Usual distance between tracks, or between soundings without tracks [m].

    Returns
    -------
    ndarray of int, shape (n,)
        Part, 0 to 4. Neighbouring tracks, and neighbouring squares of twice the gap, fall into
        different parts.

    Examples
    --------
    Three tracks, from west to east:

    >>> east, north = np.meshgrid([0.0, 10.0, 20.0], np.arange(0.0, 30.0))
    >>> folds(np.column_stack([east.ravel(), north.ravel()]), 10.0)[:3].tolist()
    [0, 1, 2]
    """
    track = tracks(place_m)
    if track is None:
        return square_folds(place_m, 2.0 * gap_m)
    count = np.bincount(track)
    middle = np.column_stack([np.bincount(track, place_m[:, k]) / count for k in range(2)])
    across = _across(place_m, track, middle)
    rank = np.empty(len(count), np.int64)
    rank[np.argsort(middle @ across, kind="stable")] = np.arange(len(count))
    return rank[track] % MOST_FOLDS


def square_folds(place_m: FloatArray, side_m: float) -> IntArray:
    """
    Return which part of a survey each sounding belongs to by its square.

    Parameters
    ----------
    place_m : ndarray of float, shape (n, 2)
        Easting and northing [m].
    side_m : float
        Side of a square [m].

    Returns
    -------
    ndarray of int, shape (n,)
        Part, 0 to 4, like on a knight's tour: no two squares of a part share a side or corner.

    Examples
    --------
    >>> square_folds(np.array([[0.5, 0.5], [1.5, 0.5], [0.5, 1.5]]), 1.0).tolist()
    [0, 1, 2]
    """
    square = np.floor(place_m / side_m).astype(np.int64)
    return (square[:, 0] + 2 * square[:, 1]) % MOST_FOLDS


def tracks(place_m: FloatArray) -> IntArray | None:
    """
    Return which track of a boat each sounding lies on.

    Parameters
    ----------
    place_m : ndarray of float, shape (n, 2)
        Easting and northing [m].

    Returns
    -------
    ndarray of int, shape (n,), or None
        Track; ``None`` where the soundings form no tracks.

    Notes
    -----
    Soundings within two usual steps are linked; what hangs together is a track. A survey is one
    of tracks if three quarters of it lie on such of five soundings or more and none holds more
    than a third. Tracks that cross are one, and then squares serve.
    """
    if len(place_m) < 4 * _LEAST_LENGTH:
        return None
    tree = cKDTree(place_m)
    step = float(np.median(tree.query(place_m, k=2)[0][:, 1]))
    pair = tree.query_pairs(_LINK_STEPS * step, output_type="ndarray")
    size = len(place_m)
    graph = coo_array((np.ones(len(pair), bool), (pair[:, 0], pair[:, 1])), shape=(size, size))
    _, track = connected_components(graph, directed=False)
    count = np.bincount(track)
    is_track = count >= _LEAST_LENGTH
    if count.max() > _LARGEST_SHARE * size or count[is_track].sum() < 0.75 * size:
        return None
    return np.asarray(track, np.int64)


def _across(place_m: FloatArray, track: IntArray, middle_m: FloatArray) -> FloatArray:
    """Return the direction in which soundings vary least along their tracks."""
    along = place_m - middle_m[track]
    _, directions = np.linalg.eigh(along.T @ along)
    direction: FloatArray = directions[:, 0]
    return direction * (1.0 if direction[np.argmax(np.abs(direction))] > 0 else -1.0)
