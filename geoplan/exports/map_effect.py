"""What the page says of loads: in and out, with and without rafts, and what more would bring."""

from typing import Any

from geoplan.plan import ConstituentLoads, Effect

_NAMES = {
    "tn": "total nitrogen",
    "tp": "total phosphorus",
    "tss": "suspended solids",
    "ecoli": "E. coli",
}


def effect_record(effect: Effect) -> dict[str, Any]:
    """
    Return the figures of an effect, rounded for a page.

    Parameters
    ----------
    effect : Effect
        Loads, sensitivity and curve.

    Returns
    -------
    dict of str to object
        Grams a day; where flows or loads were assumed, percent of what flows in.
    """
    scale = 100.0 / max(effect.load_in_g_d, 1e-300) if effect.is_relative else 1.0
    unit = "% of what flows in" if effect.is_relative else "g a day"
    if effect.constituent == "ecoli" and not effect.is_relative:
        unit = "million a day"

    def figure(value_g_d: float) -> float:
        return float(f"{value_g_d * scale:.3g}")

    return {
        "constituent": _NAMES[effect.constituent],
        "unit": unit,
        "is_relative": effect.is_relative,
        "in": figure(effect.load_in_g_d),
        "out_without": figure(effect.load_out_without_rafts_g_d),
        "out": figure(effect.load_out_g_d),
        "kept": figure(effect.removed_g_d),
        "kept_range": [figure(value) for value in effect.removed_range_g_d],
        "constituents": [_side_by_side(part) for part in effect.constituents],
        "residence_d": float(f"{effect.residence_h / 24.0:.3g}"),
        "cases": [
            [case.name, figure(case.kept_g_d), round(max(case.loss_pct, 0.0), 1)]
            for case in effect.sensitivity
        ],
        "curve": [
            [
                point.raft_count,
                round(point.cover_pct, 1),
                round(point.cost, 2),
                figure(point.kept_g_d),
                figure(point.bound_g_d),
                point.is_chosen,
            ]
            for point in effect.curve
        ],
    }


def _side_by_side(part: ConstituentLoads) -> list[Any]:
    """Return one constituent: name, in, out without and with, kept from and to, unit, chosen."""
    scale = 100.0 / max(part.load_in_g_d, 1e-300) if part.is_relative else 1.0
    known = "million a day" if part.constituent == "ecoli" else "g a day"
    loads = (part.load_in_g_d, part.load_out_without_rafts_g_d, part.load_out_g_d)
    return [
        _NAMES[part.constituent],
        *(float(f"{value * scale:.3g}") for value in (*loads, *part.removed_range_g_d)),
        "% (concentration or flow assumed)" if part.is_relative else known,
        part.is_chosen,
    ]
