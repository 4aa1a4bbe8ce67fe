"""
The squares between the nodes of a worth, as the area bound takes them.

A worth is bilinear within each. In classes of like squares prices are found in no time; the bound
itself is the sum over all of them.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from geoplan.site import FloatArray

#: Classes of worth in which prices of several limits are first found.
_CLASSES = 300


@dataclass(frozen=True, eq=False)
class Patches:
    """
    Squares between four nodes, as bounds take them.

    Attributes
    ----------
    corners : ndarray of float, shape (types, 4, n)
        Corrected worth at the corners, -inf where the type may not lie [unit of the worth].
    area_m2 : ndarray of float, shape (n,)
        Part of the patch in the region of any type [m²].
    is_whole : ndarray of bool, shape (n,)
        Whether every type that may lie there covers the patch whole.
    """

    corners: FloatArray
    area_m2: FloatArray
    is_whole: FloatArray

    @cached_property
    def classes(self) -> tuple[FloatArray, FloatArray]:
        """Return the areas of classes of like patches, and the mean worth in each by type."""
        return _classes(self)


def patches_of(
    corrected: FloatArray, shares: FloatArray, union: FloatArray, cell_size_m: float
) -> Patches:
    """
    Return the patches that lie in the region of any type.

    Parameters
    ----------
    corrected : ndarray of float, shape (types, rows, cols)
        Corrected worths [unit of the worth].
    shares : ndarray of float, shape (types, rows - 1, cols - 1)
        Share of each patch that a type may cover [1].
    union : ndarray of float, shape (rows - 1, cols - 1)
        The same for any type, raised near the shore where that pays for corners [1].
    cell_size_m : float
        Distance between nodes [m].

    Returns
    -------
    Patches
        With their corner worths.
    """
    rows, cols = np.nonzero(union)
    corners = []
    for b, share in zip(corrected, shares, strict=True):
        at = np.stack([b[rows, cols], b[rows + 1, cols], b[rows, cols + 1], b[rows + 1, cols + 1]])
        corners.append(np.where(share[rows, cols] > 0, at, -np.inf))
    parts = shares[:, rows, cols]
    is_whole = ((parts > 1 - 1e-9) | (parts == 0)).all(axis=0)
    return Patches(np.stack(corners), union[rows, cols] * cell_size_m**2, is_whole)


def field_integral(
    patches: Patches, planted_m2: FloatArray, rent: FloatArray, grown_m2: FloatArray
) -> float:
    """
    Return an upper bound on the integral of the price field.

    Parameters
    ----------
    patches : Patches
        The worth.
    planted_m2 : ndarray of float, shape (types,)
        Planted area of a raft [m²].
    rent : ndarray of float, shape (types,)
        What a raft pays for what it uses [worth of planted m²].
    grown_m2 : ndarray of float, shape (types,)
        Area that its price is spread over [m²].

    Returns
    -------
    float
        Integral over the room [worth of planted m²].
    """
    best = np.zeros(patches.corners.shape[1:])
    for index, corner in enumerate(patches.corners):
        np.maximum(best, (planted_m2[index] * corner - rent[index]) / grown_m2[index], out=best)
    height = np.where(patches.is_whole, best.mean(axis=0), best.max(axis=0))
    return float(height @ patches.area_m2)


def _classes(patches: Patches) -> tuple[FloatArray, FloatArray]:
    """Return the areas of classes of like patches, and the mean worth in each for each type."""
    active = np.array(np.isfinite(patches.corners).all(axis=1))
    worth = np.where(active, patches.corners.mean(axis=1), -1e3)
    # Patches in which the same types may lie share classes, or their means would mix them.
    kind = np.array((2.0 ** np.arange(len(active))) @ active.astype(float))
    areas, worths = [], []
    for label in np.unique(kind):
        mine = np.flatnonzero(kind == label)
        order = mine[np.argsort(worth[:, mine].max(axis=0), kind="stable")]
        for part in even_parts(order, min(_CLASSES, len(order))):
            areas.append(patches.area_m2[part].sum(axis=1))
            worths.append(worth[:, part].mean(axis=2))
    if not areas:
        return np.empty(0), np.empty((len(active), 0))
    return np.concatenate(areas), np.concatenate(worths, axis=1)


def even_parts(order: NDArray[np.int64], count: int) -> list[NDArray[np.int64]]:
    """
    Return indices in so many parts of even size, the larger ones first.

    Parameters
    ----------
    order : ndarray of int, shape (n,)
        Indices.
    count : int
        Parts, no more than indices.

    Returns
    -------
    list of ndarray of int
        Parts as rows, those of one size in one array.
    """
    size, larger = divmod(len(order), count)
    parts = (order[: larger * (size + 1)], order[larger * (size + 1) :])
    return [
        part.reshape(-1, wide)
        for part, wide in zip(parts, (size + 1, size), strict=True)
        if len(part)
    ]
