"""The order of the work as tables: steps, facts, hold points. Evaluated by `fold` here and by its port on the phone.

Rows are plain JSON. `of` names whose fact is asked for: `subject` of the entry, `sections`, `loops`, `header` (all of the
job's), `borehole` (of the loop that the entry joins), `job`, `any` (one is enough), `covers` (of the entry's test),
`tested_sections` (of the test that the entry is about). `phase` in a fact and `scope` in a step are phases of the job, as
`planning` knows them: one that is not ours counts as standing. `phase` in a step is the kind of visit.
"""

from __future__ import annotations

from typing import Any, Final

from jobs.planning.trade import PHASES
from jobs.visits.hold_points import HOLD_POINTS, hold_label, hold_point, hold_point_of, kinds_at

__all__ = [
    "ANYWHERE", "FACTS", "GOOD", "HOLD_POINTS", "PORTS", "RESUME", "STATES", "STEPS", "TABLE", "hold_label", "hold_point",
    "hold_point_of", "kinds_at", "procedure_json",
]  # fmt: skip

GOOD: Final = ("pass", "warn")
FILLED_ON_SITE: Final = ["loop_by_loop", "circulate"]
WITH_WATER: Final = [*FILLED_ON_SITE, "water_only"]
WITH_FLUID: Final = [*FILLED_ON_SITE, "pre_filled"]

# What an entry establishes, when its answers in `yes` are yes and its verdict (of the entry, its subject, its kind) is good.
FACTS: Final[list[dict[str, Any]]] = [
    {"fact": "permitted", "phase": "permits", "kind": "services_permit", "of": "job", "yes": ["records_seen", "detected", "marked"]},
    {"fact": "papers", "phase": "boreholes", "kind": "driller_papers", "of": "subject", "yes": ["accepted"]},
    {"fact": "tube_checked", "phase": "boreholes", "kind": "driller_papers", "of": "subject", "yes": ["test_before_seen"]},
    {"fact": "tube_checked", "phase": "boreholes", "kind": "utube_check", "of": "subject", "yes": ["flows", "holds"]},
    {"fact": "trenched", "phase": "trench", "kind": "trench_section", "of": "subject", "yes": ["excavation_inspected"]},
    {"fact": "inspected", "phase": "trench", "kind": "trench_section", "of": "subject", "yes": ["excavation_inspected"]},
    {"fact": "inspected", "phase": "trench", "kind": "excavation_inspection", "of": "subject", "yes": ["safe"]},
    {"fact": "laid", "phase": "pipe", "kind": "pipe_laid", "of": "subject", "yes": ["tagged", "capped"]},
    {"fact": "ported", "phase": "pipe", "kind": "manifold_port", "of": "subject", "yes": ["same_number", "tagged"]},
    {"fact": "sealed", "phase": "header", "kind": "header_penetration", "of": "subject", "yes": ["sealed"]},
    {"fact": "passed", "phase": "test", "kind": "pressure_end", "of": "covers", "yes": ["joints_dry"], "judged": "subject"},
    {"fact": "held_down", "phase": "backfill", "kind": "partial_cover", "of": "subject", "yes": ["joints_open"]},
    {"fact": "released", "phase": "backfill", "kind": "backfill_release", "of": "subject", "yes": ["positions_taken"]},
    {"fact": "covered", "phase": "backfill", "kind": "covered", "of": "subject"},
    {"fact": "watch_off", "phase": "backfill", "kind": "watch_release", "of": "job"},
    {"fact": "flushed", "phase": "flush", "kind": "flush", "of": "subject", "yes": ["clear"], "judged": "entry"},
    {"fact": "connected", "phase": "header", "kind": "plant_connection", "of": "job", "yes": ["shut_off"]},
    {"fact": "delivered", "phase": "fill", "kind": "fluid_delivery", "of": "job"},
    {"fact": "mixed", "phase": "fill", "kind": "mix_batch", "of": "subject"},
    {"fact": "strong", "phase": "fill", "kind": "strength_reading", "of": "subject", "judged": "subject"},
    {"fact": "filled", "phase": "fill", "kind": "loop_fill", "of": "subject", "yes": ["only_this_open"], "judged": "entry"},
    {"fact": "circulated", "phase": "fill", "kind": "circulation", "of": "job", "yes": ["through_all"]},
    {"fact": "purged", "phase": "purge", "kind": "purge", "of": "job", "judged": "kind"},
    {"fact": "air_out", "phase": "purge", "kind": "residual_air", "of": "job", "judged": "entry"},
    {"fact": "balanced", "phase": "balance", "kind": "balance_reading", "of": "subject"},
    {"fact": "pressurised", "phase": "start", "kind": "static_pressure", "of": "job", "yes": ["valve_locked"]},
    {"fact": "set", "phase": "start", "kind": "source_settings", "of": "job", "yes": ["strainer_clean"], "judged": "entry"},
    {"fact": "running", "phase": "start", "kind": "deaeration_start", "of": "job"},
    {"fact": "checked", "phase": "follow_up", "kind": "follow_up", "of": "job"},
    {"fact": "read", "phase": "final", "kind": "final_reading", "of": "subject"},
    {"fact": "signed", "phase": "final", "kind": "signature", "of": "role"},
    {"fact": "submitted", "phase": "final", "kind": "sheet_submit", "of": "job", "yes": ["complete"]},
]  # fmt: skip
# Facts that follow from several entries.
DERIVED: Final = {"joined": "pipe", "tested": "test"}

