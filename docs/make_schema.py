"""Writes ``plan.schema.json``, the JSON Schema of ``plan.json``; run it after a change."""

import json
from pathlib import Path
from typing import Any

from geoplan.settings import Settings

HERE = Path(__file__).parent
FILE = HERE / "plan.schema.json"

Schema = dict[str, Any]

TEXT: Schema = {"type": "string"}
NUMBER: Schema = {"type": "number"}
COUNT: Schema = {"type": "integer", "minimum": 0}
FLAG: Schema = {"type": "boolean"}
PERCENT: Schema = {"type": "number", "minimum": 0}


def maybe(kind: Schema) -> Schema:
    """Return a schema that null fits too."""
    if isinstance(kind.get("type"), str):
        return {**kind, "type": [kind["type"], "null"]}
    return {"anyOf": [kind, {"type": "null"}]}


def rows(kind: Schema, **limits: Any) -> Schema:
    """Return a list of one kind."""
    return {"type": "array", "items": kind, **limits}


def said(kind: Schema, words: str) -> Schema:
    """Return a schema with words for a reader."""
    return {**kind, "description": words}


def table(**keys: Schema) -> Schema:
    """Return an object with exactly these keys; one that may be missing has ``optional``."""
    plain = {
        name: {k: v for k, v in kind.items() if k != "optional"} for name, kind in keys.items()
    }
    needed = [name for name, kind in keys.items() if not kind.get("optional")]
    return {
        "type": "object",
        "properties": plain,
        "required": needed,
        "additionalProperties": False,
    }


def optional(kind: Schema) -> Schema:
    """Return a schema of a key that may be missing."""
    return {**kind, "optional": True}


def texts(*words: str) -> Schema:
    """Return one of some words."""
    return {"enum": list(words)}


