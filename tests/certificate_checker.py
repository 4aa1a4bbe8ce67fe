"""
A small judge of certificates that shares nothing with the planner.

It reads ``plan.json``, the GeoTIFF of the field and the layers ``why_not`` and ``rooms`` of
``plan.gpkg``, draws
legal rafts at random and on a lattice, sums the field over points of each, integrates it over the
water and adds the bound up anew. Its own errors are those of its sums over points, and are stated
as ``ROUGH``.
"""

import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import rasterio
import shapely
from pyproj import Transformer

#: Error of sums over points, as a share of the most that a raft is worth.
ROUGH = 1e-3
_STEP_M = 0.1


@dataclass(frozen=True)
class Files:
    """What a certificate says, read from its files."""

    said: dict[str, Any]
    rafts: tuple[tuple[float, float, float], ...]  # length, width, planted share
    field: np.ndarray
    worth: np.ndarray
    room_at: np.ndarray
    west: float
    south: float
    cell: float
    room: Any
    rooms: tuple[Any, ...]
    value: float
    bound: float


def read(folder: Path, number: int = 0) -> Files:
    """Read the certificate of one water body of a plan folder."""
    plan = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    water = plan["water_bodies"][number]
    said = water["certificate"]
    with rasterio.open(folder / said["file"]) as source:
        bands = source.read()[:, ::-1].astype(float)
        place = source.transform
        assert source.crs.to_wkt()
    rows = bands.shape[1]
    cell = place.a
    answers, rooms = (
        frame[frame.water_id == water["water_id"]]
        for frame in (
            pyogrio.read_dataframe(folder / "plan.gpkg", layer=layer)
            for layer in ("why_not", "rooms")
        )
    )
    to_working = Transformer.from_crs(answers.crs, said["crs"], always_xy=True)

    def joined(frame: Any) -> Any:
        room = shapely.transform(
            shapely.union_all(frame.geometry.to_numpy()),
            lambda xy: np.column_stack(to_working.transform(xy[:, 0], xy[:, 1])),
        )
        return shapely.buffer(shapely.make_valid(room), 1e-5, join_style="mitre")

    types = {raft["name"]: raft for raft in plan["settings"]["raft"]}
    return Files(
        said,
        tuple(
            (types[name]["length_m"], types[name]["width_m"], types[name]["planted_share"])
            for name in said["raft_types"]
        ),
        bands[0], bands[1:-1], bands[-1],
        place.c + cell / 2, place.f - (rows - 0.5) * cell, cell,
        joined(answers[answers.is_room]),
        tuple(joined(rooms[rooms.raft_type == name]) for name in said["raft_types"]),
        water["value"], water["bound"],
    )  # fmt: skip


