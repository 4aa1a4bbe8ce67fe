"""Every published check names where its expected value comes from, and the page lists them all."""

import ast
import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

from tests.architecture.source_tree import ROOT


@pytest.fixture(scope="module")
def make_validation() -> ModuleType:
    """The script that writes the page, loaded by its path."""
    path = ROOT / "docs" / "make_validation.py"
    spec = importlib.util.spec_from_file_location("make_validation", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(
    "path", sorted((ROOT / "tests" / "published").glob("test_*.py")), ids=lambda path: path.name
)
def test_every_test_of_a_published_value_names_its_source(
    path: Path, make_validation: ModuleType
) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    tests = {
        node.name
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    }
    sourced = {check.test for check in make_validation.published_checks(path) if check.source}
    assert tests
    assert sorted(tests - sourced) == []


def test_page_of_published_checks_is_current(make_validation: ModuleType) -> None:
    page = (ROOT / "docs" / "validation.md").read_text(encoding="utf-8")
    assert page == make_validation.page(ROOT / "tests"), "run python docs/make_validation.py"
