"""
A raft type, and the water it covers.

A raft is a rectangle on the water: a table ``[[raft]]`` of ``site.toml``. What it is built of,
and how deep it floats when wet, is not known here yet; ``draft_m`` is taken as given.
"""

from typing import Annotated, Any, Literal

import numpy as np
import shapely
from numpy.typing import ArrayLike
from pydantic import BaseModel, ConfigDict, Field, model_validator

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]


class RaftType(BaseModel):
    """
    A kind of raft that stands in the yard, as ``[[raft]]`` in ``site.toml`` describes it.

    Attributes
    ----------
    name : str
        What the crew calls it.
    length_m, width_m : float
        Outside size on the water; the length is the longer side [m].
    draft_m : float
        Depth of the hull below the water, fully loaded [m].
    root_depth_m : float
        Depth of the roots below the hull when grown [m].
    stock : int or None
        How many there are; ``None`` for as many as wanted.
    cost : float
        Price of one, in the client's currency, moorings included.
    mooring : {"posts", "lines", "auto"}
        How it is held.
    planted_share : float
        Planted part of its area [1].
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str = Field(min_length=1, max_length=60)
    length_m: Annotated[Positive, Field(le=60)]
    width_m: Annotated[Positive, Field(le=60)]
    draft_m: Annotated[NotNegative, Field(le=3)]
    root_depth_m: Annotated[NotNegative, Field(le=3)] = Field(
        default=0.8,
        json_schema_extra={"source": "Queensland guidance: 0.4 to 0.8 m usual, longest taken"},
    )
    stock: Annotated[int, Field(ge=0)] | None = Field(
        default=None, json_schema_extra={"source": "none given: unlimited"}
    )
    cost: NotNegative = Field(
        default=0.0, json_schema_extra={"source": "none given: cost does not count"}
    )
    mooring: Literal["posts", "lines", "auto"] = Field(
        default="auto", json_schema_extra={"source": "judgement: posts where they reach the bed"}
    )
    planted_share: Annotated[Positive, Field(le=1)] = Field(
        default=0.9, json_schema_extra={"source": "judgement: the raised edge is not planted"}
    )

    @model_validator(mode="after")
    def _longer_side_is_length(self) -> "RaftType":
        """Refuse a raft wider than long: headings would turn by a right angle unseen."""
        if self.width_m > self.length_m:
            raise ValueError(
                f"raft '{self.name}' is {self.width_m:g} m wide and {self.length_m:g} m long;"
                " length_m is the longer side: exchange the two"
            )
        return self

    @property
    def area_m2(self) -> float:
        """Area of water covered [m²]."""
        return self.length_m * self.width_m

    @property
    def planted_area_m2(self) -> float:
        """Area planted [m²]."""
        return self.area_m2 * self.planted_share


def footprints(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    heading_deg: ArrayLike,
    length_m: ArrayLike,
    width_m: ArrayLike,
) -> Any:
    """
    Return the rectangles of water that rafts cover.

    Parameters
    ----------
    easting_m, northing_m : array_like of float, shape (n,)
        Centres [m].
    heading_deg : array_like of float, shape (n,)
        Direction of the long axis, clockwise from grid north [°].
    length_m, width_m : array_like of float, shape (n,)
        Sides along and across the heading [m].

    Returns
    -------
    ndarray of Polygon, shape (n,)
        Rectangles; the first corner is ahead and to starboard, the rest follow clockwise.

    Examples
    --------
    >>> [round(v, 9) for v in footprints([0.0], [0.0], [90.0], [4.0], [2.0])[0].bounds]
    [-2.0, -1.0, 2.0, 1.0]
    """
    easting, northing, heading, length, width = np.broadcast_arrays(
        *(
            np.atleast_1d(np.asarray(v, float))
            for v in (easting_m, northing_m, heading_deg, length_m, width_m)
        )
    )
    angle = np.radians(heading)
    ahead = np.stack([np.sin(angle), np.cos(angle)], axis=-1) * (length / 2)[:, None]
    starboard = np.stack([np.cos(angle), -np.sin(angle)], axis=-1) * (width / 2)[:, None]
    centre = np.stack([easting, northing], axis=-1)
    corners = np.stack(
        [
            centre + ahead + starboard,
            centre - ahead + starboard,
            centre - ahead - starboard,
            centre + ahead - starboard,
        ],
        axis=1,
    )
    return shapely.polygons(corners)
