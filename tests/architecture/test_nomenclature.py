"""One name per thing: every field of the vocabulary stands in the nomenclature."""

import dataclasses
import importlib
import inspect
import re
from pathlib import Path

from pydantic import BaseModel

from tests.architecture.source_tree import public_members

VOCABULARY = (
    "raft",
    "settings",
    "settings_works",
    "settings_district",
    "settings_report",
    "site",
    "plan",
    "tried",
    "certificate",
    "reasons",
    "written",
    "written_tapes",
    "grid",
)


def field_names() -> set[str]:
    """Names of all fields of the vocabulary's dataclasses and tables."""
    names: set[str] = set()
    for module in VOCABULARY:
        for _, member in public_members(importlib.import_module(f"geoplan.{module}")):
            if not inspect.isclass(member):
                continue
            if dataclasses.is_dataclass(member):
                names.update(part.name for part in dataclasses.fields(member))
            elif issubclass(member, BaseModel):
                names.update(member.model_fields)
    return names


def test_every_field_is_in_the_nomenclature(repository: Path) -> None:
    page = (repository / "docs" / "nomenclature.md").read_text(encoding="utf-8")
    listed = set(re.findall(r"`([a-z0-9_]+)`", page))
    assert len(field_names()) > 100
    assert sorted(field_names() - listed) == []
