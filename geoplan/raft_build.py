"""
What a raft is built of: the table ``[raft.build]`` of ``site.toml``.

Nothing is computed here; ``raft_states`` weighs and floats it.
"""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
Density = Annotated[float, Field(ge=50, le=3000, allow_inf_nan=False)]


def _default(value: Any, source: str) -> Any:
    """Return a field with a default and the source that the plan prints beside it."""
    return Field(default=value, json_schema_extra={"source": source})


class PoleGroup(BaseModel):
    """
    Poles of one size in one layer, as ``[[raft.build.poles]]`` describes them.

    Attributes
    ----------
    count : int
        How many.
    diameter_m, wall_m, length_m : float
        Outside diameter, thickness of the wall, length [m].
    layer : int
        1 for the lowest; each next layer lies on the one below.
    lies : {"along", "across"}
        Along the raft's length, or across it.
    dry_kg_m3, saturated_kg_m3 : float
        Density of the wall, air-dry and full of water [kg/m³].
    sealed_share : float
        Share of the hollow that is sealed by sound nodes when new [1].
    drilled_count : int
        Holes drilled for posts or bolts; each floods one chamber.
    chamber_m : float
        Length of a chamber between two nodes [m].
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    count: Annotated[int, Field(ge=1, le=500)]
    diameter_m: Annotated[Positive, Field(le=0.5)]
    wall_m: Positive
    length_m: Annotated[Positive, Field(le=60)]
    layer: Annotated[int, Field(ge=1, le=5)] = _default(1, "none given: one layer")
    lies: Literal["along", "across"] = _default("along", "common practice, no source")
    dry_kg_m3: Density = _default(800.0, "culms 600 to 900, design 700 to 800; recalled, heavy end")
    saturated_kg_m3: Density = _default(1200.0, "culms 1050 to 1200; recalled, heavy end")
    sealed_share: Share = _default(0.9, "judgement; test the poles in water")
    drilled_count: Annotated[int, Field(ge=0)] = _default(0, "none given")
    chamber_m: Positive = _default(0.4, "judgement, long end for culms")

    @model_validator(mode="after")
    def _is_a_tube(self) -> "PoleGroup":
        """Refuse walls thicker than the pole."""
        if 2 * self.wall_m > self.diameter_m:
            raise ValueError(
                f"wall_m {self.wall_m:g} is more than half of diameter_m {self.diameter_m:g}"
            )
        return self


class RaftBuild(BaseModel):
    """
    What a raft is built of and carries, as ``[raft.build]`` describes it.

    Attributes
    ----------
    poles : tuple of PoleGroup
        The poles that float it.
    slat_count : int
        Deck slats.
    slat_width_m, slat_thickness_m, slat_length_m : float
        Size of a slat [m].
    wood_kg_m3 : float
        Density of slats and raised edge, wet [kg/m³].
    edge_height_m, edge_thickness_m : float
        Raised edge that holds the medium: above the deck, and its thickness [m].
    liner_kg_m2 : float
        Liner under the medium, wet [kg/m²].
    liner_overlap_m : float
        Liner beyond each side, to be turned up [m].
    medium_depth_m : float
        Depth of the planting medium [m].
    medium_dry_kg_m3, medium_saturated_kg_m3 : float
        Its density as it comes, and full of water [kg/m³].
    plant_kg_m2, grown_kg_m2 : float
        Wet mass of plants above the water, when planted and after two seasons [kg/m²].
    plant_spacing_m : float
        Between plants [m].
    fittings_kg : float
        Lashings, bolts, sleeves and nets [kg].
    fixing_count : int
        Lashings or bolts.
    person_kg : float
        Somebody on it with tools [kg].
    people_count : int
        How many stand on it at once.
    season_loss_share : float
        Share of the sealed hollow that is lost in a season [1].
    root_gap_m : float
        Least clear gap between poles for roots to pass [m].
    most_used_share : float
        Share of the buoyancy that may be used [1].
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    poles: tuple[PoleGroup, ...] = Field(min_length=1)
    slat_count: Annotated[int, Field(ge=0, le=1000)] = _default(0, "none given")
    slat_width_m: NotNegative = _default(0.05, "judgement")
    slat_thickness_m: NotNegative = _default(0.02, "judgement")
    slat_length_m: NotNegative | None = _default(None, "the raft's width")
    wood_kg_m3: Density = _default(1000.0, "judgement: waterlogged wood")
    edge_height_m: NotNegative = _default(0.10, "judgement: the edge holds the medium")
    edge_thickness_m: NotNegative = _default(0.02, "judgement")
    liner_kg_m2: NotNegative = _default(1.5, "judgement, coir and net, wet")
    liner_overlap_m: NotNegative = _default(0.2, "judgement")
    medium_depth_m: NotNegative = _default(0.08, "judgement")
    medium_dry_kg_m3: Density = _default(593.0, "screened compost, 1000 lb/yd³, State extension")
    medium_saturated_kg_m3: Density = _default(
        1023.0, "saturated, compacted compost as measured, 1724 lb/yd³"
    )
    plant_kg_m2: NotNegative = _default(3.0, "judgement")
    grown_kg_m2: NotNegative = _default(10.0, "judgement: dense sedges, wet, above the water")
    plant_spacing_m: Positive = _default(0.3, "judgement: eleven plants a square metre")
    fittings_kg: NotNegative = _default(10.0, "judgement")
    fixing_count: Annotated[int, Field(ge=0)] | None = _default(
        None, "judgement: one at each crossing of poles, slats and edge"
    )
    person_kg: NotNegative = _default(100.0, "judgement: heavy, with tools")
    people_count: Annotated[int, Field(ge=0, le=20)] = _default(1, "judgement")
    season_loss_share: Share = _default(0.05, "judgement; untreated culms last 1 to 3 years wet")
    root_gap_m: NotNegative = _default(0.02, "judgement; root gaps are wanted")
    most_used_share: Annotated[float, Field(gt=0, le=0.85)] = _default(
        0.75, "judgement; on saturated medium, never above 0.85"
    )
