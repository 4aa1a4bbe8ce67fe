"""
A record of water levels: what is doubtful in it, and the share of time at any level.

Arrays only. Between two readings the level is taken as a straight line; across a gap nothing is
taken for known. Nothing is removed here: what looks wrong is found, and a person decides.
"""

from collections.abc import Sequence

import numpy as np

from geoplan.water import BoolArray, FloatArray

#: An interval is a gap where it is longer than this many usual ones (judgement) [1].
GAP_INTERVALS = 3.0
#: Least departure of a reading from those round it that is a spike (judgement) [m].
LEAST_SPIKE_M = 0.15
#: Least step of the level that stays which may be a shift of the datum (judgement) [m].
LEAST_SHIFT_M = 0.10
#: Times the usual spread that a spike, and a step, must exceed (judgement) [1].
_SPIKE_SPREADS, _SHIFT_SPREADS = 6.0, 8.0
#: Median absolute deviation of a normal distribution to its standard deviation [1].
_MAD_SIGMA = 1.4826
#: Readings on either side whose medians tell the size of a step, and whether it stays [1].
_STEP_READINGS, _STAY_READINGS = 7, 15
#: Fewest readings that a median is taken of [1].
_FEWEST_READINGS = 5
#: A step is one jump where either is at least this share of the other, and stays where this
#: share of it is left (judgement) [1].
_ONE_JUMP, _LEFT = 0.7, 0.5


def time_text(time_s: float) -> str:
    """
    Return a time as people write it.

    Parameters
    ----------
    time_s : float
        Seconds since 1970 [s].

    Returns
    -------
    str
        The day, with hours and minutes where it is not midnight; ISO 8601.

    Examples
    --------
    >>> time_text(0.0), time_text(86400.0 + 5400.0)
    ('1970-01-01', '1970-01-02T01:30')
    """
    unit = "D" if time_s % 86400.0 == 0 else "m"
    return str(np.datetime64(int(time_s), "s").astype(f"datetime64[{unit}]"))


def usual_interval_s(time_s: FloatArray) -> float:
    """
    Return the usual time from one reading to the next.

    Parameters
    ----------
    time_s : ndarray of float, shape (n,)
        Times, not falling [s].

    Returns
    -------
    float
        Median of the intervals that are not zero [s].

    Raises
    ------
    ValueError
        If no two times differ.
    """
    step = np.diff(time_s)
    if not (step > 0).any():
        raise ValueError("a record needs two different times")
    return float(np.median(step[step > 0]))


def gaps(time_s: FloatArray) -> BoolArray:
    """
    Tell which intervals of a record are gaps.

    Parameters
    ----------
    time_s : ndarray of float, shape (n,)
        Times, not falling [s].

    Returns
    -------
    ndarray of bool, shape (n - 1,)
        True where the next reading comes later than three usual intervals.

    Raises
    ------
    ValueError
        If no two times differ.

    Examples
    --------
    >>> gaps(np.array([0.0, 1.0, 2.0, 9.0, 10.0])).tolist()
    [False, False, True, False]
    """
    long: BoolArray = np.diff(time_s) > GAP_INTERVALS * usual_interval_s(time_s)
    return long


def spikes_m(level_m: FloatArray) -> FloatArray:
    """
    Return how far readings stand out from those round them.

    Parameters
    ----------
    level_m : ndarray of float, shape (n,)
        Levels in the order of time [m].

    Returns
    -------
    ndarray of float, shape (n,)
        Departure from the median of five readings; zero where it is no spike [m].

    Notes
    -----
    A spike departs by 0.15 m or more, and by six times the usual departure; one or two readings
    can be found, three in a row are a level. A short flood looks the same.

    Examples
    --------
    >>> spikes_m(np.array([1.0, 1.0, 1.0, 2.5, 1.0, 1.0, 1.0])).tolist()
    [0.0, 0.0, 0.0, 1.5, 0.0, 0.0, 0.0]
    """
    if len(level_m) < _FEWEST_READINGS:
        return np.zeros(len(level_m))
    padded = np.pad(level_m, 2, mode="reflect")
    around = np.lib.stride_tricks.sliding_window_view(padded, 5)
    departure = level_m - np.median(around, axis=1)
    spread = _MAD_SIGMA * float(np.median(np.abs(departure)))
    found: FloatArray = np.where(
        np.abs(departure) >= max(LEAST_SPIKE_M, _SPIKE_SPREADS * spread), departure, 0.0
    )
    return found


