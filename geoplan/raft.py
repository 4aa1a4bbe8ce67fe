"""
A raft type, and the water it covers.

A raft is a rectangle on the water: a table ``[[raft]]`` of ``site.toml``. How deep it floats when
wet is ``draft_m``, or follows from what it is built of, ``[raft.build]``.
"""

import math
from typing import Annotated, Any, Literal

import numpy as np
import shapely
from numpy.typing import ArrayLike
from pydantic import BaseModel, ConfigDict, Field, model_validator

from geoplan.raft_build import NotNegative, Positive, RaftBuild
from geoplan.raft_states import raft_states, sinking_fault

__all__ = ["NotNegative", "Positive", "RaftType", "footprints"]

#: Freeboard of the hull where nothing is known of its build; judgement [m].
_HULL_ABOVE_M = 0.25


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
        Depth of the hull below the water, fully loaded; where not given, what ``build`` comes to
        after two seasons [m].
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
    plant_height_m : float
        Height of grown plants above the deck [m].
    plant_solidity : float
        Share of their silhouette that stops the wind [1].
    build : RaftBuild or None
        What it is built of; ``None``: not known, and its buoyancy not assessed.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str = Field(min_length=1, max_length=60)
    length_m: Annotated[Positive, Field(le=60)]
    width_m: Annotated[Positive, Field(le=60)]
    draft_m: Annotated[NotNegative, Field(le=3)] = Field(
        default=-1.0, json_schema_extra={"source": "[raft.build] after two seasons, rounded up"}
    )
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
    plant_height_m: Annotated[NotNegative, Field(le=5)] = Field(
        default=1.2, json_schema_extra={"source": "judgement: tall sedges and rushes"}
    )
    plant_solidity: Annotated[NotNegative, Field(le=1)] = Field(
        default=0.5, json_schema_extra={"source": "judgement"}
    )
    build: RaftBuild | None = None

    @model_validator(mode="after")
    def _longer_side_is_length(self) -> "RaftType":
        """Refuse a raft wider than long: headings would turn by a right angle unseen."""
        if self.width_m > self.length_m:
            raise ValueError(
                f"raft '{self.name}' is {self.width_m:g} m wide and {self.length_m:g} m long;"
                " length_m is the longer side: exchange the two"
            )
        return self

    @model_validator(mode="after")
    def _floats(self) -> "RaftType":
        """Take the draft from the build, and refuse a raft that sinks or that contradicts it."""
        if self.build is None:
            if "draft_m" not in self.model_fields_set:
                raise ValueError(
                    f"raft '{self.name}' has no draft_m, which has no default without [raft.build]"
                )
            return self
        longest = {"along": self.length_m, "across": self.width_m}
        for group in self.build.poles:
            if group.length_m > longest[group.lies] + 1e-9:
                raise ValueError(
                    f"raft '{self.name}': poles of {group.length_m:g} m lie {group.lies} a raft of"
                    f" {longest[group.lies]:g} m that way"
                )
        fault = sinking_fault(self.build, self.length_m, self.width_m)
        if fault:
            raise ValueError(f"raft '{self.name}': {fault}")
        wet_m = raft_states(self.build, self.length_m, self.width_m)[-1].draft_m
        draft_m = math.ceil(wet_m * 1000.0 - 1e-6) / 1000.0
        if "draft_m" not in self.model_fields_set:
            object.__setattr__(self, "draft_m", draft_m)
        elif self.draft_m < wet_m - 5e-4:
            raise ValueError(
                f"raft '{self.name}': draft_m {self.draft_m:g} is less than the {draft_m:.3f} m"
                " that [raft.build] comes to after two seasons; leave it out, or correct one"
            )
        return self

    @property
    def hull_above_m(self) -> float:
        """Return the height of deck, medium and edge above the water when bare and dry [m]."""
        if self.build is None:
            return _HULL_ABOVE_M
        bare = raft_states(self.build, self.length_m, self.width_m)[0]
        return bare.freeboard_m + max(self.build.edge_height_m, self.build.medium_depth_m)

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
