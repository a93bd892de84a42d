"""Was everything done, in the order that makes it right: steps, cooling, hold points, the run."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import timedelta
from itertools import pairwise
from typing import NamedTuple

from jobs.sheets.evidence import Evidence, Item
from jobs.sheets.findings.base import Found, Severity, asked, check, found, shown
from jobs.visits.kinds import KINDS


class Before(NamedTuple):
    """`guard` comes before `step`. `same`: for the same subject; `all`: every guard entry, not just the first."""

    guard: str
    step: str
    same: bool = False
    all: bool = False


ORDER = (
    Before("trench_section", "covered", same=True),
    Before("backfill_release", "covered", same=True),
    Before("flush", "loop_fill", same=True),
    Before("fluid_delivery", "mix_batch"),
    Before("mix_batch", "strength_reading"),
    Before("strength_reading", "loop_fill"),
    Before("loop_fill", "purge", all=True),
    Before("purge", "residual_air"),
    Before("residual_air", "deaeration_start"),
    Before("source_settings", "deaeration_start"),
    Before("deaeration_start", "follow_up"),
    Before("deaeration_start", "final_reading"),
)


def label(kind: str) -> str:
    return KINDS[kind].label.lower() if kind in KINDS else kind


@check("T1", "Order of steps")
def out_of_order(seen: Evidence) -> Iterator[Found]:
    for rule in ORDER:
        for step in _firsts(seen.of(rule.step), by_subject=rule.same):
            guards = seen.of(rule.guard, step.subject if rule.same else None)
            if not guards:
                continue
            gate = (max if rule.all else min)(guards, key=lambda item: item.ends_at)
            if step.starts_at < gate.ends_at:
                yield found(
                    "T1",
                    Severity.BLOCK,
                    f"{step.label} starts before {label(rule.guard)} is over ({_clock(step, gate)}). "
                    f"Which of the two times is right?",
                    step,
                    gate,
                    field=rule.guard,
                )
    yield from _tests_too_late(seen)


def _firsts(items: list[Item], *, by_subject: bool) -> Iterable[Item]:
    firsts: dict[str, Item] = {}
    for item in items:
        key = item.subject if by_subject else ""
        if key not in firsts or item.starts_at < firsts[key].starts_at:
            firsts[key] = item
    return firsts.values()


def _clock(first: Item, second: Item) -> str:
    return f"{first.starts_at:%d %b %H:%M} and {second.ends_at:%d %b %H:%M}"


def _tests_too_late(seen: Evidence) -> Iterator[Found]:
    """A pressure test comes before release of what it covers, and before antifreeze."""
    for kind in ("backfill_release", "loop_fill"):
        for item in seen.of(kind):
            test = seen.passed_test_of(item.subject)
            if test and item.starts_at < test.ends_at:
                yield found(
                    "T1",
                    Severity.BLOCK,
                    f"{item.label} stands before the end of its pressure test ({_clock(item, test)}). "
                    f"Which of the two times is right?",
                    item,
                    test,
                    field="pressure_end",
                )


@check("T3", "Cooling of joints")
def pressed_too_warm(seen: Evidence) -> Iterator[Found]:
    """A test of a section starts after its joints have cooled."""
    for test in seen.of("pressure_test"):
        covered = set(test.entry.many("covers"))
        for joint in seen.of("joint"):
            ended, cooling = joint.entry.time("ended_at"), joint.entry.number("cooling_min", "min")
            if ended is None or cooling is None or joint.entry.choice("section") not in covered:
                continue
            ready = ended + timedelta(minutes=cooling)
            # A joint made after the test is new pipe: that voids the test instead.
            if ended <= test.starts_at < ready:
                early = (ready - test.starts_at).total_seconds() / 60
                yield found(
                    "T3",
                    Severity.BLOCK,
                    f"The test {test.subject} starts {shown(early, 2)} min before joint {joint.subject} has cooled. "
                    f"Are both times right?",
                    joint,
                    test,
                    field=test.subject,
                )


@check("T9", "Gaps in a series of readings")
def gaps_in_a_test(seen: Evidence) -> Iterator[Found]:
    """The isolated phase is as long as the rules say, without a gap longer than half of it."""
    needed = seen.limit("test_isolated_min")
    if not needed:
        return
    for end in seen.of("pressure_end"):
        readings = [one for one in seen.of("pressure_reading", end.subject) if one.entry.choice("phase") == "isolated"]
        if len(readings) < 2:
            continue
        lasted = (readings[-1].at - readings[0].at).total_seconds() / 60
        widest = max((after.at - before.at).total_seconds() / 60 for before, after in pairwise(readings))
        if lasted < needed:
            yield found(
                "T9",
                Severity.BLOCK,
                f"The main readings of {end.subject} span {shown(lasted)} min; the rules of this job ask for "
                f"{shown(needed)} min. Are readings missing?",
                *readings,
                field="length",
            )
        elif widest > needed / 2:
            yield found(
                "T9",
                Severity.WARN,
                f"There is a gap of {shown(widest)} min in the readings of {end.subject}. What happened in between?",
                *readings,
                field="gap",
            )


@check("T10", "Length of the de-aeration run")
def run_too_short(seen: Evidence) -> Iterator[Found]:
    start, final = seen.last("deaeration_start"), seen.of("final_reading")
    if start is None or not final:
        return
    days = start.entry.number("planned_days", "d") or seen.limit("deaeration_days")
    lasted = (final[0].starts_at - start.starts_at).total_seconds() / 86400
    if days and lasted < days:
        yield found(
            "T10",
            Severity.BLOCK,
            f"The final readings come {shown(lasted)} days after the start of a run of {shown(days)} days. "
            f"Why could it end early?",
            final[0],
            start,
            subject="",
            field="days",
        )
    checks, least = seen.of("follow_up"), seen.limit("deaeration_visits")
    if least and len(checks) < least:
        yield found(
            "T10",
            Severity.BLOCK,
            f"{len(checks)} checks were logged during the run; the rules of this job ask for {shown(least)}. "
            f"Is one missing?",
            *checks,
            subject="",
            field="checks",
        )


@check("H1", "Hold points not released")
def hold_points_closed(seen: Evidence) -> Iterator[Found]:
    """Those that nobody has gone past either: what was gone past is told by its override."""
    for hold in seen.holds:
        if not hold.released and not hold.override:
            why = " ".join(hold.missing) or "Something it needs is not logged."
            yield Found(
                "H1",
                Severity.BLOCK,
                asked(f"Hold point {hold.code}, {hold.title.lower()}, is closed: {why}", "What is still to come?"),
                hold.subject,
                (),
                hold.code,
            )


@check("H2", "Hold points gone past")
def overrides(seen: Evidence) -> Iterator[Found]:
    for item in seen.of("override"):
        yield found("H2", Severity.WARN, f"Somebody went past hold point {item.subject}. Does the reason hold?", item)


@check("H3", "Covered before release")
def covered_early(seen: Evidence) -> Iterator[Found]:
    for item in seen.of("covered"):
        if not seen.of("backfill_release", item.subject):
            yield found(
                "H3",
                Severity.BLOCK,
                f"Section {item.subject} was covered before it was released. Was it looked at under pressure?",
                item,
            )
