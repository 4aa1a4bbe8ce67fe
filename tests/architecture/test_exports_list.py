"""The package's public names, and the table of its outputs."""

import importlib
import inspect

import geoplan
from geoplan.exports import EXPORTS, WITH_VERDICT


def test_every_public_name_resolves() -> None:
    assert geoplan.__all__
    assert [name for name in geoplan.__all__ if not callable(getattr(geoplan, name))] == []


def test_public_names_are_what_dir_shows() -> None:
    assert sorted({*geoplan.__all__, "__version__"}) == sorted(dir(geoplan))


def test_every_export_writes_in_the_same_way() -> None:
    assert EXPORTS
    for file_name, module in EXPORTS:
        parameters = inspect.signature(importlib.import_module(module).write).parameters
        assert list(parameters) == ["plan", "site", "folder", "audit"], file_name


def test_a_file_without_the_verdict_looks_at_no_audit() -> None:
    for file_name, module in EXPORTS:
        source = inspect.getsource(importlib.import_module(module).write)
        says_unused = "noqa: ARG001" in source
        assert says_unused == (file_name not in WITH_VERDICT), file_name
