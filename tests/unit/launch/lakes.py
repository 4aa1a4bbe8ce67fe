"""Lakes made by hand for tests of launching: outline, bed, rafts and banks."""

from collections.abc import Callable, Sequence

import numpy as np
import shapely

from geoplan.grid import SiteFields, water_grid
from geoplan.plan import PlacedRaft
from geoplan.settings import Settings
from geoplan.site import ExistingRaft, FloatArray, LaunchPlace, Levels, Soundings, WaterBody

LENGTH_M, WIDTH_M, DRAFT_M = 4.0, 2.4, 0.2
LOW_M = 9.7
SIGMA_M = 0.02


def settings(wading_m: float = 0.7, **kind: float) -> Settings:
    raft = {"name": "a", "length_m": LENGTH_M, "width_m": WIDTH_M, "draft_m": DRAFT_M}
    return Settings.model_validate(
        {
            "name": "Pond",
            "levels": {"low_m": LOW_M, "normal_m": 10, "high_m": 10.4},
            "raft": [raft | kind, {**raft, "name": "small", "length_m": 2.0, "width_m": 1.0}],
            "launch": {"wading_m": wading_m},
        }
    )


def body(
    outline: shapely.Polygon,
    launches: Sequence[shapely.Geometry],
    rafts: Sequence[shapely.Polygon] = (),
) -> WaterBody:
    none = np.zeros(0)
    return WaterBody(
        water_id="pond",
        name="",
        crs="EPSG:25832",
        outline=outline,
        outline_level_m=10.0,
        levels=Levels(LOW_M, 10.0, 10.4),
        max_cover_pct=20.0,
        soundings=Soundings(none, none, none, none),
        launches=tuple(LaunchPlace(f"L{k + 1}", place) for k, place in enumerate(launches)),
        rafts=tuple(ExistingRaft(f"old {k + 1}", raft) for k, raft in enumerate(rafts)),
    )


def fields(
    outline: shapely.Polygon,
    depth_low_m: Callable[[FloatArray, FloatArray], FloatArray] | float,
    cell_m: float = 0.5,
) -> SiteFields:
    """Fields with a reliable depth at low level given as a function of easting and northing."""
    grid = water_grid(outline, cell_m)
    easting, northing = np.meshgrid(grid.easting_m, grid.northing_m)
    depth = np.broadcast_to(
        depth_low_m(easting, northing) if callable(depth_low_m) else depth_low_m, grid.shape
    )
    reliable = np.where(grid.water, LOW_M - depth, np.nan)
    sigma = np.where(grid.water, SIGMA_M, np.nan)
    no = np.zeros(grid.shape, bool)
    return SiteFields(grid, reliable - 2.33 * sigma, sigma, reliable, no, np.ones(grid.shape))


def raft(
    raft_id: str,
    easting_m: float,
    northing_m: float,
    heading_deg: float = 0.0,
    status: str = "planned",
    raft_type: str = "a",
) -> PlacedRaft:
    length_m, width_m = (2.0, 1.0) if raft_type == "small" else (LENGTH_M, WIDTH_M)
    return PlacedRaft(
        raft_id=raft_id,
        water_id="pond",
        raft_type=raft_type,
        easting_m=easting_m,
        northing_m=northing_m,
        heading_deg=heading_deg,
        length_m=length_m,
        width_m=width_m,
        area_m2=length_m * width_m,
        planted_area_m2=length_m * width_m,
        depth_low_m=1.0,
        root_clearance_m=0.4,
        bank_clearance_m=3.0,
        gap_m=None,
        sun_h=None,
        worth=1.0,
        removal_g_d=None,
        status=status,
    )
