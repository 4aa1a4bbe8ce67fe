"""The gates: style, types, floors, docstrings and documentation, each by its own program."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.architecture.source_tree import source_files

PYTHON = [sys.executable, "-m"]
FLOORS = "import sys; from importlinter.cli import lint_imports_command; lint_imports_command()"


def passes(command: list[str], repository: Path) -> None:
    """Fail with a program's own words where it does not succeed."""
    done = subprocess.run(command, cwd=repository, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        pytest.fail(f"{' '.join(command)}\n{done.stdout}{done.stderr}", pytrace=False)


def test_ruff_finds_nothing(repository: Path) -> None:
    passes([*PYTHON, "ruff", "check", "."], repository)


def test_ruff_would_format_nothing(repository: Path) -> None:
    passes([*PYTHON, "ruff", "format", "--check", "."], repository)


def test_mypy_strict_finds_nothing(repository: Path) -> None:
    passes([*PYTHON, "mypy"], repository)


def test_scripts_beside_the_package_are_typed(repository: Path) -> None:
    for script in ("sample_sites/make_sites.py", "docs/make_validation.py"):
        passes([*PYTHON, "mypy", script], repository)


def test_a_floor_imports_only_the_floors_below(repository: Path) -> None:
    passes([sys.executable, "-c", FLOORS, "--no-cache"], repository)


def test_numpydoc_finds_nothing(repository: Path) -> None:
    passes([*PYTHON, "numpydoc", "lint", *map(str, source_files())], repository)


def test_documentation_builds_with_every_page_in_its_menu(repository: Path, tmp_path: Path) -> None:
    site = ["--site-dir", str(tmp_path / "site")]  # where it is quiet it counts no warnings
    passes([*PYTHON, "mkdocs", "build", "--strict", "-f", ".mkdocs.yml", *site], repository)
