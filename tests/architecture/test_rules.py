"""The house keeps its rules, and each rule can be broken."""

from __future__ import annotations

from collections import Counter

import pytest

from tests.architecture import rules_calls, rules_front, rules_house
from tests.architecture.house import Rule, files

RULES = (*rules_calls.RULES, *rules_front.RULES, *rules_house.RULES)
NAMES = [rule.name for rule in RULES]


@pytest.mark.parametrize("rule", RULES, ids=NAMES)
def test_the_house_keeps(rule: Rule) -> None:
    assert rule.check(list(files())) == []


@pytest.mark.parametrize("rule", RULES, ids=NAMES)
def test_a_planted_violation_is_found(rule: Rule) -> None:
    assert rule.planted
    for planted in rule.planted:
        assert rule.check([planted]), planted


@pytest.mark.parametrize("rule", [rule for rule in RULES if rule.innocent], ids=lambda rule: rule.name)
def test_what_only_looks_like_it_is_not(rule: Rule) -> None:
    for innocent in rule.innocent:
        assert rule.check([innocent]) == [], innocent


def test_every_allowance_is_needed() -> None:
    assert [unused for only in rules_calls.ONLY for unused in only.unused_places(list(files()))] == []


def test_every_rule_has_a_name_of_its_own() -> None:
    assert [name for name, count in Counter(NAMES).items() if count > 1] == []


def test_the_files_are_really_read() -> None:
    paths = {file.path for file in files()}
    assert {"manage.py", "jobs/work/actions.py", "groundloop/templates/base.html", "tests/people.py"} <= paths
    assert any(path.endswith(".js") for path in paths)


def test_every_named_door_is_there() -> None:
    paths = {file.path for file in files()}
    for room, names in rules_house.NAMED_DOORS.items():
        for name in names:
            assert {f"jobs/{room}/{name}.py", f"jobs/{room}/{name}/__init__.py"} & paths, f"{room}.{name}"
