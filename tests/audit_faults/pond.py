"""
An honest pond and an honest plan of it, all by hand arithmetic.

The pond is 60 by 40 m, centred on the origin, drawn at its normal level of 10 m. Soundings stand
on a 4 m lattice up to 4 m from the bank, all on a flat bed at 8 m, so the bank falls 1 in 2. One
sounding is a shoal, and none are near one place. Rafts are 4 by 2.4 m with the long axis east.
"""

from dataclasses import replace

import numpy as np
import shapely

from geoplan.settings import Settings
from geoplan.site import (
    ExistingRaft,
    Inflow,
    KeepClear,
    LaunchPlace,
    Levels,
    Mark,
    Outlet,
    Site,
    Soundings,
    WaterBody,
)
from geoplan.written import (
    WrittenEdge,
    WrittenLoads,
    WrittenMaterial,
    WrittenMooring,
    WrittenPlan,
    WrittenRaft,
    WrittenRoute,
    WrittenWhyNot,
)
from geoplan.written_tapes import WrittenMark, WrittenTape

CRS = "+proj=tmerc +lat_0=56 +lon_0=9 +k=1 +x_0=0 +y_0=0 +ellps=WGS84 +units=m +no_defs"
#: Wind of 25 m/s on the 4.665 m diagonal, 0.15 m of hull and half of 1.2 m of plants: 1607 N; water
#: of 0.3 m/s on 0.15 m of hull and 0.8 m of roots: 206 N; waves of some centimetres: under 30 N.
#: One post takes 0.8 of that. A pipe of 88.9 mm in 0.7 m of clay of 10 kPa turns over under 194 N
#: at the water line, 2.75 m above the clay; 2.5 times less is stated as borne.
LOAD_N, CAPACITY_N = 1600.0, 75.0
#: What is left for fittings when the poles float half under, walls of 500 kg/m³ taken off.
FITTINGS_KG = 8 * 3.9 * np.pi * (0.3**2 / 4 * 997.0 / 2 - 0.02 * 0.28 * 500.0)
TABLES = {
    "name": "Honest",
    "levels": {"low_m": 9.5, "normal_m": 10.0, "high_m": 10.45},
    "survey": {"sigma_m": 0.05},
    "clearances": {"bank_m": 5.0, "inflow_m": 10.0},
    # Rafts lie with their long axes east, as the wind blows.
    "heading": {"along": "wind"},
    "wind": {"from_deg": 270.0},
    "budget": {"limit": 1000.0},
    # So much dispersion stirs the pond: its loads follow by hand, see ``loads``.
    "treatment": {"dispersion_m2_s": 20.0},
    "raft": [
        {
            "name": "four by two",
            "length_m": 4.0,
            "width_m": 2.4,
            "draft_m": 0.2,
            "root_depth_m": 0.8,
            "stock": 2,
            "cost": 450.0,
            "build": {
                "poles": [
                    {
                        "count": 8,
                        "diameter_m": 0.3,
                        "wall_m": 0.02,
                        "length_m": 3.9,
                        "sealed_share": 1.0,
                        "saturated_kg_m3": 500.0,
                    }
                ],
                "season_loss_share": 0.0,
                "edge_height_m": 0.0,
                "liner_kg_m2": 0.0,
                "medium_depth_m": 0.0,
                "grown_kg_m2": 0.0,
                "fittings_kg": FITTINGS_KG,
            },
        }
    ],
}
SHOAL = (16.0, 8.0)
HOLE = (-16.0, -8.0)
#: At 25 m/s the wind stress factor is 37.2 m/s. The longest mean of nine radials to the high edge,
#: 62.7 by 42.7 m, from a corner of a raft at (-6, 0) is 42.0 m, bearing 69°, over 2.25 m of water:
#: 0.283 x 141.2 m x tanh(0.0235) x tanh(0.00565 sqrt(0.2975) / tanh(0.0235)).
WAVE_M = 0.122
#: Half a litre a second with 4 mg/L of nitrogen; nothing else was measured.
INFLOW = Inflow(
    "ditch",
    shapely.Point(-30, 0),
    flow_l_s=0.5,
    peak_flow_l_s=30,
    pipe_diameter_m=0.3,
    concentrations={"tn_mg_l": 4.0},
)
HONEST = {"R1": (-6.0, 0.0), "R2": (6.0, 0.0)}
#: Pegs beyond the southern bank, from which tapes to the rafts cross at 60 to 90 degrees.
MARKS = {"A": (-16.0, -21.0), "B": (16.0, -21.0)}
#: Eight poles of 0.3 m float half under: 8 x pi 0.3²/4 x 3.9 / 2 x 997 kg, which the parts below
#: come to; the surface is 0.3 m less half of it. Nothing on top, so nothing else is wet.
DRAFT_M, FREEBOARD_M = 0.150, 0.150
#: With nothing on top it weighs bare what it weighs afloat: half its poles' volume of water [kg].
BARE_KG = 8 * np.pi * 0.3**2 / 4 * 3.9 / 2 * 997.0
#: 1.5 m of water less 2.33 standard deviations of 0.05 m.
DEPTH_M = 1.38