# `each`: for what the step is done. Done when `fact` stands for it; `count` names a number of subjects instead. Signing and
# handing in are always ours: they belong to no phase.
STEPS: Final[list[dict[str, Any]]] = [
    {"code": "permit", "label": "Services search and permit to dig", "phase": "ground", "scope": "permits", "kind": "services_permit", "each": "job", "fact": "permitted"},
    {"code": "papers", "label": "Driller's papers", "phase": "ground", "scope": "boreholes", "kind": "driller_papers", "each": "boreholes", "fact": "papers"},
    {"code": "trench", "label": "Trench and bed", "phase": "ground", "scope": "trench", "kind": "trench_section", "each": "sections", "fact": "trenched"},
    {"code": "pipe", "label": "Pipe laid", "phase": "ground", "scope": "pipe", "kind": "pipe_laid", "each": "loops", "fact": "laid"},
    {"code": "joints", "label": "Joints", "phase": "ground", "scope": "pipe", "kind": "joint", "each": "sections", "fact": "joined"},
    {"code": "ports", "label": "Manifold ports", "phase": "ground", "scope": "pipe", "kind": "manifold_port", "each": "ports", "fact": "ported"},
    {"code": "header", "label": "Header and wall penetration", "phase": "ground", "scope": "header", "kind": "header_penetration", "each": "header", "fact": "sealed"},
    {"code": "test", "label": "Pressure test", "phase": "ground", "scope": "test", "kind": "pressure_test", "each": "all", "fact": "tested"},
    {"code": "release", "label": "Release for backfill", "phase": "ground", "scope": "backfill", "kind": "backfill_release", "each": "sections", "fact": "released"},
    {"code": "cover", "label": "Covered", "phase": "ground", "scope": "backfill", "kind": "covered", "each": "sections", "fact": "covered"},
    {"code": "watch_off", "label": "Watch pressure let off", "phase": "ground", "scope": "backfill", "kind": "watch_release", "each": "job", "fact": "watch_off"},
    {"code": "flush", "label": "Flush", "phase": "fill", "scope": "flush", "kind": "flush", "each": "loops_header", "fact": "flushed", "procedures": WITH_WATER},
    {"code": "flush_header", "label": "Flush the header", "phase": "fill", "scope": "flush", "kind": "flush", "each": "header", "fact": "flushed", "procedures": ["pre_filled"]},
    {"code": "connect", "label": "Connect to the heat pump", "phase": "fill", "scope": "header", "kind": "plant_connection", "each": "job", "fact": "connected"},
    {"code": "delivery", "label": "Antifreeze delivered", "phase": "fill", "scope": "fill", "kind": "fluid_delivery", "each": "job", "fact": "delivered", "procedures": FILLED_ON_SITE},
    {"code": "mix", "label": "Mix", "phase": "fill", "scope": "fill", "kind": "mix_batch", "each": "any", "fact": "mixed", "procedures": ["loop_by_loop"]},
    {"code": "strength", "label": "Strength of the mix", "phase": "fill", "scope": "fill", "kind": "strength_reading", "each": "batch", "fact": "strong", "procedures": ["loop_by_loop"]},
    {"code": "fill", "label": "Fill loop by loop", "phase": "fill", "scope": "fill", "kind": "loop_fill", "each": "loops", "fact": "filled", "procedures": ["loop_by_loop"]},
    {"code": "circulate", "label": "Dose and circulate", "phase": "fill", "scope": "fill", "kind": "circulation", "each": "job", "fact": "circulated", "procedures": ["circulate"]},
    {"code": "as_filled", "label": "Strength in each loop", "phase": "fill", "scope": "fill", "kind": "strength_reading", "each": "loops", "fact": "strong", "procedures": ["pre_filled"]},
    {"code": "purge", "label": "Purge", "phase": "fill", "scope": "purge", "kind": "purge", "each": "job", "fact": "purged"},
    {"code": "air", "label": "Residual air check", "phase": "fill", "scope": "purge", "kind": "residual_air", "each": "job", "fact": "air_out"},
    {"code": "system", "label": "Strength of the system", "phase": "fill", "scope": "fill", "kind": "strength_reading", "each": "system", "fact": "strong", "procedures": WITH_FLUID},
    {"code": "balance", "label": "Balance of the loops", "phase": "start", "scope": "balance", "kind": "balance_reading", "each": "ports", "fact": "balanced"},
    {"code": "static", "label": "Static pressure", "phase": "start", "scope": "start", "kind": "static_pressure", "each": "job", "fact": "pressurised"},
    {"code": "settings", "label": "Source-side settings", "phase": "start", "scope": "start", "kind": "source_settings", "each": "job", "fact": "set"},
    {"code": "run", "label": "Start the de-aeration run", "phase": "start", "scope": "start", "kind": "deaeration_start", "each": "job", "fact": "running"},
    {"code": "checks", "label": "De-aeration checks", "phase": "follow_up", "scope": "follow_up", "kind": "follow_up", "each": "job", "rule": "stable"},
    {"code": "final", "label": "Final readings", "phase": "final", "scope": "final", "kind": "final_reading", "each": "any", "fact": "read", "count": "final_sets"},
    {"code": "signature", "label": "Signature", "phase": "final", "scope": "", "kind": "signature", "each": "any", "fact": "signed"},
    {"code": "submit", "label": "Hand in the sheet", "phase": "final", "scope": "", "kind": "sheet_submit", "each": "job", "fact": "submitted"},
]  # fmt: skip

