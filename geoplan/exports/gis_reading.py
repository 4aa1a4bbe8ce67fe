"""
Reads a ``plan.gpkg`` back, as it stands, for whoever judges it.

Someone may have moved rafts in a GIS since it was written: every fault is told in words, and
nothing is repaired but a multi-part geometry of one part, which many programs save.
"""

import math
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError, FieldError
from shapely.geometry import LineString, MultiPolygon, Polygon

from geoplan.errors import PlanFileError
from geoplan.written import (
    WrittenEdge,
    WrittenLoads,
    WrittenMaterial,
    WrittenMooring,
    WrittenPlan,
    WrittenRaft,
    WrittenRoute,
    WrittenWhyNot,
)
from geoplan.written_tapes import WrittenMark, WrittenTape

Row = dict[str, Any]

_NEEDED: dict[str, tuple[str, ...]] = {
    "rafts": (
        "raft_id", "water_id", "raft_type", "status", "length_m", "width_m", "depth_low_m",
        "draft_m", "freeboard_m", "wave_height_m", "removal_g_d",
    ),
    "moorings": (
        "mooring_id", "raft_id", "kind", "easting_m", "northing_m", "depth_high_m", "length_m",
        "embedment_m", "load_n", "capacity_n", "block_kg",
    ),
    "routes": (
        "raft_id", "launch_id", "sequence", "length_m", "clearance_m", "turn_before_m", "has_room",
        "least_depth_m", "width_m", "turning_m", "mass_kg", "people", "brought_by", "haul_n",
    ),
    "materials": ("item", "size", "unit", "ordered"),
    "marks": ("mark_id", "water_id", "easting_m", "northing_m", "is_suggested"),
    "setting_out": (
        "raft_id", "water_id", "item", "easting_m", "northing_m", "mark_1", "tape_1_m", "mark_2",
        "tape_2_m", "crossing_deg", "error_major_m",
    ),
    "why_not": ("water_id", "rule", "area_m2"),
    "loads": (
        "water_id", "constituent", "is_chosen", "is_relative", "load_in",
        "load_out_without_rafts", "load_out", "removed", "removed_lowest", "removed_highest",
    ),
    "water_edges": ("water_id", "level_name", "level_m", "area_m2", "volume_m3", "cover_pct"),
}  # fmt: skip
#: Parts of a ``WrittenPlan`` and the layers that hold them.
_LAYER_OF = {
    "rafts": "rafts", "moorings": "moorings", "routes": "routes", "marks": "marks",
    "tapes": "setting_out", "why_not": "why_not", "loads": "loads", "edges": "water_edges",
    "materials": "materials",
}  # fmt: skip
_KEYS = ("water_id", "raft_id")


@dataclass(frozen=True, slots=True)
class RowKey:
    """
    A row of a layer and what it belongs to.

    Attributes
    ----------
    number : int
        Number of the row in its layer.
    water_id, raft_id : str
        What it names; empty where the layer has no such column.
    """

    number: int
    water_id: str
    raft_id: str


def read_plan(path: Path, rows: Mapping[str, Sequence[int]] | None = None) -> WrittenPlan:
    """
    Read what a ``plan.gpkg`` says.

    Parameters
    ----------
    path : Path
        The file.
    rows : mapping of str to sequence of int, or None
        By the part of ``WrittenPlan``, which rows are read, as ``row_keys`` numbers them; parts
        that are not named are left empty. ``None``: all.

    Returns
    -------
    WrittenPlan
        Its layers, in its own CRS, row by row as they stand there.

    Raises
    ------
    PlanFileError
        If it is missing, not a GeoPackage, or lacks a layer, a column or a value.
    """
    if not path.is_file():
        raise PlanFileError(f"{path} is missing; plan the site again")
    frames = {
        name: _read_layer(path, name, None if rows is None else rows.get(part, ()))
        for part, name in _LAYER_OF.items()
    }
    edges = frames["water_edges"]
    for name, frame in frames.items():
        if frame.crs != edges.crs and name != "materials":
            raise PlanFileError(
                f"{path}: layer '{name}' is in another CRS than 'water_edges'; save it in that one"
            )
    return WrittenPlan(
        crs=edges.crs.to_wkt(),
        rafts=tuple(_written_raft(row) for row in _rows(path, "rafts", frames["rafts"])),
        moorings=tuple(
            _written_mooring(row) for row in _rows(path, "moorings", frames["moorings"])
        ),
        routes=tuple(_written_route(row) for row in _rows(path, "routes", frames["routes"])),
        edges=tuple(_written_edge(row) for row in _rows(path, "water_edges", edges)),
        materials=tuple(
            WrittenMaterial(
                row.text("item"), row.text("size"), row.text("unit"), row.number("ordered")
            )
            for row in _rows(path, "materials", frames["materials"])
        ),
        marks=tuple(_written_mark(row) for row in _rows(path, "marks", frames["marks"])),
        tapes=tuple(
            _written_tape(row) for row in _rows(path, "setting_out", frames["setting_out"])
        ),
        why_not=tuple(_written_why(row) for row in _rows(path, "why_not", frames["why_not"])),
        loads=tuple(_written_loads(row) for row in _rows(path, "loads", frames["loads"])),
    )


