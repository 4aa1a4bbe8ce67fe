"""
Where a raft of known size lies, from fixes of its corners or its centre.

Arrays only. A raft is a rigid rectangle: three unknowns, so that surplus fixes show how well they
agree with one another and with the size.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import permutations

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

CENTRE = 0
#: A fix of a corner whose number nobody wrote down.
SOME_CORNER = -1

#: Squared radius of the region that holds a pair of normal errors 19 times in 20 [1].
#: Closed form: −2 ln 0.05.
CHI2_2_95 = -2.0 * math.log(0.05)
#: A heading that fixes settle no better than this is taken from the plan instead [°]. *Judgement*:
#: beyond it the errors of a corner are no longer proportional to those of the heading.
LARGEST_HEADING_SIGMA_DEG = 15.0
#: How far a raft held by posts may have turned from its plan, one standard deviation [°].
#: *Judgement*.
PLANNED_HEADING_SIGMA_DEG = 5.0


@dataclass(frozen=True, eq=False)
class RaftFit:
    """
    A raft laid into its fixes.

    Attributes
    ----------
    easting_m, northing_m : float
        Centre [m].
    heading_deg : float
        Long axis, clockwise from grid north, 0 to 180 [°].
    covariance_m2 : ndarray of float, shape (2, 2)
        Of the centre, easting first [m²].
    heading_sigma_deg : float
        One standard deviation of the heading [°].
    is_heading_measured : bool
        Whether the fixes settle the heading; otherwise it is the plan's.
    residual_m : ndarray of float, shape (n,)
        Distance of each fix from its corner or the centre [m].
    misfit : float
        Sum of squares of residuals over their standard deviations [1].
    surplus : int
        Coordinates beyond those that the unknowns take up [1].
    """

    easting_m: float
    northing_m: float
    heading_deg: float
    covariance_m2: FloatArray
    heading_sigma_deg: float
    is_heading_measured: bool
    residual_m: FloatArray
    misfit: float
    surplus: int

    @property
    def misfit_chance(self) -> float:
        """Chance that errors as stated misfit at least so much [1]."""
        return float(chdtrc(self.surplus, self.misfit)) if self.surplus > 0 else 1.0

    @property
    def ellipse_m(self) -> tuple[float, float, float]:
        """Half axes of the 95 % region of the centre, and the longer's bearing [m, m, °]."""
        size, axes = np.linalg.eigh(self.covariance_m2)
        minor, major = np.sqrt(np.maximum(size, 0.0) * CHI2_2_95)
        bearing = math.degrees(math.atan2(axes[0, 1], axes[1, 1])) % 180.0
        return float(major), float(minor), bearing


def corner_offsets_m(length_m: float, width_m: float) -> FloatArray:
    """
    Return the centre and corners of a raft in its own axes.

    Parameters
    ----------
    length_m, width_m : float
        Outside size [m].

    Returns
    -------
    ndarray of float, shape (5, 2)
        Ahead and to starboard; row 0 is the centre, rows 1 to 4 the corners, the first ahead to
        starboard and the rest clockwise [m].

    Examples
    --------
    >>> corner_offsets_m(4.0, 2.0)[1].tolist()
    [2.0, 1.0]
    """
    ahead, aside = length_m / 2.0, width_m / 2.0
    return np.array([[0, 0], [ahead, aside], [-ahead, aside], [-ahead, -aside], [ahead, -aside]])


def fit_raft(
    fix_m: FloatArray,
    sigma_m: FloatArray,
    item: IntArray,
    size_m: tuple[float, float],
    planned_heading_deg: float,
) -> RaftFit:
    r"""
    Lay a rectangle of known size into fixes by weighted least squares.

    Parameters
    ----------
    fix_m : ndarray of float, shape (n, 2)
        Easting and northing of each fix [m].
    sigma_m : ndarray of float, shape (n,)
        One standard deviation of each along each axis [m].
    item : ndarray of int, shape (n,)
        What was fixed: 0 the centre, 1 to 4 a corner by its number, -1 some corner.
    size_m : tuple of float
        Length and width [m].
    planned_heading_deg : float
        Heading to fall back on, and to tell a raft's two ends apart [°].

    Returns
    -------
    RaftFit
        The fit of least misfit.

    Raises
    ------
    ValueError
        If there is no fix, or more than four corners without a number.

    Notes
    -----
    The rotation of least squares is closed [1]_: with weights :math:`w = 1/\sigma^2`, offsets q and
    fixes p about their weighted means,

    .. math:: \theta = \mathrm{atan2}\bigl(\sum w\, q \times p,\; \sum w\, q \cdot p\bigr)

    The covariance is that of the linearised equations, which holds while the heading is settled to
    some 15°; beyond that the plan's heading is taken, with its own doubt. Corners without numbers
    are tried in every order.

    References
    ----------
    .. [1] S. Umeyama, "Least-squares estimation of transformation parameters between two point
       patterns", IEEE PAMI 13(4), 376-380, 1991 (here without scale).

    Examples
    --------
    >>> corners = np.array([[2.0, 1.0], [2.0, -1.0], [-2.0, -1.0], [-2.0, 1.0]])
    >>> found = fit_raft(corners + 5.0, np.full(4, 0.1), np.full(4, SOME_CORNER), (4.0, 2.0), 80.0)
    >>> round(found.easting_m, 6), round(found.heading_deg, 6)
    (5.0, 90.0)
    """
    if len(fix_m) == 0:
        raise ValueError("no fix")
    weight = sigma_m**-2.0
    offsets = corner_offsets_m(*size_m)
    best: tuple[float, RaftFit] | None = None
    for order in _orders(tuple(int(one) for one in item)):
        candidate = _fit(fix_m, weight, offsets[list(order)], planned_heading_deg)
        turn = abs((candidate.heading_deg - planned_heading_deg + 90.0) % 180.0 - 90.0)
        key = candidate.misfit + 1e-9 * turn
        if best is None or key < best[0]:
            best = key, candidate
    assert best is not None  # noqa: S101 - there is at least one order
    return best[1]


