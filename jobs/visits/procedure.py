"""The order of the work as tables: steps, facts, hold points. Evaluated by `fold` here and by its port on the phone.

Rows are plain JSON. `of` names whose fact is asked for: `subject` of the entry, `sections`, `loops`, `header` (all of the
job's), `borehole` (of the loop that the entry joins), `job`, `any` (one is enough), `covers` (of the entry's test).
"""

from __future__ import annotations

from typing import Any, Final

GOOD: Final = ("pass", "warn")

# What an entry establishes, when its answers in `yes` are yes and its verdict (of the entry, its subject, its kind) is good.
FACTS: Final[list[dict[str, Any]]] = [
    {"fact": "papers", "kind": "driller_papers", "of": "subject", "yes": ["accepted"]},
    {"fact": "trenched", "kind": "trench_section", "of": "subject", "yes": ["excavation_inspected"]},
    {"fact": "passed", "kind": "pressure_end", "of": "covers", "yes": ["joints_dry"], "judged": "subject"},
    {"fact": "held_down", "kind": "partial_cover", "of": "subject", "yes": ["joints_open"]},
    {"fact": "released", "kind": "backfill_release", "of": "subject", "yes": ["positions_taken"]},
    {"fact": "covered", "kind": "covered", "of": "subject"},
    {"fact": "flushed", "kind": "flush", "of": "subject", "yes": ["clear"], "judged": "entry"},
    {"fact": "delivered", "kind": "fluid_delivery", "of": "job"},
    {"fact": "mixed", "kind": "mix_batch", "of": "subject"},
    {"fact": "strong", "kind": "strength_reading", "of": "subject", "judged": "subject"},
    {"fact": "filled", "kind": "loop_fill", "of": "subject", "yes": ["only_this_open"], "judged": "entry"},
    {"fact": "purged", "kind": "purge", "of": "job", "judged": "kind"},
    {"fact": "air_out", "kind": "residual_air", "of": "job", "judged": "entry"},
    {"fact": "pressurised", "kind": "static_pressure", "of": "job", "yes": ["valve_locked"]},
    {"fact": "set", "kind": "source_settings", "of": "job", "yes": ["strainer_clean"], "judged": "entry"},
    {"fact": "running", "kind": "deaeration_start", "of": "job"},
    {"fact": "checked", "kind": "follow_up", "of": "job"},
    {"fact": "read", "kind": "final_reading", "of": "subject"},
    {"fact": "signed", "kind": "signature", "of": "role"},
    {"fact": "submitted", "kind": "sheet_submit", "of": "job", "yes": ["complete"]},
]

TESTED = {"fact": "tested", "words": "{s} is not inside a passed pressure test."}

