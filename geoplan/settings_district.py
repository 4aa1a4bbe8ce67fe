"""Settings of a district: budget, wards and the yard."""

from typing import Annotated

from pydantic import Field, model_validator

from geoplan.raft import NotNegative, Positive
from geoplan.settings_table import Finite, Table, default


class BudgetSettings(Table):
    """
    Money that may be spent.

    Attributes
    ----------
    limit : float or None
        Most that all rafts together may cost; ``None``: no limit.
    """

    limit: NotNegative | None = default(None, "none given: no limit")


class WardSettings(Table):
    """
    A part of the district, and how many rafts it gets.

    Attributes
    ----------
    name : str
        As in the column ``ward`` of ``water``.
    least_rafts, most_rafts : int or None
        Fewest and most rafts of all types that its water bodies get together.
    """

    name: str = Field(min_length=1, max_length=80)
    least_rafts: Annotated[int, Field(ge=0)] | None = default(None, "none given: no limit")
    most_rafts: Annotated[int, Field(ge=0)] | None = default(None, "none given: no limit")

    @model_validator(mode="after")
    def _ordered(self) -> "WardSettings":
        """Refuse limits that contradict each other."""
        least, most = self.least_rafts, self.most_rafts
        if least is not None and most is not None and least > most:
            raise ValueError(f"ward '{self.name}': least_rafts {least} is above most_rafts {most}")
        return self


class DistrictSettings(Table):
    """
    How the rafts of a district are shared out.

    Attributes
    ----------
    mobilisation_cost : float
        Price of setting up at a water body at all, where its row states none, in the client's
        currency; it counts against the budget.
    ward : tuple of WardSettings
        Limits by ward.
    """

    mobilisation_cost: NotNegative = default(0.0, "none given: setting up costs nothing")
    ward: tuple[WardSettings, ...] = ()

    @model_validator(mode="after")
    def _ward_names_differ(self) -> "DistrictSettings":
        """Refuse two limits for one ward."""
        names = [ward.name for ward in self.ward]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"ward {twice[0]!r} is given twice")
        return self


class YardSettings(Table):
    """
    Where rafts stand, and how a crew brings them out.

    Attributes
    ----------
    easting_m, northing_m : float or None
        The yard in the CRS of the site [m]; or
    longitude_deg, latitude_deg : float or None
        the yard in WGS 84 [°]. Without either no order of trips is made.
    rafts_per_trip : int
        Most rafts on vehicle and trailer.
    speed_km_h : float
        Mean speed on the road [km/h].
    detour : float
        Road over straight line [1].
    set_up_h, raft_h : float
        Work of the crew at each water body, and for each raft there [h].
    day_h : float
        Work and driving of a day [h].
    """

    easting_m: Finite | None = None
    northing_m: Finite | None = None
    longitude_deg: Annotated[float, Field(ge=-180, le=180)] | None = None
    latitude_deg: Annotated[float, Field(ge=-90, le=90)] | None = None
    rafts_per_trip: Annotated[int, Field(ge=1)] = default(4, "judgement: one trailer")
    speed_km_h: Positive = default(40.0, "judgement: local roads with a trailer")
    detour: Annotated[float, Field(ge=1, le=10)] = default(1.4, "judgement: roads of a district")
    set_up_h: NotNegative = default(1.0, "judgement")
    raft_h: NotNegative = default(1.5, "judgement: launch, tow and moor with the crew")
    day_h: Annotated[float, Field(gt=0, le=24)] = default(8.0, "judgement")

    @model_validator(mode="after")
    def _place_is_whole(self) -> "YardSettings":
        """Refuse half a place, or two."""
        plane = (self.easting_m is not None, self.northing_m is not None)
        globe = (self.longitude_deg is not None, self.latitude_deg is not None)
        if any(plane) != all(plane) or any(globe) != all(globe) or (any(plane) and any(globe)):
            raise ValueError(
                "give the yard as easting_m and northing_m, or as longitude_deg and latitude_deg"
            )
        return self

    @property
    def is_given(self) -> bool:
        """Tell whether the yard has a place."""
        return self.easting_m is not None or self.longitude_deg is not None
