"""
``draw.html``: a page on which a person without a GIS draws a site and types its numbers.

It saves one GeoJSON that ``geoplan plan`` reads as a site. Nothing is fetched unless the person
types the address of a service of map pictures.
"""

import base64
import warnings
from pathlib import Path
from typing import Any

import folium
import numpy as np
from rasterio.errors import NotGeoreferencedWarning, RasterioError

from geoplan.errors import ExportError, writing
from geoplan.exports.web_page import OfflineFigure, PageParts

FILE_NAME = "draw.html"

#: Longest side of a photo in the page [pixels].
_PHOTO_PIXELS = 2400
#: Latitude beyond which the map's own projection ends [°].
_LAST_LATITUDE_DEG = 85.0
_PARTS = PageParts(
    "drawing_assets",
    ("model.js", "sheet.js", "page.js"),
    # Map pictures are the one thing that may be fetched, when a person types where from.
    "data: https:",
)


def write_page(folder: Path, page: str) -> Path:
    """
    Write ``draw.html``.

    Parameters
    ----------
    folder : Path
        Folder to write into.
    page : str
        The page, from ``drawing_page``.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    ExportError
        If the file cannot be written.
    """
    path = folder / FILE_NAME
    with writing(path):
        path.write_bytes(page.encode())
    return path


def place_of(text: str) -> tuple[float, float]:
    """
    Return longitude and latitude from what a person typed.

    Parameters
    ----------
    text : str
        Such as ``9.53,55.70``.

    Returns
    -------
    tuple of float
        Longitude and latitude [°].

    Raises
    ------
    ExportError
        If it is no such pair.

    Examples
    --------
    >>> place_of("9.53, 55.70")
    (9.53, 55.7)
    """
    parts = text.replace(";", ",").split(",")
    try:
        longitude, latitude = (float(part) for part in parts)
    except ValueError:
        longitude = latitude = float("nan")
    if not (abs(longitude) <= 180 and abs(latitude) <= _LAST_LATITUDE_DEG):
        raise ExportError(
            f"--at {text!r}: expected longitude and latitude in degrees, such as 9.53,55.70"
        )
    return longitude, latitude


def drawing_page(name: str, at_deg: tuple[float, float] | None, image: Path | None) -> str:
    """
    Return the page.

    Parameters
    ----------
    name : str
        Name of the site, any text.
    at_deg : tuple of float or None
        Longitude and latitude of the middle of the site [°].
    image : Path or None
        Georeferenced photo to draw on.

    Returns
    -------
    str
        HTML; the same input gives the same text.

    Raises
    ------
    ExportError
        If the photo cannot be read or has no place.
    """
    record = {
        "settings": {"name": name, "cover.max_pct": 20},
        "photo": _photo(image) if image is not None else None,
    }
    longitude, latitude = at_deg or (0.0, 0.0)
    figure = OfflineFigure(f"{name}: draw the site", record, _PARTS)
    frame = folium.Map(
        location=[latitude, longitude],
        tiles=None,
        zoom_start=18 if at_deg else 2,
        attribution_control=False,
        zoom_control="bottomright",
        zoom_snap=0.5,
    )
    frame._id = "geoplan"  # folium's own ids are random, and the page must not be
    frame.add_to(figure)
    return str(figure.render())


def _photo(path: Path) -> dict[str, Any]:
    """Return a photo in the projection of the map, with the place of its edges."""
    try:
        data, bounds = _warped(path)
    except (RasterioError, OSError, ValueError) as error:
        raise ExportError(
            f"{path}: the photo cannot be used ({error}); give a GeoTIFF with a CRS"
        ) from error
    west, south, east, north = bounds
    text = base64.b64encode(data).decode()
    return {"data": f"data:image/jpeg;base64,{text}", "bounds": [[south, west], [north, east]]}


def _warped(path: Path) -> tuple[bytes, tuple[float, float, float, float]]:
    """Return a photo as JPEG in web Mercator, and its bounds in degrees."""
    import rasterio
    from rasterio.enums import Resampling
    from rasterio.io import MemoryFile
    from rasterio.vrt import WarpedVRT
    from rasterio.warp import transform_bounds

    with rasterio.open(path) as source:
        if source.crs is None:
            raise ValueError("it names no CRS")
        with WarpedVRT(source, crs="EPSG:3857", resampling=Resampling.bilinear) as photo:
            shrink = max(1.0, max(photo.width, photo.height) / _PHOTO_PIXELS)
            size = (max(1, int(photo.height / shrink)), max(1, int(photo.width / shrink)))
            bands = [1, 2, 3] if photo.count >= 3 else [1]
            pixels = photo.read(bands, out_shape=(len(bands), *size))
            bounds = transform_bounds(photo.crs, "EPSG:4326", *photo.bounds)
    pixels = _eight_bits(np.repeat(pixels, 3, axis=0) if len(bands) == 1 else pixels)
    with MemoryFile() as memory, warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)  # its place goes beside it
        with memory.open(
            driver="JPEG", height=size[0], width=size[1], count=3, dtype="uint8", QUALITY=82
        ) as out:
            out.write(pixels)
        return bytes(memory.read()), bounds


def _eight_bits(pixels: Any) -> Any:
    """Return pixels as bytes; deeper ones are stretched between their 2nd and 98th percentile."""
    if pixels.dtype == np.uint8:
        return pixels
    low, high = np.nanpercentile(pixels, [2, 98])
    share = (pixels.astype(float) - low) / max(float(high - low), 1e-9)
    return (255 * np.clip(np.nan_to_num(share), 0, 1)).astype(np.uint8)
