"""From rows of a layer to the typed parts of a site."""

from typing import Any

import shapely
from shapely.geometry import LineString, Point, Polygon

from geoplan.readers.columns import number_or_none, text_of
from geoplan.readers.layer import Layer
from geoplan.site import (
    ExistingRaft,
    Inflow,
    KeepClear,
    LaunchPlace,
    Mark,
    Outlet,
    ShadeObject,
)

_CONCENTRATIONS = ("tn_mg_l", "tp_mg_l", "tss_mg_l", "ecoli_per_100ml")


def part_of(layer: Layer, index: int, geometry: Any, outline: Polygon) -> Any:
    """
    Return one row of a layer as a part of a water body.

    Parameters
    ----------
    layer : Layer
        Tidied layer, one geometry in each row.
    index : int
        Position of the row.
    geometry : BaseGeometry
        Its geometry in the working CRS [m].
    outline : Polygon
        Outline of the water body, working CRS [m].

    Returns
    -------
    Inflow, Outlet, ShadeObject, LaunchPlace, KeepClear, Mark or ExistingRaft
        By the name of the layer.

    Raises
    ------
    ValueError
        If the layer holds no parts of these kinds.
    """
    if layer.name == "inflows":
        return _inflow(layer, index, geometry, outline)
    if layer.name == "outlets":
        return Outlet(
            text_of(layer, "outlet_id", index),
            geometry,
            number_or_none(layer, "width_m", index),
            number_or_none(layer, "sill_m", index),
        )
    if layer.name == "shade":
        return _shade(layer, index, geometry)
    if layer.name == "launches":
        return _launch(layer, index, geometry)
    return _plain_part(layer, index, geometry)


def _plain_part(layer: Layer, index: int, geometry: Any) -> Any:
    """Return a part that has little more than a place."""
    if layer.name == "keep_clear":
        buffer_m = number_or_none(layer, "buffer_m", index)
        reason = text_of(layer, "reason", index)
        return KeepClear(geometry, buffer_m or 0.0, reason or "kept clear")
    if layer.name == "marks":
        return Mark(text_of(layer, "mark_id", index), geometry)
    if layer.name == "rafts":
        name = text_of(layer, "raft_id", index)
        return ExistingRaft(name or f"existing {layer.rows[index]}", geometry)
    raise ValueError(f"layer {layer.name!r} holds no parts of a water body")


def _inflow(layer: Layer, index: int, geometry: Any, outline: Polygon) -> Inflow:
    """Return an inflow; a line counts by its end nearest to the bank."""
    concentrations = {
        name: value
        for name in _CONCENTRATIONS
        if (value := number_or_none(layer, name, index)) is not None
    }
    return Inflow(
        text_of(layer, "inflow_id", index),
        _bank_end(geometry, outline),
        number_or_none(layer, "flow_l_s", index),
        number_or_none(layer, "peak_flow_l_s", index),
        number_or_none(layer, "pipe_diameter_m", index),
        number_or_none(layer, "catchment_ha", index),
        number_or_none(layer, "runoff_coefficient", index),
        concentrations,
    )


def _bank_end(geometry: Any, outline: Polygon) -> Point:
    """Return a point, or the end of a line that is nearest to the bank."""
    if not isinstance(geometry, LineString):
        return geometry
    ends = [shapely.get_point(geometry, 0), shapely.get_point(geometry, -1)]
    return min(ends, key=outline.boundary.distance)


def _shade(layer: Layer, index: int, geometry: Any) -> ShadeObject:
    """Return a building or a tree."""
    is_deciduous = layer.columns["deciduous"][index] if "deciduous" in layer.columns else False
    return ShadeObject(
        geometry,
        number_or_none(layer, "height_m", index) or 0.0,
        number_or_none(layer, "crown_radius_m", index),
        bool(is_deciduous),
        number_or_none(layer, "base_m", index) or 0.0,
    )


def _launch(layer: Layer, index: int, geometry: Any) -> LaunchPlace:
    """Return a place from which rafts can be launched."""
    return LaunchPlace(
        text_of(layer, "launch_id", index),
        geometry,
        number_or_none(layer, "slope_pct", index),
        number_or_none(layer, "carry_m", index),
        text_of(layer, "surface", index),
        text_of(layer, "vehicle", index),
    )
