"""A rectangular pond with even banks, and rafts on it."""

import numpy as np
import shapely

from geoplan.crs import working_crs
from geoplan.grid import SiteFields, water_grid
from geoplan.site import Levels, Soundings, WaterBody

OUTLINE = shapely.box(0, 0, 80, 20)
#: Forty rafts of 2 x 1 m.
RAFTS = [
    shapely.box(10 + 2.5 * col, 5 + 2 * row, 12 + 2.5 * col, 6 + 2 * row)
    for row in range(2)
    for col in range(20)
]


def rectangular_pond(
    levels_m: tuple[float, float, float] = (-0.3, 0.0, 0.3),
    outline: shapely.Polygon = OUTLINE,
    depth_m: float = 2.0,
    cell_m: float = 0.5,
) -> tuple[WaterBody, SiteFields]:
    """Banks one in three down to a flat bed; the outline is drawn at level zero."""
    grid = water_grid(outline, cell_m)
    centres = shapely.points(*np.meshgrid(grid.easting_m, grid.northing_m))
    depth = np.minimum(depth_m, shapely.distance(outline.boundary, centres) / 3)
    bed = np.where(grid.water, -depth, np.nan)
    nothing = np.zeros(grid.shape)
    fields = SiteFields(grid, bed, nothing, bed, np.zeros(grid.shape, bool), nothing)
    sounding = [np.array([value]) for value in (5.0, 5.0, -depth_m, 0.05)]
    body = WaterBody(
        water_id="w",
        name="Pond",
        crs=working_crs(9.5, 56.1),
        outline=outline,
        outline_level_m=0.0,
        levels=Levels(*levels_m),
        max_cover_pct=20.0,
        soundings=Soundings(*sounding),
    )
    return body, fields
