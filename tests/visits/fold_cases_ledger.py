"""Corrections, withdrawals, held entries, order and repetition."""

from __future__ import annotations

from tests.visits.fold_build import (
    ALL,
    FLUSHED,
    PASSED,
    PLAN,
    Case,
    a_permit,
    case,
    entry,
    fix,
    flushes,
    ground,
    papers,
    release,
)

LEDGER: list[Case] = [
    (
        "a correction replaces",
        case([*papers(), fix(50, "papers-B1", "fix", "driller_papers", "B1", accepted=False)]),
        {"superseded": {"papers-B1": ["fix"]}, "facts": {"papers": ["B2"]}, "order": ["fix", "papers-B2"]},
    ),
    (
        "a correction takes the place of what it corrects",
        case([*ground(), release("r", 200), fix(300, "end-T1", "fix", "pressure_end", "T1", joints_dry=True)], PASSED),
        {"held": {}, "facts": {"released": ["S1"]}},
    ),
    (
        "a correction before its target has come",
        case([fix(50, "papers-B1", "fix", "driller_papers", "B1", accepted=True)]),
        {"superseded": {}, "facts": {"papers": ["B1"]}},
    ),
    (
        "two phones correct one entry",
        case(
            [
                *papers(),
                fix(50, "papers-B1", "fix-a", "driller_papers", "B1", accepted=True),
                fix(51, "papers-B1", "fix-b", "driller_papers", "B1", accepted=True, envelope={"device": "phone-b"}),
            ]
        ),
        {"superseded": {"papers-B1": ["fix-a", "fix-b"]}, "conflicts": ["papers-B1"]},
    ),
    (
        "a correction of a correction",
        case(
            [
                *papers(),
                fix(50, "papers-B1", "fix-1", "driller_papers", "B1", accepted=False),
                fix(60, "fix-1", "fix-2", "driller_papers", "B1", accepted=True),
            ]
        ),
        {"superseded": {"papers-B1": ["fix-1"], "fix-1": ["fix-2"]}, "facts": {"papers": ["B1", "B2"]}},
    ),
    (
        "corrections in a ring",
        case(
            [
                fix(1, "b", "a", "driller_papers", "B1", accepted=True),
                fix(2, "a", "b", "driller_papers", "B1", accepted=True),
            ]
        ),
        {"facts": {"papers": []}, "order": []},
    ),
    (
        "an entry cannot correct another kind",
        case([*papers(), fix(50, "papers-B1", "fix", "note", "")]),
        {"superseded": {}, "facts": {"papers": ["B1", "B2"]}},
    ),
    (
        "a held correction strikes nothing",
        case([*papers(), fix(50, "papers-B1", "fix", "driller_papers", "B1", accepted=False, envelope={"held": "missing:log_seen"})]),
        {"superseded": {}, "held": {"fix": "missing:log_seen"}, "facts": {"papers": ["B1", "B2"]}},
    ),
    (
        "a withdrawn entry",
        case([*papers(), fix(50, "papers-B1", "fix", "driller_papers", "B1", reason="withdrawn", accepted=True)]),
        {"superseded": {"papers-B1": ["fix"]}, "facts": {"papers": ["B2"]}},
    ),
    (
        "out of range, and taken by the office",
        case([a_permit(), entry("t", 10, "trench_section", "S1", excavation_inspected=True, envelope={"held": "hard_range:depth", "decision": "taken"})]),
        {"held": {}, "facts": {"trenched": ["S1"]}, "overrides": []},
    ),
    (
        "the same entry twice",
        case([*papers(), *papers()]),
        {"order": ["papers-B1", "papers-B2"], "facts": {"papers": ["B1", "B2"]}},
    ),
    (
        "entries in any order",
        case(list(reversed([*ground(), release("r", 200)])), PASSED),
        {"facts": {"released": ["S1"], "tested": sorted(ALL)}, "held": {}},
    ),
    (
        "equal times go by phone and number",
        case(
            [
                entry("b", 1, "driller_papers", "B1", accepted=False, envelope={"seq": 2}),
                entry("a", 1, "driller_papers", "B1", accepted=True, envelope={"seq": 1}),
            ]
        ),
        {"order": ["a", "b"], "facts": {"papers": []}},
    ),
    (
        "times of several zones",
        case(
            [
                entry("late", 0, "driller_papers", "B1", accepted=False, envelope={"at": "2026-03-09T10:00:00+01:00"}),
                entry("early", 0, "driller_papers", "B1", accepted=True, envelope={"at": "2026-03-09T08:30:00Z"}),
            ]
        ),
        {"order": ["early", "late"]},
    ),
    (
        "a job without a header",
        case([*ground(), *flushes()[:2]], FLUSHED, plan={**PLAN, "header": False, "header_section": ""}),
        {"open": {("H9", ""): True}, "state": "flushed"},
    ),
    ("a kind nobody knows", case([entry("x", 1, "moon_phase", "", phase="full")]), {"held": {}, "state": ""}),
    (
        "signed and handed in",
        case([entry("s", 1, "signature", "", role="engineer"), entry("h", 2, "sheet_submit", "", complete=True)]),
        {"facts": {"signed": ["engineer"], "submitted": [""]}},
    ),
]  # fmt: skip
