"""
Make the layers of the invented sample sites.

Run by hand as ``python sample_sites/make_sites.py``; what it writes is kept beside it. Seeds are
fixed, so that the same files come out each time.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import contourpy
import geopandas as gpd
import numpy as np
import shapely
from invented_pond import (
    Pond,
    bank_line,
    bank_point,
    closed_curve,
    even_polygon,
    sounded,
    surveyed,
)
from layer_files import Rows, layer, write_csv, write_geojson, write_geopackage
from shapely.geometry import LineString, Point, Polygon


def elder_close(folder: Path) -> None:
    """
    Write the layers of a half-hectare pond of a new subdivision, with a forebay.

    Parameters
    ----------
    folder : Path
        Folder to write into.
    """
    crs, origin = "EPSG:25832", (519_240.0, 6_221_480.0)
    corners = [
        *((50, 2), (46, 16), (33, 26), (14, 30), (-8, 28), (-26, 24), (-38, 17), (-46, 9)),
        *((-54, 12), (-64, 9), (-68, 1), (-64, -7), (-55, -10), (-47, -6), (-40, -14)),
        *((-28, -23), (-10, -28), (8, -27), (20, -22), (32, -24), (44, -15)),
    ]
    drawn = closed_curve(corners, 2.0)
    bends = np.random.default_rng(1200).normal(0.0, 0.15, (len(drawn.exterior.coords) - 1, 2))
    outline = Polygon(shapely.get_coordinates(drawn)[:-1] + bends)
    west, north = bank_point(outline, (-68, 1)), bank_point(outline, (14, 30))
    outlet = bank_point(outline, (50, 2))
    meadow, track = bank_line(outline, (33, 26), 8.0), bank_line(outline, (-28, -23), 6.0)
    pond = Pond(
        outline,
        ((west.x, west.y, 11.0), (north.x, north.y, 7.0)),
        (outlet.x, outlet.y),
        (2.15, 2.5),
        ((LineString([(-47, -10), (-46, 13)]), 0.6),),
    )
    tree = {"crown_radius_m": 3.5, "deciduous": True, "base_m": 2.0}
    trees = [((-20, -30), 11.0), ((-8, -34), 12.5), ((6, -33), 9.0), ((-34, -24), 10.0)]
    house = shapely.box(20, 44, 33, 53)
    pipe = {"catchment_ha": 18.0, "runoff_coefficient": 0.5}
    layers: dict[str, Rows] = {
        "water": [
            {"water_id": "elder", "name": "Elder Close", "level_m": 12.0, "geometry": outline}
        ],
        "inflows": [
            {"inflow_id": "west pipe", "flow_l_s": 2.3, "peak_flow_l_s": 60.0}
            | {"pipe_diameter_m": 0.4, **pipe, "tn_mg_l": 2.1, "geometry": west},
            {"inflow_id": "north pipe", "flow_l_s": 0.9, "peak_flow_l_s": 30.0}
            | {"pipe_diameter_m": 0.3, **pipe, "catchment_ha": 7.0, "tn_mg_l": 1.8}
            | {"geometry": north},
        ],
        "outlets": [{"outlet_id": "weir", "width_m": 1.2, "sill_m": 12.0, "geometry": outlet}],
        "shade": [
            *({"height_m": height_m, **tree, "geometry": Point(at)} for at, height_m in trees),
            {"height_m": 7.5, "crown_radius_m": None, "deciduous": False, "base_m": 0.0}
            | {"geometry": house},
        ],
        "launches": [
            {"launch_id": "meadow", "slope_pct": 12.0, "carry_m": 15.0, "surface": "grass"}
            | {"vehicle": "van", "geometry": meadow},
            {"launch_id": "track", "slope_pct": 20.0, "carry_m": 40.0, "surface": "gravel"}
            | {"vehicle": "hand cart", "geometry": track},
        ],
        "keep_clear": [
            {"buffer_m": 2.0, "reason": "water main"}
            | {"geometry": LineString([(12, -40), (30, -21), (58, 9)])}
        ],
    }
    for name, rows in layers.items():
        write_geojson(layer(rows, origin, crs), folder / f"{name}.geojson")
    pegs = [bank_point(outline, near, 2.0) for near in _around(outline, 5)]
    write_csv(
        folder / "marks.csv",
        ("mark_id", "easting_m", "northing_m"),
        [
            (f"M{k}", f"{peg.x + origin[0]:.3f}", f"{peg.y + origin[1]:.3f}")
            for k, peg in enumerate(pegs, 1)
        ],
    )
    easting, northing, depth = surveyed(
        pond, (5.5, 4.0, 2.0), 0.04, [row["geometry"] for row in layers["launches"]], 20260514
    )
    write_csv(
        folder / "soundings.csv",
        ("easting_m", "northing_m", "depth_m"),
        [
            (f"{e + origin[0]:.2f}", f"{n + origin[1]:.2f}", f"{d:.2f}")
            for e, n, d in zip(easting, northing, depth, strict=True)
        ],
    )


def _around(outline: Polygon, count: int) -> list[tuple[float, float]]:
    """Return places at even steps round a pond."""
    ring = outline.exterior
    steps = [ring.interpolate((k + 0.4) / count, normalized=True) for k in range(count)]
    return [(at.x, at.y) for at in steps]


def holm_lake(folder: Path) -> None:
    """
    Write the layers of an eight-hectare lake with an island and a narrows.

    Parameters
    ----------
    folder : Path
        Folder to write into.
    """
    crs, origin, level_m = "EPSG:32616", (347_300.0, 5_023_900.0), 441.80
    corners = [
        *((268, 20), (250, 92), (190, 124), (120, 108), (66, 58), (18, 24), (-24, 44)),
        *((-78, 100), (-150, 122), (-214, 84), (-236, 12), (-206, -66), (-140, -104)),
        *((-66, -84), (-26, -36), (14, -20), (56, -40), (112, -92), (188, -104), (246, -56)),
    ]
    island = [(22, 2), (10, 17), (-10, 14), (-24, 1), (-12, -13), (9, -15)]
    shore = closed_curve(corners, 5.0)
    holm = shapely.transform(closed_curve(island, 3.0), lambda at: at + np.array([-130.0, 10.0]))
    outline = Polygon(shore.exterior, [holm.exterior])
    west, south = bank_point(shore, (-236, 12)), bank_point(shore, (112, -92))
    outlet = bank_point(shore, (268, 20))
    pond = Pond(
        outline,
        ((west.x, west.y, 30.0), (south.x, south.y, 22.0)),
        (outlet.x, outlet.y),
        (3.0, 3.8),
        ((LineString([(-4, -60), (-4, 60)]), 2.3),),
    )
    ramp, beach = bank_line(shore, (190, 124), 8.0), bank_line(shore, (-150, 122), 12.0)
    easting, northing, depth = surveyed(pond, (17.0, 12.0, 3.0), 0.06, (ramp, beach), 20260603)
    layers: dict[str, Rows] = {
        "water": [
            {"water_id": "holm", "name": "Holm Lake", "level_m": level_m, "geometry": outline}
        ],
        "soundings": [
            {"depth_ft": float(feet), "geometry": Point(e, n)}
            for e, n, feet in zip(easting, northing, np.round(depth / 0.3048, 1), strict=True)
        ],
        "contours": _contours(pond, level_m, 1.0),
        "inflows": [
            {"inflow_id": "mill brook", "flow_l_s": 45.0, "peak_flow_l_s": 420.0, "tn_mg_l": 1.6}
            | {"geometry": LineString([(-330, 40), (-290, 22), (west.x, west.y)])},
            {"inflow_id": "south ditch", "flow_l_s": 18.0, "peak_flow_l_s": 160.0, "tn_mg_l": 3.4}
            | {"geometry": LineString([(98, -190), (116, -140), (south.x, south.y)])},
        ],
        "outlets": [
            {"outlet_id": "weir", "width_m": 3.5, "sill_m": level_m}
            | {"geometry": bank_line(shore, (outlet.x, outlet.y + 4), 3.5)}
        ],
        "launches": [
            {"launch_id": "boat ramp", "slope_pct": 14.0, "carry_m": 5.0, "surface": "concrete"}
            | {"vehicle": "trailer", "geometry": ramp},
            {"launch_id": "west beach", "slope_pct": 9.0, "carry_m": 30.0, "surface": "sand"}
            | {"vehicle": "tractor", "geometry": beach},
        ],
        "keep_clear": [
            {"buffer_m": 10.0, "reason": "swimming beach", "geometry": Point(-120, 104)},
            {"buffer_m": 6.0, "reason": "boat lane"}
            | {"geometry": LineString([(186, 116), (150, 40), (40, 4), (-40, 8), (-90, 50)])},
        ],
        "marks": [
            {"mark_id": f"H{k}", "geometry": bank_point(shore, near, 3.0)}
            for k, near in enumerate(_around(shore, 8), 1)
        ],
        "rafts": [
            {"raft_id": f"old {k}", "geometry": shapely.box(e, -38, e + 5, -35.5)}
            for k, e in ((1, -180.0), (2, -171.0))
        ],
    }
    write_geopackage(
        folder / "site.gpkg", {name: layer(rows, origin, crs) for name, rows in layers.items()}
    )
    write_csv(folder / "levels.csv", ("time", "level_m"), _three_years(level_m, 0.47, 0.37))


def _three_years(level_m: float, fall_m: float, rise_m: float) -> list[tuple[str, str]]:
    """Return a level each day: high in spring, low in autumn, and weather that lasts for days."""
    days = np.arange("2023-01-01", "2026-01-01", dtype="datetime64[D]")
    season = np.sin(2 * np.pi * (np.arange(len(days)) - 10.0) / 365.25)
    rng = np.random.default_rng(441)
    weather = np.zeros(len(days))
    for day, shock in enumerate(rng.normal(0.0, 0.02, len(days) - 1), 1):
        weather[day] = 0.92 * weather[day - 1] + shock
    level = level_m + np.where(season > 0, rise_m, fall_m) * season + weather
    return [(str(day), f"{at:.2f}") for day, at in zip(days, level, strict=True)]


def _contours(pond: Pond, level_m: float, step_m: float) -> list[dict[str, Any]]:
    """Return contours of the bed at even steps below the water's edge."""
    west, south, east, north = pond.outline.bounds
    eastings, northings = np.arange(west, east, 2.0), np.arange(south, north, 2.0)
    grid = np.meshgrid(eastings, northings)
    depth = pond.depth_m(*(part.ravel() for part in grid)).reshape(grid[0].shape)
    generator = contourpy.contour_generator(eastings, northings, depth)
    rows = []
    for depth_m in np.arange(step_m, depth.max(), step_m):
        for points in generator.lines(float(depth_m)):
            line = LineString(points).simplify(0.5)
            if line.length > 20.0:
                rows.append({"bed_m": round(level_m - float(depth_m), 2), "geometry": line})
    return rows


