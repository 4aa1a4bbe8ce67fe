"""Which CRS a layer is in, and in which CRS the plan goes out; nothing is guessed unsaid."""

import math

import numpy as np
from numpy.typing import NDArray

from geoplan.crs import (
    WGS84,
    crs_name,
    is_geographic,
    is_known,
    transformed_points,
    utm_crs,
    working_crs,
)
from geoplan.readers.fault_log import FaultLog, Place, shown
from geoplan.readers.geometry import bounds_checked
from geoplan.readers.layer import Layer

FloatArray = NDArray[np.float64]

#: Largest departure from true length of a CRS that counts as one in metres [1].
SCALE_TOLERANCE = 0.02


def layer_crs(layer: Layer, site_crs: str | None, log: FaultLog) -> str | None:
    """
    Return the CRS of a layer's coordinates, having looked at every one of them.

    Parameters
    ----------
    layer : Layer
        As read.
    site_crs : str or None
        CRS of ``site.toml``, for layers that state none.
    log : FaultLog
        Takes the faults.

    Returns
    -------
    str or None
        ``None`` where there is none, or where some coordinate has no place on the globe in it.
    """
    crs = _stated_crs(layer, site_crs, log)
    if crs is None or not bounds_checked(layer, crs, log):
        return None
    coordinates, owners = layer.vertices()
    try:
        longitude, latitude = transformed_points(coordinates[:, 0], coordinates[:, 1], crs, WGS84)
    except RuntimeError as error:  # PROJ: a CRS that has heights alone, or no way to WGS 84
        log.refuse(
            layer.place(),
            f"a CRS that leads to no longitude and latitude ({shown(str(error))})",
            "a projected or geographic CRS",
            "Export the layer in another CRS.",
        )
        return None
    is_off = ~(np.isfinite(longitude) & np.isfinite(latitude) & (np.abs(latitude) <= 90))
    lost = np.unique(owners[is_off])
    log.refuse_rows(
        [layer.place(int(index)) for index in lost],
        lambda _: f"coordinates outside the range of {crs_name(crs)}",
        "coordinates in the CRS that is stated",
        "State the CRS in which they were measured.",
    )
    return None if lost.size else crs


def checked_site_crs(text: str | None, place: Place, log: FaultLog) -> str | None:
    """
    Return the CRS of ``site.toml`` where it is one.

    Parameters
    ----------
    text : str or None
        As written.
    place : Place
        The settings file.
    log : FaultLog
        Takes the fault.

    Returns
    -------
    str or None
        ``None`` where none is stated, or nobody knows it.
    """
    if text is None or _is_usable(text):
        return text
    where = Place(place.file, feature="key crs")
    log.refuse(where, f"an unknown CRS {shown(text)}", "a code such as EPSG:25832", "Correct it.")
    return None


def client_crs(
    site_crs: str | None,
    water_crs: str,
    place_deg: tuple[float, float],
    place: Place,
    log: FaultLog,
) -> str:
    """
    Return the projected CRS in which the plan is written.

    Parameters
    ----------
    site_crs, water_crs : str or None
        CRS of ``site.toml``, and of the layer ``water``.
    place_deg : tuple of float
        Longitude and latitude of the site, WGS 84 [°].
    place : Place
        The settings file.
    log : FaultLog
        Takes the fault of a CRS that is not in metres, and the note of one assumed.

    Returns
    -------
    str
        That of ``site.toml``, else of ``water``, where projected and in metres; else a UTM zone.
    """
    fallback = utm_crs(*place_deg)
    if site_crs is not None and not is_geographic(site_crs):
        ratio = _units_per_metre(site_crs, place_deg)
        if abs(ratio - 1.0) > SCALE_TOLERANCE:
            log.refuse(
                Place(place.file, feature="key crs"),
                f"{crs_name(site_crs)}, in which a metre here measures {ratio:.4g}",
                "a projected CRS in metres, true to scale at the site",
                f"Set crs to such a one, for instance {fallback}.",
            )
        return _with_code(site_crs)
    if not is_geographic(water_crs) and (
        abs(_units_per_metre(water_crs, place_deg) - 1.0) <= SCALE_TOLERANCE
    ):
        return _with_code(water_crs)
    log.remark(
        Place(place.file, feature="key crs"),
        "no projected CRS in metres for the plan",
        "crs = a code such as EPSG:25832",
        f"{crs_name(fallback)} is used.",
    )
    return fallback


def _stated_crs(layer: Layer, site_crs: str | None, log: FaultLog) -> str | None:
    """Return the CRS that the file states, else that of the site, else plain degrees."""
    remedy = 'Set crs in site.toml, such as crs = "EPSG:25832".'
    if layer.crs is not None:
        if _is_usable(layer.crs):
            return layer.crs
        found, expected = f"an unknown CRS {shown(layer.crs)}", "a CRS with an EPSG code"
        log.refuse(layer.place(), found, expected, "Export the layer again, and choose its CRS.")
        return None
    if layer.file_format == ".csv" and (site_crs is None or is_geographic(site_crs)):
        expected = "a projected CRS in site.toml for easting_m and northing_m"
        log.refuse(layer.place(), "no CRS", expected, remedy)
        return None
    return site_crs or _plain_degrees(layer, remedy, log)


def _plain_degrees(layer: Layer, remedy: str, log: FaultLog) -> str | None:
    """Return WGS 84 where coordinates can be nothing else."""
    coordinates, _ = layer.vertices()
    # Metres of a local grid may be small too: only whole layers within the globe, off its origin.
    limits = np.array([180.0, 90.0])
    is_degrees = (np.abs(coordinates) <= limits).all() and not (np.abs(coordinates) < 1.0).all()
    if coordinates.size and is_degrees and np.ptp(coordinates, axis=0).max() < 5.0:
        log.remark(layer.place(), "no CRS", "a CRS", "Taken as WGS 84 longitude and latitude [°].")
        return WGS84
    log.refuse(layer.place(), "no CRS", "a CRS in the file or in site.toml", remedy)
    return None


def _is_usable(text: str) -> bool:
    """Tell whether a text names a CRS, whatever the text."""
    try:
        return is_known(text)
    except (ValueError, TypeError, RuntimeError, AttributeError):
        return False


def _units_per_metre(crs: str, place_deg: tuple[float, float]) -> float:
    """Return the length in a CRS of a true metre at a place; infinite where it has none."""
    local = working_crs(*place_deg)
    east, north = np.array([-50.0, 50.0, 0.0, 0.0]), np.array([0.0, 0.0, -50.0, 50.0])
    try:
        first, second = transformed_points(east, north, local, crs)
    except RuntimeError:
        return math.inf
    across = math.hypot(first[1] - first[0], second[1] - second[0]) / 100.0
    along = math.hypot(first[3] - first[2], second[3] - second[2]) / 100.0
    ratio = across if abs(across - 1.0) > abs(along - 1.0) else along
    return ratio if math.isfinite(ratio) else math.inf


def _with_code(crs: str) -> str:
    """Return the authority code of a CRS where it has one, else its text."""
    name = crs_name(crs)
    return name.split(" (", 1)[0] if name.startswith(("EPSG:", "ESRI:")) else crs
