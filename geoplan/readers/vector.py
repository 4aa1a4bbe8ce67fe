"""
Layers read through GDAL with pyogrio; where a record is bad, fiona shows which and why.

Each file is opened by the one driver of its ending, so that no file can pass for another kind
and lead GDAL elsewhere. pyogrio comes first because fiona 1.10 can end the whole process on the
error message of a damaged GeoPackage. What GDAL has to say on the way becomes a warning.
"""

import json
import logging
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import fiona
import fiona.drvsupport
import numpy as np
import pyogrio
import pyogrio.raw
import shapely
from fiona._err import CPLE_BaseError
from fiona.errors import FionaError
from numpy.typing import NDArray
from shapely import GeometryType

from geoplan.crs import WGS84
from geoplan.readers.fault_log import FaultLog, Place, shown
from geoplan.readers.geojson import GeometryFaultError, geometry_from
from geoplan.readers.layer import Layer, joined, object_array
from geoplan.readers.points import AT_A_TIME, Geometries, Points
from geoplan.readers.source import DRIVERS

#: Bytes at the start of a file in which GDAL looks for the marks of its formats.
_HEAD_BYTES = 65536
#: Everything that a decoder is known to raise on a file that is not what it should be.
DECODER_ERRORS = (
    FionaError,
    CPLE_BaseError,
    shapely.errors.ShapelyError,
    OSError,
    ValueError,
    TypeError,
    RuntimeError,
    LookupError,
    AttributeError,
    ArithmeticError,
    MemoryError,
)
_FIRST_BYTES = {
    ".gpkg": (b"SQLite format 3\0",),
    ".fgb": (b"fgb",),
    ".shp": (b"\0\0\x27\x0a",),
    ".kml": (b"<", b"\xef\xbb\xbf<"),
    ".gml": (b"<", b"\xef\xbb\xbf<"),
    ".gpx": (b"<", b"\xef\xbb\xbf<"),
}
#: Layers of a file by format, where the format settles which is meant.
_ONLY_LAYER = {".gpx": "waypoints", ".dxf": "entities"}
#: Formats whose coordinates are longitude and latitude by definition.
_GEOGRAPHIC = (".kml", ".gpx")

fiona.drvsupport.supported_drivers["KML"] = "r"


@contextmanager
def decoder_messages(place: Place, log: FaultLog) -> Iterator[None]:
    """
    Turn what decoders warn and log into warnings of the site.

    Parameters
    ----------
    place : Place
        File and layer being read.
    log : FaultLog
        Takes the warnings.

    Yields
    ------
    None
        Nothing.
    """
    heard = _Heard()
    loggers = [logging.getLogger(name) for name in ("fiona", "rasterio", "pyogrio")]
    before = [logger.propagate for logger in loggers]
    hook = sys.unraisablehook
    for logger in loggers:
        logger.addHandler(heard)
        logger.propagate = False
    # fiona fails inside its own error handler where a file's bytes stand in GDAL's message.
    sys.unraisablehook = heard.unraisable
    try:
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            yield
    finally:
        sys.unraisablehook = hook
        for logger, propagate in zip(loggers, before, strict=True):
            logger.removeHandler(heard)
            logger.propagate = propagate
    texts = [*heard.texts, *(str(warning.message) for warning in caught)]
    # Fields of kinds that no layer of a site has, such as the lists in every DXF file.
    texts = [text for text in texts if not text.startswith("Skipping field")]
    for text in sorted(set(texts))[:3]:
        log.remark(place, f"a remark of the file's reader: {shown(text)}", "none", "Check it.")


