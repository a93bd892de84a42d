"""Which loop is on which port: the map that otherwise lives in one head."""

from __future__ import annotations

from calcs.verdict import Cause, Figure, Verdict
from jobs.visits.kinds import cautions
from jobs.visits.kinds.base import Facts, Kind, Logged, Of, Target
from jobs.visits.kinds.fields import choice, code, number, photo, yes
from jobs.visits.kinds.said import bad, look, ok


def judge(facts: Facts, entry: Logged) -> tuple[Verdict, ...]:
    found = []
    if entry.value("same_number") is False:
        way_out = "Change the pair over: crossed, both loops stand still or run in series."
        found.append(bad("To ground and from ground are on different numbers.", Cause.CONDITIONS, way_out=way_out))
    if entry.value("works") is False:
        found.append(bad("A valve of this port does not work.", Cause.CONDITIONS, way_out="Change it while it is dry."))
    port = entry.number("port", "pcs")
    if port is not None:
        found += _taken(facts, entry, port)
    return tuple(found)


def _taken(facts: Facts, entry: Logged, port: float) -> list[Verdict]:
    """Every port carries one loop; a port other than the drawing's is told, not refused."""
    latest = {one.subject: one.number("port", "pcs") for one in facts.of("manifold_port")}
    others = sorted(loop for loop, number_ in latest.items() if number_ == port and loop != entry.subject)
    planned = facts.loop_numbers(entry.subject).get("port")
    figure = Figure("port", port, "", limit=None if planned is None else float(planned))
    if others:
        way_out = "Look which loop it is, and correct the other entry."
        return [
            bad(f"Port {port:.0f} is also said to carry {', '.join(others)}.", Cause.READINGS, figure, way_out=way_out)
        ]
    if planned is not None and float(planned) != port:
        return [look("Not the port of the drawing.", Cause.CONDITIONS, figure, way_out="Tell the office to redraw it.")]
    return [ok("On its own port.")]


def targets(facts: Facts, subject: str) -> tuple[Target, ...]:
    planned = facts.loop_numbers(subject).get("port")
    return () if planned is None else (Target("port", f"port {planned}", source="the drawing"),)


KIND = Kind(
    code="manifold_port",
    label="Manifold port",
    of=Of.LOOP,
    fields=(
        number("port", "Port number", ("pcs",), soft=(1, 20), hard=(1, 200)),
        yes("same_number", "To ground and from ground on the same number"),
        yes("works", "Valves worked open, shut and open"),
        yes("tagged", "Tag engraved and readable"),
        choice(
            "scale",
            "Flow indicator is scaled for",
            ("water", "Water"),
            ("fluid", "The fluid of this job"),
            ("other", "Another fluid"),
            ("none", "There is no indicator"),
        ),
        code("indicator", "Flow indicator, serial number", required=False),
        photo("manifold", "Photo straight on, with the tags", required=False),
    ),
    help="Follow the pipe with your hand from its tag. Spare ports are capped.",
    cautions=cautions.CHAMBER,
    judge=judge,
    targets=targets,
)
