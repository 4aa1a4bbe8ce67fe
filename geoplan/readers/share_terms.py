"""On what terms a water body shares in the rafts of its district, from its row of ``water``."""

from geoplan.readers.columns import number_or_none, text_of
from geoplan.readers.fault_log import FaultLog, shown
from geoplan.readers.layer import Layer
from geoplan.settings import Settings
from geoplan.site import ShareTerms

_WANTED = ("may", "must", "never")


def share_terms(
    layer: Layer, index: int, settings: Settings, max_cover_pct: float, log: FaultLog
) -> ShareTerms:
    """
    Return the terms of a water body.

    Parameters
    ----------
    layer : Layer
        Layer ``water``, tidied.
    index : int
        Its row.
    settings : Settings
        For what the row does not state.
    max_cover_pct : float
        Most cover allowed there [%].
    log : FaultLog
        Takes the faults.

    Returns
    -------
    ShareTerms
        Ward, whether rafts are wanted, cost of setting up, least cover.
    """
    wanted = text_of(layer, "wanted", index).strip().lower() or "may"
    if wanted not in _WANTED:
        log.refuse(
            layer.place(index),
            f"wanted {shown(wanted)}",
            "may, must or never",
            "Write one of them, or leave it empty for 'may'.",
        )
        wanted = "may"
    ward = text_of(layer, "ward", index).strip()
    cost = number_or_none(layer, "mobilisation_cost", index)
    own = number_or_none(layer, "min_cover_pct", index)
    if own is not None and own > max_cover_pct:
        log.refuse(
            layer.place(index),
            f"min_cover_pct {own:g}",
            f"no more than the most allowed there, {max_cover_pct:g}",
            "Lower it, or raise max_cover_pct.",
        )
    return ShareTerms(
        ward,
        wanted,
        settings.district.mobilisation_cost if cost is None else cost,
        min(own or 0.0, max_cover_pct),
    )
