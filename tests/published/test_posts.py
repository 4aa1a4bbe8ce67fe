"""Where posts stand beside a raft."""

import numpy as np
import pytest

from geoplan.mooring.posts import post_positions


@pytest.mark.published(
    "Common practice, no source: sleeves at one third and two thirds of each long side"
)
@pytest.mark.parametrize("heading_deg", [0.0, 37.0, 90.0, 179.9])
def test_posts_stand_at_thirds_of_the_long_sides(heading_deg: float) -> None:
    """Measured from the stern along the axis; tolerance: rounding of floats, 1e-9 m."""
    length_m, width_m, offset_m = 7.5, 2.4, 0.1
    easting, northing = post_positions(100.0, -40.0, heading_deg, length_m, width_m, offset_m)
    axis = np.array([np.sin(np.radians(heading_deg)), np.cos(np.radians(heading_deg))])
    from_centre = np.stack([easting[0] - 100.0, northing[0] + 40.0], axis=1)
    from_stern = from_centre @ axis + length_m / 2
    np.testing.assert_allclose(np.sort(from_stern), [2.5, 2.5, 5.0, 5.0], atol=1e-9)
    across = np.abs(from_centre @ np.array([axis[1], -axis[0]]))
    np.testing.assert_allclose(across, width_m / 2 + offset_m, atol=1e-9)
