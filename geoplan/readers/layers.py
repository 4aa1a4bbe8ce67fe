"""The layers of a site, read from whichever files hold them."""

import difflib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from geoplan.readers.columns import clean_text
from geoplan.readers.fault_log import FaultLog, Place, shown
from geoplan.readers.geojson import geojson_layer, parsed_json
from geoplan.readers.layer import Layer, joined
from geoplan.readers.settings_file import parsed_toml, settings_from_rows
from geoplan.readers.source import VECTOR_LAYERS, SitePaths, file_bytes, is_regular, opened
from geoplan.readers.tables import table_layers
from geoplan.readers.vector import gdal_layer, gdal_layer_names, gdal_layers

#: Layer of a GeoPackage that holds settings as rows of key and value.
SETTINGS_LAYER = "site"
_CONTAINED = (*VECTOR_LAYERS, SETTINGS_LAYER)
#: Tables that desktop programs keep in a GeoPackage for themselves.
_FOREIGN = ("layer_styles", "qgis_projects")


class OpenedFiles:
    """
    Files of a site, each opened once, and the list of them.

    Parameters
    ----------
    paths : SitePaths
        Where they lie.
    log : FaultLog
        Takes the faults.

    Attributes
    ----------
    read : list of Path
        Files that were read.
    """

    def __init__(self, paths: SitePaths, log: FaultLog) -> None:
        self.paths = paths
        self.log = log
        self.read: list[Path] = []
        self._document: dict[str, Any] | None = None
        self._container_layers: tuple[str, ...] = ()
        self._open_container()

    def settings_document(self) -> tuple[dict[str, Any] | None, Place]:
        """
        Return the settings as parsed, and where they stand.

        Returns
        -------
        dict or None
            ``None`` where there are none; a fault says so.
        Place
            For faults.
        """
        path = self.paths.settings
        if path is not None:
            place = Place(self.paths.shown(path))
            data = self.bytes_of(path, place)
            return (None if data is None else parsed_toml(data, place, self.log)), place
        container = self.paths.container
        if container is not None and self._document is not None:
            place = Place(container.name)
            inside = self._document.get("site")
            if isinstance(inside, dict):
                return inside, Place(container.name, feature="member 'site'")
        elif container is not None and SETTINGS_LAYER in self._container_layers:
            place = Place(container.name, SETTINGS_LAYER)
            return self._settings_rows(container, place), place
        place = Place("site.toml")
        self.log.refuse(
            place,
            "no settings",
            "a file site.toml with name, levels and one raft",
            "Make one: geoplan start FOLDER writes a commented one.",
        )
        return None, place

    def layer(self, name: str) -> Layer | None:
        """
        Read a layer of points, lines or polygons whole.

        Parameters
        ----------
        name : str
            Layer of the site.

        Returns
        -------
        Layer or None
            ``None`` where the site has none, or none that can be read.
        """
        parts = list(self.pieces(name))
        return joined(parts) if parts else None

    def pieces(self, name: str) -> Iterator[Layer]:
        """
        Read a layer of points, lines or polygons piece by piece.

        Parameters
        ----------
        name : str
            Layer of the site.

        Yields
        ------
        Layer
            Rows in the order of the file; GeoJSON comes in one piece, for it is one document.
        """
        path = dict(self.paths.layers).get(name)
        in_container = name in self._container_layers
        if path is not None and in_container:
            self.log.refuse(
                Place(self.paths.shown(path), name),
                "a second source of a layer that site.gpkg holds too",
                "one source for each layer",
                "Delete or rename one of them.",
            )
        container = self.paths.container
        if path is not None:
            yield from self._file_pieces(name, path)
        elif in_container and container is not None:
            place = Place(container.name, name)
            if self._document is None:
                yield from gdal_layers(container, (name,), place, self.log)
            else:
                yield from _alone(self._document_layer(name, place))

    def bytes_of(self, path: Path, place: Place) -> bytes | None:
        """
        Read a file whole and remember it.

        Parameters
        ----------
        path : Path
            File of the site.
        place : Place
            For faults.

        Returns
        -------
        bytes or None
            ``None`` where it cannot be read.
        """
        data = file_bytes(path, place, self.log)
        if data is not None:
            self.read.append(path)
        return data

    def path_of(self, name: str) -> Path | None:
        """
        Return the file of a layer that is no vector layer.

        Parameters
        ----------
        name : str
            ``bed`` or ``levels``.

        Returns
        -------
        Path or None
            ``None`` where there is none.
        """
        return dict(self.paths.layers).get(name)

    def _open_container(self) -> None:
        """Find the layers of the GeoPackage or GeoJSON that holds several."""
        path = self.paths.container
        if path is None:
            return
        place = Place(path.name)
        if path.suffix.lower() == ".gpkg":
            if not is_regular(path):
                file_bytes(path, place, self.log)
                return
            names = gdal_layer_names(path, place, self.log)
            self._container_layers = tuple(name for name in names if name in _CONTAINED)
            self._say_others(names, place)
            self.read.append(path)
            return
        data = self.bytes_of(path, place)
        self._document = None if data is None else parsed_json(data, place, self.log)
        features = (self._document or {}).get("features")
        if self._document is not None and not isinstance(features, list):
            geojson_layer(self._document, place, self.log)
        self._container_layers = self._named_layers(features, place)

    def _say_others(self, names: tuple[str, ...], place: Place) -> None:
        """Note layers of a GeoPackage that are none of a site's."""
        for name in names:
            if name not in (*_CONTAINED, *_FOREIGN):
                near = difflib.get_close_matches(name.lower(), VECTOR_LAYERS, 1, 0.7)
                meant = f"Is {near[0]!r} meant? " if near else ""
                self.log.remark(
                    place,
                    f"a layer {shown(name)}",
                    f"one of {', '.join(VECTOR_LAYERS)}",
                    f"{meant}It is not used.",
                )

    def _named_layers(self, features: Any, place: Place) -> tuple[str, ...]:
        """Return the layers that features of one GeoJSON name, noting odd ones."""
        names = []
        for number, feature in enumerate(features if isinstance(features, list) else [], 1):
            name = _layer_property(feature)
            if name in VECTOR_LAYERS:
                names.append(str(name))
                continue
            self.log.refuse(
                Place(place.file, feature=f"feature {number}"),
                f"a property 'layer' that is {shown(name)}",
                f"one of {', '.join(VECTOR_LAYERS)}",
                "Say to which layer the feature belongs.",
            )
        return tuple(dict.fromkeys(names))

    def _document_layer(self, name: str, place: Place) -> Layer | None:
        """Return the features of one GeoJSON that belong to a layer, by their own numbers."""
        document = self._document or {}
        own = [at for at, one in enumerate(document["features"]) if _layer_property(one) == name]
        some = {**document, "features": [document["features"][at] for at in own]}
        inner = FaultLog()
        layer = geojson_layer(some, place, inner)
        for fault in inner.found_so_far:
            # Features were numbered within the layer; a person counts them within the file.
            number = fault.feature.removeprefix("feature ")
            feature = f"feature {own[int(number) - 1] + 1}" if number.isdecimal() else fault.feature
            where = Place(fault.file, fault.layer, feature, fault.coordinate)
            note = self.log.refuse if fault.severity == "error" else self.log.remark
            note(where, fault.found, fault.expected, fault.remedy)
        if layer is None:
            return None
        layer.rows[:] = [own[row - 1] + 1 for row in layer.rows]
        return layer

    def _file_pieces(self, name: str, path: Path) -> Iterator[Layer]:
        """Yield the layer that a file of its own holds."""
        place = Place(self.paths.shown(path), name)
        ending = path.suffix.lower()
        if ending == ".csv":
            file = opened(path, place, self.log)
            if file is not None:
                self.read.append(path)
                with file:
                    yield from table_layers(file, place, self.log)
        elif ending in {".geojson", ".json"}:
            data = self.bytes_of(path, place)
            document = None if data is None else parsed_json(data, place, self.log)
            if document is not None:
                yield from _alone(geojson_layer(document, place, self.log))
        elif not is_regular(path):
            file_bytes(path, place, self.log)
        else:
            yield from gdal_layers(path, self._gdal_names(name, path, place), place, self.log)

    def _gdal_names(self, name: str, path: Path, place: Place) -> tuple[str, ...]:
        """Return which layers of a file of GDAL's formats are meant."""
        names = gdal_layer_names(path, place, self.log)
        if not names:
            return ()
        self.read.append(path)
        # A KML file has a layer for each folder of the drawing; all are meant.
        if len(names) == 1 or path.suffix.lower() == ".kml":
            return names
        if name in names:
            return (name,)
        found = f"{len(names)} layers: {', '.join(shown(one) for one in names[:8])}"
        remedy = "Rename the one that is meant."
        self.log.refuse(place, found, f"one layer, or one named {name}", remedy)
        return ()

    def _settings_rows(self, container: Path, place: Place) -> dict[str, Any] | None:
        """Return the settings that a GeoPackage holds as rows."""
        layer = gdal_layer(container, (SETTINGS_LAYER,), place, self.log)
        if layer is None:
            return None
        if not {"key", "value"} <= set(layer.columns):
            found = f"columns {', '.join(layer.columns) or 'none'}"
            self.log.refuse(place, found, "columns key and value", "Add them.")
            return None
        keys, values = layer.columns["key"], layer.columns["value"]
        rows = [(clean_text(key), str(value)) for key, value in zip(keys, values, strict=True)]
        return settings_from_rows(rows, place, self.log)


def _alone(layer: Layer | None) -> Iterator[Layer]:
    """Yield a layer that comes in one piece, where there is one."""
    if layer is not None:
        yield layer


def _layer_property(feature: Any) -> Any:
    """Return the property ``layer`` of a feature, whatever the feature is."""
    properties = feature.get("properties") if isinstance(feature, dict) else None
    return properties.get("layer") if isinstance(properties, dict) else None