def row_keys(path: Path) -> WrittenPlan:
    """
    Read which rows of a ``plan.gpkg`` belong to what, and nothing else of them.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    WrittenPlan
        With a ``RowKey`` in place of each row.

    Raises
    ------
    PlanFileError
        If a layer cannot be read.
    """
    crs = ""
    parts = {}
    for part, name in _LAYER_OF.items():
        columns = [column for column in ("water_id", "raft_id") if column in _NEEDED[name]]
        try:
            frame = pyogrio.read_dataframe(
                path, layer=name, columns=columns, read_geometry=False, fid_as_index=True
            )
            crs = crs or str(pyogrio.read_info(path, layer=name)["crs"])
        except (DataLayerError, DataSourceError, FeatureError, FieldError, OSError) as error:
            raise PlanFileError(f"{path}, layer '{name}' cannot be read: {error}") from error
        none = [""] * len(frame)
        names = [frame[column].tolist() if column in frame else none for column in _KEYS]
        parts[part] = tuple(
            RowKey(int(row), *(sys.intern(str(one)) for one in words))
            for row, *words in zip(frame.index, *names, strict=True)
        )
    return WrittenPlan(crs=crs, **cast("dict[str, Any]", parts))


def _read_layer(path: Path, name: str, rows: Sequence[int] | None = None) -> Any:
    """Return a layer, or some rows of it, that has the columns it must have."""
    some: dict[str, Any] = {} if rows is None else {"fids": list(rows), "fid_as_index": True}
    if rows is not None and not len(rows):
        some = {"max_features": 1}  # for its columns and CRS
    try:
        frame = pyogrio.read_dataframe(path, layer=name, **some)
        frame = frame.iloc[:0] if rows is not None and not len(rows) else frame
    except DataLayerError as error:
        raise PlanFileError(f"{path} has no layer '{name}'; plan the site again") from error
    except (DataSourceError, FeatureError, FieldError, OSError) as error:
        raise PlanFileError(f"{path} cannot be read as a GeoPackage: {error}") from error
    if not isinstance(frame, gpd.GeoDataFrame):
        raise PlanFileError(f"{path}, layer '{name}' has no geometry; plan the site again")
    if frame.crs is None:
        raise PlanFileError(f"{path}, layer '{name}' names no CRS; save it with its CRS")
    missing = [column for column in _NEEDED[name] if column not in frame.columns]
    if missing:
        raise PlanFileError(
            f"{path}, layer '{name}' lacks the column '{missing[0]}'; bring it back, or plan the"
            " site again"
        )
    return frame


class _WrittenRow:
    """A row of a layer, with words for what is wrong with it."""

    def __init__(self, where: str, values: Row) -> None:
        self.where = where
        self.values = values

    def text(self, column: str) -> str:
        """Return a text that must be there."""
        value = self.values[column]
        if not isinstance(value, str) or not value:
            raise PlanFileError(f"{self.where}: '{column}' is empty; fill it in")
        return value

    def text_or_empty(self, column: str) -> str:
        """Return a text that may be missing, such as the type of a raft nobody described."""
        value = self.values[column]
        return "" if value is None or pd.isna(value) or not value else self.text(column)

    def number_or_none(self, column: str) -> float | None:
        """Return a number, or None where the file says NULL."""
        value = self.values[column]
        if value is None or pd.isna(value):
            return None
        try:
            return float(value)
        except (TypeError, ValueError) as error:
            raise PlanFileError(
                f"{self.where}: '{column}' is {value!r}; expected a number"
            ) from error

    def number(self, column: str) -> float:
        """Return a number that must be there."""
        value = self.number_or_none(column)
        if value is None or not math.isfinite(value):
            raise PlanFileError(f"{self.where}: '{column}' is empty; fill it in")
        return value

    def areas(self) -> Any:
        """Return polygons; none where a row has no geometry, as of water that is dry."""
        geometry = self.values["geometry"]
        is_dry = geometry is None or geometry.is_empty
        return MultiPolygon() if is_dry else self.shape(MultiPolygon, "polygons")

    def shape(self, kind: type[Any], words: str) -> Any:
        """Return the geometry, which must be of a kind; a multi-part of one part counts as it."""
        geometry = self.values["geometry"]
        if kind is MultiPolygon and isinstance(geometry, Polygon):
            geometry = MultiPolygon([geometry])
        parts = shapely.get_parts(geometry) if geometry is not None else []
        if kind is not MultiPolygon and len(parts) == 1:
            geometry = parts[0]
        if not isinstance(geometry, kind) or geometry.is_empty:
            raise PlanFileError(f"{self.where}: the geometry is not {words}; draw it again")
        return shapely.force_2d(geometry)


