"""Packing of rectangles on a lattice."""

import numpy as np
import pytest
import shapely

from geoplan.placement.mixed_rows import pack_lays
from geoplan.placement.rows import frame, turned_edges
from geoplan.placement.search import best_rows
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType

RAFT = RaftType(name="two by one", length_m=2.0, width_m=1.0, draft_m=0.1, planted_share=1.0)
BASIN = shapely.multipolygons([shapely.box(0, 0, 20, 10)])
FLAT = WorthSurface(-5.0, -5.0, 1.0, np.ones((21, 31)))


@pytest.mark.published(
    "Exact arithmetic: 8 rows of 7 rafts 2 x 1 m with a gap of 0.5 m in 20 x 10 m"
)
def test_56_rafts_in_a_basin_of_20_by_10() -> None:
    """8 · 2 + 7 · 0.5 = 19.5 m long and 7 · 1 + 6 · 0.5 = 10 m wide."""
    along = frame(turned_edges(BASIN, 0.0), FLAT, RAFT, 0.5, 0.0, is_across=False)
    assert along is not None
    ((_, places),) = pack_lays((along,), 0.0)
    assert len(places) == 56


@pytest.mark.published(
    "Exact arithmetic: 20.5 x 10.5 m hold 58.2 rafts grown by 0.25 m, of 3.75 m2 less the corners"
)
def test_rows_of_both_lays_hold_more_than_a_lattice_and_no_more_than_the_area() -> None:
    """Some of 57 rafts lie across, so that little is left at the ends of the rows."""
    poses = best_rows(BASIN, FLAT, RAFT, 0.5, 1000).poses
    outlines = poses.outlines
    assert 56 < len(poses) <= 58
    assert shapely.covers(shapely.buffer(BASIN, 1e-9), outlines).all()
    tree = shapely.STRtree(outlines)
    first, other = tree.query(outlines, "dwithin", distance=0.5 - 1e-9)
    assert (first == other).all()


@pytest.mark.published(
    "Exact arithmetic: turned by a right angle, 13 by 4 rafts fit the same basin"
)
def test_52_rafts_when_they_lie_across() -> None:
    """13 · 1 + 12 · 0.5 = 19 m long and 4 · 2 + 3 · 0.5 = 9.5 m wide."""
    turned = frame(turned_edges(BASIN, 0.0), FLAT, RAFT, 0.5, 0.0, is_across=True)
    assert turned is not None
    ((_, places),) = pack_lays((turned,), 0.0)
    assert len(places) == 52


@pytest.mark.published(
    "Exact arithmetic: rafts of 2 x 1 m with a gap of 0.5 m cover 2/(2.5 x 1.5) = 53.33 % of a"
    " lattice"
)
def test_the_cover_of_a_lattice() -> None:
    """20 columns of 2.5 m and 20 rows of 1.5 m, half a gap short all round."""
    basin = shapely.multipolygons([shapely.box(0, 0, 20 * 2.5 - 0.5, 20 * 1.5 - 0.5)])
    flat = WorthSurface(-5.0, -5.0, 1.0, np.ones((41, 61)))
    count = len(best_rows(basin, flat, RAFT, 0.5, 1000).poses)
    assert 100 * count * 2.0 * 1.0 / (50.0 * 30.0) == pytest.approx(53.33, abs=0.005)
