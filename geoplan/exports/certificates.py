"""
``certificate.tif``: the field that proves a bound again, for whoever does not trust the planner.

One GeoTIFF for each water body, in its working CRS: the price of the water, the worth of planted
area of each type, and the rooms with a price of their own. The prices are in ``plan.json``.
"""

from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from rasterio.errors import RasterioError
from rasterio.transform import Affine

from geoplan.certificate import Certificate
from geoplan.errors import writing
from geoplan.plan import AuditReport, Plan, WaterPlan
from geoplan.site import Site

FILE_NAME = "certificate.tif"
FOLDER = "certificates"


def certificate_names(count: int) -> list[str]:
    """
    Return the file of each water body, within the plan folder.

    Parameters
    ----------
    count : int
        Water bodies of the plan.

    Returns
    -------
    list of str
        A file beside ``plan.json`` for one alone; numbers in the order of the site in a folder of
        their own for several, for names of waters need not be names of files.

    Examples
    --------
    >>> certificate_names(1), certificate_names(2)
    (['certificate.tif'], ['certificates/1.tif', 'certificates/2.tif'])
    """
    if count == 1:
        return [FILE_NAME]
    return [f"{FOLDER}/{number}.tif" for number in range(1, count + 1)]


def certificate_record(water: WaterPlan, file_name: str) -> dict[str, Any] | None:
    """
    Return what ``plan.json`` says of a certificate.

    Parameters
    ----------
    water : WaterPlan
        The plan of a water body.
    file_name : str
        File of its field.

    Returns
    -------
    dict of str to Any or None
        Prices, and what the bound is made of beside the field; ``None`` without a certificate.
    """
    made = water.certificate
    if made is None:
        return None
    return {
        "file": file_name,
        "crs": water.crs,
        "basis": made.basis,
        "proven": made.proven,
        "constant": made.constant,
        "field_integral": made.field_integral,
        "tangents": [asdict(part) for part in made.tangents],
        "raft_types": list(made.raft_types),
        "raft_prices": list(made.raft_prices),
        "limits": [asdict(part) for part in made.limits],
        "rooms": [asdict(part) for part in made.rooms],
        "margin": made.margin,
        "most_rafts": made.most_rafts,
        "gap_m": made.gap_m,
    }


def write(
    plan: Plan,
    site: Site,  # noqa: ARG001 - exports are called alike
    folder: Path,
    audit: AuditReport | None,  # noqa: ARG001
) -> None:
    """
    Write the field of each water body that has one.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site it was made from.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Verdict on the plan, not used here.

    Raises
    ------
    ExportError
        If a file cannot be written.
    """
    for water, name in zip(plan.waters, certificate_names(len(plan.waters)), strict=True):
        if water.certificate is None:
            continue
        path = folder / name
        with writing(path, RasterioError):
            path.parent.mkdir(exist_ok=True)
            _write(path, water.certificate, water.crs)


def _write(path: Path, made: Certificate, crs: str) -> None:
    """Write one file: a cell round each node, north up."""
    bands = [made.field, *made.worth, made.room_at]
    words = ["price of water", *(f"worth, type {k}" for k in range(1, len(bands) - 1)), "room"]
    rows, cols = made.field.shape
    h = made.cell_size_m
    place = Affine(h, 0.0, made.west_m - h / 2, 0.0, -h, made.south_m + (rows - 0.5) * h)
    with rasterio.open(
        path, "w", driver="GTiff", width=cols, height=rows, count=len(bands), dtype="float32",
        crs=crs, transform=place, compress="deflate", predictor=3, num_threads=1,
    ) as out:  # fmt: skip
        for band, (values, name) in enumerate(zip(bands, words, strict=True), 1):
            # Every value is one of single precision already: nothing is rounded here.
            out.write(np.ascontiguousarray(values[::-1]).astype(np.float32), band)
            out.set_band_description(band, name)