@lru_cache(maxsize=256)
def _orders(items: tuple[int, ...]) -> tuple[tuple[int, ...], ...]:
    """Return every way to give the corners without a number one that is still free."""
    loose = [at for at, one in enumerate(items) if one == SOME_CORNER]
    free = [corner for corner in (1, 2, 3, 4) if corner not in items]
    if len(loose) > len(free):
        raise ValueError(f"{len(loose)} corners without a number, and only {len(free)} are left")
    out = []
    for chosen in permutations(free, len(loose)):
        order = list(items)
        for at, corner in zip(loose, chosen, strict=True):
            order[at] = corner
        out.append(tuple(order))
    return tuple(out)


def _fit(
    fix_m: FloatArray, weight: FloatArray, offset_m: FloatArray, planned_deg: float
) -> RaftFit:
    """Return the fit where it is known which corner each fix is of."""
    share = weight / weight.sum()
    fix_mean, offset_mean = share @ fix_m, share @ offset_m
    fix, offset = fix_m - fix_mean, offset_m - offset_mean
    # In axes ahead and to starboard a heading turns clockwise: east is sin, north is cos.
    along = float((weight * (offset[:, 0] * fix[:, 1] + offset[:, 1] * fix[:, 0])).sum())
    across = float((weight * (offset[:, 0] * fix[:, 0] - offset[:, 1] * fix[:, 1])).sum())
    spread = float((weight * (offset**2).sum(axis=1)).sum())
    heading = math.atan2(across, along)
    is_measured = spread > 0 and math.degrees(spread**-0.5) <= LARGEST_HEADING_SIGMA_DEG
    known = 0.0
    if not is_measured:
        heading, known = math.radians(planned_deg), math.radians(PLANNED_HEADING_SIGMA_DEG) ** -2.0
    turned = _turned(offset_m, heading)
    centre = fix_mean - share @ turned
    residual = fix_m - centre - turned
    normal = _normal(weight, turned, spread if is_measured else 0.0, known)
    covariance: FloatArray = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    # A turn by t also shortens the lever by t²/2 of it: in mean square 3/4 of σ⁴, skewed, so more.
    lever = share @ turned
    covariance[:2, :2] += 1.2 * covariance[2, 2] ** 2 * np.outer(lever, lever)
    return RaftFit(
        easting_m=float(centre[0]),
        northing_m=float(centre[1]),
        heading_deg=math.degrees(heading) % 180.0,
        covariance_m2=covariance[:2, :2],
        heading_sigma_deg=math.degrees(math.sqrt(covariance[2, 2])),
        is_heading_measured=is_measured,
        residual_m=np.hypot(residual[:, 0], residual[:, 1]),
        misfit=float((weight * (residual**2).sum(axis=1)).sum()),
        surplus=2 * len(fix_m) - (3 if is_measured else 2),
    )


def _turned(offset_m: FloatArray, heading_rad: float) -> FloatArray:
    """Return offsets ahead and to starboard as easting and northing."""
    sine, cosine = math.sin(heading_rad), math.cos(heading_rad)
    return np.column_stack(
        [
            offset_m[:, 0] * sine + offset_m[:, 1] * cosine,
            offset_m[:, 0] * cosine - offset_m[:, 1] * sine,
        ]
    )


def _normal(weight: FloatArray, turned_m: FloatArray, spread: float, known: float) -> FloatArray:
    """
    Return the normal matrix of centre and heading.

    Where the plan's heading stands in for a measured one, the fixes say nothing of it: only
    ``known``, the weight of the plan's, does, and its doubt moves the centre of a raft that is
    known by one side.
    """
    total = float(weight.sum())
    mean = (weight / total) @ turned_m
    by_heading = np.array([mean[1], -mean[0]])  # how the mean fix moves as the raft turns
    corner = total * by_heading
    own = spread + known + total * float(by_heading @ by_heading)
    return np.block([[total * np.eye(2), corner[:, None]], [corner[None, :], np.array([[own]])]])
