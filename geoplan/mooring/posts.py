"""
Posts that let a raft rise and fall but not turn: where they stand and how long they are.

Arrays only. Loads on a post, and what it can bear, are not known here.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

#: Distance from a raft's side to the middle of a post: half a post of 0.1 m and 0.05 m for the
#: sleeve that slides on it. Common practice, no source [m].
POST_OFFSET_M = 0.10

# Along and across the raft in lengths and in sides: clockwise from ahead and to starboard.
_ALONG = np.array([1.0, -1.0, -1.0, 1.0]) / 6.0
_ACROSS = np.array([1.0, 1.0, -1.0, -1.0])


def post_positions(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    heading_deg: ArrayLike,
    length_m: ArrayLike,
    width_m: ArrayLike,
    offset_m: float = POST_OFFSET_M,
) -> tuple[FloatArray, FloatArray]:
    """
    Return where the four posts of each raft stand.

    Two stand beside each long side, at one third and two thirds of it. Common practice, no
    source: the middle third of a side bends least, and a pair on each side keeps a raft from
    turning.

    Parameters
    ----------
    easting_m, northing_m : array_like of float, shape (n,)
        Centres of the rafts [m].
    heading_deg : array_like of float, shape (n,)
        Direction of the long axis, clockwise from grid north [°].
    length_m, width_m : array_like of float, shape (n,)
        Sides along and across the heading [m].
    offset_m : float
        Distance from the long side to the middle of a post [m].

    Returns
    -------
    ndarray of float, shape (n, 4)
        Eastings of the middles of the posts; the first is ahead and to starboard, the rest follow
        clockwise [m].
    ndarray of float, shape (n, 4)
        Northings of the same [m].

    Raises
    ------
    ValueError
        If a value is not finite, a side is not positive, or the offset is negative.

    Examples
    --------
    >>> easting, northing = post_positions(0.0, 0.0, 0.0, 6.0, 2.0, 0.1)
    >>> easting.round(6).tolist(), northing.round(6).tolist()
    ([[1.1, 1.1, -1.1, -1.1]], [[1.0, -1.0, -1.0, 1.0]])
    """
    east, north, heading, length, width = np.broadcast_arrays(
        *(
            np.atleast_1d(np.asarray(value, dtype=np.float64))
            for value in (easting_m, northing_m, heading_deg, length_m, width_m)
        )
    )
    if not all(np.isfinite(value).all() for value in (east, north, heading, length, width)):
        raise ValueError("positions, headings and sides of rafts must be finite")
    if (length <= 0).any() or (width <= 0).any():
        raise ValueError("length_m and width_m must be positive")
    if not offset_m >= 0:
        raise ValueError(f"offset_m must not be negative, it is {offset_m!r}")
    angle = np.radians(heading)[:, None]
    ahead = length[:, None] * _ALONG
    starboard = (width[:, None] / 2 + offset_m) * _ACROSS
    return (
        east[:, None] + ahead * np.sin(angle) + starboard * np.cos(angle),
        north[:, None] + ahead * np.cos(angle) - starboard * np.sin(angle),
    )


def post_length_m(
    depth_high_m: ArrayLike, travel_margin_m: float, embedment_m: float
) -> FloatArray:
    """
    Return the whole length of posts.

    Parameters
    ----------
    depth_high_m : array_like of float, shape (n,)
        Water at the post at high level, as deep as it may be [m].
    travel_margin_m : float
        Post above high level, so that the sleeve cannot ride off it [m].
    embedment_m : float
        Part of the post in the bed [m].

    Returns
    -------
    ndarray of float, shape (n,)
        Bed to high level, the margin above it and the embedment below [m].

    Raises
    ------
    ValueError
        If a value is negative or not finite.

    Notes
    -----
    Common practice, no source. A still level: waves and wind set-up have to fit in the margin.

    Examples
    --------
    >>> post_length_m([1.2, 2.0], travel_margin_m=0.5, embedment_m=1.0).tolist()
    [2.7, 3.5]
    """
    depth = np.asarray(depth_high_m, dtype=np.float64)
    parts = np.concatenate([depth.ravel(), [travel_margin_m, embedment_m]])
    if not (np.isfinite(parts) & (parts >= 0)).all():
        raise ValueError("depth_high_m, travel_margin_m and embedment_m must be 0 or more")
    length: FloatArray = depth + (travel_margin_m + embedment_m)
    return length
