"""Phases that are not ours, jobs that start in the middle, and the other ways of filling an array."""

from __future__ import annotations

from tests.visits.fold_build import (
    ALL,
    DAY,
    FLUSHED,
    PASSED,
    RUNNING,
    START,
    Case,
    a_joint,
    a_test,
    case,
    entry,
    fills,
    flushes,
    ground,
    joints,
    min_,
    papers,
    penetration,
    release,
    trenches,
)

GROUND = ("permits", "boreholes", "trench", "pipe", "header", "test", "backfill")
DONE_BEFORE = dict.fromkeys((*GROUND, "flush"), "by others: Deepwell Drilling")
FILL_ONLY = [
    entry("mix", 350, "mix_batch", "M1", spill_ready=True), entry("read-1", 355, "strength_reading", "M1"),
    entry("read-2", 362, "strength_reading", "M1"), *fills(), entry("purge-1", 500, "purge"), entry("air", 520, "residual_air"),
]  # fmt: skip
FILLS_GOOD = {"M1": "pass", "fill-L1": "pass", "fill-L2": "pass", "purge": "pass", "air": "pass"}
CHECK = entry("check", 10, "follow_up")
TAKE_OVER = dict.fromkeys((*GROUND, "flush", "fill", "purge", "balance", "start"), "not in this job")
TEST_BY_OTHERS = {"test": "by others: Weir Testing"}

