"""
The bill of materials of a plan: what to buy for one raft of each type, and for all of it.

Counts come from the build of each type and from the moorings of the plan; waste is added by item,
then whole pieces are taken.
"""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

from geoplan.plan import Mooring, Plan, WaterPlan
from geoplan.raft import RaftType
from geoplan.raft_build import RaftBuild
from geoplan.settings import Settings

#: Line for the knots at both ends; judgement [m].
KNOTS_M = 1.0
#: Lashings of the raised edge, two to a corner; judgement.
_EDGE_FIXINGS = 8
WHOLE_PLAN = "whole plan"


@dataclass(frozen=True)
class MaterialLine:
    """
    One line of a bill.

    Attributes
    ----------
    scope : str
        Raft type, for one raft of it; or ``whole plan``.
    item, size : str
        What, and in which size.
    quantity : float
        As built in, as ``unit`` says (unit of the line).
    unit : str
        ``pieces``, ``m``, ``m²``, ``m³`` or ``kg``.
    ordered : float
        With waste; whole pieces (unit of the line).
    price : float or None
        Of one unit, in the client's currency (relative to the unit); ``None`` where none is given.
    """

    scope: str
    item: str
    size: str
    quantity: float
    unit: str
    ordered: float
    price: float | None = None

    @property
    def cost(self) -> float | None:
        """Return price times what is ordered, in the client's currency; None without a price."""
        return None if self.price is None else self.price * self.ordered


_Key = tuple[str, str, str]


def bill(plan: Plan, settings: Settings) -> tuple[MaterialLine, ...]:
    """
    Return the bill of materials.

    Parameters
    ----------
    plan : Plan
        The plan; rafts that are there already are left out.
    settings : Settings
        Raft types, stock lengths, waste and prices.

    Returns
    -------
    tuple of MaterialLine
        Each raft type that is planned and whose build is known, for one raft, in the order of the
        settings; then the whole plan, its posts, lines and anchors included.
    """
    total, counts = _totals(plan.waters, settings)
    lines: list[MaterialLine] = []
    for kind in settings.raft:
        if kind.build is not None and counts[kind.name]:
            lines += _lines(kind.name, raft_parts(kind, kind.build), settings)
    return (*lines, *_lines(WHOLE_PLAN, total, settings))


def bill_by_water(plan: Plan, settings: Settings) -> tuple[MaterialLine, ...]:
    """
    Return what goes to each water body, where more than one gets something.

    Parameters
    ----------
    plan : Plan
        The plan; rafts that are there already are left out.
    settings : Settings
        Raft types and stock lengths.

    Returns
    -------
    tuple of MaterialLine
        Scope ``water`` and its identity; quantities as built in, and the same as ordered: waste is
        bought once, for the whole plan. Empty for a plan of one water body.
    """
    lines: list[MaterialLine] = []
    served = 0
    for water in plan.waters:
        served += bool(water.moorings or water.rafts)
        total, _ = _totals([water], settings)
        lines += [
            MaterialLine(f"water {water.water_id}", item, size, quantity, unit, quantity)
            for (item, size, unit), quantity in total.items()
        ]
    return tuple(lines) if served > 1 else ()


def _totals(
    waters: Sequence[WaterPlan], settings: Settings
) -> tuple[dict[_Key, float], Counter[str]]:
    """Return all parts of rafts planned and of their moorings, and the rafts of each type."""
    counts: Counter[str] = Counter()
    held_by: list[Mooring] = []
    for water in waters:
        counts.update(raft.raft_type for raft in water.rafts if raft.status == "planned")
        held_by += water.moorings
    total: dict[_Key, float] = {}
    for kind in settings.raft:
        if kind.build is not None and counts[kind.name]:
            for key, quantity in raft_parts(kind, kind.build).items():
                total[key] = total.get(key, 0.0) + quantity * counts[kind.name]
    for key, quantity in mooring_parts(held_by, settings):
        total[key] = total.get(key, 0.0) + quantity
    return total, counts