# `kind` waits until every need stands; `stop` says what not to do till then. `subject_from`: the field that names the
# subject, else the entry's own.
HOLD_POINTS: Final[list[dict[str, Any]]] = [
    {
        "code": "H3",
        "label": "Join a borehole's loop",
        "stop": "Do not join {s}.",
        "kind": "joint",
        "each": "loops",
        "subject_from": "loop",
        "released_by": "Office, when the papers are accepted",
        "needs": [{"fact": "papers", "of": "borehole", "words": "The driller's papers of {s} are not accepted."}],
    },
    {
        "code": "H4",
        "label": "Cover pipe before the test",
        "stop": "Do not cover pipe of {s}.",
        "kind": "partial_cover",
        "each": "sections",
        "released_by": "Ground crew",
        "needs": [
            {"fact": "trenched", "of": "subject", "words": "Depth, bed and inspection of {s} are not logged."},
            {"yes": "joints_open", "words": "The joints of {s} must stay open to view."},
        ],
    },
    {
        "code": "H5",
        "label": "Put joints under pressure",
        "stop": "Do not put the joints under pressure.",
        "kind": "pressure_test",
        "each": "",
        "released_by": "Whoever made the joint",
        "needs": [{"rule": "cooled", "words": "{s} is still cooling."}],
    },
    {
        "code": "H6",
        "label": "Backfill",
        "stop": "Do not cover {s}.",
        "kind": "backfill_release",
        "each": "sections",
        "released_by": "Ground crew; manager when it is in doubt",
        "needs": [
            {"fact": "joined", "of": "subject", "words": "The joints of {s} are not all logged."},
            {"fact": "tested", "of": "subject", "words": TESTED["words"]},
            {"yes": "positions_taken", "words": "Joints and bends of {s} are not measured."},
        ],
    },
    {
        "code": "H9",
        "label": "Mix antifreeze",
        "stop": "Do not mix antifreeze.",
        "kind": "mix_batch",
        "each": "job",
        "released_by": "Ground crew",
        "needs": [
            {"of": "sections", **TESTED},
            {"of": "loops", **TESTED},
            {"of": "header", **TESTED},
            {"fact": "flushed", "of": "loops", "words": "{s} is not flushed."},
            {"fact": "flushed", "of": "header", "words": "The main header is not flushed."},
        ],
    },
    {
        "code": "H10",
        "label": "Pump from the bin",
        "stop": "Do not pump from the bin.",
        "kind": "loop_fill",
        "each": "job",
        "released_by": "Ground crew",
        "needs": [
            {"fact": "mixed", "of": "any", "words": "No batch is mixed."},
            {"fact": "strong", "of": "batch", "words": "No batch has two readings that agree and lie in the band."},
        ],
    },
    {
        "code": "H11",
        "label": "Open to the heat pump",
        "stop": "Do not open the loops to the heat pump.",
        "kind": "source_settings",
        "each": "job",
        "released_by": "Ground crew to heat pump engineer",
        "needs": [
            {"fact": "filled", "of": "loops", "words": "{s} is not filled."},
            {"fact": "purged", "of": "job", "words": "The purge is not done or not long enough."},
            {"fact": "air_out", "of": "job", "words": "The residual air check is not passed."},
        ],
    },
    {
        "code": "H12",
        "label": "Start the compressor",
        "stop": "Do not start the compressor.",
        "kind": "deaeration_start",
        "each": "job",
        "released_by": "Heat pump engineer",
        "needs": [
            {"fact": "strong", "of": "system", "words": "The strength of the filled system is not confirmed."},
            {"fact": "pressurised", "of": "job", "words": "Static pressure and vessel valve are not confirmed."},
            {"fact": "set", "of": "job", "words": "Flow, frost alarm and strainer are not confirmed."},
        ],
    },
    {
        "code": "H13",
        "label": "Take final readings",
        "stop": "Do not take the final readings.",
        "kind": "final_reading",
        "each": "job",
        "released_by": "Heat pump engineer",
        "needs": [
            {"fact": "running", "of": "job", "words": "The de-aeration run was not started."},
            {"rule": "run_over", "words": "The de-aeration run is not over."},
            {"rule": "stable", "words": "The last checks do not show a stable pressure."},
        ],
    },
    {
        "code": "H14",
        "label": "Hand over",
        "stop": "Do not hand over.",
        "kind": "",
        "each": "job",
        "released_by": "Manager",
        "needs": [{"rule": "approved", "words": "The manager has not approved the sheet."}],
    },
]

