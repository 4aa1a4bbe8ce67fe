"""To which water bodies the rows of a layer belong, and what is said of those that are astray."""

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from geoplan.crs import WGS84, is_geographic
from geoplan.readers.belonging import (
    Reach,
    nearest_of_all,
    nearest_only,
    nearest_water,
    touched_or_nearest,
    within_reach,
)
from geoplan.readers.columns import identities, numbers
from geoplan.readers.fault_log import FaultLog
from geoplan.readers.layer import Layer
from geoplan.readers.shade_heights import check_heights
from geoplan.readers.shelf import Rows, Shelf
from geoplan.readers.soundings import BANK_REACH_M
from geoplan.readers.waters import DrawnWater

#: Reach of a part to its water: position and outline both have errors [m].
PART_REACH_M = 25.0
#: Reach by layer where it is another [m].
REACH_M = {"shade": 150.0, "marks": 200.0}
#: Layers whose features count for every water body in reach, not for the nearest alone.
SHARED = ("shade", "keep_clear", "marks")
#: Layers of which a feature far from all water is of no use, and no fault.
SPARE = ("shade", "keep_clear", "marks")
#: A feature farther from all water than this and the water's own extent is astray [m].
ASTRAY_M = 5000.0


def lay_by(
    layer: Layer,
    crs: str,
    waters: tuple[DrawnWater, ...],
    shelf: Shelf,
    names: dict[str, int],
    log: FaultLog,
) -> None:
    """
    Lay the rows of a piece of a layer by for the water bodies to which they belong.

    Parameters
    ----------
    layer : Layer
        Tidied, one geometry in each row.
    crs : str
        Its CRS.
    waters : tuple of DrawnWater
        The water bodies, one at least.
    shelf : Shelf
        Takes the rows.
    names : dict of str to int
        Names of features in earlier pieces of the layer, with their rows; those of this are added.
    log : FaultLog
        Takes the faults, such as features that belong to no water.
    """
    if layer.name == "soundings":
        # One ashore waits for all that lie round its water: together they tell whether it strayed.
        pairs = nearest_of_all(layer.geometries, crs, waters, BANK_REACH_M)
        in_reach = int((pairs.distance_m <= BANK_REACH_M).sum())
    elif layer.name == "contours":
        reach_m = np.full(len(layer), PART_REACH_M)
        pairs = touched_or_nearest(within_reach(layer.geometries, crs, waters, reach_m))
        in_reach = len(np.unique(pairs.feature))
        _say_on_land(layer, len(layer) - in_reach, log)
    else:
        pairs = _parts_in_reach(layer, crs, waters, names, log)
        in_reach = len(np.unique(pairs.feature))
    shelf.lay(Rows(layer, crs, pairs), in_reach)


def _parts_in_reach(
    layer: Layer, crs: str, waters: tuple[DrawnWater, ...], names: dict[str, int], log: FaultLog
) -> Reach:
    """Return the pairs of parts and the water bodies to which they belong."""
    if layer.name == "shade":
        check_heights(layer, log)
    own_id = next((name for name in layer.columns if name.endswith("_id")), "")
    if own_id:
        identities(layer, own_id, log, names)
    reach_m = np.full(len(layer), REACH_M.get(layer.name, PART_REACH_M))
    if layer.name == "keep_clear":
        reach_m = np.fmax(reach_m, numbers(layer, "buffer_m"))
    pairs = within_reach(layer.geometries, crs, waters, reach_m)
    if layer.name == "rafts":
        pairs = touched_or_nearest(pairs)
    elif layer.name not in SHARED:
        pairs = nearest_only(pairs)
    _say_unreached(layer, crs, waters, pairs, log)
    return pairs


def _say_on_land(layer: Layer, count: int, log: FaultLog) -> None:
    """Count contours that belong to no water."""
    if count:
        log.remark(
            layer.place(),
            f"{count} contours on land",
            f"contours within {PART_REACH_M:g} m of water",
            "They are not used.",
        )


def _say_unreached(
    layer: Layer, crs: str, waters: tuple[DrawnWater, ...], pairs: Reach, log: FaultLog
) -> None:
    """Note features too far from any water: a fault, or for shade and marks a word."""
    alone = np.setdiff1d(np.arange(len(layer)), pairs.feature)
    nearest, distance = nearest_water(layer.geometries[alone], crs, waters)
    reach_m = REACH_M.get(layer.name, PART_REACH_M)
    extents = np.array([_extent_m(waters[water]) for water in nearest])
    is_astray = distance > ASTRAY_M + extents if alone.size else np.zeros(0, dtype=bool)
    is_error = is_astray | (layer.name not in SPARE)
    bad = np.flatnonzero(is_error)
    remedy = _remedy(layer.geometries[alone[is_astray]], crs, waters)
    log.refuse_rows(
        [layer.place(int(alone[at])) for at in bad],
        lambda index: (
            f"a feature {_distance_words(distance[bad[index]])} from the nearest water"
            f" body, '{waters[nearest[bad[index]]].water_id}'"
        ),
        f"a feature within {reach_m:g} m of water",
        remedy,
    )
    if alone.size > bad.size:
        log.remark(
            layer.place(),
            f"{alone.size - bad.size} of {len(layer)} features beyond reach of any water",
            f"features within {reach_m:g} m",
            "They are not used.",
        )


def _extent_m(water: DrawnWater) -> float:
    """Return the diagonal of a water body's bounds [m]."""
    west, south, east, north = water.outline.bounds
    return float(np.hypot(east - west, north - south))


def _remedy(stray: NDArray[Any], crs: str, waters: tuple[DrawnWater, ...]) -> str:
    """Return what to do about far features: exchange the axes where that brings them home."""
    if len(stray) and is_geographic(crs):
        swapped = shapely.transform(stray, lambda at: at[:, ::-1])
        corners = shapely.get_coordinates(swapped)
        if (np.abs(corners) <= np.array([180.0, 90.0])).all():
            _, distance = nearest_water(swapped, WGS84, waters)
            if (distance < ASTRAY_M).all():
                return "Longitude and latitude seem to be exchanged: longitude comes first."
    return "Correct its place, check the CRS of the layer, or delete it."


def _distance_words(distance_m: float) -> str:
    """Return a distance for a person."""
    if not np.isfinite(distance_m):
        return "over 1000 km"
    return f"{distance_m / 1000:.2f} km" if distance_m >= 1000 else f"{distance_m:.0f} m"
