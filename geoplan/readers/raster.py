"""
Rasters of the bed and of a surface model: cropped to each water body, in its working CRS.

The bed is needed where the water is, the surface model as far round as things may shade it.
"""

import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
import shapely
from numpy.typing import NDArray
from rasterio.windows import Window

from geoplan.crs import WGS84, transformed, transformed_points
from geoplan.readers.fault_log import FaultLog, Place, shown
from geoplan.readers.vector import DECODER_ERRORS, decoder_messages
from geoplan.readers.waters import DrawnWater
from geoplan.site import BedRaster, SurfaceRaster

FloatArray = NDArray[np.float64]
#: Elevations of cells and the affine of their centres, over one water body.
Cells = tuple[FloatArray, FloatArray]
#: Speaks up about elevations that cannot be what the raster is said to hold.
Doubt = Callable[[Cells, DrawnWater, Place, FaultLog], None]

#: Cells round the water that are kept.
MARGIN_CELLS = 3
#: Largest departure of a cell from where the fitted affine puts it [cells].
FIT_LIMIT_CELLS = 0.05
#: Cells of one water body that are read at most: 200 MB of floats.
MOST_CELLS = 25_000_000
#: Land round the water that is kept of a surface model, the reach of things that shade it [m].
SURFACE_MARGIN_M = 150.0
#: By how much a surface model's water may lie off the levels before it is doubted. Judgement [m].
WATER_DOUBT_M = 1.5
#: Highest lake bed and deepest sea, with room: beyond, a value is a code for nothing [m].
LIMITS_M = (-11_500.0, 9_000.0)


def bed_rasters(
    path: Path, place: Place, site_crs: str | None, waters: Mapping[int, DrawnWater], log: FaultLog
) -> dict[int, BedRaster]:
    """
    Return the part of a bed raster that covers each water body.

    Parameters
    ----------
    path : Path
        GeoTIFF of bed elevation [m].
    place : Place
        File and layer.
    site_crs : str or None
        CRS where the file states none.
    waters : mapping of int to DrawnWater
        The water bodies by their position.
    log : FaultLog
        Takes the faults.

    Returns
    -------
    dict of int to BedRaster
        By position of the water body; none for those that the raster does not cover.
    """
    cells = _cells(path, place, site_crs, waters, (0.0, _doubt_bed), log)
    return {index: BedRaster(*part) for index, part in cells.items()}


def surface_rasters(
    path: Path, place: Place, site_crs: str | None, waters: Mapping[int, DrawnWater], log: FaultLog
) -> dict[int, SurfaceRaster]:
    """
    Return the part of a surface model over each water body and what may shade it.

    Parameters
    ----------
    path : Path
        GeoTIFF of surface elevation above the vertical datum [m].
    place : Place
        File and layer.
    site_crs : str or None
        CRS where the file states none.
    waters : mapping of int to DrawnWater
        The water bodies by their position.
    log : FaultLog
        Takes the faults.

    Returns
    -------
    dict of int to SurfaceRaster
        By position of the water body, to 150 m round it; none for those that the raster does not
        reach.
    """
    cells = _cells(path, place, site_crs, waters, (SURFACE_MARGIN_M, _doubt_surface), log)
    return {index: SurfaceRaster(*part) for index, part in cells.items()}


def say_uncovered(place: Place, log: FaultLog) -> None:
    """
    Refuse a raster that covers no water body, unless it has been refused for another reason.

    Parameters
    ----------
    place : Place
        File and layer.
    log : FaultLog
        Takes the fault.
    """
    own = [fault for fault in log.found_so_far if fault.file == place.file]
    if not any(fault.severity == "error" for fault in own):
        log.refuse(
            place,
            "a raster that covers no water body",
            f"elevations of the {place.layer} where the water is",
            "Check its CRS and its extent.",
        )


