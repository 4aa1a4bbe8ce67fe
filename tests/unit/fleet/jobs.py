"""Pieces of work that worker processes can import."""

import os
import time
from pathlib import Path
from typing import Any

from geoplan.fleet.kept import Handed
from geoplan.fleet.planning import planned_water
from geoplan.plan import WaterPlan
from geoplan.site import WaterBody


def square(number: float) -> float:
    return number * number


def refuse(number: float) -> float:
    raise ValueError(f"{number} is refused")


def die() -> None:
    os._exit(1)


def die_once(place: str) -> str:
    """The first worker that takes it is lost."""
    path = Path(place)
    if not path.exists():
        path.touch()
        time.sleep(0.3)  # let the others have something under way
        os._exit(1)
    return "done"


def note_and_square(folder: str, number: float) -> float:
    """Leaves a file for each time it is done, so that double work is seen."""
    Path(folder, f"{number:g}-{time.monotonic_ns()}").touch()
    return number * number


def slow_square(number: float) -> float:
    time.sleep(0.15)
    return number * number


def area_m2(body: WaterBody) -> float:
    return float(body.outline.area)


def planned_but_one(body: Handed | WaterBody, *rest: Any) -> WaterPlan:
    """Plans any water body but one."""
    if "w00007" in {getattr(body, "water_id", ""), getattr(body, "name", "")}:
        raise ValueError("the bed is on fire")
    return planned_water(body, *rest)  # type: ignore[arg-type]
