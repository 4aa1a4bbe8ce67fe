"""
Districts drawn from a seed: water bodies as they are found, with what is known of them.

Sizes are log-normal from 50 m² to 20 ha, or all alike; some have islands; of each layer a share is
missing. Water bodies lie on a shaken lattice, so that none overlap. Everything is invented.
"""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from pyproj import Transformer

_CRS = "EPSG:25832"
_ORIGIN_M = (520_000.0, 6_220_000.0)
_RAFTS = (
    {"name": "four by two", "length_m": 4.0, "width_m": 2.4, "cost": 450.0, "root_depth_m": 0.6},
    {"name": "three by three", "length_m": 3.0, "width_m": 3.0, "cost": 400.0, "root_depth_m": 0.5},
    {"name": "six by two", "length_m": 6.0, "width_m": 2.0, "cost": 560.0, "root_depth_m": 0.6},
    {"name": "eight by three", "length_m": 8.0, "width_m": 3.0, "cost": 980.0, "root_depth_m": 0.7},
    {"name": "two by two", "length_m": 2.0, "width_m": 2.0, "cost": 240.0, "root_depth_m": 0.4},
)


@dataclass(frozen=True)
class Recipe:
    """What a district is like."""

    ponds: int
    seed: int = 0
    area_m2: float | None = None  # all of this size; else log-normal round 2,500 m²
    types: int = 1
    stock_each: float = 2.0  # rafts of all types for each pond
    islands: float = 0.15
    unsounded: float = 0.12  # shares of ponds for which a layer is missing
    no_inflow: float = 0.15
    no_outlet: float = 0.1
    no_shade: float = 0.4
    no_launch: float = 0.3
    mobilisation_cost: float = 0.0
    least_cover_pct: float = 0.0  # what every pond must have; zero: none need have any


def complete(ponds: int, seed: int = 0) -> Recipe:
    """Ponds of 0.3 ha of which everything is known."""
    return Recipe(ponds, seed, 3000.0, 1, 2.0, 0.1, 0.0, 0.0, 0.0, 0.2, 0.0)