def raft_parts(kind: RaftType, build: RaftBuild) -> dict[_Key, float]:
    """
    Return what one raft is built of.

    Parameters
    ----------
    kind : RaftType
        The type.
    build : RaftBuild
        Its build.

    Returns
    -------
    dict of (str, str, str) to float
        By item, size and unit: the quantity built in (unit of the key).
    """
    parts: dict[_Key, float] = {}
    for group in build.poles:
        key = ("pole", f"{1000 * group.diameter_m:.0f} mm x {group.length_m:.2f} m", "pieces")
        parts[key] = parts.get(key, 0.0) + group.count
    if build.slat_count:
        size = (
            f"{1000 * build.slat_width_m:.0f} x {1000 * build.slat_thickness_m:.0f} mm x"
            f" {build.slat_length_m or kind.width_m:.2f} m"
        )
        parts["slat", size, "pieces"] = float(build.slat_count)
    if build.edge_height_m > 0:
        size = f"{1000 * build.edge_height_m:.0f} x {1000 * build.edge_thickness_m:.0f} mm"
        parts["edge board", size, "m"] = 2 * (kind.length_m + kind.width_m)
    parts["fixing", "lashing or bolt", "pieces"] = float(fixing_count(build))
    more = 2 * build.liner_overlap_m
    if build.liner_kg_m2 > 0:
        parts["liner", f"overlap {build.liner_overlap_m:.2f} m", "m²"] = (kind.length_m + more) * (
            kind.width_m + more
        )
    if build.medium_depth_m > 0:
        parts["medium", f"{1000 * build.medium_depth_m:.0f} mm deep", "m³"] = (
            kind.area_m2 * build.medium_depth_m
        )
    parts["plant", f"every {build.plant_spacing_m:.2f} m", "pieces"] = float(
        math.ceil(kind.planted_area_m2 / build.plant_spacing_m**2 - 1e-9)
    )
    return parts


def fixing_count(build: RaftBuild) -> int:
    """
    Return how many lashings or bolts a raft needs.

    Parameters
    ----------
    build : RaftBuild
        What it is built of.

    Returns
    -------
    int
        As stated; else one at each crossing of poles of neighbouring layers, two to a slat, eight
        for the edge.
    """
    if build.fixing_count is not None:
        return build.fixing_count
    groups = sorted(build.poles, key=lambda group: group.layer)
    layers = [
        sum(group.count for group in layer)
        for _, layer in groupby(groups, key=lambda group: group.layer)
    ]
    crossings = sum(one * other for one, other in pairwise(layers))
    return crossings + 2 * build.slat_count + (_EDGE_FIXINGS if build.edge_height_m > 0 else 0)


def stock_length_m(length_m: float, settings: Settings) -> float:
    """
    Return the length in which a post is bought.

    Parameters
    ----------
    length_m : float
        Length that it must have [m].
    settings : Settings
        Stock lengths.

    Returns
    -------
    float
        The shortest that does; its own, rounded up to 0.1 m, where none does [m].
    """
    for stock in settings.mooring.stock_lengths_m:
        if stock >= length_m - 1e-9:
            return stock
    return math.ceil(length_m * 10 - 1e-9) / 10


def mooring_parts(
    moorings: Sequence[Mooring], settings: Settings
) -> Iterator[tuple[tuple[str, str, str], float]]:
    """
    Yield what moorings are made of.

    Parameters
    ----------
    moorings : sequence of Mooring
        Posts and anchors.
    settings : Settings
        Sections, stock lengths and kind of anchor.

    Yields
    ------
    tuple of (str, str, str) and float
        Item, size and unit; how much (unit of the key).
    """
    for part in moorings:
        if part.kind == "post":
            stock = stock_length_m(part.length_m, settings)
            yield ("post", f"{settings.mooring.post} x {stock:.2f} m", "pieces"), 1.0
            continue
        yield ("line", "one rope from raft to anchor, knots included", "m"), part.length_m + KNOTS_M
        size = str(settings.mooring.anchor)
        if part.block_kg is not None:
            size = f"dead weight {part.block_kg:.0f} kg"
        yield ("anchor", size, "pieces"), 1.0


def _lines(scope: str, parts: dict[_Key, float], settings: Settings) -> Iterator[MaterialLine]:
    """Yield the lines of a bill in the order of its parts, with waste and prices."""
    waste = 1.0 + settings.materials.waste_share
    for (item, size, unit), quantity in parts.items():
        if quantity <= 0:
            continue
        most = quantity * waste
        ordered = (
            float(math.ceil(most - 1e-9))
            if unit == "pieces"
            else math.ceil(most * 100 - 1e-9) / 100
        )
        price = getattr(settings.materials, f"{item.replace(' ', '_')}_price")
        yield MaterialLine(scope, item, size, quantity, unit, ordered, price)
