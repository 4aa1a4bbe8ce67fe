"""Marks and tapes as a ``plan.gpkg`` states them, in the CRS of the file, for the audit."""

from dataclasses import dataclass


@dataclass(frozen=True)
class WrittenMark:
    """
    A row of the layer ``marks``, as it stands in the file.

    Attributes
    ----------
    mark_id, water_id : str
        Identity, and the water it serves.
    easting_m, northing_m : float
        Where, CRS of the file [m].
    is_suggested : bool
        A proposal of the plan, not a mark of the site.
    """

    mark_id: str
    water_id: str
    easting_m: float
    northing_m: float
    is_suggested: bool


@dataclass(frozen=True)
class WrittenTape:
    """
    A row of the layer ``setting_out``, as it stands in the file.

    Attributes
    ----------
    raft_id, water_id, item : str
        What is set out.
    easting_m, northing_m : float
        Where, CRS of the file [m].
    mark_1, mark_2 : str
        The two marks; empty where none fix it.
    tape_1_m, tape_2_m, crossing_deg, error_major_m : float or None
        What the row states; ``None`` where no marks fix it [m, °].
    """

    raft_id: str
    water_id: str
    item: str
    easting_m: float
    northing_m: float
    mark_1: str
    mark_2: str
    tape_1_m: float | None
    tape_2_m: float | None
    crossing_deg: float | None
    error_major_m: float | None
