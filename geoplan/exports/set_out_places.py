"""Points and marks of a plan as every setting-out file shows them, in the client's CRS."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from geoplan.crs import WGS84, transformed_points
from geoplan.launch.set_out import PHONE_ERROR_M, SetOutPoint, points_to_set_out
from geoplan.plan import Plan, WaterPlan
from geoplan.site import FloatArray, Mark, Site

#: Printed wherever somebody could read places off a telephone.
PHONE_WARNING = (
    f"A phone's place is off by {PHONE_ERROR_M:g} m and more, which is coarser than the gaps"
    " between rafts: use it to find the way, and tapes or a survey-grade receiver to set out."
)
#: Printed beside every peg or post.
DIG_WARNING = (
    "Before a peg or post is driven, look for buried pipes and cables; local rules prevail."
)


@dataclass(frozen=True, eq=False)
class Places:
    """
    What is set out on one water body.

    Attributes
    ----------
    water : WaterPlan
        The plan.
    marks : tuple of Mark
        Marks of the site, then those proposed.
    points : tuple of SetOutPoint
        Points with their tapes, working CRS.
    """

    water: WaterPlan
    marks: tuple[Mark, ...]
    points: tuple[SetOutPoint, ...]

    def is_suggested(self, mark: Mark) -> bool:
        """
        Tell whether a mark is a proposal of the plan.

        Parameters
        ----------
        mark : Mark
            One of ``marks``.

        Returns
        -------
        bool
            True where it is still to be driven and surveyed.
        """
        return mark in self.water.suggested_marks

    def mark_places_in(self, crs: str) -> FloatArray:
        """
        Return where the marks are.

        Parameters
        ----------
        crs : str
            CRS wanted.

        Returns
        -------
        ndarray of float, shape (n, 2)
            Easting and northing, or longitude and latitude [m, °].
        """
        return _in(crs, self.water, [(mark.point.x, mark.point.y) for mark in self.marks])

    def point_places_in(self, crs: str) -> FloatArray:
        """
        Return where the points are.

        Parameters
        ----------
        crs : str
            CRS wanted.

        Returns
        -------
        ndarray of float, shape (n, 2)
            Easting and northing, or longitude and latitude [m, °].
        """
        return _in(crs, self.water, [(point.easting_m, point.northing_m) for point in self.points])

    def tape_words(self, point: SetOutPoint) -> str:
        """
        Return the tapes of a point in words.

        Parameters
        ----------
        point : SetOutPoint
            One of ``points``.

        Returns
        -------
        str
            Both tapes, and how far the point may be off; or that it cannot be taped.
        """
        if point.fix is None:
            return "no two marks fix it by tape"
        one, other = (self.marks[index].mark_id for index in point.fix.marks)
        first_m, second_m = point.fix.tapes_m
        return (
            f"{first_m:.2f} m from {one}, {second_m:.2f} m from {other}, off by up to"
            f" {point.fix.error_major_m:.2f} m (95 %)"
        )


def places_of(plan: Plan, site: Site) -> Iterator[Places]:
    """
    Yield what is set out, water body by water body.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site, for its marks and what tapes can do.

    Yields
    ------
    Places
        One for each water body of the plan, in its order.
    """
    known = site.by_id
    for water in plan.waters:
        own = known[water.water_id].marks if water.water_id in known else ()
        marks = (*own, *water.suggested_marks)
        points = points_to_set_out(water.rafts, water.moorings, marks, site.settings)
        yield Places(water, marks, points)


def _in(crs: str, water: WaterPlan, places_m: list[tuple[float, float]]) -> FloatArray:
    """Return places of a water body in another CRS, shape (n, 2)."""
    here = np.array(places_m, float).reshape(-1, 2)
    return np.column_stack(transformed_points(here[:, 0], here[:, 1], water.crs, crs))


def plain_text(text: str) -> str:
    r"""
    Return a text without characters that XML and DXF cannot hold.

    Parameters
    ----------
    text : str
        Any text, such as a name that a site gives.

    Returns
    -------
    str
        The text on one line; what has no printed form is a space.

    Examples
    --------
    >>> plain_text("raft\x00 one\nand two")
    'raft  one and two'
    """
    return "".join(letter if letter.isprintable() else " " for letter in text)


__all__ = ["DIG_WARNING", "PHONE_WARNING", "WGS84", "Places", "places_of", "plain_text"]
