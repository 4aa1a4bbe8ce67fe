"""
From a site's files to a checked ``Site``; every fault of a file is met here.

A site is a folder, one GeoPackage or one GeoJSON file. Nothing is mended unseen: what is
repaired, ignored or assumed stands in the site's notes.
"""

from dataclasses import dataclass
from pathlib import Path

from geoplan.errors import Fault, SiteDataError
from geoplan.readers.assembly import Reading, Taking, read_all
from geoplan.readers.check import sounding_places, summary_lines
from geoplan.readers.soundings import stray_fixes
from geoplan.site import Site
from geoplan.sounding_plan import SoundingPlace

__all__ = ["CheckResult", "check_site", "read_site", "stray_fixes"]


@dataclass(frozen=True)
class CheckResult:
    """
    What a check of a site found.

    Attributes
    ----------
    site : Site or None
        The site; ``None`` where a fault stops it.
    faults : tuple of Fault
        Errors, then warnings.
    summary : tuple of str
        What is there, in lines for a person.
    sound_next : tuple of SoundingPlace
        Where one more sounding would open most room for rafts, by water body.
    """

    site: Site | None
    faults: tuple[Fault, ...]
    summary: tuple[str, ...]
    sound_next: tuple[SoundingPlace, ...] = ()


def read_site(path: Path, taking: Taking = tuple) -> Site:
    """
    Read a site.

    Parameters
    ----------
    path : Path
        Folder, GeoPackage or GeoJSON file.
    taking : callable
        Takes the water bodies one after the other and returns the sequence that the site has of
        them: a tuple, or one that lays them down on disk.

    Returns
    -------
    Site
        Checked; what was repaired, ignored or assumed stands in its ``notes``.

    Raises
    ------
    SiteDataError
        If any fault stops the plan; it carries every fault found, warnings included.
    """
    reading = read_all(Path(path), taking)
    if reading.site is None:
        raise SiteDataError(reading.faults)
    return reading.site


def check_site(path: Path, *, sound_all: bool = False) -> CheckResult:
    """
    Read a site and say what is there and what is wrong, without raising for any input.

    Parameters
    ----------
    path : Path
        Folder, GeoPackage or GeoJSON file.
    sound_all : bool
        Look for places to sound even in a site of many water bodies, which takes about a second
        for each.

    Returns
    -------
    CheckResult
        Site where there is one, faults and a summary.
    """
    try:
        reading = read_all(Path(path))
    except SiteDataError as error:
        reading = Reading()
        reading.log.found_so_far.extend(error.faults)
    places = sounding_places(reading.site, sound_all=sound_all)
    summary = summary_lines(reading.site, tuple(reading.layers), places)
    return CheckResult(reading.site, reading.faults, summary, places or ())
