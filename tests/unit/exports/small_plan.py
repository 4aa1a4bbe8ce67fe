"""A hand-made site with two ponds, and a plan for it, whose names try to break every output."""

from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Point, Polygon

from geoplan.crs import geodesic_area_m2, working_crs
from geoplan.plan import (
    AuditReport,
    Cover,
    DepthGrid,
    Finding,
    Mooring,
    PlacedRaft,
    Plan,
    Route,
    SolveReport,
    WaterEdge,
    WaterPlan,
)
from geoplan.reasons import Alternative, AlternativeRaft, LimitPrice, Reasons, WhyNot
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
    SourceFile,
    WaterBody,
)
from geoplan.tried import TrialRules, TriedKind

#: Names that run as script, template or formula where they are not kept as text.
HOSTILE = (
    '<img src=x onerror="window.ran=1">',
    "{{ 7*7 }} {# x",
    "</script><script>window.ran=2</script>",
    "`${window.ran=3}`",
    '=HYPERLINK("A1")',
)

CRS = "EPSG:25832"
UPPER_CRS = working_crs(11.8, 56.1)  # far from the zone's meridian: grid north is turned
LOWER_CRS = working_crs(11.81, 56.1)


def settings() -> Settings:
    return Settings.model_validate(
        {
            "name": HOSTILE[0],
            "crs": CRS,
            "levels": {"low_m": 11.6, "normal_m": 12.0, "high_m": 12.45},
            "raft": [
                {"name": "four by two", "length_m": 4.0, "width_m": 2.4, "draft_m": 0.2},
                {"name": HOSTILE[4], "length_m": 6.0, "width_m": 2.4, "draft_m": 0.3},
            ],
        }
    )


def outline(radius_m: float) -> Polygon:
    """A pond like an egg, with an island."""
    angle = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    reach = radius_m * (1 + 0.25 * np.cos(angle) + 0.06 * np.sin(5 * angle))
    shore = np.column_stack([1.4 * reach * np.cos(angle), reach * np.sin(angle)])
    island = Point(-0.45 * radius_m, 0.2 * radius_m).buffer(0.12 * radius_m).exterior
    return Polygon(shore, [island.coords])


def depth_grid(shore: Polygon) -> DepthGrid:
    """Depth that grows away from the bank, not surveyed in the north-east."""
    west, south, east, north = shore.bounds
    cell = 0.5
    cols, rows = int((east - west) / cell) + 3, int((north - south) / cell) + 3
    easting, northing = np.meshgrid(
        west - cell + (np.arange(cols) + 0.5) * cell, south - cell + (np.arange(rows) + 0.5) * cell
    )
    points = shapely.points(easting, northing)
    depth = 3.3 * (1 - np.exp(-shapely.distance(points, shore.boundary) / 9.0))
    depth[(easting > 0.4 * east) & (northing > 0.4 * north)] = 0.0
    depth[~shapely.contains(shore, points)] = np.nan
    return DepthGrid(west - cell, south - cell, cell, depth)


def edges(shore: Polygon, crs: str) -> tuple[WaterEdge, ...]:
    out = []
    for name, level_m, grown_m in (
        ("low", 11.6, -0.8),
        ("normal", 12.0, 0.0),
        ("high", 12.45, 1.2),
    ):
        water = shore.buffer(grown_m)
        area = geodesic_area_m2(water, crs)
        out.append(
            WaterEdge(name, level_m, MultiPolygon([water]), area, 1.2 * area, name == "high")
        )
    return tuple(out)


def cover(levels: tuple[WaterEdge, ...], raft_area_m2: float) -> tuple[Cover, ...]:
    return tuple(
        Cover(
            edge.level_name,
            edge.level_m,
            raft_area_m2,
            edge.area_m2,
            100 * raft_area_m2 / edge.area_m2,
            0.1,
        )
        for edge in levels
    )


