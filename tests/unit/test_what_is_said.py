"""What the terminal says of a plan: each water body of few, and the sums of many."""

from dataclasses import replace

import pytest

from geoplan.__main__ import MOST_SAID, _say_plan
from geoplan.errors import Fault, said_by_kind
from geoplan.plan import Plan
from tests.unit.exports import small_plan


def many(count: int) -> Plan:
    """A plan of one water body, so many times over, each with two notes."""
    plan = small_plan.plan()
    water = plan.waters[0]
    first, second = (Fault("warning", "plan", "doubt", word, "") for word in ("sure", "known"))
    notes = [
        (replace(first, feature=f"water 'w{at}'"), replace(second, feature=f"water 'w{at}'"))
        for at in range(count)
    ]
    waters = (replace(water, water_id=f"w{k}", notes=notes[k]) for k in range(count))
    return replace(plan, waters=tuple(waters))


def test_of_few_each_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    _say_plan(many(3))
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0].rstrip(":") for line in lines[:3]] == ["w0", "w1", "w2"]
    assert len(lines) == 3 + 1 + 6


def test_of_many_the_sums_are_told(capsys: pytest.CaptureFixture[str]) -> None:
    plan = many(MOST_SAID + 1)
    each = sum(raft.status == "planned" for raft in plan.waters[0].rafts)
    _say_plan(plan)
    lines = capsys.readouterr().out.splitlines()
    count = MOST_SAID + 1
    assert lines[0].startswith(f"{count} water bodies: {each * count} rafts in {count} of them;")
    # Notes of one kind are one line that names three water bodies and counts the rest.
    assert len(lines) == 1 + 1 + 2
    assert f"water 'w0', water 'w1', water 'w2' and {count - 3} more" in lines[2]


def test_nothing_of_a_kind_is_told_together_with_another() -> None:
    same = [Fault("warning", "f", str(k), "e", "r", feature=f"row {k}") for k in range(9)]
    others = [replace(same[0], **{part: "x"}) for part in ("file", "layer", "expected", "remedy")]
    lines = said_by_kind([*same, *others])
    assert len(lines) == 5
    assert lines[0] == (
        "f, row 0, row 1, row 2 and 6 more: found 0 (the first of them); expected e. r"
    )
    assert list(lines[1:]) == [str(each) for each in others]
