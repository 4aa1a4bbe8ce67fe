"""Each rule of placement is judged again by the audit, by a check written apart."""

from geoplan.audit import CHECKS
from geoplan.placement.rules import RULES


def test_every_rule_has_a_check_of_its_name() -> None:
    names = [rule.name for rule in RULES]
    assert names
    assert sorted(set(names) - set(CHECKS)) == []


def test_no_two_rules_share_a_name() -> None:
    names = [rule.name for rule in RULES]
    assert len(set(names)) == len(names)
