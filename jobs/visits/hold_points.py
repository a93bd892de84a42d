"""What must stand before which step, as a table; `procedure` is the door to it.

`kind` waits until every need stands; `stop` says what not to do till then. `also`: further kinds that wait with it.
`subject_from`: the field that names the subject (`section_of_loop`: the trench section of the entry's loop), else the entry's own.
`procedures`: for which ways of filling a row or a need counts, all when it says nothing; `kinds`: a need of these entries only;
`phase`: to which phase of the job a computed rule belongs, so that a phase that is not ours counts as standing.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

TESTED: Final = {"fact": "tested", "words": "{s} is not inside a passed pressure test."}
FLUSHED: Final = (
    {"fact": "flushed", "of": "loops", "words": "{s} is not flushed.", "procedures": ["loop_by_loop", "circulate", "water_only"]},
    {"fact": "flushed", "of": "header", "words": "The main header is not flushed."},
)  # fmt: skip
FIT_PUMP: Final = {"rule": "fit_pump", "words": "The pump is not marked as fit for a fluid that burns."}

HOLD_POINTS: Final[list[dict[str, Any]]] = [
    {
        "code": "H1",
        "label": "Break ground",
        "stop": "Do not break ground.",
        "kind": "trench_section",
        "each": "job",
        "released_by": "Ground crew lead with the office",
        "needs": [
            {"fact": "permitted", "of": "job", "words": "Services are not searched, detected and marked, or there is no permit to dig."},
            {"rule": "permit_valid", "phase": "permits", "words": "The permit to dig does not hold at this time."},
        ],
    },
    {
        "code": "H2",
        "label": "Grout a borehole",
        "stop": "Do not grout {s}.",
        "kind": "grouting",
        "each": "boreholes",
        "released_by": "Driller",
        "needs": [{"fact": "tube_checked", "of": "subject", "words": "Flow and pressure of the U-tube of {s} are not checked."}],
    },
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
        "label": "Lay pipe, or cover it before the test",
        "stop": "Do not lay or cover pipe in {s}.",
        "kind": "partial_cover",
        "also": [{"kind": "pipe_laid", "subject_from": "section_of_loop"}],
        "each": "sections",
        "released_by": "Ground crew",
        "needs": [
            {"fact": "trenched", "of": "subject", "words": "Depth, bed and inspection of {s} are not logged."},
            {"fact": "inspected", "of": "subject", "words": "The excavation of {s} was not found safe."},
            {"rule": "fresh", "phase": "trench", "words": "The last inspection of {s} is older than one shift."},
            {"yes": "joints_open", "kinds": ["partial_cover"], "words": "The joints of {s} must stay open to view."},
        ],
    },
    {
        "code": "H5",
        "label": "Put joints under pressure",
        "stop": "Do not put the joints under pressure.",
        "kind": "pressure_test",
        "each": "",
        "released_by": "Whoever made the joint",
        "needs": [{"rule": "cooled", "phase": "pipe", "words": "{s} is still cooling."}],
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
            {"rule": "measured", "phase": "pipe", "words": "The position of {s} is not measured."},
            {"yes": "positions_taken", "words": "Joints and bends of {s} are not measured."},
        ],
    },
    {
        "code": "H7",
        "label": "Let off the watch pressure",
        "stop": "Do not let off the watch pressure.",
        "kind": "watch_release",
        "each": "job",
        "released_by": "Ground crew",
        "needs": [{"fact": "covered", "of": "tested_sections", "words": "The protective layer over {s} is not on."}],
    },
    {
        "code": "H8",
        "label": "Connect to the heat pump",
        "stop": "Do not connect the header to the heat pump.",
        "kind": "plant_connection",
        "each": "job",
        "released_by": "Ground crew",
        "needs": [*FLUSHED, {"yes": "kept_closed", "words": "Loops and header were not kept full of clean water and capped."}],
    },
    {
        "code": "H9",
        "label": "Mix antifreeze",
        "stop": "Do not mix antifreeze.",
        "kind": "mix_batch",
        "also": [{"kind": "circulation"}],
        "each": "job",
        "procedures": ["loop_by_loop", "circulate"],
        "released_by": "Ground crew",
        "needs": [
            {"of": "sections", **TESTED},
            {"of": "loops", **TESTED},
            {"of": "header", **TESTED},
            *FLUSHED,
            {"fact": "sealed", "of": "header", "words": "The wall penetration of the main header is not sealed."},
            {"yes": "spill_ready", "words": "Spill kit and way to the drain are not made sure of."},
            FIT_PUMP,
        ],
    },
    {
        "code": "H10",
        "label": "Pump from the bin",
        "stop": "Do not pump from the bin.",
        "kind": "loop_fill",
        "also": [{"kind": "purge"}],
        "each": "job",
        "procedures": ["loop_by_loop", "circulate", "pre_filled"],
        "released_by": "Ground crew",
        "needs": [
            {"fact": "mixed", "of": "any", "words": "No batch is mixed.", "procedures": ["loop_by_loop"]},
            {"fact": "strong", "of": "batch", "words": "No batch has two readings that agree and lie in the band.", "procedures": ["loop_by_loop"]},
            FIT_PUMP,
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
            {"fact": "filled", "of": "loops", "words": "{s} is not filled.", "procedures": ["loop_by_loop"]},
            {"fact": "circulated", "of": "job", "words": "The antifreeze is not circulated through every loop.", "procedures": ["circulate"]},
            {"fact": "strong", "of": "loops", "words": "The strength in {s} is not confirmed.", "procedures": ["pre_filled"]},
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
            {"fact": "strong", "of": "system", "words": "The strength of the filled system is not confirmed.", "procedures": ["loop_by_loop", "circulate", "pre_filled"]},
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
            {"rule": "run_over", "phase": "start", "words": "The de-aeration run is not over."},
            {"rule": "stable", "phase": "follow_up", "words": "The last checks do not show a stable pressure."},
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
]  # fmt: skip


def hold_point(code: str) -> dict[str, Any] | None:
    """The row of a hold point."""
    return next((row for row in HOLD_POINTS if row["code"] == code), None)


def hold_label(code: str) -> str:
    """`H6 Backfill`; just the code when it is not known."""
    row = hold_point(code)
    return f"{code} {row['label']}" if row else code


def hold_point_of(kind: str) -> dict[str, Any] | None:
    """The first hold point that entries of a kind wait at."""
    return next((row for row in HOLD_POINTS if kind in kinds_at(row)), None)


def kinds_at(row: Mapping[str, Any]) -> list[str]:
    """The kinds that wait at a hold point."""
    return [row["kind"], *(other["kind"] for other in row.get("also", []))]