# How far the loop on a port is: the word, and the steps of which one suffices. Drawn by the phone.
PORTS: Final[list[tuple[str, list[str]]]] = [
    ("laid", ["pipe"]),
    ("tested", ["test"]),
    ("flushed", ["flush"]),
    ("filled", ["fill", "circulate", "as_filled"]),
    ("purged", ["purge"]),
    ("balanced", ["balance"]),
]

# The furthest state of the job whose steps are all done. `phase`: whose the rule is.
STATES: Final[list[dict[str, Any]]] = [
    {"state": "tested", "steps": ["test"]},
    {"state": "backfilled", "steps": ["test", "release", "cover"]},
    {"state": "flushed", "steps": ["flush", "flush_header"]},
    {"state": "filled", "steps": ["fill", "circulate", "as_filled", "purge", "air"]},
    {"state": "running_in", "steps": ["run"]},
    {"state": "ready", "steps": ["run", "checks"], "rule": "run_over", "phase": "start"},
]

# What a joint that is made again undoes, for its section, its loops, the whole job.
UNDONE: Final[dict[str, list[str]]] = {
    "section": ["passed", "released", "covered"],
    "loop": ["passed", "flushed", "filled"],
    "job": ["purged", "air_out", "circulated", "watch_off"],
}

# What may be logged from anywhere, besides the steps.
ANYWHERE: Final = [
    "incident", "excavation_inspection", "utube_check", "grouting", "joint", "position", "partial_cover", "watch_reading",
    "leaving_site", "waste", "photo", "note", "signature", "override",
]  # fmt: skip

# After a break: may the step pause, and what holds when it goes on. `limit` is a code of the rule set, put in for {n}.
RESUME: Final[list[dict[str, Any]]] = [
    {"kind": "trench_section", "pause": "yes", "then": "inspect", "words": "Inspect the excavation again after a break, rain or a fall of earth."},
    {"kind": "pipe_laid", "pause": "yes", "then": "inspect", "words": "Inspect the excavation again before anybody goes in. Keep the ends capped."},
    {"kind": "joint", "pause": "no", "then": "restart", "words": "An unfinished joint is cut out; the next one takes the next number. Cooling runs on."},
    {"kind": "pressure_test", "pause": "clock", "then": "check_gap", "words": "The clock runs on, nobody touches it. A long gap in the readings makes it void or longer."},
    {"kind": "flush", "pause": "yes", "then": "restart_after", "limit": "flush_pause_min", "words": "After a stop of more than {n} min the flushing time starts anew: dirt settles."},
    {"kind": "mix_batch", "pause": "yes", "then": "restir", "limit": "restir_min", "words": "Stir {n} min or more and read it again."},
    {"kind": "loop_fill", "pause": "finish_first", "then": "restart", "words": "Finish the loop first. One that was left half-way is filled again from the start."},
    {"kind": "circulation", "pause": "yes", "then": "restart", "words": "Circulate for the whole time again before the strength is read."},
    {"kind": "purge", "pause": "yes", "then": "restart", "words": "The minutes since the last bubble start anew."},
    {"kind": "deaeration_start", "pause": "none", "then": "extend_after", "limit": "pump_stop_h", "words": "A stop of the pump of more than {n} h makes the run longer by the lost time."},
    {"kind": "final_reading", "pause": "no", "then": "steady_again", "limit": "final_run_minutes", "words": "Run {n} min steadily again before the next reading."},
]  # fmt: skip

TABLE: Final[dict[str, Any]] = {
    "good": list(GOOD),
    "phases": PHASES,
    "phase_of": {row["fact"]: row["phase"] for row in FACTS} | DERIVED,
    "facts": FACTS,
    "hold_points": HOLD_POINTS,
    "steps": STEPS,
    "states": STATES,
    "undone": UNDONE,
    "anywhere": ANYWHERE,
    "resume": RESUME,
}


def procedure_json() -> dict[str, Any]:
    """The tables for the phone, as they are, and what it draws."""
    return TABLE | {"ports": PORTS}