class _Heard(logging.Handler):
    """Keeps what a logger was told."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.texts: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        """Keep a message."""
        self.texts.append(record.getMessage())

    def unraisable(self, problem: Any) -> None:
        """Keep what a decoder could not raise."""
        self.texts.append(f"{type(problem.exc_value).__name__} in its own error handler")


def gdal_layer_names(path: Path, place: Place, log: FaultLog) -> tuple[str, ...]:
    """
    Return the layers of a file.

    Parameters
    ----------
    path : Path
        File with one of the endings that GDAL reads here.
    place : Place
        Where faults are.
    log : FaultLog
        Takes the faults.

    Returns
    -------
    tuple of str
        Empty where the file cannot be read; a fault says why.
    """
    if not _starts_as_it_should(path, place, log):
        return ()
    ending = path.suffix.lower()
    if ending in _ONLY_LAYER:
        return (_ONLY_LAYER[ending],)
    try:
        with decoder_messages(place, log):
            if ending == ".gml":  # listing its layers would leave a file beside it
                return (str(pyogrio.read_info(path, **_options(ending))["layer_name"]),)
            return tuple(str(name) for name, _ in pyogrio.list_layers(path))
    except DECODER_ERRORS as error:
        _unreadable(place, error, log)
        return ()


def gdal_layer(path: Path, names: tuple[str, ...], place: Place, log: FaultLog) -> Layer | None:
    """
    Read layers of a file as one layer of the site.

    Parameters
    ----------
    path : Path
        The file.
    names : tuple of str
        Its layers to read, one after the other.
    place : Place
        File and layer of the site.
    log : FaultLog
        Takes the faults, each with its record.

    Returns
    -------
    Layer or None
        ``None`` where nothing can be read.
    """
    parts = list(gdal_layers(path, names, place, log))
    return joined(parts) if parts else None


def gdal_layers(path: Path, names: tuple[str, ...], place: Place, log: FaultLog) -> Iterator[Layer]:
    """
    Yield layers of a file as one layer of the site, piece by piece; no more of it is held.

    Parameters
    ----------
    path : Path
        The file.
    names : tuple of str
        Its layers to read, one after the other.
    place : Place
        File and layer of the site.
    log : FaultLog
        Takes the faults, each with its record.

    Yields
    ------
    Layer
        Records in the order of the file, numbered through all of its layers.
    """
    begin = 0
    for name in names:
        skip, is_last = 0, False
        while not is_last:
            try:
                with decoder_messages(place, log):
                    layer, count = _read(path, name, (skip, begin), place, log)
            except DECODER_ERRORS as error:
                _unreadable(place, error, log)
                break
            if len(layer) or not skip:
                yield layer
            skip, begin, is_last = skip + count, begin + count, count < AT_A_TIME


def _read(
    path: Path, name: str, first: tuple[int, int], place: Place, log: FaultLog
) -> tuple[Layer, int]:
    """
    Read some records of one layer of a file, noting each that cannot be read, and count them.

    The first one is told by those before it in that layer, and in the file.
    """
    ending, (skip, begin) = path.suffix.lower(), first
    driver = pyogrio.read_info(path, layer=name, **_options(ending))["driver"]
    if driver.removeprefix("LIB") != DRIVERS[ending]:  # GDAL reads KML in two ways
        raise ValueError(f"a file of the kind {driver}")
    meta, _, encoded, fields = pyogrio.raw.read(
        path, layer=name, skip_features=skip, max_features=AT_A_TIME, **_options(ending)
    )
    if encoded is None:  # a table without geometries
        encoded = object_array([None] * (len(fields[0]) if fields else 0))
    geometries, is_bad = _decoded(encoded)
    if is_bad.any():
        _say_bad(path, name, set((skip + np.flatnonzero(is_bad)).tolist()), place, log)
    kept = np.flatnonzero(~is_bad)
    columns = {
        str(field): _listed(values[kept])
        for field, values in zip(meta["fields"], fields, strict=True)
    }
    crs, rows = WGS84 if ending in _GEOGRAPHIC else meta["crs"], begin + kept + 1
    layer = Layer(place.layer, place.file, crs, geometries, columns, rows, file_format=ending)
    return layer, len(encoded)


def _decoded(encoded: NDArray[Any]) -> tuple[Geometries, NDArray[np.bool_]]:
    """Return the geometries that can be built, and which records have one that cannot."""
    points = _plain_points(encoded)
    if points is not None:
        return points, np.zeros(len(points), dtype=bool)
    built = shapely.from_wkb(encoded, on_invalid="ignore")
    is_bad = shapely.is_missing(built) & np.array([one is not None for one in encoded], bool)
    return built[~is_bad], is_bad


def _plain_points(encoded: NDArray[Any]) -> Points | None:
    """Return plain points by their coordinates; none where any is something else."""
    some = shapely.from_wkb(encoded, on_invalid="ignore")
    is_plain = (shapely.get_type_id(some) == GeometryType.POINT) & ~shapely.has_z(some)
    if not is_plain.all() or shapely.is_empty(some).any():
        return None
    coordinates = shapely.get_coordinates(some)
    return Points(coordinates) if np.isfinite(coordinates).all() else None


def _options(ending: str) -> dict[str, str]:
    """Return the options with which GDAL leaves nothing beside the file."""
    return {"WRITE_GFS": "NO"} if ending == ".gml" else {}


def _say_bad(path: Path, name: str, bad: set[int], place: Place, log: FaultLog) -> None:
    """Note in words what is wrong with records whose geometry cannot be built."""
    driver = DRIVERS[path.suffix.lower()]
    with fiona.open(path, layer=name, enabled_drivers=[driver]) as source:
        for index, feature in enumerate(source):
            if index not in bad:
                continue
            found, expected = "a geometry that cannot be read", "points, lines or polygons"
            try:
                geometry_from(json.loads(json.dumps(feature.geometry.__geo_interface__)))
            except GeometryFaultError as error:
                found, expected = error.found, error.expected
            log.refuse(
                Place(place.file, place.layer, f"feature {index + 1}"),
                found,
                expected,
                "Draw the feature again, or delete it.",
            )


def _listed(values: Any) -> list[Any]:
    """Return a column of an array as a list, times as text."""
    if np.issubdtype(values.dtype, np.datetime64):
        texts: list[Any] = np.datetime_as_string(values).tolist()
        return [None if text == "NaT" else text for text in texts]
    out: list[Any] = values.tolist()
    return out


def _starts_as_it_should(path: Path, place: Place, log: FaultLog) -> bool:
    """Tell whether a file's first bytes are those of its kind, and say so where not."""
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD_BYTES)
    except OSError as error:
        _unreadable(place, error, log)
        return False
    wanted = _FIRST_BYTES.get(path.suffix.lower(), (b"",))
    is_led_elsewhere = b"<OGRVRT" in head  # GDAL would follow it to whatever it names
    if head and head.lstrip().startswith(wanted) and not is_led_elsewhere:
        return True
    found = (
        "an empty file of 0 bytes" if not head else f"a file that starts with {shown(head[:12])}"
    )
    log.refuse(
        place,
        found,
        f"a file of the kind that {path.suffix.lower()} stands for",
        "Export or copy the file again.",
    )
    return False


def _unreadable(place: Place, error: BaseException, log: FaultLog) -> None:
    """Note that a file cannot be read."""
    log.refuse(
        place,
        f"a file that cannot be read ({type(error).__name__}: {shown(str(error))})",
        "a readable file of the kind that its ending stands for",
        "Export or copy the file again.",
    )
