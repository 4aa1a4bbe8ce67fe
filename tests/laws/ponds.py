"""Random ponds for tests of laws: shore, islands, bed, soundings and what stands round them."""

from dataclasses import replace

import numpy as np
import shapely

from geoplan.crs import working_crs
from geoplan.plan import WaterPlan
from geoplan.raft import footprints
from geoplan.reasons import HeldRaft
from geoplan.settings import Settings
from geoplan.site import (
    ExistingRaft,
    Inflow,
    KeepClear,
    LaunchPlace,
    Levels,
    Mark,
    Outlet,
    ShadeObject,
    Site,
    Soundings,
    WaterBody,
)


def random_settings(rng: np.random.Generator) -> Settings:
    """Rules and stock drawn at random, within what people use."""
    rafts = [
        {
            "name": "four by two",
            "length_m": 4.0,
            "width_m": 2.4,
            "draft_m": 0.2,
            "root_depth_m": float(rng.choice([0.4, 0.6, 0.9])),
            "stock": int(rng.integers(1, 30)),
            "cost": 450.0,
        }
    ]
    if rng.random() < 0.4:
        rafts.append(
            {
                "name": "three by three",
                "length_m": 3.0,
                "width_m": 3.0,
                "draft_m": 0.15,
                "root_depth_m": 0.5,
                "stock": int(rng.integers(0, 10)),
                "cost": 380.0,
            }
        )
    return Settings.model_validate(
        {
            "name": "Random pond",
            "crs": "EPSG:25832",
            "levels": {"low_m": 9.7, "normal_m": 10.0, "high_m": 10.4},
            "survey": {"sigma_m": 0.05},
            "raft": rafts,
            "cover": {"max_pct": float(rng.uniform(2, 45))},
            "clearances": {
                "gap_m": float(rng.choice([0.3, 0.5, 1.0, 1.7])),
                "bank_m": float(rng.choice([0.0, 1.0, 2.0])),
            },
            "budget": {"limit": 6000.0} if rng.random() < 0.3 else {},
        }
    )


def _shore(rng: np.random.Generator, radii_m: tuple[float, float]) -> shapely.Polygon:
    """A shore of random lobes with up to three islands."""
    radius = float(rng.uniform(*radii_m))
    angle = np.linspace(0, 2 * np.pi, max(24, int(radius * 3)), endpoint=False)
    bumps = sum(
        rng.normal(0, 0.25 / k) * np.cos(k * angle + rng.uniform(0, 6)) for k in range(2, 6)
    )
    distance = radius * np.clip(1 + bumps, 0.35, 1.8)
    shore = shapely.Polygon(np.column_stack([distance * np.cos(angle), distance * np.sin(angle)]))
    for _ in range(int(rng.integers(0, 4))):
        centre = rng.uniform(-0.6, 0.6, 2) * radius
        island = shapely.Point(*centre).buffer(rng.uniform(0.04, 0.15) * radius, quad_segs=6)
        if island.within(shore.buffer(-0.5)):
            shore = shapely.difference(shore, island)
    return max(shapely.get_parts(shore), key=lambda part: part.area)


def _soundings(rng: np.random.Generator, shore: shapely.Polygon, spacing: float) -> Soundings:
    """Soundings on a shaken lattice over a bed that deepens from the bank."""
    west, south, east, north = shore.bounds
    e, n = np.meshgrid(np.arange(west, east, spacing), np.arange(south, north, spacing))
    e = e.ravel() + rng.uniform(-0.3, 0.3, e.size) * spacing
    n = n.ravel() + rng.uniform(-0.3, 0.3, n.size) * spacing
    inside = shapely.contains_xy(shore, e, n)
    e, n = e[inside], n[inside]
    away = shapely.distance(shapely.points(e, n), shapely.boundary(shore))
    deepest, slope = rng.uniform(0.8, 4.0), rng.uniform(2.0, 5.0)
    depth = deepest * (1 - np.exp(-away / (slope * deepest)))
    depth *= 1 + 0.15 * np.sin(e / 7.0) * np.cos(n / 9.0)
    bed = 10.0 - depth + rng.normal(0, 0.04, len(e))
    return Soundings(e, n, bed, np.full(len(e), 0.05))