BY_LEVEL = table(low=NUMBER, normal=NUMBER, high=NUMBER)
PAIR = rows(NUMBER, minItems=2, maxItems=2)
FINDING = table(
    check=TEXT, water_id=TEXT, raft_id=TEXT, measured=maybe(NUMBER), limit=maybe(NUMBER),
    unit=TEXT, passed=FLAG, detail=TEXT,
)  # fmt: skip
COVER = table(
    level_name=TEXT, level_m=NUMBER, raft_area_m2=NUMBER, water_area_m2=NUMBER, cover_pct=PERCENT,
    sigma_pct=NUMBER,
)  # fmt: skip
CONSTITUENT = texts("tn", "tp", "tss", "ecoli")
EFFECT = table(
    constituent=CONSTITUENT,
    unit=TEXT,
    removed_share=NUMBER,
    residence_h=NUMBER,
    inflows=rows(table(inflow_id=TEXT, flow_l_s=NUMBER, concentration_g_m3=NUMBER, basis=TEXT)),
    constituents=rows(
        table(
            constituent=CONSTITUENT, is_chosen=FLAG, unit=TEXT, load_in=NUMBER,
            load_out_without_rafts=NUMBER, load_out=NUMBER, removed=NUMBER, removed_range=PAIR,
            rate_m_yr=NUMBER, rate_range_m_yr=PAIR, settling_m_yr=NUMBER,
        )
    ),
    sensitivity=rows(table(case=TEXT, kept=NUMBER, bound=NUMBER, loss_pct=NUMBER)),
    curve=rows(
        table(
            raft_count=COUNT, cover_pct=NUMBER, cost=NUMBER, kept=NUMBER, bound=NUMBER,
            is_chosen=FLAG,
        )
    ),
)  # fmt: skip
RECORD = table(
    **{
        "from": TEXT,
        "to": TEXT,
        "reading_count": COUNT,
        "known_d": NUMBER,
        "level_m": table(least=NUMBER, most=NUMBER),
        "below_low_pct": NUMBER,
        "above_high_pct": NUMBER,
        "cover_pct": table(least=NUMBER, median=NUMBER, most=NUMBER),
        "rafts": rows(
            table(
                raft_id=TEXT, within_clearance_pct=NUMBER, on_bed_pct=NUMBER,
                beyond_posts_pct=maybe(NUMBER),
            )
        ),
    }
)  # fmt: skip
WAVES = {"type": "object", "required": ["level_name", "wind_m_s", "wave_height_m"]}
ANY = {"type": "object"}
EXPLANATION = table(
    stopped_by=TEXT, is_stopped_by_time=FLAG, rounds=COUNT, frames_tried=COUNT,
    seed={"type": "integer"}, kept_raft_count=COUNT, prices=rows(ANY), why_not=rows(ANY),
    yields=rows(ANY), alternatives=rows(ANY),
)  # fmt: skip
WATER = table(
    water_id=said(TEXT, "identity"),
    name=TEXT,
    raft_count=said(COUNT, "planned and existing rafts"),
    existing_raft_count=COUNT,
    raft_area_m2=said(NUMBER, "sum of the rafts' areas"),
    planted_area_m2=NUMBER,
    water_area_m2=said(BY_LEVEL, "open water, islands out, on the ellipsoid"),
    covered_area_m2=said(BY_LEVEL, "union of the rafts"),
    cover_pct=said(BY_LEVEL, "not rounded"),
    cover_doubt_95_pct=BY_LEVEL,
    cover_at_asked_levels=rows(COVER),
    load_in_g_d=said(maybe(NUMBER), "null where a flow or load was assumed, as all in g_d"),
    load_out_g_d=maybe(NUMBER),
    load_out_without_rafts_g_d=maybe(NUMBER),
    removed_g_d=maybe(NUMBER),
    removed_range_g_d=maybe(PAIR),
    relative=said(FLAG, "true where flows were assumed: no figure is then grams"),
    effect=maybe(EFFECT),
    value=said(NUMBER, "what the plan is worth, in `unit`"),
    bound=said(NUMBER, "what no plan by the same rules can exceed"),
    bound_basis=said(TEXT, "how the bound was proven"),
    unit=TEXT,
    gap_pct=NUMBER,
    method=TEXT,
    status=TEXT,
    frames_tried=COUNT,
    explanation=EXPLANATION,
    certificate=said(maybe(ANY), "prices and sums that, with its file, prove the bound again"),
    waves=rows(WAVES),
    room_m2=NUMBER,
    unsurveyed_pct=PERCENT,
    record=maybe(RECORD),
    why_none=said(TEXT, "empty where a raft was placed"),
    notes=rows(TEXT),
)
ALLOCATION = table(
    unit=TEXT,
    value=said(NUMBER, "what the rafts are worth at least, in `unit`, as all that follow"),
    choice_bound=said(NUMBER, "what no other counts of those looked at are worth"),
    gap_pct=PERCENT,
    bound=said(NUMBER, "what no legal plan of the district is worth"),
    district_gap_pct=PERCENT,
    limits=rows(
        table(
            name=TEXT, kind=texts("stock", "budget", "ward"), least=maybe(NUMBER),
            most=maybe(NUMBER), used=NUMBER, price=NUMBER,
        )
    ),
    policies=said(
        rows(table(name=TEXT, value=NUMBER, cost=NUMBER, raft_count=COUNT)),
        "simple ways to share out the same stock and budget; none is worth more",
    ),
)  # fmt: skip
HASH = {"type": "string", "pattern": "^[0-9a-f]{64}$"}
PLAN = table(
    geoplan_plan=said({"type": "integer", "const": 1}, "layout of this file"),
    site=TEXT,
    site_location=said(TEXT, "where the site lies, seen from the plan folder"),
    crs=said(TEXT, "of plan.gpkg"),
    seed={"type": "integer"},
    time_limit_s=maybe(NUMBER),
    kept_from=said(maybe(ANY), "file of rafts that a person fixed, with its hash"),
    audit=table(passed=maybe(FLAG), checks=ANY, findings=rows(FINDING)),
    water_bodies=rows(WATER),
    allocation=maybe(ALLOCATION),
    logistics=maybe(ANY),
    failed_water_bodies=rows(table(water_id=TEXT, reason=TEXT)),
    notes=rows(TEXT),
    settings=said({"$ref": "#/$defs/settings"}, "in force, defaults filled in"),
    defaults_used=rows(table(key=TEXT, value=TEXT, source=TEXT)),
    inputs=rows(table(path=TEXT, sha256=HASH)),
    versions={"type": "object", "additionalProperties": TEXT},
)


def schema() -> Schema:
    """Return the whole schema; the settings are described by their own types."""
    own = Settings.model_json_schema(ref_template="#/$defs/{model}")
    parts = own.pop("$defs", {})
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "plan.json of geoplan",
        **PLAN,
        "$defs": {**parts, "settings": own},
    }


def text() -> str:
    """Return what the file holds."""
    return json.dumps(schema(), indent=1, ensure_ascii=False, sort_keys=False) + "\n"


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")
    print(f"wrote {FILE}")