SCOPE: list[Case] = [
    (
        "fill only: nothing logged moves nothing",
        case([], scope=DONE_BEFORE),
        {"state": "", "open": {("H9", ""): True, ("H6", "S1"): True, ("H10", ""): False}},
    ),
    (
        "fill only: the ground counts as standing",
        case(FILL_ONLY, FILLS_GOOD, scope=DONE_BEFORE),
        {"held": {}, "state": "filled", "overrides": []},
    ),
    (
        "fill only: half of it",
        case(FILL_ONLY[:3], FILLS_GOOD, scope=DONE_BEFORE),
        {"held": {}, "state": "flushed"},
    ),
    (
        "a take-over: only the checks are ours",
        case([CHECK, entry("f", 40, "final_reading", "R1")], {"run": "pass"}, scope=TAKE_OVER),
        {"held": {}, "open": {("H13", ""): True}, "state": "ready"},
    ),
    (
        "a take-over whose pressure is not stable yet",
        case([CHECK, entry("f", 40, "final_reading", "R1")], {"run": "cannot tell"}, scope=TAKE_OVER),
        {
            "held": {"f": "hold_point:H13"}, "state": "running_in",
            "missing": {("H13", ""): ["The last checks do not show a stable pressure."]},
        },
    ),
    (
        "the pressure test is by others",
        case([*papers(), *trenches(), *joints(), release("r", 200)], scope=TEST_BY_OTHERS),
        {"held": {}, "facts": {"released": ["S1"], "tested": []}, "open": {("H6", "S1"): True}},
    ),
    (
        "the test is by others, a joint is not measured all the same",
        case([*papers(), *trenches(), a_joint("j", 20, "J1", "S1", buried=True), release("r", 200)], scope=TEST_BY_OTHERS),
        {"held": {"r": "hold_point:H6"}, "missing": {("H6", "S1"): ["The position of J1 is not measured."]}},
    ),
    (
        "others joined the pipe, we test it",
        case([*trenches(2), *a_test()], PASSED, scope={"pipe": "by others: Moss Plumbing", "boreholes": "not in this job"}),
        {"held": {}, "facts": {"tested": sorted(ALL), "joined": []}, "state": "tested"},
    ),
    (
        "ground only: what others do later follows from the last of ours",
        case(
            [
                *ground(),
                *[release(f"r-{name}", 200 + n, name) for n, name in enumerate(("S1", "S2", "S3"))],
                *[entry(f"c-{name}", 230 + n, "covered", name) for n, name in enumerate(("S1", "S2", "S3"))],
            ],
            PASSED,
            scope=dict.fromkeys(("flush", "fill", "purge", "balance", "start", "follow_up"), "by others: Heat Works"),
        ),
        {"state": "ready"},
    ),
    (
        "ground only: the first trench is no more than that",
        case(
            trenches()[:2],
            scope=dict.fromkeys(("flush", "fill", "purge", "balance", "start", "follow_up"), "by others: Heat Works"),
        ),
        {"state": "in_ground"},
    ),
    (
        "circulated instead of filled loop by loop",
        case(
            [
                *ground(), *flushes(), entry("dose", 350, "circulation", spill_ready=True, through_all=True),
                entry("purge-1", 500, "purge"), entry("air", 520, "residual_air"),
            ],
            FLUSHED | {"purge": "pass", "air": "pass"},
            fill="circulate",
        ),
        {"held": {}, "state": "filled", "open": {("H11", ""): True}},
    ),
    (
        "dosed before the flush",
        case([*ground(), entry("dose", 290, "circulation", spill_ready=True, through_all=True)], PASSED, fill="circulate"),
        {"held": {"dose": "hold_point:H9"}},
    ),
    (
        "loops that come filled are read, not flushed",
        case(
            [
                *ground(), entry("flush-H", 300, "flush", "H", clear=True), entry("read-L1", 310, "strength_reading", "L1"),
                entry("read-L2", 311, "strength_reading", "L2"), entry("purge-1", 500, "purge"), entry("air", 520, "residual_air"),
            ],
            PASSED | {"flush-H": "pass", "L1": "pass", "L2": "pass", "purge": "pass", "air": "pass"},
            fill="pre_filled",
        ),
        {"held": {}, "state": "filled", "open": {("H11", ""): True}},
    ),
    (
        "water only: no strength is asked for",
        case(
            [
                *ground(), *flushes(), entry("purge-1", 500, "purge"), entry("air", 520, "residual_air"),
                entry("static", 540, "static_pressure", valve_locked=True), entry("settings", 550, "source_settings", strainer_clean=True),
                entry("run", 605, "deaeration_start", started=START.isoformat(), planned_days=min_(10, "d")),
            ],
            FLUSHED | {"purge": "pass", "air": "pass", "settings": "pass"},
            fill="water_only",
        ),
        {"held": {}, "state": "running_in"},
    ),
    (
        "water stands in shallow pipe",
        case([*ground(), *flushes()], FLUSHED, shallow=True),
        {"ask_on_leaving": True},
    ),
    ("no water yet", case([*papers(), *trenches()], shallow=True), {"ask_on_leaving": False}),
    ("water below the frost", case([*ground(), *flushes()], FLUSHED, shallow=False), {"ask_on_leaving": False}),
    (
        "mix instead of water",
        case([*ground(), *flushes(), *FILL_ONLY], RUNNING, shallow=True),
        {"ask_on_leaving": False},
    ),
    (
        "an inspection that finds the trench unsafe closes it again",
        case(
            [
                *trenches(), entry("look", 60, "excavation_inspection", "S1", safe=False), entry("laid", 70, "pipe_laid", "L1"),
                entry("laid-2", 71, "pipe_laid", "L2", tagged=True, capped=True),
            ]
        ),
        {"held": {"laid": "hold_point:H4"}, "facts": {"laid": ["L2"]}, "missing": {("H4", "S1"): ["The excavation of S1 was not found safe."]}},
    ),
    (
        "a later look finds it safe",
        case(
            [
                *trenches(), entry("look", 60, "excavation_inspection", "S1", safe=False),
                entry("again", 65, "excavation_inspection", "S1", safe=True), entry("laid", 70, "pipe_laid", "L1", tagged=True, capped=True),
            ]
        ),
        {"held": {}, "facts": {"laid": ["L1"]}},
    ),
    (
        "watch pressure let off over one covered section of two",
        case([*ground(), entry("c", 230, "covered", "S1"), entry("off", 240, "watch_release", "T1")], PASSED),
        {"held": {"off": "hold_point:H7"}, "facts": {"watch_off": []}},
    ),
    (
        "the test of one section is let off when that one is covered",
        case(
            [
                *papers(), *trenches(), *joints(), *a_test(covers=["S1", "L1"]), entry("c", 230, "covered", "S1"),
                entry("off", 240, "watch_release", "T1"),
            ],
            PASSED,
        ),
        {"held": {}, "facts": {"watch_off": [""]}},
    ),
    (
        "joints tell when they may be moved and pressed",
        case([*papers(), a_joint("j", 20, "J1", "S1", "L1", hold_min=min_(90, "s"))]),
        {
            "joints": [
                {
                    "id": "j", "subject": "J1", "section": "S1", "loop": "L1", "made": START.timestamp() + 1200,
                    "may_move": START.timestamp() + 1290, "ready": START.timestamp() + 3000, "buried": False, "good": True,
                }
            ]
        },
    ),
    (
        "a permit that ran out over the weekend",
        case(
            [
                entry("permit", 0, "services_permit", records_seen=True, detected=True, marked=True, valid_to=START.isoformat()),
                entry("t", 3 * DAY, "trench_section", "S1", excavation_inspected=True),
            ]
        ),
        {"held": {"t": "hold_point:H1"}, "state": ""},
    ),
    ("ground and wall", case([*papers(), *trenches(), penetration()]), {"facts": {"sealed": ["H"]}}),
]  # fmt: skip