def random_site(seed: int, radii_m: tuple[float, float] = (9.0, 55.0)) -> Site:
    """A site with one pond of a radius in a range; every part of it drawn from one seed."""
    rng = np.random.default_rng(seed)
    settings = random_settings(rng)
    shore = _shore(rng, radii_m)
    bank = shapely.get_coordinates(shore.exterior)

    def on_bank() -> shapely.Point:
        return shapely.Point(*bank[int(rng.integers(len(bank)))])

    rafts: tuple[ExistingRaft, ...] = ()
    inner = shore.representative_point()
    if rng.random() < 0.2:
        box = shapely.box(inner.x - 1.5, inner.y - 1, inner.x + 1.5, inner.y + 1)
        rafts = (ExistingRaft("old", box),) if box.within(shore) else ()
    keep = (KeepClear(shapely.LineString([bank[0], bank[len(bank) // 2]]), 1.5, "main"),)
    body = WaterBody(
        water_id=f"pond {seed}",
        name="",
        crs=working_crs(9.2, 56.2),
        outline=shore,
        outline_level_m=float(rng.choice([10.0, 10.0, 10.1])),
        levels=Levels(9.7, 10.0, 10.4),
        max_cover_pct=settings.cover.max_pct,
        soundings=_soundings(rng, shore, float(rng.uniform(2.0, 6.0))),
        inflows=tuple(
            Inflow(f"in {k}", on_bank(), float(rng.uniform(0.5, 5)), float(rng.uniform(5, 40)), 0.3)
            for k in range(int(rng.integers(0, 3)))
        ),
        outlets=(Outlet("weir", on_bank(), float(rng.uniform(0.5, 2))),),
        launches=(LaunchPlace("slip", on_bank()),),
        keep_clear=keep if rng.random() < 0.3 else (),
        marks=tuple(Mark(f"peg {k}", on_bank()) for k in range(3)),
        rafts=rafts,
    )
    return Site(settings, "EPSG:25832", (body,))


def varied_site(seed: int, radii_m: tuple[float, float] = (9.0, 55.0)) -> Site:
    """
    The pond of a seed with every rule and stock drawn anew, from nothing to far beyond use.

    Levels, distances, depth, sun, jets, types, stock, budget and what stands round the water all
    vary, so that rules bind that seldom do, alone and together.
    """
    site = random_site(seed, radii_m)
    rng = np.random.default_rng([seed, 2])
    body = site.water_bodies[0]
    fall, rise = float(rng.choice([0.0, 0.1, 0.3, 0.6])), float(rng.choice([0.0, 0.4, 1.0]))
    tables = site.settings.model_dump(mode="json", exclude_unset=True)
    tables |= {
        "levels": {"low_m": 10.0 - fall, "normal_m": 10.0, "high_m": 10.0 + rise},
        "raft": [_varied_raft(rng, k) for k in range(int(rng.integers(1, 4)))],
        "cover": {"max_pct": float(rng.choice([0.5, 3.0, 12.0, 30.0, 50.0]))},
        "clearances": {
            "gap_m": float(rng.choice([0.0, 0.2, 0.7, 1.5, 3.0])),
            "bank_m": float(rng.choice([0.0, 0.4, 2.0, 5.0])),
            "root_m": float(rng.choice([0.0, 0.1, 0.3])),
            "sediment_m": float(rng.choice([0.0, 0.05, 0.2])),
            "outlet_m": float(rng.choice([0.0, 2.0, 8.0])),
            "inflow_m": float(rng.choice([0.0, 0.0, 4.0])),
            "jet_speed_m_s": float(rng.choice([0.1, 0.3, 1.0])),
        },
        "sun": {"least_h": float(rng.choice([0.0, 4.0, 6.0])), "full_h": 8.0},
        "budget": {"limit": float(rng.choice([300.0, 2000.0, 9000.0]))}
        if rng.random() < 0.4
        else {},
    }
    settings = Settings.model_validate(tables)
    body = replace(
        body,
        levels=Levels(10.0 - fall, 10.0, 10.0 + rise),
        max_cover_pct=settings.cover.max_pct,
        shade=_trees(rng, body),
        keep_clear=_lanes(rng, body),
    )
    return replace(site, settings=settings, water_bodies=(body,))


def _varied_raft(rng: np.random.Generator, number: int) -> dict[str, object]:
    """A raft type of any size, depth, price and stock."""
    width = float(rng.choice([1.0, 1.6, 2.4, 3.0]))
    raft: dict[str, object] = {
        "name": f"type {number}",
        "length_m": float(np.round(width * rng.uniform(1.0, 3.0), 2)),
        "width_m": width,
        "draft_m": float(rng.choice([0.1, 0.2, 0.35])),
        "root_depth_m": float(rng.choice([0.0, 0.3, 0.6, 1.2])),
        "cost": float(rng.choice([0.0, 180.0, 450.0])),
    }
    if rng.random() < 0.8:
        raft["stock"] = int(rng.choice([0, 1, 3, 9, 40]))
    return raft


def _trees(rng: np.random.Generator, body: WaterBody) -> tuple[ShadeObject, ...]:
    """A few trees and a house beside the water."""
    bank = shapely.get_coordinates(body.outline.exterior)
    return tuple(
        ShadeObject(
            shapely.Point(*(1.15 * bank[int(rng.integers(len(bank)))])),
            float(rng.uniform(4, 22)),
            float(rng.uniform(1.5, 5)),
            bool(rng.random() < 0.5),
        )
        for _ in range(int(rng.choice([0, 0, 2, 6])))
    )


def _lanes(rng: np.random.Generator, body: WaterBody) -> tuple[KeepClear, ...]:
    """Access lanes across the water, a service, a place to swim."""
    bank = shapely.get_coordinates(body.outline.exterior)
    parts = []
    for _ in range(int(rng.integers(0, 3))):
        ends = bank[rng.integers(len(bank), size=2)]
        if np.hypot(*(ends[0] - ends[1])) > 1.0:
            buffer = float(rng.choice([0.0, 0.5, 1.5]))
            parts.append(KeepClear(shapely.LineString(ends), buffer, "lane"))
    if rng.random() < 0.2:
        spot = body.outline.representative_point()
        parts.append(KeepClear(spot.buffer(2.0, quad_segs=4), 1.0, "swimming"))
    return tuple(parts)


def held_of(water: WaterPlan, rng: np.random.Generator) -> tuple[HeldRaft, ...]:
    """Some of the planned rafts of a plan, as a person would hold them."""
    planned = [raft for raft in water.rafts if raft.status == "planned"]
    chosen = [raft for raft in planned if rng.random() < 0.4]
    return tuple(
        HeldRaft(
            f"mine.gpkg, row {row}",
            water.water_id,
            raft.raft_type,
            raft.easting_m,
            raft.northing_m,
            raft.heading_deg,
            footprints(
                raft.easting_m, raft.northing_m, raft.heading_deg, raft.length_m, raft.width_m
            )[0],
        )
        for row, raft in enumerate(chosen, 1)
    )