def _rows(path: Path, layer: str, frame: Any) -> Iterator[_WrittenRow]:
    """Yield the rows of a layer, each knowing where it stands."""
    columns = {name: frame[name].tolist() for name in (*_NEEDED[layer], frame.geometry.name)}
    columns["geometry"] = columns.pop(frame.geometry.name)
    numbers = frame.index + (0 if frame.index.name == "fid" else 1)
    for index, number in enumerate(numbers):
        yield _WrittenRow(
            f"{path}, layer '{layer}', row {number}",
            {name: values[index] for name, values in columns.items()},
        )


def _written_raft(row: _WrittenRow) -> WrittenRaft:
    """Return a raft as its row states it."""
    return WrittenRaft(
        raft_id=row.text("raft_id"),
        water_id=row.text("water_id"),
        raft_type=row.text_or_empty("raft_type"),
        status=row.text("status"),
        outline=row.shape(Polygon, "one polygon"),
        length_m=row.number("length_m"),
        width_m=row.number("width_m"),
        depth_low_m=row.number_or_none("depth_low_m"),
        draft_m=row.number_or_none("draft_m"),
        freeboard_m=row.number_or_none("freeboard_m"),
        wave_height_m=row.number_or_none("wave_height_m"),
        removal_g_d=row.number_or_none("removal_g_d"),
    )


def _written_mooring(row: _WrittenRow) -> WrittenMooring:
    """Return a mooring as its row states it."""
    return WrittenMooring(
        mooring_id=row.text("mooring_id"),
        raft_id=row.text("raft_id"),
        kind=row.text("kind"),
        easting_m=row.number("easting_m"),
        northing_m=row.number("northing_m"),
        depth_high_m=row.number("depth_high_m"),
        length_m=row.number("length_m"),
        embedment_m=row.number("embedment_m"),
        load_n=row.number_or_none("load_n"),
        capacity_n=row.number_or_none("capacity_n"),
        block_kg=row.number_or_none("block_kg"),
    )


def _written_route(row: _WrittenRow) -> WrittenRoute:
    """Return a route as its row states it."""
    return WrittenRoute(
        raft_id=row.text("raft_id"),
        launch_id=row.text("launch_id"),
        sequence=int(row.number("sequence")),
        path=row.shape(LineString, "one line"),
        length_m=row.number("length_m"),
        clearance_m=row.number("clearance_m"),
        turn_before_m=row.number("turn_before_m"),
        has_room=bool(row.values["has_room"]),
        least_depth_m=row.number("least_depth_m"),
        width_m=row.number("width_m"),
        turning_m=row.number("turning_m"),
        mass_kg=row.number("mass_kg"),
        people=row.number("people"),
        brought_by=row.text("brought_by"),
        haul_n=row.number("haul_n"),
    )


def _written_mark(row: _WrittenRow) -> WrittenMark:
    """Return a mark as its row states it."""
    return WrittenMark(
        mark_id=row.text("mark_id"),
        water_id=row.text("water_id"),
        easting_m=row.number("easting_m"),
        northing_m=row.number("northing_m"),
        is_suggested=bool(row.values["is_suggested"]),
    )


def _written_tape(row: _WrittenRow) -> WrittenTape:
    """Return the tapes of a point as its row states them."""
    return WrittenTape(
        raft_id=row.text("raft_id"),
        water_id=row.text("water_id"),
        item=row.text("item"),
        easting_m=row.number("easting_m"),
        northing_m=row.number("northing_m"),
        mark_1=row.text_or_empty("mark_1"),
        mark_2=row.text_or_empty("mark_2"),
        tape_1_m=row.number_or_none("tape_1_m"),
        tape_2_m=row.number_or_none("tape_2_m"),
        crossing_deg=row.number_or_none("crossing_deg"),
        error_major_m=row.number_or_none("error_major_m"),
    )


def _written_edge(row: _WrittenRow) -> WrittenEdge:
    """Return a water's edge as its row states it."""
    return WrittenEdge(
        water_id=row.text("water_id"),
        level_name=row.text("level_name"),
        level_m=row.number("level_m"),
        outline=row.areas(),
        area_m2=row.number("area_m2"),
        volume_m3=row.number("volume_m3"),
        cover_pct=row.number("cover_pct"),
    )


def _written_why(row: _WrittenRow) -> WrittenWhyNot:
    """Return an answer why no raft lies somewhere, as its row states it."""
    return WrittenWhyNot(
        water_id=row.text("water_id"),
        rule=row.text("rule"),
        area=row.shape(MultiPolygon, "polygons"),
        area_m2=row.number("area_m2"),
    )


def _written_loads(row: _WrittenRow) -> WrittenLoads:
    """Return the loads of a water body as their row states them."""
    return WrittenLoads(
        water_id=row.text("water_id"),
        constituent=row.text("constituent"),
        is_chosen=bool(row.number("is_chosen")),
        is_relative=bool(row.number("is_relative")),
        load_in=row.number("load_in"),
        load_out_without_rafts=row.number("load_out_without_rafts"),
        load_out=row.number("load_out"),
        removed=row.number("removed"),
        removed_lowest=row.number("removed_lowest"),
        removed_highest=row.number("removed_highest"),
    )
