"""
Legal poses of rafts on four lines at three levels, all held against the swept envelope.

Run by hand: ``python -m tests.benchmarks.bench_moorings``.
"""

import math
import time

import numpy as np
import shapely

from geoplan.mooring.envelope import swept_envelope
from geoplan.mooring.lines import line_places, watch_radius_m
from geoplan.site import FloatArray

HIGH_M = 3.0
_BATCH = 200_000


def rig(
    length_m: float, width_m: float, depth_m: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Four lines cut for 3 m of water with 2 % of slack, in water of another depth."""
    fairleads, anchors = line_places(length_m, width_m, HIGH_M, 30.0)
    line_m = 1.02 * math.hypot(HIGH_M, HIGH_M)
    return fairleads, anchors, watch_radius_m(np.full(4, line_m), depth_m)


def legal_corners(
    length_m: float,
    width_m: float,
    fairleads: FloatArray,
    anchors: FloatArray,
    radius: FloatArray,
    count: int,
    seed: int,
) -> FloatArray:
    """Corners of random poses in which no line is more than taut, by rejection."""
    rng = np.random.default_rng(seed)
    span = float((radius - np.hypot(*(anchors - fairleads).T)).max()) * 3.0 + 0.05
    corners = np.array([[1.0, 1.0], [1.0, -1.0], [-1.0, -1.0], [-1.0, 1.0]])
    corners *= np.array([length_m / 2, width_m / 2])
    found: list[FloatArray] = []
    kept = 0
    while kept < count:
        shift = rng.uniform(-span, span, (_BATCH, 2))
        turn = rng.uniform(-math.pi / 3, math.pi / 3, _BATCH)
        cos, sin = np.cos(turn), np.sin(turn)
        spin = np.stack([np.stack([cos, -sin], -1), np.stack([sin, cos], -1)], -2)
        at = np.einsum("pij,nj->pni", spin, fairleads) + shift[:, None]
        legal = (np.hypot(*(at - anchors).transpose(2, 0, 1)) <= radius).all(axis=1)
        kept += int(legal.sum())
        moved = np.einsum("pij,nj->pni", spin[legal], corners) + shift[legal][:, None]
        found.append(moved.reshape(-1, 2))
    return np.concatenate(found)[: 4 * max(count, 1)]


def main() -> None:
    """Print how many of 100,000 poses at each level lie within."""
    for depth_m in (3.0, 2.3, 1.5):
        fairleads, anchors, radius = rig(6.0, 3.0, depth_m)
        began = time.process_time()
        envelope = swept_envelope(6.0, 3.0, fairleads, anchors, radius)
        took = time.process_time() - began
        corners = legal_corners(6.0, 3.0, fairleads, anchors, radius, 100_000, seed=1)
        shapely.prepare(envelope)
        inside = shapely.covers(envelope, shapely.points(corners)).reshape(-1, 4).all(axis=1)
        print(
            f"depth {depth_m} m: {int(inside.sum())} of {len(inside)} poses within"
            f" {envelope.area:.1f} m² (raft 18 m²), envelope in {took:.2f} s of processor time"
        )


if __name__ == "__main__":
    main()
