"""
Surveys that do not agree with each other, and soundings that stand out of the water.

Two surveys on different datums each look sound by themselves; only where they overlap does the
step between them show.
"""

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from geoplan.readers.fault_log import FaultLog, Place
from geoplan.readers.layer import Layer
from geoplan.site import BedRaster, Soundings
from geoplan.water.raster_bed import raster_at

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Farthest apart that soundings of two surveys are compared, where their own spacing is no
#: less (judgement) [m].
OVERLAP_M = 3.0
#: Pairs of soundings that show a step (judgement).
FEWEST_PAIRS = 5
#: Least step that is spoken of: less is silt, weed or the state of the water (judgement) [m].
LEAST_STEP_M = 0.15
#: Standard errors of the median by which a step must stand out.
STANDARD_ERRORS = 3.0
_DAY_S = 86_400.0


@dataclass(frozen=True)
class SurveyStep:
    """
    A step between two surveys where they overlap.

    Attributes
    ----------
    first_s, second_s : float
        Start of the days of the two, seconds since 1970 [s].
    step_m : float
        How much higher the second has the bed [m].
    pairs : int
        Soundings compared.
    """

    first_s: float
    second_s: float
    step_m: float
    pairs: int


def survey_steps(place_m: FloatArray, bed_m: FloatArray, time_s: FloatArray) -> list[SurveyStep]:
    """
    Return the steps between soundings of different days.

    Parameters
    ----------
    place_m : ndarray of float, shape (n, 2)
        Easting and northing [m].
    bed_m : ndarray of float, shape (n,)
        Elevation [m].
    time_s : ndarray of float, shape (n,)
        Seconds since 1970, NaN where not known [s].

    Returns
    -------
    list of SurveyStep
        For each two days that follow each other in the table of days; an empty one where they
        agree or do not overlap.

    Notes
    -----
    Each sounding is compared with the nearest of the other day within 3 m. The step is the
    median difference; it counts from 0.15 m, and from three standard errors of the median, which
    are 1.2533 times the robust deviation over the root of the number of pairs.

    Examples
    --------
    >>> east = np.arange(10.0)
    >>> place = np.column_stack([np.tile(east, 2), np.zeros(20)])
    >>> bed, time = np.repeat([10.0, 10.4], 10), np.repeat([0.0, 9e6], 10)
    >>> [round(step.step_m, 2) for step in survey_steps(place, bed, time)]
    [0.4]
    """
    known = np.flatnonzero(np.isfinite(time_s) & np.isfinite(bed_m))
    day = np.floor(time_s[known] / _DAY_S)
    days = np.unique(day)
    steps = []
    for before, after in itertools.pairwise(days):
        step = _step(place_m, bed_m, known[day == before], known[day == after])
        if step is not None:
            steps.append(SurveyStep(before * _DAY_S, after * _DAY_S, *step))
    return steps


def _step(
    place_m: FloatArray, bed_m: FloatArray, first: IntArray, second: IntArray
) -> tuple[float, int] | None:
    """Return how much higher the second survey is where both were, and from how many pairs."""
    away, nearest = cKDTree(place_m[first]).query(place_m[second])
    near = away <= OVERLAP_M
    return _median_step(bed_m[second][near] - bed_m[first][nearest[near]])


def _median_step(off_m: FloatArray) -> tuple[float, int] | None:
    """Return the median of differences and their number, where it stands out of their scatter."""
    if len(off_m) < FEWEST_PAIRS:
        return None
    step = float(np.median(off_m))
    spread = 1.4826 * float(np.median(np.abs(off_m - step)))
    doubt = STANDARD_ERRORS * 1.2533 * spread / float(np.sqrt(len(off_m)))
    return (step, len(off_m)) if abs(step) > max(LEAST_STEP_M, doubt) else None


def say_off_raster(
    soundings: Soundings | None, contours: int, raster: BedRaster, place: Place, log: FaultLog
) -> None:
    """
    Say what becomes of a raster that is not alone, and warn of soundings that lie off it.

    Parameters
    ----------
    soundings : Soundings or None
        Soundings of one water body.
    contours : int
        Number of its contours.
    raster : BedRaster
        Its raster of the bed.
    place : Place
        The raster and the water body.
    log : FaultLog
        Takes the remarks.
    """
    if contours and np.isfinite(raster.bed_m).any():
        log.remark(
            place,
            f"{contours} contour{'s' if contours > 1 else ''} beside a raster of the bed",
            "one of them",
            "The raster is taken where it has values, contours where it has none.",
        )
    if soundings is None or not np.isfinite(raster.bed_m).any():
        return
    value, is_off = raster_at(
        raster.bed_m, raster.affine, soundings.easting_m, soundings.northing_m
    )
    step = _median_step((soundings.bed_m - value)[~is_off])
    if step is not None:
        log.remark(
            place,
            f"soundings {abs(step[0]):.2f} m {'above' if step[0] > 0 else 'below'} the raster in"
            f" the median of {step[1]}",
            "soundings and a raster that agree",
            "Are both on the same datum? If the bed has changed, the soundings are right: the"
            " raster is put right by them, as far as they reach.",
        )


def say_steps(steps: list[SurveyStep], place: Place, log: FaultLog) -> None:
    """
    Warn of surveys that differ where they overlap, as those on two datums do.

    Parameters
    ----------
    steps : list of SurveyStep
        Steps found.
    place : Place
        The water body.
    log : FaultLog
        Takes the warnings.
    """
    for step in steps:
        first, second = (
            np.datetime_as_string(np.datetime64(int(day), "s"), unit="D")
            for day in (step.first_s, step.second_s)
        )
        log.remark(
            place,
            f"a bed {abs(step.step_m):.2f} m {'higher' if step.step_m > 0 else 'lower'} on"
            f" {second} than on {first}, in {step.pairs} places sounded on both days",
            "surveys that agree where they overlap",
            "Are both on the same datum, and reduced with the level of their day? If the bed"
            " itself has changed, delete the older soundings there.",
        )


def say_dry(own: IntArray, bed_m: FloatArray, high_m: float, layer: Layer, log: FaultLog) -> None:
    """
    Warn of soundings that would stand out of the water even at its highest.

    Parameters
    ----------
    own : ndarray of int, shape (k,)
        Rows of one water body.
    bed_m : ndarray of float, shape (n,)
        Elevation of every row [m].
    high_m : float
        Its high level [m].
    layer : Layer
        The soundings.
    log : FaultLog
        Takes the warning, at the highest of them.
    """
    dry = own[bed_m[own] > high_m]
    if dry.size:
        highest = int(dry[np.argmax(bed_m[dry])])
        log.remark(
            layer.place(highest),
            f"{dry.size} sounding{'s' if dry.size > 1 else ''} above the high level, the highest"
            f" at {bed_m[highest]:g} m over {high_m:g} m",
            "soundings of the bed, or of the bank beside it",
            "It is taken as ground there. If it is an error of typing or sign, correct it.",
        )
