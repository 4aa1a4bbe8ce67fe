"""A raft laid into its fixes: exact ones, noisy ones, and the region that must hold the truth."""

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import least_squares

from geoplan.asbuilt.fit import CENTRE, SOME_CORNER, corner_offsets_m, fit_raft
from geoplan.raft import footprints

SIZE = (4.0, 2.4)


def corners_of(easting: float, northing: float, heading: float) -> np.ndarray:
    rectangle = footprints([easting], [northing], [heading], [SIZE[0]], [SIZE[1]])[0]
    return np.array(rectangle.exterior.coords)[:4]


@pytest.mark.parametrize("heading", [0.0, 37.0, 90.0, 179.0])
@pytest.mark.parametrize("items", [(1, 2, 3, 4), (2, 4), (1, 3, 4), (-1, -1, -1, -1)])
def test_exact_fixes_give_back_the_raft(heading: float, items: tuple[int, ...]) -> None:
    corners = corners_of(10.0, -7.0, heading)
    order = [one - 1 for one in items] if items[0] > 0 else [2, 0, 3, 1]
    found = fit_raft(corners[order], np.full(len(items), 0.03), np.array(items), SIZE, heading + 4)
    assert (found.easting_m, found.northing_m) == pytest.approx((10.0, -7.0), abs=1e-9)
    assert (found.heading_deg - heading + 90) % 180 - 90 == pytest.approx(0.0, abs=1e-6)
    assert found.misfit == pytest.approx(0.0, abs=1e-12)
    assert found.is_heading_measured


def test_it_is_the_least_squares_of_a_general_solver() -> None:
    random = np.random.default_rng(3)
    for _ in range(20):
        sigma = random.uniform(0.02, 0.3, 4)
        fixes = corners_of(0.0, 0.0, 30.0) + random.normal(size=(4, 2)) * sigma[:, None]

        def misfits(pose: np.ndarray, fixes: Any = fixes, sigma: Any = sigma) -> np.ndarray:
            off = (fixes - corners_of(pose[0], pose[1], pose[2])) / sigma[:, None]
            return off.ravel()

        wanted = least_squares(misfits, [0.1, 0.1, 28.0], xtol=1e-14, ftol=1e-14, gtol=1e-14)
        found = fit_raft(fixes, sigma, np.arange(1, 5), SIZE, 30.0)
        assert found.easting_m == pytest.approx(wanted.x[0], abs=1e-6)
        assert found.northing_m == pytest.approx(wanted.x[1], abs=1e-6)
        assert found.heading_deg == pytest.approx(wanted.x[2], abs=1e-4)
        assert found.misfit == pytest.approx(2 * wanted.cost, rel=1e-6)
        covariance = np.linalg.inv(wanted.jac.T @ wanted.jac)
        assert found.covariance_m2 == pytest.approx(covariance[:2, :2], rel=0.05, abs=1e-5)
        assert found.heading_sigma_deg == pytest.approx(math.sqrt(covariance[2, 2]), rel=0.05)


@pytest.mark.parametrize("sigma", [0.03, 0.5, 4.0])
@pytest.mark.parametrize("items", [(1, 2, 3, 4), (-1, -1, -1, -1), (0,), (1, 2), (1,)])
def test_the_region_holds_the_truth_nineteen_times_in_twenty(
    sigma: float, items: tuple[int, ...]
) -> None:
    """Of 2,000 surveys; chance alone moves the share by 0.5 %, one per cent is allowed."""
    random = np.random.default_rng(17)
    count, held = 2000, 0
    offsets = corner_offsets_m(*SIZE)
    is_loose = items[0] == SOME_CORNER
    for _ in range(count):
        planned = random.uniform(0.0, 180.0)
        heading = planned + random.normal(scale=5.0)
        centre = random.uniform(-1.0, 1.0, 2)
        angle = math.radians(heading)
        own = offsets[[1, 2, 3, 4] if is_loose else list(items)]
        true = centre + np.column_stack(
            [
                own[:, 0] * math.sin(angle) + own[:, 1] * math.cos(angle),
                own[:, 0] * math.cos(angle) - own[:, 1] * math.sin(angle),
            ]
        )
        fixes = true + random.normal(scale=sigma, size=true.shape)
        found = fit_raft(fixes, np.full(len(items), sigma), np.array(items), SIZE, planned)
        off = centre - (found.easting_m, found.northing_m)
        held += bool(off @ np.linalg.solve(found.covariance_m2, off) <= -2 * math.log(0.05))
    assert 0.94 <= held / count <= 0.96


def test_misfit_tells_a_raft_of_another_size() -> None:
    corners = corners_of(0.0, 0.0, 20.0)
    right = fit_raft(corners, np.full(4, 0.03), np.arange(1, 5), SIZE, 20.0)
    wrong = fit_raft(corners, np.full(4, 0.03), np.arange(1, 5), (6.0, 2.4), 20.0)
    assert right.misfit_chance > 0.99
    assert wrong.misfit_chance < 1e-6


def test_a_centre_alone_leaves_the_planned_heading() -> None:
    found = fit_raft(np.zeros((1, 2)), np.array([0.5]), np.array([CENTRE]), SIZE, 33.0)
    assert found.heading_deg == pytest.approx(33.0)
    assert not found.is_heading_measured
    assert found.ellipse_m[:2] == pytest.approx((0.5 * 2.4477, 0.5 * 2.4477), rel=1e-4)
    assert found.misfit_chance == 1.0


def test_no_fix_and_too_many_corners_are_refused() -> None:
    with pytest.raises(ValueError, match="no fix"):
        fit_raft(np.empty((0, 2)), np.empty(0), np.empty(0, int), SIZE, 0.0)
    with pytest.raises(ValueError, match="without a number"):
        fit_raft(np.zeros((5, 2)), np.ones(5), np.full(5, SOME_CORNER), SIZE, 0.0)
