"""What can happen at any time on a site: leaving it, waste, an incident."""

from __future__ import annotations

from calcs.verdict import Cause, Verdict
from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Facts, Kind, Logged, Of
from jobs.visits.kinds.fields import LITRES, choice, code, number, photo, text, yes
from jobs.visits.kinds.said import look


def judge_leaving(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:  # noqa: ARG001 - the shape of every judge
    if entry.choice("frost") != "left":
        return ()
    way_out = "Drain it, insulate it, or have somebody look at it before the night."
    return (look("Water stands where it may freeze.", Cause.CONDITIONS, way_out=way_out),)


LEAVING = Kind(
    code="leaving_site",
    label="Leaving the site",
    of=Of.JOB,
    repeats=True,
    fields=(
        choice(
            "frost",
            "Water in pipe above the frost depth",
            ("drained", "Drained"),
            ("insulated", "Insulated or covered"),
            ("no_frost", "No frost forecast"),
            ("none", "There is none"),
            ("left", "Left as it is"),
        ),
        yes("safe", "Trench fenced, ends capped, pressure signs up"),
        text("words", "For whoever comes next", required=False),
    ),
    help="Plain water in a shallow pipe bursts it in one night.",
    judge=judge_leaving,
)

WASTE = Kind(
    code="waste",
    label="Waste",
    of=Of.JOB,
    repeats=True,
    fields=(
        choice(
            "what",
            "What",
            ("water", "Clean test or flush water"),
            ("silt", "Silt and dirty water"),
            ("mix", "Water with antifreeze"),
            ("slurry", "Drilling slurry"),
            ("spoil", "Spoil"),
            ("packing", "Packaging and offcuts"),
        ),
        number("amount", "How much", LITRES, soft=(1, 2000), hard=(0, 1000000), required=False),
        choice(
            "where",
            "Where it went",
            ("drum", "Into a drum, taken back"),
            ("tanker", "By tanker"),
            ("sewer", "Foul sewer, with consent"),
            ("ground", "Clean water onto the ground, allowed here"),
            ("skip", "Skip or tip"),
        ),
        code("container", "Drum or container number", required=False),
        code("note_no", "Transfer note number", required=False),
        code("carrier", "Carrier, licence number", required=False),
    ),
    help="Water with antifreeze in it is waste, also when it looks clear.",
    cautions=cautions.WASTE,
)


def judge_incident(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:  # noqa: ARG001 - the shape of every judge
    if entry.value("stop") is not True:
        return ()
    return (look("Work was stopped.", Cause.CONDITIONS, way_out="The manager says when it goes on."),)


INCIDENT = Kind(
    code="incident",
    label="Incident or near-miss",
    of=Of.JOB,
    repeats=True,
    roles=("crew", "engineer", "manager", "scheduler"),
    fields=(
        choice(
            "what",
            "What happened",
            ("near_miss", "Near-miss"),
            ("injury", "Somebody is hurt"),
            ("strike", "A service was struck"),
            ("spill", "Spill"),
            ("damage", "Damage"),
            ("quality", "Bad work or bad material"),
        ),
        yes("stop", "Work is stopped", good=None, required=False),
        text("words", "In a few words", required=False),
        number("spilt", "Spilt", LITRES, soft=(0, 200), hard=(0, 100000), required=False),
        code("told", "Who was told", required=False),
        photo("incident", required=False),
    ),
    help="First aid first, this later. One tap on what happened is enough; nobody is blamed for telling.",
    judge=judge_incident,
)
