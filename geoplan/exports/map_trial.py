"""By what the page judges rafts that are tried elsewhere; rounded to the safe side."""

from dataclasses import asdict
from typing import Any

import numpy as np

from geoplan.exports.depth_embedding import embedded
from geoplan.exports.map_coordinates import Millimetres
from geoplan.exports.safe_rounding import rounded_up
from geoplan.plan import DepthGrid, WaterPlan
from geoplan.settings import Settings
from geoplan.site import FloatArray
from geoplan.tried import TrialRules, TriedHeading


def trial_record(water: WaterPlan, settings: Settings, mm: Millimetres) -> dict[str, Any]:
    """
    Return the rules of a water body as the page reads them.

    Parameters
    ----------
    water : WaterPlan
        The plan of the water body.
    settings : Settings
        Settings of the site.
    mm : Millimetres
        Centre of the water body.

    Returns
    -------
    dict of str to Any
        Key ``trial``; nothing where the plan carries no rules.
    """
    rules = water.trial
    if rules is None:
        return {}
    keep = settings.clearances
    record = {
        "gap_m": rounded_up(rules.gap_m, 3),
        "bank_m": keep.bank_m,
        "root_m": keep.root_m,
        "line_stretch": rules.line_stretch,
        "post_m": [rounded_up(float(length), 2) for length in rules.post_length_m],
        "kinds": [
            asdict(kind)
            | {
                "need_m": rounded_up(kind.need_m, 3),
                "reach_m": rounded_up(kind.reach_m, 2),
                "apart_m": rounded_up(kind.apart_m, 3),
            }
            for kind in rules.kinds
        ],
        "deep": _deep(rules, mm),
    }
    if rules.heading is not None:
        record["heading"] = _heading(rules.heading, mm)
    return {"trial": record}


def _heading(held: TriedHeading, mm: Millimetres) -> dict[str, Any]:
    """Return which way rafts may lie: two numbers, or grids of half degrees like the depths."""
    if held.half_deg.size == 1:
        middle, half = float(held.middle_deg[0, 0]), float(held.half_deg[0, 0])
        return {"along": held.along, "middle_deg": middle, "half_deg": half}
    place = (held.west_m, held.south_m, held.cell_size_m)
    there = {"west_m": held.west_m - mm.east_m, "south_m": held.south_m - mm.north_m}

    def packed(values_deg: FloatArray) -> dict[str, Any]:
        # What is embedded are whole hundredths, rounded down; NaN stands for no heading at all.
        steps = np.where(values_deg < 0, np.nan, (np.round(2.0 * values_deg) + 0.25) / 100.0)
        return asdict(embedded(DepthGrid(*place, steps))) | there

    grids = {"middle": packed(held.middle_deg), "half": packed(held.half_deg)}
    return {"along": held.along} | grids


def _deep(rules: TrialRules, mm: Millimetres) -> dict[str, Any]:
    """Return depths at high level as whole decimetres up, in the form of the page's depths."""
    # What is embedded is rounded down to a centimetre: half a one more keeps each decimetre.
    up = np.ceil(rules.depth_high_m * 10 - 1e-9) / 10 + 0.005
    grid = embedded(DepthGrid(rules.west_m, rules.south_m, rules.cell_size_m, up))
    return asdict(grid) | {
        "west_m": rules.west_m - mm.east_m,
        "south_m": rules.south_m - mm.north_m,
    }