def bilinear(files: Files, nodes: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Values between nodes; nothing beyond them."""
    col, row = (x - files.west) / files.cell, (y - files.south) / files.cell
    i = np.clip(np.floor(row).astype(int), 0, nodes.shape[0] - 2)
    j = np.clip(np.floor(col).astype(int), 0, nodes.shape[1] - 2)
    u, v = row - i, col - j
    inside = (u >= 0) & (u <= 1) & (v >= 0) & (v <= 1)
    low = nodes[i, j] * (1 - v) + nodes[i, j + 1] * v
    high = nodes[i + 1, j] * (1 - v) + nodes[i + 1, j + 1] * v
    return np.where(inside, low * (1 - u) + high * u, 0.0)


def integral_over(files: Files, nodes: np.ndarray, area: Any) -> float:
    """Integral over a shape: cell by cell and by triangles, over which it is exact."""
    wide = np.maximum(nodes[:-1], nodes[1:])
    i, j = np.nonzero(np.maximum(wide[:, :-1], wide[:, 1:]))
    west, south = files.west + j * files.cell, files.south + i * files.cell
    cells = shapely.box(west, south, west + files.cell, south + files.cell)
    shapely.prepare(area)
    parts = shapely.intersection(cells[shapely.intersects(area, cells)], area)
    parts = parts[shapely.get_dimensions(parts) == 2]
    triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(parts))
    corners = shapely.get_coordinates(triangles).reshape(-1, 4, 2)
    # Products of two coordinates have their mean at the middles of the sides.
    x, y = np.moveaxis((corners[:, :3] + corners[:, 1:]) / 2, 2, 0)
    return float(shapely.area(triangles) @ bilinear(files, nodes, x, y).mean(axis=1))


def points(length: float, width: float, grow: float) -> tuple[np.ndarray, np.ndarray, float]:
    """Points evenly spread over a rectangle grown by a distance, and its area."""
    ahead = np.arange(-length / 2 - grow + _STEP_M / 2, length / 2 + grow, _STEP_M)
    aside = np.arange(-width / 2 - grow + _STEP_M / 2, width / 2 + grow, _STEP_M)
    a, b = (part.ravel() for part in np.meshgrid(ahead, aside))
    away = np.hypot(np.maximum(abs(a) - length / 2, 0), np.maximum(abs(b) - width / 2, 0))
    held = away <= grow + 1e-9
    area = length * width + 2 * (length + width) * grow + math.pi * grow**2
    return a[held], b[held], area


def legal_poses(files: Files, kind: int, count: int, seed: int = 3) -> np.ndarray:
    """Legal rafts, drawn at random and on a lattice: rows of x, y and heading in radians."""
    rng, room = np.random.default_rng(seed), files.rooms[kind]
    if room.is_empty:
        return np.zeros((0, 3))
    west, south, east, north = room.bounds
    drawn = rng.uniform((west, south, 0), (east, north, math.pi), (count, 3))
    every = max(0.5, math.sqrt((east - west) * (north - south) * 12 / count))
    x, y, turn = np.meshgrid(
        np.arange(west, east, every), np.arange(south, north, every), np.arange(12) * math.pi / 12
    )
    poses = np.concatenate([drawn, np.column_stack([x.ravel(), y.ravel(), turn.ravel()])])
    length, width, _ = files.rafts[kind]
    corners = np.array([(1, 1), (1, -1), (-1, -1), (-1, 1)]) * (length / 2, width / 2)
    s, c = np.sin(poses[:, 2])[:, None], np.cos(poses[:, 2])[:, None]
    ring = np.stack(
        [
            poses[:, :1] + corners[:, 0] * s + corners[:, 1] * c,
            poses[:, 1:2] + corners[:, 0] * c - corners[:, 1] * s,
        ],
        axis=-1,
    )
    shapely.prepare(room)
    near = shapely.contains_xy(room, poses[:, 0], poses[:, 1])
    held = np.zeros(len(poses), bool)
    held[near] = shapely.covers(room, shapely.polygons(ring[near]))
    return poses[held]


def means(files: Files, nodes: np.ndarray, poses: np.ndarray, size: Any) -> np.ndarray:
    """Means of a surface over the rafts at poses."""
    ahead, aside, _ = size
    out = np.zeros(len(poses))
    for k, (x, y, turn) in enumerate(poses):
        s, c = math.sin(turn), math.cos(turn)
        out[k] = bilinear(files, nodes, x + ahead * s + aside * c, y + ahead * c - aside * s).mean()
    return out


def corner_pay(files: Files, kind: int, poses: np.ndarray) -> np.ndarray:
    """
    What rafts pay for water at their corners that no other raft can use.

    A corner of a grown raft leaves as much as a quarter of a disc in its hexagon; the least of the
    field nearby is what it costs. It counts where all of it lies within half a gap of the room: it
    lies over feet as far from the corner as √(2/3) halves of the gap, and up to 2/√3 from those.
    """
    length, width, _ = files.rafts[kind]
    r = files.said["gap_m"] / 2
    out = np.zeros(len(poses))
    if min(length, width) < 2 * r or r == 0:
        return out
    waste = (2 * math.sqrt(3) - math.pi) / 4 * r**2
    foot, far = math.sqrt(2 / 3) * r, 2 / math.sqrt(3) * r
    inland = shapely.buffer(files.rooms[kind], -math.hypot(foot, far - r), quad_segs=32)
    shapely.prepare(inland)
    turn = np.linspace(0, 2 * math.pi, 24, endpoint=False)
    ring = np.outer(np.array([0.0, 0.5, 1.0]) * math.hypot(foot, far), np.exp(1j * turn)).ravel()
    s, c = np.sin(poses[:, 2]), np.cos(poses[:, 2])
    for ahead, aside in ((1, 1), (1, -1), (-1, -1), (-1, 1)):
        x = poses[:, 0] + ahead * length / 2 * s + aside * width / 2 * c
        y = poses[:, 1] + ahead * length / 2 * c - aside * width / 2 * s
        about = bilinear(files, files.field, x[:, None] + ring.real, y[:, None] + ring.imag)
        out += np.where(shapely.contains_xy(inland, x, y), waste * about.min(axis=1), 0.0)
    return out


def lacks(files: Files, kind: int, count: int = 20_000) -> tuple[np.ndarray, float]:
    """What each legal raft lacks beyond what it pays, and the most that one is worth."""
    length, width, planted = files.rafts[kind]
    poses = legal_poses(files, kind, count)
    raft, wide = points(length, width, 0.0), points(length, width, files.said["gap_m"] / 2)
    worth = planted * length * width * means(files, files.worth[kind], poses, raft)
    paid = wide[2] * means(files, files.field, poses, wide)
    paid += sum(limit["price"] * limit["per_raft"][kind] for limit in files.said["limits"])
    paid += corner_pay(files, kind, poses)
    prices = np.array([0.0, *(room["price"] for room in files.said["rooms"])])
    row = np.rint((poses[:, 1] - files.south) / files.cell).astype(int)
    col = np.rint((poses[:, 0] - files.west) / files.cell).astype(int)
    paid += prices[files.room_at[row, col].astype(int)]
    return worth - paid, float(worth.max(initial=0.0))


def most_rafts(files: Files) -> int:
    """No plan holds more rafts, by the limits and by the area of each room."""
    said = files.said
    counts = [
        math.floor(limit["most"] / min(limit["per_raft"]) + 1e-9)
        for limit in said["limits"]
        if min(limit["per_raft"]) > 0
    ]
    grow = said["gap_m"] / 2
    least = min(points(length, width, grow)[2] for length, width, _ in files.rafts)
    poses = np.concatenate([legal_poses(files, k, 20_000) for k in range(len(files.rafts))])
    across = min(width for _, width, _ in files.rafts) + said["gap_m"]
    total = 0
    for part in shapely.get_parts(shapely.buffer(files.room, grow, quad_segs=32)):
        centres = poses[shapely.contains_xy(part, poses[:, 0], poses[:, 1]), :2]
        if len(centres) == 0:
            continue
        is_small = math.hypot(*np.ptp(centres, axis=0)) < across
        total += 1 if is_small else math.floor(part.area / least)
    return min([*counts, total])


def faults(files: Files) -> list[str]:
    """What is wrong with a certificate; nothing where it proves its bound."""
    return [
        *_left_out(files), *_lacking(files), *_field(files), *_sums(files), *_printed(files)
    ]  # fmt: skip


def _left_out(files: Files) -> list[str]:
    """Room that no type is said to have: rafts there would not be looked at."""
    known = shapely.union_all(list(files.rooms))
    left_m2 = float(shapely.area(shapely.difference(files.room, known)))
    if left_m2 > ROUGH * files.room.area:
        return [f"{left_m2:.3g} m² of the room are no type's"]
    return []


def _lacking(files: Files) -> list[str]:
    """Types of which a raft pays less than it is worth."""
    said, out = files.said, []
    for kind, name in enumerate(said["raft_types"]):
        lack, top = lacks(files, kind)
        if len(lack) and lack.max() > said["margin"] + ROUGH * top:
            out.append(f"a raft of type {name} lacks {lack.max():.3g} of {top:.3g}")
        rent = sum(limit["price"] * limit["per_raft"][kind] for limit in said["limits"])
        if not math.isclose(rent, said["raft_prices"][kind], rel_tol=1e-9, abs_tol=1e-12):
            out.append(f"the price of type {name} is not that of what it uses")
    if said["margin"] > 0 and said["most_rafts"] < most_rafts(files):
        out.append("more rafts may fit than the margin is counted for")
    return out


def _field(files: Files) -> list[str]:
    """What is wrong with the field's integral over the water that grown rafts may cover."""
    said, out = files.said, []
    wide = shapely.buffer(files.room, said["gap_m"] / 2, quad_segs=32)
    integral = integral_over(files, files.field, wide)
    if integral > said["field_integral"] * (1 + ROUGH) + 1e-9:
        out.append(f"the field holds {integral:.4g}, not {said['field_integral']:.4g}")
    prices = [part["price"] for part in (*said["limits"], *said["rooms"])]
    if min(float(files.field.min()), said["margin"], *prices) < 0:
        out.append("a price below zero")
    return out


def _sums(files: Files) -> list[str]:
    """Sums that do not add up."""
    said, out = files.said, []
    if not math.isclose(added_up(said), said["proven"], rel_tol=1e-9):
        out.append(f"the parts add up to {added_up(said):.6g}, not {said['proven']:.6g}")
    average = sum(part["share"] * part["constant"] for part in said["tangents"])
    if not math.isclose(average, said["constant"], rel_tol=1e-9, abs_tol=1e-12):
        out.append("the constant is not the average of the tangents'")
    if not math.isclose(sum(part["share"] for part in said["tangents"]), 1.0, rel_tol=1e-9):
        out.append("the shares of the tangents do not add up to one")
    return out


def added_up(said: dict[str, Any]) -> float:
    """What the parts of a certificate prove together."""
    total = said["constant"] + said["field_integral"] + said["margin"] * said["most_rafts"]
    total += sum(limit["price"] * limit["most"] for limit in said["limits"])
    return float(total + sum(room["price"] * room["most_rafts"] for room in said["rooms"]))


def _printed(files: Files) -> list[str]:
    """Printed numbers that what is proven does not bear out."""
    out = []
    if files.said["basis"] == "price field" and files.bound < files.said["proven"] * (1 - 1e-9):
        out.append("the printed bound is lower than what is proven")
    if files.value > files.said["proven"] * (1 + 1e-9):
        out.append("the plan is worth more than what is proven")
    return out
