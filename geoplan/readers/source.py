"""Which files make a site: a folder, one GeoPackage or one GeoJSON file, and their hashes."""

import difflib
import hashlib
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from geoplan.errors import SiteDataError
from geoplan.readers.fault_log import FaultLog, Place
from geoplan.site import SourceFile

#: Layers of points, lines and polygons.
VECTOR_LAYERS = (
    "water",
    "inflows",
    "outlets",
    "soundings",
    "contours",
    "shade",
    "launches",
    "keep_clear",
    "marks",
    "rafts",
)
#: Everything a site may hold.
LAYERS = (*VECTOR_LAYERS, "bed", "levels", "surface", "site")
#: Ending of a vector file -> the GDAL driver that reads it and no other; ours where empty.
DRIVERS = {
    ".gpkg": "GPKG",
    ".geojson": "",
    ".json": "",
    ".csv": "",
    ".shp": "ESRI Shapefile",
    ".fgb": "FlatGeobuf",
    ".kml": "KML",
    ".gml": "GML",
    ".gpx": "GPX",
    ".dxf": "DXF",
}
RASTERS = (".tif", ".tiff")
ARCHIVES = (".zip", ".kmz", ".7z", ".gz", ".tar", ".rar")
#: Endings of files that may hold a whole site.
_WHOLE_SITES = (".gpkg", ".geojson", ".json")
_SIDECARS = (".shx", ".dbf", ".prj", ".cpg")


@dataclass(frozen=True)
class SitePaths:
    """
    Where the parts of a site lie.

    Attributes
    ----------
    folder : Path
        Folder that holds the files.
    settings : Path or None
        File with the settings, ``None`` where the data file itself holds them.
    container : Path or None
        GeoPackage or GeoJSON file of several layers.
    layers : tuple of (str, Path)
        Layer name and file, in the order of names.
    """

    folder: Path
    settings: Path | None
    container: Path | None
    layers: tuple[tuple[str, Path], ...] = ()

    def shown(self, path: Path) -> str:
        """
        Return a path as the person knows it.

        Parameters
        ----------
        path : Path
            File of the site.

        Returns
        -------
        str
            Relative to the site.
        """
        return path.relative_to(self.folder).as_posix()


def find_site(path: Path, log: FaultLog) -> SitePaths | None:
    """
    Find the files that make a site.

    Parameters
    ----------
    path : Path
        Folder, GeoPackage or GeoJSON file.
    log : FaultLog
        Takes the faults.

    Returns
    -------
    SitePaths or None
        ``None`` where the path leads to nothing usable; a fault says why.
    """
    place = Place(path.name or str(path))
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "no usable path"
        log.refuse(
            place,
            f"a path that cannot be opened ({reason})",
            "a site folder, a GeoPackage or a GeoJSON file",
            "Check the spelling of the path.",
        )
        return None
    if stat.S_ISDIR(mode):
        return _folder_site(path, log)
    ending = path.suffix.lower()
    if stat.S_ISREG(mode) and ending in _WHOLE_SITES:
        return SitePaths(path.parent, _settings_beside(path), path)
    remedy = "Give the folder that holds the site, or its GeoPackage or GeoJSON file."
    if ending in ARCHIVES:
        remedy = "Unpack it first and give the folder."
    log.refuse(place, "a file of another kind", "a site folder, a GeoPackage or GeoJSON", remedy)
    return None


def opened(path: Path, place: Place, log: FaultLog) -> BinaryIO | None:
    """
    Open a file to read its bytes.

    Parameters
    ----------
    path : Path
        The file.
    place : Place
        Where faults are.
    log : FaultLog
        Takes the faults.

    Returns
    -------
    binary file or None
        ``None`` where it cannot be read or is empty; a fault says so.
    """
    file = None
    try:
        file = path.open("rb") if is_regular(path) else None
        if file is not None and file.peek(1):
            return file
    except OSError as error:
        _refuse_unreadable(place, error, log)
        return None
    if file is None:
        log.refuse(place, "no ordinary file", "a readable file", "Put the file itself there.")
        return None
    file.close()
    log.refuse(place, "an empty file of 0 bytes", "data", "Export or copy the file again.")
    return None


def file_bytes(path: Path, place: Place, log: FaultLog) -> bytes | None:
    """
    Read a file whole.

    Parameters
    ----------
    path : Path
        The file.
    place : Place
        Where faults are.
    log : FaultLog
        Takes the faults.

    Returns
    -------
    bytes or None
        ``None`` where it cannot be read or is empty; a fault says so.
    """
    file = opened(path, place, log)
    if file is None:
        return None
    try:
        with file:
            return file.read()
    except OSError as error:
        _refuse_unreadable(place, error, log)
        return None


def _refuse_unreadable(place: Place, error: OSError, log: FaultLog) -> None:
    """Note a file that the system does not let be read."""
    found = f"a file that cannot be read ({error.strerror})"
    log.refuse(place, found, "a readable file", "Check its permissions.")