@dataclass(frozen=True)
class DistrictPond:
    """
    One pond of the district.

    Attributes
    ----------
    number : int
        From 1.
    area_m2 : float
        Area of its outline [m²].
    level_m : float
        Normal level [m].
    floor_m : float
        Depth of its floor [m].
    """

    number: int
    area_m2: float
    level_m: float
    floor_m: float

    @property
    def water_id(self) -> str:
        """Return the number that the district keeps it under."""
        return f"V{self.number:02d}"

    @property
    def has_soundings(self) -> bool:
        """Tell whether anyone has been out with a pole."""
        return self.number not in {14, 31}

    @property
    def has_inflow(self) -> bool:
        """Tell whether a pipe is known."""
        return self.number != 28


def district(folder: Path) -> None:
    """
    Write a GeoPackage with forty ponds of one authority.

    Parameters
    ----------
    folder : Path
        Folder to write into.
    """
    crs, count = "EPSG:25832", 40
    rng = np.random.default_rng(40)
    areas = rng.permutation(np.geomspace(300.0, 15_000.0, count))
    shallow = set(rng.choice(count, 7, replace=False).tolist())
    layers: dict[str, list[gpd.GeoDataFrame]] = {}
    for k in range(count):
        origin = (
            502_000.0 + 700.0 * (k % 8) + float(np.round(rng.uniform(-150, 150), 1)),
            6_196_000.0 + 800.0 * (k // 8) + float(np.round(rng.uniform(-150, 150), 1)),
        )
        floor_m = rng.uniform(0.7, 1.2) if k in shallow else rng.uniform(2.0, 3.0)
        level_m = float(np.round(rng.uniform(18.0, 46.0), 2))
        one = DistrictPond(k + 1, float(areas[k]), level_m, float(floor_m))
        for name, rows in _district_rows(one, rng).items():
            if rows:
                layers.setdefault(name, []).append(layer(rows, origin, crs))
    write_geopackage(
        folder / "district.gpkg",
        {
            name: gpd.GeoDataFrame(
                {
                    column: [value for frame in frames for value in frame[column]]
                    for column in frames[0].columns
                },
                geometry="geometry",
                crs=crs,
            )
            for name, frames in layers.items()
        },
    )


def _district_rows(one: DistrictPond, rng: np.random.Generator) -> dict[str, Rows]:
    """Return what is known of one pond of the district, by layer."""
    radius_m = np.sqrt(one.area_m2 / np.pi)
    angle = np.linspace(0.0, 2 * np.pi, 360, endpoint=False)
    radius = np.ones(360)
    for wave in (2, 3, 4):
        radius += rng.uniform(0.05, 0.30 / wave) * np.cos(wave * angle + rng.uniform(0, 2 * np.pi))
    curve = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    curve *= np.sqrt(one.area_m2 / Polygon(curve).area)
    outline = even_polygon(curve, 2.0)
    turn = rng.uniform(0, 2 * np.pi)
    far = 2.0 * radius_m * np.array([np.cos(turn), np.sin(turn)])
    inlet, outlet = bank_point(outline, (far[0], far[1])), bank_point(outline, (-far[0], -far[1]))
    pond = Pond(
        outline,
        ((inlet.x, inlet.y, 0.25 * radius_m),),
        (outlet.x, outlet.y),
        (0.9 * one.floor_m, one.floor_m),
    )
    step_m = max(2.5, float(radius_m) / 6.0)
    easting, northing, depth = sounded(pond, 1.25 * step_m, step_m, 0.05, rng)
    flow_l_s = round(one.area_m2 / 1500.0, 2)
    bank = bank_line(outline, (far[1], -far[0]), 5.0)
    return {
        "water": [
            {"water_id": one.water_id, "name": f"Vestre {one.number}", "level_m": one.level_m}
            | {"low_m": round(one.level_m - 0.3, 2), "normal_m": one.level_m}
            | {"high_m": round(one.level_m + 0.4, 2), "geometry": outline}
        ],
        "inflows": [
            {"inflow_id": f"{one.water_id} in", "flow_l_s": flow_l_s}
            | {"peak_flow_l_s": round(8 * flow_l_s, 1), "pipe_diameter_m": 0.4, "geometry": inlet}
        ][: int(one.has_inflow)],
        "outlets": [{"outlet_id": f"{one.water_id} out", "width_m": 0.8, "geometry": outlet}],
        "soundings": [
            {"depth_m": float(d), "geometry": Point(e, n)}
            for e, n, d in zip(easting, northing, depth, strict=True)
        ]
        if one.has_soundings
        else [],
        "launches": [
            {"launch_id": f"{one.water_id} bank", "slope_pct": 15.0, "carry_m": 20.0}
            | {"surface": "grass", "vehicle": ("tractor", "none")[one.number % 9 == 0]}
            | {"geometry": bank}
        ],
    }


def main(root: Path) -> None:
    """
    Write the layers of every sample site.

    Parameters
    ----------
    root : Path
        Folder of the sample sites.
    """
    for name, make in (
        ("elder_close", elder_close),
        ("holm_lake", holm_lake),
        ("vestre_district", district),
    ):
        folder = root / name
        folder.mkdir(exist_ok=True)
        make(folder)
        size_kb = sum(path.stat().st_size for path in folder.iterdir()) / 1000
        print(f"{name}: {size_kb:.0f} kB")


if __name__ == "__main__":
    main(Path(__file__).resolve().parent)