# `each`: for what the step is done. Done when `fact` stands for it; `count` names a number of subjects instead.
STEPS: Final[list[dict[str, Any]]] = [
    {"code": "papers", "label": "Driller's papers", "phase": "ground", "kind": "driller_papers", "each": "boreholes", "fact": "papers"},
    {"code": "trench", "label": "Trench and bed", "phase": "ground", "kind": "trench_section", "each": "sections", "fact": "trenched"},
    {"code": "joints", "label": "Joints", "phase": "ground", "kind": "joint", "each": "sections", "fact": "joined"},
    {"code": "test", "label": "Pressure test", "phase": "ground", "kind": "pressure_test", "each": "all", "fact": "tested"},
    {"code": "release", "label": "Release for backfill", "phase": "ground", "kind": "backfill_release", "each": "sections", "fact": "released"},
    {"code": "cover", "label": "Covered", "phase": "ground", "kind": "covered", "each": "sections", "fact": "covered"},
    {"code": "flush", "label": "Flush", "phase": "fill", "kind": "flush", "each": "loops_header", "fact": "flushed"},
    {"code": "delivery", "label": "Antifreeze delivered", "phase": "fill", "kind": "fluid_delivery", "each": "job", "fact": "delivered"},
    {"code": "mix", "label": "Mix", "phase": "fill", "kind": "mix_batch", "each": "any", "fact": "mixed"},
    {"code": "strength", "label": "Strength of the mix", "phase": "fill", "kind": "strength_reading", "each": "batch", "fact": "strong"},
    {"code": "fill", "label": "Fill loop by loop", "phase": "fill", "kind": "loop_fill", "each": "loops", "fact": "filled"},
    {"code": "purge", "label": "Purge", "phase": "fill", "kind": "purge", "each": "job", "fact": "purged"},
    {"code": "air", "label": "Residual air check", "phase": "fill", "kind": "residual_air", "each": "job", "fact": "air_out"},
    {"code": "system", "label": "Strength of the system", "phase": "fill", "kind": "strength_reading", "each": "system", "fact": "strong"},
    {"code": "static", "label": "Static pressure", "phase": "start", "kind": "static_pressure", "each": "job", "fact": "pressurised"},
    {"code": "settings", "label": "Source-side settings", "phase": "start", "kind": "source_settings", "each": "job", "fact": "set"},
    {"code": "run", "label": "Start the de-aeration run", "phase": "start", "kind": "deaeration_start", "each": "job", "fact": "running"},
    {"code": "checks", "label": "De-aeration checks", "phase": "follow_up", "kind": "follow_up", "each": "job", "rule": "stable"},
    {"code": "final", "label": "Final readings", "phase": "final", "kind": "final_reading", "each": "any", "fact": "read", "count": "final_sets"},
    {"code": "signature", "label": "Signature", "phase": "final", "kind": "signature", "each": "any", "fact": "signed"},
    {"code": "submit", "label": "Hand in the sheet", "phase": "final", "kind": "sheet_submit", "each": "job", "fact": "submitted"},
]  # fmt: skip

# The furthest state of the job whose steps are all done.
STATES: Final[list[dict[str, Any]]] = [
    {"state": "tested", "steps": ["test"]},
    {"state": "backfilled", "steps": ["test", "release", "cover"]},
    {"state": "flushed", "steps": ["flush"]},
    {"state": "filled", "steps": ["fill", "purge", "air"]},
    {"state": "running_in", "steps": ["run"]},
    {"state": "ready", "steps": ["run", "checks"], "rule": "run_over"},
]

# What a joint that is made again undoes, for its section, its loops, the whole job.
UNDONE: Final[dict[str, list[str]]] = {
    "section": ["passed", "released", "covered"],
    "loop": ["passed", "flushed", "filled"],
    "job": ["purged", "air_out"],
}

TABLE: Final[dict[str, Any]] = {
    "good": list(GOOD),
    "facts": FACTS,
    "hold_points": HOLD_POINTS,
    "steps": STEPS,
    "states": STATES,
    "undone": UNDONE,
}


def procedure_json() -> dict[str, Any]:
    """The tables for the phone, as they are."""
    return TABLE


def hold_point(code: str) -> dict[str, Any] | None:
    """The row of a hold point."""
    return next((row for row in HOLD_POINTS if row["code"] == code), None)


def hold_label(code: str) -> str:
    """`H6 Backfill`; just the code when it is not known."""
    row = hold_point(code)
    return f"{code} {row['label']}" if row else code