def raft(
    raft_id: str, water_id: str, easting_m: float, northing_m: float, heading_deg: float
) -> PlacedRaft:
    return PlacedRaft(
        raft_id=raft_id,
        water_id=water_id,
        raft_type="four by two",
        easting_m=easting_m,
        northing_m=northing_m,
        heading_deg=heading_deg,
        length_m=4.0,
        width_m=2.4,
        area_m2=9.6,
        planted_area_m2=8.64,
        depth_low_m=1.839,
        root_clearance_m=0.789,
        bank_clearance_m=6.5,
        gap_m=3.21,
        sun_h=None,
        worth=0.87,
        removal_g_d=None,
    )


def posts(owner: PlacedRaft) -> tuple[Mooring, ...]:
    angle = np.radians(owner.heading_deg)
    out = []
    for number, (ahead, starboard) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1)), 1):
        along, across = ahead * owner.length_m / 6, starboard * (owner.width_m / 2 + 0.1)
        out.append(
            Mooring(
                f"{owner.raft_id} p{number}",
                owner.raft_id,
                "post",
                owner.easting_m + along * np.sin(angle) + across * np.cos(angle),
                owner.northing_m + along * np.cos(angle) - across * np.sin(angle),
                2.71,
                4.211,
                1.0,
            )
        )
    return tuple(out)


REPORT = SolveReport("rows", "closed", 23.5, 24.0, "m² of planted raft, weighted", 36, 7)

UPPER_SHORE = outline(30.0)
LOWER_SHORE = outline(18.0)
RAFTS = (
    raft("U1", "upper", 5.0, -4.0, 30.0),
    replace(raft("U2", "upper", 14.0, -1.0, 120.0), is_kept=True),
)
OLD_OUTLINE = Point(-4.0, -13.0).buffer(2.0, quad_segs=2)
LOWER_RAFT = raft(HOSTILE[2], "lower", 4.0, 0.0, 0.0)


def existing_raft() -> PlacedRaft:
    return PlacedRaft(
        "old", "upper", "", -4.0, -13.0, 0.0, 4.0, 4.0, OLD_OUTLINE.area, OLD_OUTLINE.area,
        *(1.5, 1.5, 4.0, 9.0, None, 0.5, None, "existing"),
    )  # fmt: skip


def site() -> Site:
    no_soundings = Soundings(np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0))
    levels = Levels(11.6, 12.0, 12.45)
    upper = WaterBody(
        water_id="upper",
        name="Upper pond",
        crs=UPPER_CRS,
        outline=UPPER_SHORE,
        outline_level_m=12.0,
        levels=levels,
        max_cover_pct=20.0,
        soundings=no_soundings,
        inflows=(Inflow(HOSTILE[3], Point(52.0, 0.5), 3.0, 60.0, 0.4),),
        outlets=(Outlet("weir", LineString([(-31.5, 0.0), (-31.0, 3.0)]), 3.0, 11.5),),
        shade=(
            ShadeObject(Point(0.0, 36.0), 12.0, 4.0, True),
            ShadeObject(shapely.box(20, -44, 32, -36), 6.0),
        ),
        launches=(LaunchPlace("slip", LineString([(10.0, -30.8), (14.0, -30.6)]), 12.0, 20.0),),
        keep_clear=(KeepClear(LineString([(25.0, -30.0), (25.0, 30.0)]), 1.5, HOSTILE[1]),),
        marks=(
            Mark("P1", Point(10.0, -33.0)),
            Mark("=P2", Point(44.0, -20.0)),
            Mark("P3", Point(10.5, -33.0)),
        ),
        rafts=(ExistingRaft("old", OLD_OUTLINE),),
    )
    lower = WaterBody(
        water_id="lower",
        name=HOSTILE[0],
        crs=LOWER_CRS,
        outline=LOWER_SHORE,
        outline_level_m=12.0,
        levels=levels,
        max_cover_pct=0.5,
        soundings=no_soundings,
    )
    sources = (SourceFile("site.toml", "0" * 64), SourceFile("water.geojson", "1" * 64))
    return Site(settings(), CRS, (lower, upper), sources, (), "../site")