def shifts_m(time_s: FloatArray, level_m: FloatArray) -> FloatArray:
    """
    Return steps of the level that stay, as they come of a gauge that was moved.

    Parameters
    ----------
    time_s : ndarray of float, shape (n,)
        Times, not falling [s].
    level_m : ndarray of float, shape (n,)
        Levels [m].

    Returns
    -------
    ndarray of float, shape (n - 1,)
        Rise from the readings before an interval to those after it; zero where there is no step
        [m].

    Raises
    ------
    ValueError
        If no two times differ.

    Notes
    -----
    A step is at least 0.10 m and eight times the usual change from one reading to the next, which
    grows with the root of the interval; the medians of seven readings before and after differ by
    about as much as the two readings do, and those of fifteen by half of it. A gate that is opened
    looks the same; a rise over several readings, or one that runs off within them, does not.

    Examples
    --------
    >>> level = np.repeat([1.0, 1.4], 20)
    >>> np.flatnonzero(shifts_m(np.arange(40.0), level)).tolist()
    [19]
    """
    count = len(level_m)
    interval = np.maximum(np.diff(time_s) / usual_interval_s(time_s), 1.0)
    jump = np.diff(level_m)
    usual_m = _MAD_SIGMA * float(np.median(np.abs(jump) / np.sqrt(interval)))
    is_large = np.abs(jump) >= np.maximum(
        LEAST_SHIFT_M, _SHIFT_SPREADS * usual_m * np.sqrt(interval)
    )
    found = np.zeros(count - 1)
    for k in np.flatnonzero(is_large):
        step = _median_rise_m(level_m, int(k), _STEP_READINGS) * np.sign(jump[k])
        stays = _median_rise_m(level_m, int(k), _STAY_READINGS) * np.sign(jump[k])
        smaller, larger = sorted((step, abs(float(jump[k]))))
        if step >= LEAST_SHIFT_M and smaller >= _ONE_JUMP * larger and stays >= _LEFT * step:
            found[k] = step * np.sign(jump[k])
    return found


def _median_rise_m(level_m: FloatArray, before: int, readings: int) -> float:
    """Return the rise from the median of readings up to one to that of those after it [m]."""
    earlier = level_m[max(before + 1 - readings, 0) : before + 1]
    later = level_m[before + 1 : before + 1 + readings]
    if min(len(earlier), len(later)) < _FEWEST_READINGS:
        return 0.0
    return float(np.median(later) - np.median(earlier))


def known_time_s(time_s: FloatArray) -> float:
    """
    Return the time that a record covers, gaps left out.

    Parameters
    ----------
    time_s : ndarray of float, shape (n,)
        Times, not falling [s].

    Returns
    -------
    float
        Sum of the intervals that are no gaps [s].

    Raises
    ------
    ValueError
        If no two times differ.
    """
    return float(np.diff(time_s)[~gaps(time_s)].sum())


def share_below(time_s: FloatArray, level_m: FloatArray, threshold_m: FloatArray) -> FloatArray:
    r"""
    Return the share of time for which the level is below thresholds.

    Parameters
    ----------
    time_s : ndarray of float, shape (n,)
        Times, not falling [s].
    level_m : ndarray of float, shape (n,)
        Levels [m].
    threshold_m : ndarray of float, shape (k,)
        Levels to compare with [m].

    Returns
    -------
    ndarray of float, shape (k,)
        Shares of the time that is known, gaps left out, 0 to 1 [1].

    Raises
    ------
    ValueError
        If no two times differ, or a level is not finite.

    Notes
    -----
    Exact for the straight lines between readings: of an interval from a to b, the share
    (z − a)/(b − a). For a sinusoid of amplitude a round zero it tends to
    :math:`1 - \arccos(z / a) / \pi`.

    Examples
    --------
    >>> share_below(np.array([0.0, 1.0, 2.0]), np.array([0.0, 1.0, 1.0]), np.array([0.5])).tolist()
    [0.25]
    """
    if not np.isfinite(level_m).all():
        raise ValueError("the levels of a record must be finite")
    is_known = ~gaps(time_s)
    step = np.diff(time_s)[is_known]
    low = np.minimum(level_m[:-1], level_m[1:])[is_known]
    span = np.maximum(np.abs(np.diff(level_m)[is_known]), 1e-12)
    return np.array(
        [
            float((step * np.clip((threshold - low) / span, 0.0, 1.0)).sum() / step.sum())
            for threshold in np.atleast_1d(threshold_m)
        ]
    )


def record_levels(
    time_s: FloatArray, level_m: FloatArray, percentiles: Sequence[float]
) -> FloatArray:
    """
    Return levels that a record stays below for given shares of its time.

    Parameters
    ----------
    time_s : ndarray of float, shape (n,)
        Times, not falling [s].
    level_m : ndarray of float, shape (n,)
        Levels [m].
    percentiles : sequence of float, length k
        Shares, 0 to 100 [%].

    Returns
    -------
    ndarray of float, shape (k,)
        Levels, to a tenth of a millimetre [m].

    Raises
    ------
    ValueError
        If no two times differ, or a level is not finite.

    Notes
    -----
    The inverse of ``share_below``, found by halving. Time counts, not the number of readings: a
    gauge that is read every hour in a flood and once a week otherwise does not shift them.

    Examples
    --------
    >>> time = np.array([0.0, 1.0, 2.0, 4.0])
    >>> record_levels(time, np.array([11.0, 11.0, 12.0, 14.0]), [0, 50, 100]).tolist()
    [11.0, 12.0, 14.0]
    """
    share = np.asarray(percentiles, float) / 100.0
    low = np.full(share.shape, float(np.min(level_m)))
    high = np.full(share.shape, float(np.max(level_m)))
    while (high - low).max() > 1e-6:
        middle = (low + high) / 2.0
        is_below = share_below(time_s, level_m, middle) < share
        low, high = np.where(is_below, middle, low), np.where(is_below, high, middle)
    found: FloatArray = np.round(high, 4)
    return found