def is_regular(path: Path) -> bool:
    """
    Tell whether a path leads to an ordinary file; a pipe would be waited on for ever.

    Parameters
    ----------
    path : Path
        Any path.

    Returns
    -------
    bool
        False also where it leads nowhere.
    """
    try:
        return stat.S_ISREG(path.stat().st_mode)
    except (OSError, ValueError):
        return False


def hashed(paths: SitePaths, files: list[Path]) -> tuple[SourceFile, ...]:
    """
    Return the files a site was read from, each with its hash.

    Parameters
    ----------
    paths : SitePaths
        The site.
    files : list of Path
        Files read; those that a Shapefile consists of are added.

    Returns
    -------
    tuple of SourceFile
        In the order of their paths.

    Raises
    ------
    SiteDataError
        If a file vanishes while it is read.
    """
    every = set(files)
    for path in files:
        if path.suffix.lower() == ".shp":
            every.update(
                other
                for other in path.parent.iterdir()
                if other.stem == path.stem and other.suffix.lower() in _SIDECARS
            )
    out = []
    for path in sorted(every):
        try:
            with path.open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            log = FaultLog()
            log.refuse(
                Place(paths.shown(path)),
                f"a file that cannot be read ({error.strerror})",
                "a file that stays while the site is read",
                "Try again when nothing else writes to the site.",
            )
            raise SiteDataError(log.faults) from error
        out.append(SourceFile(paths.shown(path), digest))
    return tuple(out)


def _settings_beside(path: Path) -> Path | None:
    """Return the settings file that lies beside a data file."""
    for name in (f"{path.stem}.toml", "site.toml"):
        if (path.parent / name).exists():
            return path.parent / name
    return None


def _folder_site(folder: Path, log: FaultLog) -> SitePaths | None:
    """Return the parts of a site folder."""
    try:
        entries = sorted(folder.iterdir())
    except OSError as error:
        log.refuse(
            Place(folder.name),
            f"a folder that cannot be read ({error.strerror})",
            "a readable folder",
            "Check its permissions.",
        )
        return None
    files = [path for path in entries if not path.name.startswith(".")]
    alone = _site_of_another_name(files)
    if alone is not None:
        return SitePaths(folder, alone.with_suffix(".toml"), alone)
    settings = next((path for path in files if path.name == "site.toml"), None)
    container = next((path for path in files if path.name.lower() == "site.gpkg"), None)
    found: dict[str, list[Path]] = {}
    for path in files:
        layer = _layer_of(path, log)
        if layer is not None:
            found.setdefault(layer, []).append(path)
    for layer, paths in found.items():
        if len(paths) > 1:
            log.refuse(
                Place(paths[1].name, layer),
                f"two files for one layer: {', '.join(path.name for path in paths)}",
                "one file for each layer",
                "Delete or rename the files that do not count.",
            )
    layers = tuple((layer, paths[0]) for layer, paths in sorted(found.items()))
    return SitePaths(folder, settings, container, layers)


def _site_of_another_name(files: list[Path]) -> Path | None:
    """Return the one file of a folder that is a site, its settings beside it, if none is 'site'."""
    if any(path.stem.lower() == "site" for path in files):
        return None
    whole = [path for path in files if path.suffix.lower() in _WHOLE_SITES]
    pairs = [path for path in whole if path.with_suffix(".toml") in files]
    return pairs[0] if len(pairs) == 1 and pairs[0].stem.lower() not in LAYERS else None


def _layer_of(path: Path, log: FaultLog) -> str | None:
    """Return the layer that a file holds; say why where a likely one is not read."""
    stem, ending = path.stem.lower(), path.suffix.lower()
    place = Place(path.name)
    if stem == "site" and ending in {".toml", ".gpkg"}:
        return None
    if ending in ARCHIVES and stem.split(".")[0] in LAYERS:
        log.refuse(place, "an archive", "the layer itself", "Unpack it first.")
    elif stem in {"bed", "surface", "levels"} and ending in (*RASTERS, ".csv"):
        return stem if (stem != "levels") == (ending in RASTERS) else None
    elif stem in VECTOR_LAYERS and ending in DRIVERS:
        return stem
    elif stem in LAYERS and ending not in (*_SIDECARS, ".toml", ".md", ".txt", ".qmd"):
        log.remark(
            place,
            f"a file of a kind that is not read ({ending or 'no ending'})",
            f"one of {', '.join(DRIVERS)}",
            "Convert it; it is not used.",
        )
    elif ending in (*DRIVERS, *RASTERS):
        near = difflib.get_close_matches(stem, LAYERS, 1, 0.7)
        meant = f"Is '{near[0]}{ending}' meant? " if near else ""
        log.remark(
            place,
            "a file whose name is no layer",
            f"one of {', '.join(LAYERS[:-2])}",
            f"{meant}It is not used.",
        )
    return None
