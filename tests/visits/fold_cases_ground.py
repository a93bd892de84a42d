"""In the ground: papers, joints, test, release, cover, and pipe that is cut again."""

from __future__ import annotations

from tests.visits.fold_build import (
    ALL,
    FILLED,
    FLUSHED,
    PASSED,
    Case,
    a_joint,
    a_test,
    case,
    entry,
    filled,
    fix,
    flushes,
    ground,
    joints,
    min_,
    papers,
    release,
    trenches,
)

GROUND: list[Case] = [
    ("nothing logged", case([]), {"state": "", "order": [], "held": {}}),
    ("papers accepted", case(papers()), {"facts": {"papers": ["B1", "B2"]}, "state": ""}),
    (
        "papers not accepted",
        case([entry("p", 1, "driller_papers", "B1", accepted=False)]),
        {"facts": {"papers": []}, "open": {("H3", "L1"): False}},
    ),
    (
        "the later look at the papers decides",
        case([*papers(), entry("again", 5, "driller_papers", "B1", accepted=False)]),
        {"facts": {"papers": ["B2"]}},
    ),
    (
        "a loop is joined before its papers",
        case([a_joint("j", 20, "J1", "S1", "L1")]),
        {"held": {"j": "hold_point:H3"}, "facts": {"joined": []}},
    ),
    ("a joint of no loop needs no papers", case([a_joint("j", 20, "J1", "S1")]), {"held": {}, "facts": {"joined": ["S1"]}}),
    ("a header joint needs no papers", case([a_joint("j", 20, "J1", "S3", "H")]), {"held": {}}),
    ("a passed test", case(ground(), PASSED), {"facts": {"tested": sorted(ALL)}, "state": "tested", "held": {}}),
    ("a test that warns counts", case(ground(), {"T1": "warn"}), {"facts": {"tested": sorted(ALL)}}),
    ("a test that cannot tell does not count", case(ground(), {"T1": "cannot tell"}), {"facts": {"tested": []}}),
    ("a failed test", case(ground(), {"T1": "fail"}), {"facts": {"tested": []}, "state": "in_ground"}),
    ("a test without its end", case(ground()[:-1], PASSED), {"facts": {"tested": []}}),
    (
        "a wet joint",
        case([*papers(), *trenches(), *joints(), *a_test(dry=False)], PASSED),
        {"facts": {"tested": []}},
    ),
    (
        "a test of one section only",
        case([*papers(), *trenches(), *joints(), *a_test(covers=["S1", "L1"])], PASSED),
        {"facts": {"tested": ["L1", "S1"]}, "open": {("H6", "S1"): True, ("H6", "S2"): False}, "state": "in_ground"},
    ),
    (
        "the same section fails a later test",
        case([*ground(), *a_test("T2", at=200, covers=["S1"])], PASSED | {"T2": "fail"}),
        {"facts": {"tested": sorted(set(ALL) - {"S1"})}},
    ),
    (
        "fewer joints logged than the drawing shows",
        case([*papers(), *trenches(2), *joints(), *a_test()], PASSED),
        {
            "facts": {"tested": ["H", "L1", "L2"], "joined": []},
            "missing": {("H6", "S1"): ["The joints of S1 are not all logged.", "S1 is not inside a passed pressure test."]},
        },
    ),
    (
        "a section without joints",
        case([*papers(), *trenches(0), *a_test()], PASSED),
        {"facts": {"tested": sorted(ALL), "joined": ["S1", "S2", "S3"]}},
    ),
    (
        "a joint that looks wrong does not count",
        case([*papers(), *trenches(), a_joint("j", 20, "J1", "S1", visual_ok=False), *a_test()], PASSED),
        {"facts": {"joined": []}},
    ),
    (
        "pressure on a joint that still cools",
        case([*papers(), *trenches(), *joints(), *a_test(at=40)], PASSED),
        {"held": {"start-T1": "hold_point:H5"}, "facts": {"tested": []}},
    ),
    (
        "cooling told in hours",
        case([*papers(), *trenches(), a_joint("j", 20, "J1", "S1", cooling_min=min_(1, "h")), *a_test(at=60)], PASSED),
        {"held": {"start-T1": "hold_point:H5"}},
    ),
    (
        "a joint outside the test may still cool",
        case([*papers(), *trenches(), a_joint("j", 35, "J1", "S2"), *a_test(at=40, covers=["S1"])], PASSED),
        {"held": {}},
    ),
    (
        "release before any test",
        case([*papers(), *trenches(), *joints(), release("r", 70)]),
        {"held": {"r": "hold_point:H6"}, "facts": {"released": []}, "open": {("H6", "S1"): False}},
    ),
    ("release after a passed test", case([*ground(), release("r", 200)], PASSED), {"held": {}, "facts": {"released": ["S1"]}}),
    (
        "release after a failed test",
        case([*ground(), release("r", 200)], {"T1": "fail"}),
        {"held": {"r": "hold_point:H6"}, "facts": {"released": []}},
    ),
    (
        "release while the test runs",
        case([*ground(), release("r", 100)], PASSED),
        {"held": {"r": "hold_point:H6"}, "facts": {"released": [], "tested": sorted(ALL)}},
    ),
    (
        "release without measured positions",
        case([*ground(), release("r", 200, positions_taken=False)], PASSED),
        {"held": {"r": "hold_point:H6"}},
    ),
    (
        "positions that do not apply",
        case([*ground(), release("r", 200, positions_taken={"unknown": "not_applicable"})], PASSED),
        {"held": {}, "facts": {"released": ["S1"]}},
    ),
    (
        "an override lets a release take effect",
        case([*papers(), *trenches(), *joints(), release("r", 70), entry("why", 75, "override", "H6:S1")]),
        {"held": {}, "facts": {"released": ["S1"]}, "overrides": [("r", "H6", "S1", "why")], "open": {("H6", "S1"): False}},
    ),
    (
        "an override of another section does not",
        case([*papers(), *trenches(), *joints(), release("r", 70), entry("why", 75, "override", "H6:S2")]),
        {"held": {"r": "hold_point:H6"}, "overrides": []},
    ),
    (
        "an override that was not needed marks nothing",
        case([*ground(), entry("why", 195, "override", "H6:S1"), release("r", 200)], PASSED),
        {"overrides": [], "facts": {"released": ["S1"]}},
    ),
    (
        "a withdrawn override",
        case(
            [
                release("r", 70),
                entry("why", 75, "override", "H6:S1"),
                fix(80, "why", "no", "override", "H6:S1", reason="withdrawn"),
            ]
        ),
        {"held": {"r": "hold_point:H6"}, "superseded": {"why": ["no"]}},
    ),
    (
        "the office takes a release",
        case([release("r", 70, envelope={"held": "hold_point:H6", "decision": "taken"})]),
        {"held": {}, "facts": {"released": ["S1"]}, "overrides": [("r", "H6", "S1", "office")]},
    ),
    (
        "the office leaves a release out",
        case([release("r", 70, envelope={"held": "hold_point:H6", "decision": "left_out"})]),
        {"held": {}, "left_out": ["r"], "facts": {"released": []}},
    ),
    (
        "held at receipt, released by what came later from another phone",
        case([release("r", 200, envelope={"held": "hold_point:H6", "device": "phone-b"}), *ground()], PASSED),
        {"held": {}, "facts": {"released": ["S1"]}},
    ),
    (
        "covered before release",
        case([*papers(), *trenches(), *joints(), entry("c", 80, "covered", "S1")]),
        {"covered_early": ["S1"], "facts": {"covered": ["S1"]}},
    ),
    (
        "covered first, released later",
        case([*ground(), entry("c", 190, "covered", "S1"), release("r", 200)], PASSED),
        {"covered_early": ["S1"], "facts": {"covered": ["S1"], "released": ["S1"]}},
    ),
    (
        "covered after release",
        case([*ground(), release("r", 200), entry("c", 230, "covered", "S1")], PASSED),
        {"covered_early": []},
    ),
    (
        "a held release and a cover",
        case([release("r", 70), entry("c", 80, "covered", "S1")]),
        {"held": {"r": "hold_point:H6"}, "covered_early": ["S1"]},
    ),
    (
        "partial cover with the joints open",
        case([*trenches(), entry("p", 50, "partial_cover", "S1", joints_open=True)]),
        {"held": {}, "facts": {"held_down": ["S1"]}},
    ),
    (
        "partial cover over the joints",
        case([*trenches(), entry("p", 50, "partial_cover", "S1", joints_open=False)]),
        {"held": {"p": "hold_point:H4"}},
    ),
    (
        "everything in the ground is done",
        case(
            [
                *ground(),
                *[release(f"r-{name}", 200 + n, name) for n, name in enumerate(("S1", "S2", "S3"))],
                *[entry(f"c-{name}", 230 + n, "covered", name) for n, name in enumerate(("S1", "S2", "S3"))],
            ],
            PASSED,
        ),
        {"state": "backfilled", "covered_early": []},
    ),
    (
        "a joint made after the test is new pipe",
        case([*ground(), release("r", 200), a_joint("new", 300, "J9", "S1", "L1")], PASSED),
        {
            "facts": {"tested": ["H", "L2", "S2", "S3"], "released": []},
            "void": {"end-T1": ["S1", "L1"], "r": ["S1"]},
            "state": "in_ground",
        },
    ),
    (
        "a joint logged late but made before the test",
        case([*ground(), a_joint("late", 300, "J9", "S1", "L1", made=25)], PASSED),
        {"void": {}, "facts": {"tested": sorted(ALL)}},
    ),
    (
        "a joint of no loop touches all loops of its section",
        case([*ground(), *flushes(), a_joint("new", 310, "J9", "S2")], FLUSHED),
        {"facts": {"flushed": ["H", "L1"], "tested": ["H", "L1", "S1", "S3"]}},
    ),
    (
        "pipe cut after the purge",
        case([*filled(), a_joint("new", 600, "J9", "S1", "L1")], FILLED),
        {"facts": {"purged": [], "air_out": [], "filled": ["L2"], "flushed": ["H", "L2"]}, "state": "in_ground"},
    ),
]  # fmt: skip
