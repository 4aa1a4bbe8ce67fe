"""Heights of what shades the water: missing ones, and ones that nothing on Earth has."""

import numpy as np

from geoplan.readers.columns import numbers
from geoplan.readers.fault_log import FaultLog
from geoplan.readers.layer import Layer

#: Tallest tree that is believed: the tallest known stand just below [m].
TALLEST_TREE_M = 120.0
#: Tallest building that is believed beside a pond. Judgement [m].
TALLEST_BUILDING_M = 300.0


def check_heights(layer: Layer, log: FaultLog) -> None:
    """
    Refuse shade without a height, and heights that must be a slip or another unit.

    Parameters
    ----------
    layer : Layer
        Tidied layer ``shade``, one geometry in each row.
    log : FaultLog
        Takes the faults.
    """
    if "height_m" not in layer.columns:
        return
    height = numbers(layer, "height_m")
    missing = np.flatnonzero(np.isnan(height))
    log.refuse_rows(
        [layer.place(int(index)) for index in missing],
        lambda _: "no height_m",
        "the height of the tree or building above the ground",
        "Measure or estimate it, high rather than low; without it its shade is not known.",
    )
    is_tree = np.array([part.geom_type == "Point" for part in layer.geometries], dtype=bool)
    for chosen, word, tallest in (
        (is_tree, "tree", TALLEST_TREE_M),
        (~is_tree, "building", TALLEST_BUILDING_M),
    ):
        _refuse_above(layer, np.flatnonzero(chosen & (height > tallest)), (word, tallest), log)


def _refuse_above(layer: Layer, rows: np.ndarray, kind: tuple[str, float], log: FaultLog) -> None:
    """Refuse the heights of some rows."""
    word, tallest = kind
    height = numbers(layer, "height_m")
    log.refuse_rows(
        [layer.place(int(index)) for index in rows],
        lambda index: f"a {word} of {height[rows[index]]:g} m",
        f"at most {tallest:g} m",
        "Correct height_m: is it in centimetres or feet, or above the vertical datum? It is the"
        " height above the ground; feet go into a column height_ft.",
    )
