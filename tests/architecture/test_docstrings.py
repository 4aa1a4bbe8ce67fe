"""Everything public is documented, and every quantity names its unit."""

import inspect
import re
from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest
from numpydoc.docscrape import NumpyDocString

from tests.architecture.source_tree import all_public_members, source_files

UNIT = re.compile(r"\[[^\]]+\]|\(relative|\bunits? of\b")
QUANTITY = re.compile(r"\bfloat\b")

#: Quantities whose unit is that of another field, or of the client's purse.
UNIT_ELSEWHERE = {
    "geoplan.district.WaterShare: cost",
    "geoplan.placement.bound.AreaBound: prices",
    "geoplan.placement.bound.Limit: most",
    "geoplan.placement.bound.Limit: per_raft",
    "geoplan.plan.CurvePoint: cost",
    "geoplan.plan.Finding: measured, limit",
    "geoplan.plan.SolveReport: bound",
    "geoplan.plan.SolveReport: value",
    "geoplan.raft.RaftType: cost",
    "geoplan.settings_district.BudgetSettings: limit",
    "geoplan.settings_district.DistrictSettings: mobilisation_cost",
    "geoplan.site.ShareTerms: mobilisation_cost",
}
#: What handles numbers of any unit.
ANY_UNIT = (
    "geoplan.audit.evidence.number",
    "geoplan.errors.Fault: coordinate",
    "geoplan.exports.csv_text.",
    "geoplan.exports.degree_fit.terms",
    "geoplan.exports.safe_rounding.",
    "geoplan.placement.measure.least_under",
    "geoplan.readers.fault_log.Place: coordinate",
    "geoplan.units.si_name",
)


def described(name: str, member: Any) -> Iterator[tuple[str, Any]]:
    """A class's own text and its public methods' and properties', or a function's text."""
    yield name, member
    if inspect.isclass(member):
        for key, part in vars(member).items():
            method = getattr(part, "__func__", part)  # of a static or class method
            if not key.startswith("_") and (
                inspect.isfunction(method) or isinstance(method, property)
            ):
                yield f"{name}.{key}", method


@cache
def members() -> list[tuple[str, Any]]:
    """Public functions and classes of the package."""
    return all_public_members()


@cache
def everything() -> list[tuple[str, Any]]:
    """The same with the public parts of the classes."""
    return [pair for name, member in members() for pair in described(name, member)]


@pytest.mark.parametrize("path", source_files(), ids=lambda path: path.name)
def test_every_module_says_what_it_is_for(path: Any) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.lstrip().startswith(('"""', 'r"""'))


def test_everything_public_is_documented() -> None:
    assert everything()
    assert [name for name, member in everything() if not inspect.getdoc(member)] == []


def test_every_function_that_returns_something_says_what() -> None:
    silent = []
    for name, member in members():
        if not inspect.isfunction(member):
            continue
        gives = inspect.signature(member).return_annotation
        text = NumpyDocString(inspect.getdoc(member) or "")
        if gives not in {None, "None"} and not (text["Returns"] or text["Yields"]):
            silent.append(name)
    assert silent == []


def test_every_quantity_names_its_unit() -> None:
    bare = []
    for name, member in everything():
        text = NumpyDocString(inspect.getdoc(member) or "")
        for section in ("Parameters", "Attributes", "Returns", "Yields"):
            for part in text[section]:
                kind = part.type or part.name
                key = f"{name}: {part.name}"
                is_bare = QUANTITY.search(kind) and not UNIT.search(" ".join(part.desc))
                if is_bare and key not in UNIT_ELSEWHERE and not key.startswith(ANY_UNIT):
                    bare.append(key)
    assert bare == []
