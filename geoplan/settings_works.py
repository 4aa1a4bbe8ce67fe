"""Settings of the works: launching, setting out, bed, moorings and materials."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from geoplan.post_sections import POST_SECTIONS
from geoplan.raft import NotNegative, Positive
from geoplan.settings_table import Table, default


class LaunchSettings(Table):
    """
    How rafts get into the water.

    Attributes
    ----------
    wading_m : float
        Depth in which people may work [m].
    crew : int
        People there on the day.
    lift_kg : float
        What one person may lift close to the body [kg].
    pull_kg : float
        Pull that one person may keep up, as the weight of a mass [kg].
    friction : float
        Coefficient of friction of a raft drawn up a bank [1].
    bare_kg_m2 : float
        Mass of a square metre of bare raft, for types whose build is not stated [kg/m²].
    day_h : float
        Working day on the water [h].
    raft_min, plant_min_m2, post_min, move_min : float
        Bringing a raft into the water; planting a square metre by one person; setting a post or
        anchor; moving to the next water body [min].
    carry_m_s, tow_m_s : float
        Speeds of bringing a raft to the water and of towing [m/s].
    """

    wading_m: Positive = default(0.7, "judgement; local rules prevail")
    crew: Annotated[int, Field(ge=1)] = default(4, "judgement")
    lift_kg: Positive = default(
        16.0, "HSE lifting filter: women, close to the body, elbow to knuckle; recalled"
    )
    pull_kg: Positive = default(7.0, "HSE push and pull filter: women, to keep moving; recalled")
    friction: NotNegative = default(0.4, "judgement: wooden skids on ground, no rollers")
    bare_kg_m2: Positive = default(60.0, "judgement: a raft of hollow poles with liner")
    day_h: Positive = default(6.0, "judgement: daylight, breaks and packing taken off")
    raft_min: NotNegative = default(20.0, "judgement")
    plant_min_m2: NotNegative = default(15.0, "judgement: medium and plants, one person")
    post_min: NotNegative = default(15.0, "judgement: a driven post or a screwed anchor")
    move_min: NotNegative = default(60.0, "judgement")
    carry_m_s: Positive = default(0.2, "judgement: with a heavy load")
    tow_m_s: Positive = default(0.3, "judgement: by hand from a boat or the bank")


class SettingOutSettings(Table):
    """
    How points are set out by tapes from marks on the bank.

    Attributes
    ----------
    tape_sigma_m : float
        One standard deviation of a tape stretched over water [m].
    mark_sigma_m : float
        One standard deviation of a mark's place, in the direction of the tape [m].
    longest_tape_m : float
        Longest tape that is stretched over water [m].
    """

    tape_sigma_m: Positive = default(0.05, "judgement: sag and wind on a tape over water")
    mark_sigma_m: NotNegative = default(0.02, "judgement: marks surveyed to a few centimetres")
    longest_tape_m: Positive = default(50.0, "judgement: the usual long tape")


class BedSettings(Table):
    """
    What posts and anchors stand in.

    Attributes
    ----------
    soil : {"cohesive", "granular"}
        Clay and silt, or sand and gravel.
    shear_strength_pa : float
        Undrained shear strength of a cohesive bed [Pa].
    friction_deg : float
        Internal friction of a granular bed [°].
    unit_weight_n_m3 : float
        Weight of a granular bed under water [N/m³].
    mud_m : float
        Soft mud on top, which bears nothing [m].
    lined : bool
        Lies on a liner, which nothing may pierce.
    """

    soil: Literal["cohesive", "granular"] = default("cohesive", "judgement: most ponds silt up")
    shear_strength_pa: Positive = default(
        10_000.0, "judgement: soft clay; measure it with a hand vane"
    )
    friction_deg: Annotated[float, Field(gt=10, lt=50)] = default(28.0, "judgement: loose sand")
    unit_weight_n_m3: Positive = default(8_000.0, "judgement: loose sand under water")
    mud_m: NotNegative = default(0.3, "judgement; probe it with a rod")
    lined: bool = default(False, "none given")


class MooringSettings(Table):
    """
    Posts and lines that hold a raft.

    Attributes
    ----------
    travel_margin_m : float
        Post above high level, and sleeve below low level [m].
    embedment_m, most_embedment_m : float
        Least and most of a post in the bed, before an engineer says otherwise [m].
    post : str
        Section of the posts, a name of ``geoplan.post_sections``.
    post_safety : float
        Factor on what the bed bears [1].
    sleeve_slack_m : float
        Play of a post in its sleeve [m].
    longest_post_m : float
        Longest post to be had [m].
    stock_lengths_m : tuple of float
        Lengths that posts are sold in, rising [m].
    current_m_s : float or None
        Speed of the water that moorings must bear [m/s].
    line_spread : float
        From fairlead to above the anchor, over the greatest depth at high level [1].
    line_splay_deg : float
        Turn of lines from square across the raft towards its nearer end [°].
    line_slack, line_stretch : float
        Line beyond the straight distance at high level; stretch under load [1].
    line_safety : float
        Factor on the pull of a line [1].
    anchor : {"screw", "embedded", "dead_weight"}
        Kind of anchor.
    anchor_proof_n : float or None
        Pull that a screw or embedded anchor has borne in a test on this bed [N].
    block_friction, block_kg_m3 : float
        Between a block and the bed [1]; density of the block [kg/m³].
    """

    travel_margin_m: NotNegative = default(0.5, "common practice, no source")
    embedment_m: Positive = default(1.0, "judgement; an engineer settles it")
    most_embedment_m: Positive = default(3.0, "judgement: what a small crew can drive")
    post: str = default("steel pipe 88.9x5", "judgement")
    post_safety: Annotated[float, Field(ge=1)] = default(2.5, "Broms 1964 as screening; judgement")
    sleeve_slack_m: NotNegative = default(0.05, "common practice, no source")
    longest_post_m: Positive = default(6.0, "judgement: a usual stock length")
    stock_lengths_m: tuple[Positive, ...] = default((2.0, 3.0, 4.0, 5.0, 6.0), "judgement")
    current_m_s: NotNegative | None = default(
        None, "clearances.jet_speed_m_s: no raft is placed in faster water"
    )
    line_spread: Annotated[float, Field(ge=0.5, le=7)] = default(
        1.0, "judgement: steep, so that lines dive under what floats beside"
    )
    line_splay_deg: Annotated[float, Field(ge=0, le=60)] = default(
        30.0, "judgement: holds against turning and along"
    )
    line_slack: Annotated[float, Field(ge=0, le=0.5)] = default(0.02, "judgement")
    line_stretch: Annotated[float, Field(ge=0, le=0.3)] = default(
        0.03, "judgement: polyester at a working load"
    )
    line_safety: Annotated[float, Field(ge=1)] = default(2.0, "judgement")
    anchor: Literal["screw", "embedded", "dead_weight"] = default("screw", "judgement")
    anchor_proof_n: Positive | None = default(None, "none given: test each anchor by pulling it")
    block_friction: Annotated[float, Field(gt=0, le=1)] = default(0.4, "judgement: soft bed")
    block_kg_m3: Annotated[float, Field(gt=1100, le=12000)] = default(2300.0, "concrete")

    @model_validator(mode="after")
    def _can_be_had(self) -> "MooringSettings":
        """Refuse a section that no table knows, and stock lengths out of order."""
        if self.post not in POST_SECTIONS:
            raise ValueError(f"post {self.post!r} is none of: {', '.join(POST_SECTIONS)}")
        if list(self.stock_lengths_m) != sorted(set(self.stock_lengths_m)):
            raise ValueError("stock_lengths_m must rise")
        return self


class MaterialSettings(Table):
    """
    Waste and prices of what is bought, in the client's currency.

    Attributes
    ----------
    waste_share : float
        What is ordered beyond what is built in [1].
    pole_price, slat_price, fixing_price, plant_price, post_price, anchor_price : float or None
        Of a piece, in the client's currency; ``None`` where not known (units of money).
    edge_board_price, line_price : float or None
        Of a metre (units of money).
    liner_price : float or None
        Of a square metre (units of money).
    medium_price : float or None
        Of a cubic metre (units of money).
    """

    waste_share: Annotated[float, Field(ge=0, le=1)] = default(0.10, "judgement")
    pole_price: NotNegative | None = default(None, "none given")
    slat_price: NotNegative | None = default(None, "none given")
    edge_board_price: NotNegative | None = default(None, "none given")
    fixing_price: NotNegative | None = default(None, "none given")
    liner_price: NotNegative | None = default(None, "none given")
    medium_price: NotNegative | None = default(None, "none given")
    plant_price: NotNegative | None = default(None, "none given")
    post_price: NotNegative | None = default(None, "none given")
    line_price: NotNegative | None = default(None, "none given")
    anchor_price: NotNegative | None = default(None, "none given")
