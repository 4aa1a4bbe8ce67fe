"""
``sound_next.geojson``: where one more sounding would open most room for rafts.

For a phone or a plotter on the boat, so in WGS 84 as RFC 7946 has it.
"""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from geoplan.crs import WGS84, transformed_points
from geoplan.errors import writing
from geoplan.site import Site
from geoplan.sounding_plan import SoundingPlace

FILE_NAME = "sound_next.geojson"


def write_places(places: Sequence[SoundingPlace], site: Site, folder: Path) -> Path:
    """
    Write places to sound.

    Parameters
    ----------
    places : sequence of SoundingPlace
        From ``where_to_sound``, of any of the site's water bodies.
    site : Site
        The site, for its CRSs.
    folder : Path
        Folder to write into; made where it is missing.

    Returns
    -------
    Path
        The file, an earlier one of its name replaced.

    Raises
    ------
    ExportError
        If the file cannot be written.
    """
    crs_of = {body.water_id: body.crs for body in site.water_bodies}
    record = {
        "type": "FeatureCollection",
        "features": [_feature(place, crs_of[place.water_id], site.client_crs) for place in places],
    }
    text = json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    path = folder / FILE_NAME
    with writing(path):
        folder.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text.encode())
    return path


def _feature(place: SoundingPlace, crs: str, client_crs: str) -> dict[str, Any]:
    """Return one place."""
    at = np.array([place.easting_m]), np.array([place.northing_m])
    longitude, latitude = transformed_points(*at, crs, WGS84)
    easting, northing = transformed_points(*at, crs, client_crs)
    return {
        "type": "Feature",
        "properties": {
            "water_id": place.water_id,
            "rank": place.rank,
            "gain_m2": round(place.gain_m2, 1),
            "depth_low_m": round(place.depth_low_m, 2),
            "sigma_m": round(place.sigma_m, 2) if np.isfinite(place.sigma_m) else None,
            "is_unsurveyed": place.is_unsurveyed,
            "easting_m": round(float(easting[0]), 2),
            "northing_m": round(float(northing[0]), 2),
        },
        "geometry": {
            "type": "Point",
            "coordinates": [round(float(longitude[0]), 7), round(float(latitude[0]), 7)],
        },
    }
