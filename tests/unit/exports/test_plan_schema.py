"""``plan.json`` keeps to its published schema, and the schema is the one that is published."""

import copy
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from docs import make_schema
from geoplan.exports import plan_json
from geoplan.fleet import plan_folder
from tests.sites.test_whole_runs import two_ponds
from tests.unit.exports import small_plan as small


@pytest.fixture(scope="module")
def judge() -> Any:
    published = json.loads(make_schema.FILE.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(published)
    return jsonschema.Draft202012Validator(published)


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("schema")
    plan_folder(two_ponds(folder), folder / "plan", workers=1)
    return dict(json.loads((folder / "plan" / "plan.json").read_bytes()))


def test_the_published_schema_is_current() -> None:
    """Run ``python docs/make_schema.py`` after a change."""
    assert make_schema.FILE.read_text(encoding="utf-8") == make_schema.text()


def test_a_plan_keeps_to_it(judge: Any, record: dict[str, Any]) -> None:
    assert [error.message for error in judge.iter_errors(record)] == []


def test_a_plan_of_hostile_names_keeps_to_it(judge: Any, tmp_path: Path) -> None:
    plan_json.write(small.plan(), small.site(), tmp_path, small.audit())
    record = json.loads((tmp_path / "plan.json").read_bytes())
    assert [error.message for error in judge.iter_errors(record)] == []


@pytest.mark.parametrize(
    "spoil",
    [
        lambda r: r.pop("audit"),
        lambda r: r["water_bodies"][0].pop("bound"),
        lambda r: r["water_bodies"][0].update(cover_pct={"low": 1.0}),
        lambda r: r["water_bodies"][0].update(raft_count=-1),
        lambda r: r["inputs"][0].update(sha256="none"),
        lambda r: r["water_bodies"][0].update(surprise=1),
        lambda r: r.update(geoplan_plan=99),
        lambda r: r["settings"].pop("levels"),
    ],
)
def test_what_is_no_plan_is_refused(judge: Any, record: dict[str, Any], spoil: Any) -> None:
    spoiled = copy.deepcopy(record)
    spoil(spoiled)
    assert not judge.is_valid(spoiled)