def _cells(
    path: Path,
    place: Place,
    site_crs: str | None,
    waters: Mapping[int, DrawnWater],
    kind: tuple[float, Doubt],
    log: FaultLog,
) -> dict[int, Cells]:
    """Return the cells of a raster over each water body; a kind is a margin and a doubt."""
    margin_m, doubt = kind
    out: dict[int, Cells] = {}
    try:
        with decoder_messages(place, log), rasterio.open(path, driver="GTiff") as source:
            crs = _raster_crs(source, site_crs, place, log)
            if crs is None or not _is_usable(source, place, log):
                return out
            for index, water in waters.items():
                where = Place(place.file, place.layer, f"water body '{water.water_id}'")
                cropped = _cropped(source, crs, water, margin_m, where, log)
                if cropped is not None:
                    out[index] = cropped
                    doubt(cropped, water, where, log)
    except DECODER_ERRORS as error:
        log.refuse(
            place,
            f"a raster that cannot be read ({type(error).__name__}: {shown(str(error))})",
            "a GeoTIFF",
            "Export or copy the file again.",
        )
        return {}
    return out


def _raster_crs(source: Any, site_crs: str | None, place: Place, log: FaultLog) -> str | None:
    """Return the CRS of a raster."""
    if source.crs:
        code = source.crs.to_epsg(confidence_threshold=70)
        return f"EPSG:{code}" if code else str(source.crs.to_wkt())
    if site_crs is None:
        log.refuse(place, "no CRS", "a CRS in the file or in site.toml", "Set crs in site.toml.")
    return site_crs


def _is_usable(source: Any, place: Place, log: FaultLog) -> bool:
    """Tell whether a raster has a place and plain numbers in metres."""
    if source.transform.is_identity or source.transform.determinant == 0:
        log.refuse(
            place, "no georeference", "a GeoTIFF with its place", "Export it again with its CRS."
        )
        return False
    if np.issubdtype(np.dtype(source.dtypes[0]), np.complexfloating):
        log.refuse(place, "complex numbers", "elevations", "Export the elevations.")
        return False
    unit = (source.units[0] or "").strip().lower()
    if unit not in {"", "m", "metre", "meter", "metres", "meters"}:
        log.refuse(place, f"elevations in {shown(unit)}", "metres", "Convert the raster to metres.")
        return False
    if source.count > 1:
        log.remark(place, f"{source.count} bands", "one band of elevations", "The first is used.")
    return True


def _cropped(
    source: Any, crs: str, water: DrawnWater, margin_m: float, where: Place, log: FaultLog
) -> Cells | None:
    """Return the cells over one water body, or ``None`` where there are none."""
    corners = _wanted(water, crs, margin_m)
    inverse = np.linalg.inv(_matrix(source))
    cols, rows, _ = inverse @ np.vstack([corners.T, np.ones(len(corners))])
    col0, col1 = _span(cols, source.width)
    row0, row1 = _span(rows, source.height)
    if col0 >= col1 or row0 >= row1:
        return None
    if (col1 - col0) * (row1 - row0) > MOST_CELLS:
        log.refuse(
            where,
            f"{col1 - col0} by {row1 - row0} cells",
            f"at most {MOST_CELLS} cells over one water body",
            "Resample the raster to larger cells.",
        )
        return None
    affine = _fitted(source, crs, water.crs, (col0, row0, col1, row1), where, log)
    if affine is None:
        return None
    window = Window(col0, row0, col1 - col0, row1 - row0)
    cells = source.read(1, window=window, masked=True).astype(np.float64).filled(np.nan)
    height = cells * (source.scales[0] or 1.0) + source.offsets[0]
    height[~np.isfinite(height)] = np.nan
    if np.isnan(height).all():
        return None
    return height, affine


def _wanted(water: DrawnWater, crs: str, margin_m: float) -> FloatArray:
    """Return corners round what is wanted of a raster, in its CRS."""
    if margin_m <= 0:
        wanted: FloatArray = shapely.get_coordinates(transformed(water.outline_deg, WGS84, crs))
        return wanted
    west, south, east, north = water.outline.bounds
    box = shapely.box(west - margin_m, south - margin_m, east + margin_m, north + margin_m)
    around: FloatArray = shapely.get_coordinates(
        transformed(shapely.segmentize(box, margin_m), water.crs, crs)
    )
    return around


def _matrix(source: Any) -> FloatArray:
    """Return the affine of a raster's cell corners, to coordinates of its CRS."""
    place = source.transform
    return np.array([[place.a, place.b, place.c], [place.d, place.e, place.f], [0.0, 0.0, 1.0]])