def reasons() -> Reasons:
    """Two answers, a price and another plan, in words that try to break out."""
    inner = UPPER_SHORE.buffer(-3.0)
    bank = UPPER_SHORE.difference(inner)
    parts = (("bank", bank, False), ("free", inner, True))
    return Reasons(
        why_not=tuple(
            WhyNot(
                rule,
                HOSTILE[0],
                MultiPolygon(shapely.get_parts(area).tolist()),
                geodesic_area_m2(area, UPPER_CRS),
                area.area,
                area.area,
                is_room,
            )
            for rule, area, is_room in parts
        ),
        prices=(LimitPrice(HOSTILE[3], "one more raft", 1.25),),
        alternatives=(
            Alternative(
                HOSTILE[2],
                (AlternativeRaft("four by two", -12.0, 3.0, 75.0, 4.0, 2.4),),
                22.5,
                4.25,
                100.0,
            ),
        ),
    )


def trial() -> TrialRules:
    """Rules of the upper pond for trying rafts; both types, water 3 m deep at high level."""
    return TrialRules(
        gap_m=1.0,
        kinds=(
            TriedKind("four by two", 4.0, 2.4, 1.05, "posts", 0.0, 1.0),
            TriedKind(HOSTILE[4], 6.0, 2.4, 1.05, "lines", 6.0, 1.0),
        ),
        west_m=-35.0,
        south_m=-35.0,
        cell_size_m=5.0,
        depth_high_m=np.full((14, 14), 3.0),
        post_length_m=np.linspace(1.5, 4.7, 33),
        line_stretch=1.1,
    )


def plan() -> Plan:
    upper_edges, lower_edges = edges(UPPER_SHORE, UPPER_CRS), edges(LOWER_SHORE, LOWER_CRS)
    path = LineString([(12.0, -30.0), (12.0, -20.0), (5.0, -4.0)])
    upper = WaterPlan(
        water_id="upper",
        name="Upper pond",
        crs=UPPER_CRS,
        rafts=(*RAFTS, existing_raft()),
        moorings=posts(RAFTS[0]) + posts(RAFTS[1]),
        routes=(
            Route(
                "U1",
                "slip",
                1,
                path,
                path.length,
                0.9,
                1.3,
                2.0,
                True,
                "the only launching place",
                0.3,
                2.4,
                4.67,
                10.0,
                0.41,
                0.52,
                576.0,
                2,
                "winch or vehicle",
                2889.4,
            ),
        ),
        edges=upper_edges,
        cover=cover(upper_edges, 19.2 + OLD_OUTLINE.area),
        report=REPORT,
        room_m2=900.0,
        unsurveyed_pct=4.2,
        depth_grid=depth_grid(UPPER_SHORE),
        reasons=reasons(),
        trial=trial(),
    )
    lower = WaterPlan(
        water_id="lower",
        name=HOSTILE[0],
        crs=LOWER_CRS,
        rafts=(LOWER_RAFT,),
        moorings=posts(LOWER_RAFT),
        routes=(),
        edges=lower_edges,
        cover=cover(lower_edges, 9.6),
        report=SolveReport("rows", "closed", 0.0, 0.0, "m² of planted raft, weighted", 36, 7),
        room_m2=100.0,
        unsurveyed_pct=0.0,
        why_none="",
        depth_grid=depth_grid(LOWER_SHORE),
    )
    return Plan(HOSTILE[0], CRS, (lower, upper), 7)


def audit() -> AuditReport:
    return AuditReport(
        (
            Finding("bank", "upper", "U1", 6.5, 2.0, "m", True),
            Finding("bank", "lower", HOSTILE[2], 1.2, 2.0, "m", False, f"Move it. {HOSTILE[1]}"),
            Finding("cover", "upper", "", float("nan"), 20.0, "%", True),
        )
    )
