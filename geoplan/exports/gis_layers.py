"""The layers of ``plan.gpkg``: geometry type and columns of each, and the types of columns."""

#: Layer -> (geometry type, columns). A column's type follows from its name, see ``_dtype``.
LAYERS: dict[str, tuple[str, tuple[str, ...]]] = {
    "rafts": (
        "Polygon",
        (
            "raft_id", "water_id", "raft_type", "status", "length_m", "width_m", "heading_deg",
            "easting_m", "northing_m", "area_m2", "planted_area_m2", "depth_low_m",
            "root_clearance_m", "bank_clearance_m", "gap_m", "sun_h", "worth", "removal_g_d",
            "fetch_m", "wave_height_m", "wave_period_s", "wave_from_deg", "draft_m", "freeboard_m",
            "is_kept", "why_no_way",
        ),
    ),
    "moorings": (
        "Point",
        (
            "mooring_id", "raft_id", "water_id", "kind", "easting_m", "northing_m",
            "depth_high_m", "length_m", "embedment_m", "load_n", "capacity_n",
            "load_case", "governs", "block_kg",
        ),
    ),
    "mooring_lines": (
        "LineString",
        ("raft_id", "mooring_id", "length_m", "watch_radius_low_m"),
    ),
    "swept": (
        "MultiPolygon",
        ("raft_id", "water_id", "level_name", "level_m"),
    ),
    "routes": (
        "LineString",
        (
            "raft_id", "water_id", "launch_id", "sequence", "length_m", "least_depth_m",
            "clearance_m", "turn_before_m", "has_room", "bank_reason", "need_m", "width_m",
            "turning_m", "wade_m", "wade_depth_m", "plant_depth_m", "mass_kg", "people",
            "brought_by", "haul_n",
        ),
    ),
    "water_edges": (
        "MultiPolygon",
        (
            "water_id", "name", "level_name", "level_m", "area_m2", "volume_m3", "raft_area_m2",
            "cover_pct", "sigma_pct", "is_assumed",
        ),
    ),
    "marks": (
        "Point",
        ("mark_id", "water_id", "easting_m", "northing_m", "is_suggested"),
    ),
    "setting_out": (
        "Point",
        (
            "raft_id", "water_id", "item", "easting_m", "northing_m", "mark_1", "tape_1_m",
            "mark_2", "tape_2_m", "crossing_deg", "error_major_m", "error_minor_m",
            "error_axis_deg",
        ),
    ),
    "worth": (
        "MultiPolygon",
        ("water_id", "worth_from", "worth_to", "unit"),
    ),
    "streamlines": (
        "LineString",
        ("water_id", "length_m"),
    ),
    "materials": (
        "Point",
        ("item", "size", "quantity", "unit", "ordered", "price", "cost"),
    ),
    "why_not": (
        "MultiPolygon",
        ("water_id", "rule", "words", "area_m2", "alone_m2", "only_m2", "is_room"),
    ),
    "rooms": (
        "MultiPolygon",
        ("water_id", "raft_type", "area_m2"),
    ),
    "alternatives": (
        "Polygon",
        (
            "water_id", "name", "raft_type", "length_m", "width_m", "heading_deg", "easting_m",
            "northing_m", "cost_pct",
        ),
    ),
    "loads": (
        "Point",
        (
            "water_id", "constituent", "is_chosen", "is_relative", "unit", "load_in",
            "load_out_without_rafts", "load_out", "removed", "removed_lowest", "removed_highest",
            "rate_m_yr", "rate_lowest_m_yr", "rate_highest_m_yr", "settling_m_yr",
        ),
    ),
    "findings": (
        "Point",
        ("check", "water_id", "raft_id", "measured", "limit", "unit", "passed", "detail"),
    ),
}  # fmt: skip

TEXTS = frozenset(
    {
        "bank_reason",
        "brought_by",
        "check",
        "constituent",
        "detail",
        "governs",
        "item",
        "kind",
        "level_name",
        "load_case",
    }
    | {"mark_1", "mark_2", "mark_id", "name", "raft_type", "size", "status", "unit"}
    | {"launch_id", "mooring_id", "raft_id", "rule", "water_id", "why_no_way", "words"}
)
#: Columns of yes and no.
FLAGS = frozenset(
    {
        "has_room",
        "is_assumed",
        "is_chosen",
        "is_kept",
        "is_relative",
        "is_room",
        "is_suggested",
        "passed",
    }
)