def settings(**tables: dict[str, object]) -> Settings:
    """The settings with some tables changed."""
    merged = {key: {**TABLES.get(key, {}), **table} for key, table in tables.items()}
    return Settings.model_validate(TABLES | merged)


def soundings() -> Soundings:
    """A 4 m lattice on a flat bed, with a shoal and a hole."""
    easting, northing = (
        a.ravel() for a in np.meshgrid(np.arange(-26.0, 27, 4), np.arange(-16.0, 17, 4))
    )
    easting, northing = np.append(easting, SHOAL[0]), np.append(northing, SHOAL[1])
    bed = np.full(easting.size, 8.0)
    bed[-1] = 8.2
    kept = np.hypot(easting - HOLE[0], northing - HOLE[1]) > 7.5
    easting, northing, bed = easting[kept], northing[kept], bed[kept]
    return Soundings(easting, northing, bed, np.full(bed.size, 0.05))


def honest_site(**parts: object) -> Site:
    """The site, with parts of the water body or its settings changed."""
    chosen = parts.pop("settings", settings())
    body = WaterBody(
        water_id="pond",
        name="Pond",
        crs=CRS,
        outline=shapely.box(-30, -20, 30, 20),
        outline_level_m=10.0,
        levels=Levels(9.5, 10.0, 10.45),
        max_cover_pct=20.0,
        soundings=soundings(),
        inflows=(INFLOW,),
        outlets=(Outlet("weir", shapely.Point(30, 0), width_m=3.0),),
        launches=(LaunchPlace("slip", shapely.Point(-30, 10)),),
        keep_clear=(KeepClear(shapely.LineString([(-30, -12), (30, -12)]), 1.5, "main"),),
        marks=tuple(Mark(name, shapely.Point(place)) for name, place in MARKS.items()),
        rafts=(ExistingRaft("old", shapely.box(-2, 8.8, 2, 11.2)),),
    )
    return Site(chosen, "EPSG:25832", (replace(body, **parts),))  # type: ignore[arg-type]


def raft(raft_id: str, easting: float, northing: float, **parts: object) -> WrittenRaft:
    """A row of a raft."""
    outline = shapely.box(easting - 2, northing - 1.2, easting + 2, northing + 1.2)
    row = WrittenRaft(
        raft_id, "pond", "four by two", "planned", outline, 4.0, 2.4, DEPTH_M, DRAFT_M, FREEBOARD_M,
        WAVE_M, removal_g_d(2),
    )  # fmt: skip
    return replace(row, **parts)  # type: ignore[arg-type]


def posts(raft_id: str, easting: float, northing: float) -> tuple[WrittenMooring, ...]:
    """Four posts 0.1 m off the long sides: 2.45 m of water, 0.5 m margin, 1 m in the bed."""
    return tuple(
        WrittenMooring(
            f"{raft_id}-P{k}",
            raft_id,
            "post",
            easting + e / 6,
            northing + n,
            2.45,
            3.95,
            1.0,
            LOAD_N,
            CAPACITY_N,
        )
        for k, (e, n) in enumerate([(4, 1.3), (4, -1.3), (-4, -1.3), (-4, 1.3)], 1)
    )


def route(raft_id: str, easting: float, northing: float, sequence: int) -> WrittenRoute:
    """From the slip to 4 m off the bank, then straight to the raft."""
    path = shapely.LineString([(-30, 10), (-26, 10), (easting, northing)])
    length = 4.0 + float(np.hypot(easting + 26, northing - 10))
    return WrittenRoute(
        raft_id, "slip", sequence, path, length, 1.2, 0.0, True, 1.38, 2.4, 4.6648, BARE_KG, 2.0,
        "winch or vehicle", BARE_KG * 9.81 * (0.4 + 0.15) / np.sqrt(1 + 0.15**2),
    )  # fmt: skip


def taped(raft_id: str, item: str, easting: float, northing: float) -> WrittenTape:
    """Two tapes by Pythagoras; the ellipse of tapes that cross at γ is 2.4477σ/√(1 − |cos γ|)."""
    ways = [np.subtract(place, (easting, northing)) for place in MARKS.values()]
    tapes = [float(np.hypot(*way)) for way in ways]
    cosine = abs(float(ways[0] @ ways[1])) / (tapes[0] * tapes[1])
    return WrittenTape(
        *(raft_id, "pond", item, easting, northing, *MARKS, *tapes),
        crossing_deg=float(np.degrees(np.arccos(cosine))),
        error_major_m=float(2.4477 * np.hypot(0.05, 0.02) / np.sqrt(1 - cosine)),
    )


def retaped(plan: WrittenPlan) -> WrittenPlan:
    """The plan with its corners and moorings set out where they now are."""
    rows = []
    for row in plan.rafts:
        if row.status != "existing" and row.outline is not None:
            centre = shapely.get_coordinates(row.outline.centroid)[0]
            corners = shapely.get_coordinates(row.outline)[:-1]
            rows.append(taped(row.raft_id, "centre", *centre))
            rows += [taped(row.raft_id, f"corner {k}", *at) for k, at in enumerate(corners, 1)]
            rows += [
                taped(row.raft_id, f"{p.kind} {p.mooring_id}", p.easting_m, p.northing_m)
                for p in plan.moorings
                if p.raft_id == row.raft_id and np.isfinite([p.easting_m, p.northing_m]).all()
            ]
    return replace(plan, tapes=tuple(rows))