def _span(at: FloatArray, size: int) -> tuple[int, int]:
    """Return the first and last cell that some positions need, within the raster."""
    if not np.isfinite(at).all():
        return 0, 0
    first = min(max(math.floor(at.min()) - MARGIN_CELLS, 0), size)
    last = max(min(math.ceil(at.max()) + MARGIN_CELLS, size), 0)
    return first, last


def _fitted(
    source: Any,
    crs: str,
    working: str,
    window: tuple[int, int, int, int],
    place: Place,
    log: FaultLog,
) -> FloatArray | None:
    """Return the affine of cell centres in the working CRS, where one fits."""
    col0, row0, col1, row1 = window
    cols, rows = (
        part.ravel()
        for part in np.meshgrid(
            np.linspace(0.0, col1 - col0 - 1.0, 3), np.linspace(0.0, row1 - row0 - 1.0, 3)
        )
    )
    centres = np.vstack([cols + col0 + 0.5, rows + row0 + 0.5, np.ones(9)])
    first, second, _ = _matrix(source) @ centres
    easting, northing = transformed_points(first, second, crs, working)
    design = np.column_stack([cols, rows, np.ones(9)])
    target = np.column_stack([easting, northing])
    if min(col1 - col0, row1 - row0) < 2 or not np.isfinite(target).all():
        log.refuse(place, "fewer than 2 by 2 cells", "more cells", "Give a finer raster.")
        return None
    solution = np.linalg.lstsq(design, target, rcond=None)[0]
    cell_m = math.sqrt(abs(float(np.linalg.det(solution[:2]))))
    residual_cells = float(np.abs(design @ solution - target).max()) / cell_m
    if residual_cells > FIT_LIMIT_CELLS:
        log.refuse(
            place,
            f"cells up to {residual_cells:.2g} cells off an even grid in a local CRS",
            f"at most {FIT_LIMIT_CELLS:g} cells",
            "Export the raster in the UTM zone of the site.",
        )
        return None
    return np.asarray(solution.T, dtype=np.float64)


def _are_elevations(height: FloatArray, place: Place, log: FaultLog) -> bool:
    """Tell whether elevations are of this Earth; say so where they are not."""
    low, high = float(np.nanmin(height)), float(np.nanmax(height))
    if LIMITS_M[0] <= low and high <= LIMITS_M[1]:
        return True
    log.refuse(
        place,
        f"elevations from {low:g} to {high:g} m",
        f"{LIMITS_M[0]:g} to {LIMITS_M[1]:g} m",
        "Declare the value that stands for no data.",
    )
    return False


def _doubt_surface(cells: Cells, water: DrawnWater, place: Place, log: FaultLog) -> None:
    """Speak up about a surface model whose water does not lie at the levels."""
    height, affine = cells
    if not _are_elevations(height, place, log):
        return
    col, row = np.meshgrid(np.arange(height.shape[1]), np.arange(height.shape[0]))
    easting, northing = np.tensordot(affine[:, :2], np.stack([col, row]), axes=1)
    inside = shapely.contains_xy(
        water.outline, easting + affine[0, 2], northing + affine[1, 2]
    ) & np.isfinite(height)
    if not inside.any():
        return
    middle = float(np.median(height[inside]))
    low, high = water.levels.low_m - WATER_DOUBT_M, water.levels.high_m + WATER_DOUBT_M
    if not low <= middle <= high:
        log.remark(
            place,
            f"a surface of {middle:.2f} m over the water",
            f"about the water's levels, {water.levels.low_m:g} to {water.levels.high_m:g} m",
            "Check that it holds heights above the same vertical datum; sun is counted from it.",
        )


def _doubt_bed(cells: Cells, water: DrawnWater, place: Place, log: FaultLog) -> None:
    """Speak up about elevations that cannot be a bed, or not the bed of this water."""
    if not _are_elevations(cells[0], place, log):
        return
    low = float(np.nanmin(cells[0]))
    if low > water.levels.high_m:
        log.refuse(
            place,
            f"a bed from {low:g} m up, all above the high level of {water.levels.high_m:g} m",
            "a bed below the water",
            "The raster must hold heights above the vertical datum of the levels, not depths.",
        )