def write_district(recipe: Recipe, folder: Path) -> Path:
    """Write the layers and settings of a district; return the site folder."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(recipe.seed)
    sizes = _sizes(recipe, rng)
    layers: dict[str, list[dict[str, Any]]] = {}
    side = int(np.ceil(np.sqrt(recipe.ponds)))
    pitch = 1.5 * float(np.sqrt(sizes.max())) * 2.0 + 150.0
    to_degrees = Transformer.from_crs(_CRS, "EPSG:4326", always_xy=True)
    soundings = ["easting_m,northing_m,depth_m"]
    for k, size in enumerate(sizes):
        centre = np.array([k % side, k // side]) * pitch + _ORIGIN_M + rng.uniform(-30, 30, 2)
        _pond(recipe, rng, k, float(size), centre, layers, soundings, to_degrees)
    for name, features in layers.items():
        text = json.dumps({"type": "FeatureCollection", "features": features})
        (folder / f"{name}.geojson").write_text(text, encoding="utf-8")
    (folder / "soundings.csv").write_text("\n".join(soundings) + "\n", encoding="utf-8")
    (folder / "site.toml").write_text(_settings(recipe), encoding="utf-8")
    return folder


def _sizes(recipe: Recipe, rng: np.random.Generator) -> np.ndarray:
    """Areas of the ponds [m²]."""
    if recipe.area_m2 is not None:
        return np.full(recipe.ponds, recipe.area_m2)
    return np.clip(rng.lognormal(np.log(2500.0), 1.2, recipe.ponds), 50.0, 200_000.0)


def _pond(
    recipe: Recipe,
    rng: np.random.Generator,
    k: int,
    size: float,
    centre: np.ndarray,
    layers: dict[str, list[dict[str, Any]]],
    soundings: list[str],
    to_degrees: Transformer,
) -> None:
    """Add one pond with what is known of it."""
    shore = _shore(rng, size, recipe.islands)
    bank = shapely.get_coordinates(shore.exterior)

    def add(layer: str, geometry: Any, **columns: Any) -> None:
        moved = shapely.transform(
            geometry, lambda at: np.column_stack(to_degrees.transform(*(at + centre).T))
        )
        layers.setdefault(layer, []).append(
            {
                "type": "Feature",
                "properties": columns,
                "geometry": json.loads(shapely.to_geojson(moved)),
            }
        )

    corners = len(bank) - 1

    def on_bank() -> shapely.Point:
        return shapely.Point(*bank[int(rng.integers(corners))])

    least = {"wanted": "must", "min_cover_pct": recipe.least_cover_pct}
    terms = least if recipe.least_cover_pct else {}
    add("water", shore, water_id=f"w{k:05d}", level_m=10.0, ward=f"ward {k % 4}", **terms)
    entry = 0
    if rng.random() >= recipe.no_inflow:
        flow = round(float(rng.lognormal(np.log(size / 1000.0), 0.8)), 3)
        pipe = {"pipe_diameter_m": 0.3, "peak_flow_l_s": min(10 * flow, 40.0)}
        load = {"flow_l_s": flow, "tn_mg_l": round(float(rng.uniform(1, 4)), 2)}
        entry = int(rng.integers(corners))
        add("inflows", shapely.Point(*bank[entry]), inflow_id=f"in{k}", **load, **pipe)
    if rng.random() >= recipe.no_outlet:
        # A quarter of the shore away or more: water does not leave where it enters.
        outlet = (entry + corners // 4 + int(rng.integers(corners)) % (corners // 2 + 1)) % corners
        add("outlets", shapely.Point(*bank[outlet]), outlet_id=f"out{k}", width_m=0.8)
    if rng.random() >= recipe.no_launch:
        add("launches", on_bank(), launch_id=f"slip{k}")
    if rng.random() >= recipe.no_shade:
        for _ in range(int(rng.integers(1, 6))):
            far = on_bank()
            at = shapely.Point(far.x * 1.15, far.y * 1.15)
            add("shade", at, height_m=round(rng.uniform(5, 15), 1), crown_radius_m=3.0)
    if rng.random() >= recipe.unsounded:
        _sound(rng, shore, size, centre, soundings)


def _shore(rng: np.random.Generator, size: float, islands: float) -> shapely.Polygon:
    """A shore of random lobes, perhaps with an island."""
    angle = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    bumps = sum(
        rng.normal(0, 0.18 / k) * np.cos(k * angle + rng.uniform(0, 6)) for k in range(2, 5)
    )
    distance = np.clip(1 + bumps, 0.5, 1.6)
    shore = shapely.Polygon(np.column_stack([distance * np.cos(angle), distance * np.sin(angle)]))
    if rng.random() < islands:
        shore = shore.difference(shapely.Point(*rng.uniform(-0.3, 0.3, 2)).buffer(0.12, 6))
    scale = float(np.sqrt(size / shore.area))
    return shapely.transform(shore, lambda at: at * scale)


def _sound(
    rng: np.random.Generator,
    shore: shapely.Polygon,
    size: float,
    centre: np.ndarray,
    soundings: list[str],
) -> None:
    """Add soundings on a shaken lattice over a bed that deepens from the bank."""
    spacing = max(2.0, float(np.sqrt(size / 120.0)))
    west, south, east, north = shore.bounds
    e, n = (
        a.ravel()
        for a in np.meshgrid(np.arange(west, east, spacing), np.arange(south, north, spacing))
    )
    e, n = (a + rng.uniform(-0.3, 0.3, a.size) * spacing for a in (e, n))
    inside = shapely.contains_xy(shore, e, n)
    e, n = e[inside], n[inside]
    away = shapely.distance(shapely.points(e, n), shapely.boundary(shore))
    deepest = rng.uniform(1.6, 3.2)
    depth = deepest * (1 - np.exp(-away / (2.0 * deepest))) + rng.normal(0, 0.04, e.size)
    soundings += [
        f"{x + centre[0]:.3f},{y + centre[1]:.3f},{max(d, 0.0):.3f}"
        for x, y, d in zip(e, n, depth, strict=True)
    ]


def _settings(recipe: Recipe) -> str:
    """``site.toml`` of the district."""
    lines = [
        'name = "Invented district"',
        f'crs = "{_CRS}"',
        "[levels]\nlow_m = 9.8\nnormal_m = 10.0\nhigh_m = 10.2",
        f"[district]\nmobilisation_cost = {recipe.mobilisation_cost}",
        f"[yard]\neasting_m = {_ORIGIN_M[0] - 500}\nnorthing_m = {_ORIGIN_M[1] - 500}",
    ]
    stock = round(recipe.stock_each * recipe.ponds / recipe.types)
    for kind in _RAFTS[: recipe.types]:
        lines.append("[[raft]]")
        lines += [f"{key} = {json.dumps(value)}" for key, value in kind.items()]
        lines += ["draft_m = 0.2", f"stock = {stock}"]
    return "\n".join(lines) + "\n"
