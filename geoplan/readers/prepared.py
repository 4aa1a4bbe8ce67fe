"""Layers as they can be used: columns known, one sound geometry in each row, in a known CRS."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from geoplan.readers.columns import tidied
from geoplan.readers.coordinates import layer_crs
from geoplan.readers.fault_log import FaultLog
from geoplan.readers.geometry import single_parts, sound_polygon
from geoplan.readers.layer import Layer, object_array
from geoplan.readers.layers import OpenedFiles
from geoplan.readers.points import Points
from geoplan.readers.waters import with_water_ids


@dataclass(frozen=True)
class LayerSummary:
    """
    What was found of a layer, for a person.

    Attributes
    ----------
    name, file : str
        Layer and file.
    crs : str
        CRS of the file's coordinates.
    count : int
        Features that can be read.
    extent : tuple of float
        West, south, east and north in that CRS [m or °].
    """

    name: str
    file: str
    crs: str
    count: int
    extent: tuple[float, float, float, float]


class Preparation:
    """
    Layers of a site on their way from its files.

    Parameters
    ----------
    files : OpenedFiles
        The files.
    site_crs : str or None
        CRS of files that state none.
    log : FaultLog
        Takes the faults.

    Attributes
    ----------
    summaries : dict of str to LayerSummary
        What was found of each layer so far.
    """

    def __init__(self, files: OpenedFiles, site_crs: str | None, log: FaultLog) -> None:
        self._files, self._site_crs, self._log = files, site_crs, log
        self.summaries: dict[str, LayerSummary] = {}

    @property
    def site_name(self) -> str:
        """Return the name of the folder in which the site lies."""
        return self._files.paths.folder.name or "."

    def whole(self, name: str) -> tuple[Layer, str] | None:
        """
        Return a layer whole.

        Parameters
        ----------
        name : str
            Layer of the site.

        Returns
        -------
        tuple of (Layer, str) or None
            With its CRS; ``None`` where there is none, or none that can be used.
        """
        layer = self._files.layer(name)
        return None if layer is None else self._prepared(layer)

    def pieces(self, name: str) -> Iterator[tuple[Layer, str]]:
        """
        Read a layer piece by piece.

        Parameters
        ----------
        name : str
            Layer of the site.

        Yields
        ------
        tuple of (Layer, str)
            Rows that can be used, with their CRS.
        """
        for piece in self._files.pieces(name):
            prepared = self._prepared(piece)
            if prepared is not None:
                yield prepared

    def _prepared(self, layer: Layer) -> tuple[Layer, str] | None:
        """Return the rows of a layer that can be used, where there are any and the CRS is known."""
        log, name = self._log, layer.name
        if not len(layer):
            note = log.refuse if name == "water" else log.remark
            note(layer.place(), "no features", "features", "Draw them, or delete the file.")
            return None
        crs = layer_crs(layer, self._site_crs, log)
        layer = tidied(layer, log)
        if name == "water":
            layer = with_water_ids(layer, log)
        layer = single_parts(layer, log)
        if crs is None or not len(layer):
            return None
        layer = _sound(layer, crs, log)
        self._count(layer, crs)
        return layer, crs

    def _count(self, layer: Layer, crs: str) -> None:
        """Add rows to the summary of their layer."""
        corners, _ = layer.vertices()
        low, high = corners.min(axis=0), corners.max(axis=0)
        before = self.summaries.get(layer.name)
        if before is None:
            before = LayerSummary(layer.name, layer.file, crs, 0, (*low.tolist(), *high.tolist()))
        low, high = np.minimum(low, before.extent[:2]), np.maximum(high, before.extent[2:])
        self.summaries[layer.name] = replace(
            before, count=before.count + len(layer), extent=(*low.tolist(), *high.tolist())
        )


def _sound(layer: Layer, crs: str, log: FaultLog) -> Layer:
    """Return the rows whose polygons are valid or could be repaired; outlines are seen later."""
    if layer.name == "water" or isinstance(layer.geometries, Points):
        return layer
    geometries = [
        sound_polygon(geometry, crs, layer.place(index), log)
        if geometry.geom_type == "Polygon"
        else geometry
        for index, geometry in enumerate(layer.geometries)
    ]
    kept = np.array([at for at, one in enumerate(geometries) if one is not None], dtype=np.int64)
    return layer.taken(kept, object_array([geometries[at] for at in kept]))
