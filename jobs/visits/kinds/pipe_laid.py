"""A loop as laid: the printed metre marks tell its length better than any drawing."""

from __future__ import annotations

from calcs.verdict import Cause, Figure, Verdict
from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Facts, Kind, Logged, Of, Target
from jobs.visits.kinds.fields import CELSIUS, METRES, MILLIMETRES, choice, code, number, photo, yes
from jobs.visits.kinds.said import EXACT, bad, cannot, look, ok

PIECES = (("mark_start", "mark_end"), ("mark_start_2", "mark_end_2"))


def as_laid(entry: Logged) -> float | None:
    """Metres between the marks of the pieces; None when the first piece is not read."""
    lengths = []
    for first, last in PIECES:
        start, end = entry.number(first, "m"), entry.number(last, "m")
        if start is not None and end is not None:
            lengths.append(abs(end - start))
    return sum(lengths) if lengths else None


def drawn(facts: Facts, entry: Logged) -> float | None:
    """What the drawing says of the same stretch, m."""
    run = facts.runs.get(entry.subject)
    if run is None:
        return None
    return run.lateral_m if entry.choice("stretch") == "lateral" else run.length_m


def judge(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    found = []
    laid, wanted = as_laid(entry), drawn(facts, entry)
    warn, fail = facts.limit("laid_warn_pct"), facts.limit("laid_fail_pct")
    if laid is not None and wanted and warn is not None and fail is not None:
        off = 100 * (laid - wanted) / wanted
        figures = (Figure("as laid", laid, "m", limit=wanted), Figure("off the drawing", off, "%", limit=warn.value))
        if abs(off) <= warn.value + EXACT:
            found.append(ok("As long as drawn.", *figures, source=warn.source))
        elif abs(off) <= fail.value + EXACT:
            reason = "Longer than drawn." if off > 0 else "Shorter than drawn."
            way_out = "Tell the office: volume and balance change a little."
            found.append(look(reason, Cause.CONDITIONS, *figures, source=warn.source, way_out=way_out))
        else:
            way_out = "The office issues the drawing anew with this length before the loop is filled."
            reason = "So far off the drawing that its volume and flow are others."
            found.append(bad(reason, Cause.CONDITIONS, *figures, source=fail.source, way_out=way_out))
    elif laid is not None and not wanted:
        found.append(cannot("There is no length on the drawing to compare with.", "Complete the job's array."))
    found += [
        bad(words, Cause.CONDITIONS, way_out=way_out) for name, words, way_out in WRONG if entry.value(name) is False
    ]
    return tuple(found)


WRONG = (
    ("tagged", "The tails are not tagged.", "Tag both tails before the next loop is laid: they look alike."),
    ("capped", "The ends are open.", "Cap them now; dirt that got in has to be flushed out."),
    ("no_kink", "The pipe is kinked.", "Cut the kink out and log the joint."),
)


def targets(facts: Facts, subject: str) -> tuple[Target, ...]:
    run = facts.runs.get(subject)
    if run is None:
        return ()
    return (Target("mark_end", f"the whole loop is drawn with {run.length_m:.0f} m", source="the drawing"),)


KIND = Kind(
    code="pipe_laid",
    label="Pipe laid",
    of=Of.LOOP,
    fields=(
        code("batch", "Batch printed on the pipe"),
        choice("stretch", "Which stretch", ("whole", "The whole loop"), ("lateral", "The laterals, out and back")),
        number("mark_start", "Metre mark at its start", METRES, soft=(0, 1000), hard=(0, 10000)),
        number("mark_end", "Metre mark at its end", METRES, soft=(0, 1000), hard=(0, 10000)),
        number(
            "mark_start_2", "Second piece: mark at its start", METRES, soft=(0, 1000), hard=(0, 10000), required=False
        ),
        number("mark_end_2", "Second piece: mark at its end", METRES, soft=(0, 1000), hard=(0, 10000), required=False),
        yes("no_kink", "Bends wide, no kink"),
        yes("tagged", "Both tails tagged"),
        yes("capped", "Ends capped"),
        number("spacing", "To the next pipe", MILLIMETRES, soft=(300, 1000), hard=(0, 10000), required=False),
        number("temperature", "Pipe temperature", CELSIUS, soft=(0, 30), hard=(-20, 60), required=False),
        number("insulated", "Insulated near buildings", METRES, soft=(0, 20), hard=(0, 500), required=False),
        photo("pipe_laid", "Photo with the loop's tag", required=False),
    ),
    help="Read the marks where the pipe starts and ends. Several coils: log the joint between them too.",
    cautions=("A coil whips when its strap is cut: one strap at a time, stand clear.", *cautions.TRENCH),
    judge=judge,
    targets=targets,
)
