"""By what the page judges rafts that are tried elsewhere; rounded to the safe side."""

from dataclasses import asdict
from typing import Any

import numpy as np

from geoplan.exports.depth_embedding import embedded
from geoplan.exports.map_coordinates import Millimetres
from geoplan.exports.safe_rounding import rounded_up
from geoplan.plan import DepthGrid, WaterPlan
from geoplan.settings import Settings
from geoplan.tried import TrialRules


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
    return {"trial": record}


def _deep(rules: TrialRules, mm: Millimetres) -> dict[str, Any]:
    """Return depths at high level as whole decimetres up, in the form of the page's depths."""
    # What is embedded is rounded down to a centimetre: half a one more keeps each decimetre.
    up = np.ceil(rules.depth_high_m * 10 - 1e-9) / 10 + 0.005
    grid = embedded(DepthGrid(rules.west_m, rules.south_m, rules.cell_size_m, up))
    return asdict(grid) | {
        "west_m": rules.west_m - mm.east_m,
        "south_m": rules.south_m - mm.north_m,
    }