def edges(raft_area_m2: float) -> tuple[WrittenEdge, ...]:
    """
    The three edges.

    Low: the bank is 1 in 2, so the edge lies 1 m in. At a corner the triangulation joins the bank
    points 2 m from it by a flat triangle, beyond which the ground falls to the corner sounding,
    4 m from both banks; a quarter of that way it cuts the corner by legs of 1.5 m. High: 0.45 m
    above the outline the assumed bank of 1 in 3 lies 1.35 m farther out, round at the corners.
    """
    west = [(-27.5, -19), (-29, -17.5), (-29, 17.5), (-27.5, 19)]
    low = shapely.Polygon([*west, (27.5, 19), (29, 17.5), (29, -17.5), (27.5, -19)])
    normal = shapely.box(-30, -20, 30, 20)
    high = shapely.buffer(normal, 1.35, quad_segs=64)
    areas = (58 * 38 - 4 * 1.5**2 / 2, 2400.0, 2400 + 200 * 1.35 + np.pi * 1.35**2)
    rows = zip(("low", "normal", "high"), (9.5, 10, 10.45), (low, normal, high), areas, strict=True)
    return tuple(
        WrittenEdge(
            "pond", name, level, shapely.MultiPolygon([shape]), area, 0.0, 100 * raft_area_m2 / area
        )
        for name, level, shape, area in rows
    )


def materials(count: int) -> tuple[WrittenMaterial, ...]:
    """Eight poles, four posts, and a plant on each 0.3 m square of nine tenths of 9.6 m²: 96."""
    whole = (("pole", 8), ("plant", 96), ("post", 4))
    return tuple(
        WrittenMaterial(item, "any", "pieces", float(np.ceil(each * count * 1.1 - 1e-9)))
        for item, each in whole
    )


def answers() -> tuple[WrittenWhyNot, ...]:
    """Nine metres round the weir, five from the bank, and what nothing forbids."""
    water = shapely.box(-30, -20, 30, 20)
    weir = shapely.intersection(water, shapely.Point(30, 0).buffer(9.0, quad_segs=64))
    inner = shapely.box(-25, -15, 25, 15)
    bank = shapely.difference(shapely.difference(water, inner), weir)
    free = shapely.difference(inner, weir)
    return tuple(
        WrittenWhyNot("pond", rule, shapely.multipolygons(shapely.get_parts(area)), area.area)
        for rule, area in (("outlet", weir), ("bank", bank), ("free", free))
    )


def loads(count: int) -> tuple[WrittenLoads, ...]:
    """
    Loads of a stirred pond, C = s/(Q + vA + ka): rafts are 0.9 planted, the existing one is whole.

    Roots reach 1 m of 2 m of water, so all of it works. Only the nitrogen was measured: 172.8 g/d.
    """
    rates = {"tn": (12.6, 5.0), "tp": (10.0, 5.0), "tss": (30.0, 100.0), "ecoli": (83.0, 83.0)}
    flow_m3_yr = 0.5e-3 * 365 * 86400
    out = []
    for name, (rate, settling) in rates.items():
        brought = 0.5e-3 * 4.0 * 86400 if name == "tn" else 1.0

        def leaves(k: float, v: float = settling, brought: float = brought) -> float:
            taken = v * 2400 + k * 9.6 * (0.9 * count + 1)
            return brought * flow_m3_yr / (flow_m3_yr + taken)

        bare, left, half = leaves(0.0), leaves(rate), leaves(rate / 2)
        out.append(
            WrittenLoads(
                "pond", name, name == "tn", name != "tn", brought, bare, left, bare - left,
                bare - half, bare - left,
            )
        )  # fmt: skip
    return tuple(out)


def removal_g_d(count: int) -> float:
    """What one of so many rafts takes out: its share of the planted area."""
    return loads(count)[0].removed * 0.9 / (0.9 * count + 1)


def honest_plan(places: dict[str, tuple[float, float]] | None = None) -> WrittenPlan:
    """The plan with rafts at the places given, and the existing raft's own row."""
    places = HONEST if places is None else places
    old = raft("old", 0.0, 10.0, status="existing", raft_type="", depth_low_m=None)
    plan = WrittenPlan(
        crs=CRS,
        rafts=(
            *(
                raft(name, *place, removal_g_d=removal_g_d(len(places)))
                for name, place in places.items()
            ),
            old,
        ),
        moorings=tuple(post for name, place in places.items() for post in posts(name, *place)),
        routes=tuple(
            route(name, *place, sequence=k) for k, (name, place) in enumerate(places.items(), 1)
        ),
        edges=edges(9.6 * (len(places) + 1)),
        materials=materials(len(places)),
        marks=tuple(WrittenMark(name, "pond", *place, False) for name, place in MARKS.items()),
        why_not=answers(),
        loads=loads(len(places)),
    )
    return retaped(plan)
