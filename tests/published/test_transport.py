"""Flow and transport against closed forms: a disc, a tank with dispersion, its two limits."""

import math

import numpy as np
import pytest

from geoplan.water.flow import FlowField, steady_flow, whole_faces
from geoplan.water.transport import Basin, transport

DAY = 86_400.0


def tank(d: float, kt: float, cells: int = 200, rows: int = 1) -> float:
    """Share of a load that leaves a straight tank of dispersion number d and decay kt."""
    length, depth = 100.0, 1.0
    h = length / cells
    speed = 1e-3
    water = np.ones((rows, cells), bool)
    flow_m3_s = speed * depth * h
    east = np.full((rows, cells - 1), flow_m3_s)
    flow = FlowField(np.zeros(water.shape), east, np.zeros((rows - 1, cells)))
    outflow = np.zeros(water.shape)
    outflow[:, -1] = flow_m3_s
    source = np.zeros(water.shape)
    source[:, 0] = flow_m3_s / rows
    residence = length / speed
    settling = kt / residence * depth
    basin = Basin(
        flow,
        whole_faces(water),
        np.full(water.shape, depth),
        np.full(water.shape, h * h),
        outflow,
        d * speed * length,
    )
    found = transport(basin, source, settling)
    return found.load_out_g_s / flow_m3_s


def wehner_wilhelm(d: float, kt: float) -> float:
    a = math.sqrt(1 + 4 * kt * d)
    return (
        4
        * a
        * math.exp(0.5 / d)
        / ((1 + a) ** 2 * math.exp(a / (2 * d)) - (1 - a) ** 2 * math.exp(-a / (2 * d)))
    )


@pytest.mark.published(
    "Wehner and Wilhelm (1956), closed form: k 0.542 1/d, 10 d, d 0.25 gives 0.037769"
)
@pytest.mark.parametrize(("d", "left"), [(0.1, 0.018659), (0.25, 0.037769), (1.0, 0.087757)])
def test_tank_with_dispersion(d: float, left: float) -> None:
    assert wehner_wilhelm(d, 5.42) == pytest.approx(left, rel=3e-5)
    assert tank(d, 5.42, cells=800) == pytest.approx(left, rel=5e-3)


@pytest.mark.published("Closed forms: plug flow exp(-kt), and a stirred tank 1/(1 + kt)")
def test_limits_of_plug_flow_and_stirred_tank() -> None:
    assert tank(1e-4, 2.0, cells=2000) == pytest.approx(math.exp(-2.0), rel=5e-3)
    assert tank(1e4, 5.42, cells=20) == pytest.approx(0.155763, rel=1e-3)


def disc(h: float) -> tuple[FlowField, np.ndarray, np.ndarray, float]:
    """A disc of radius 50 m with a source and a sink at 0.8 of it."""
    radius = 50.0
    at = (np.arange(int(2 * radius / h) + 2) - radius / h - 0.5) * h
    east, north = np.meshgrid(at, at)
    water = east**2 + north**2 < radius**2
    source = np.zeros(water.shape)
    middle = int(np.argmin(np.abs(at)))
    for sign, position in ((1.0, -0.8 * radius), (-1.0, 0.8 * radius)):
        source[middle, int(np.argmin(np.abs(at - position)))] += sign
    return steady_flow(water.astype(float), whole_faces(water), source, 1.0), water, at, radius


@pytest.mark.published(
    "Closed form by images: 0.2570 of the flow passes within 10 m of the axis of a disc of 50 m"
)
def test_share_of_the_flow_near_the_axis_of_a_disc() -> None:
    """Stream function of source and sink in a disc: four equal images on the axis."""
    flow, _, at, radius = disc(0.5)
    a, b = 0.8 * radius, radius / 0.8

    def stream(y: float) -> float:
        return (2 * math.atan2(y, a) + 2 * math.atan2(y, b)) / math.pi

    col = int(np.searchsorted(at, 0.0))
    column = flow.east_m3_s[:, col - 1]
    edges = at - 0.25
    inside = (edges > -10.001) & (edges + 0.5 < 10.001)
    share = column[inside].sum()
    width = inside.sum() * 0.5
    assert stream(10.0) == pytest.approx(0.2570, abs=6e-4)
    assert share == pytest.approx(stream(width / 2), abs=5e-3)
    assert column.sum() == pytest.approx(1.0, abs=1e-9)
