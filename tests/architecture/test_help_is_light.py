"""Asking for help loads no heavy library."""

import subprocess
import sys
from pathlib import Path

HEAVY = {
    "branca", "contourpy", "fiona", "folium", "geopandas", "highspy", "numba", "numpy", "pandas",
    "pydantic", "pyogrio", "pyproj", "rasterio", "scipy", "shapely",
}  # fmt: skip


def test_help_imports_nothing_heavy(repository: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "geoplan", "--help"],
        cwd=repository,
        capture_output=True,
        text=True,
        check=True,
    )
    assert "plan" in done.stdout
    rows = [line.rsplit("|", 1)[-1].strip() for line in done.stderr.splitlines() if "|" in line]
    assert "typer" in rows
    assert sorted(HEAVY & {row.split(".", 1)[0] for row in rows}) == []
