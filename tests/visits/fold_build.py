"""Builders of entries for the cases of the fold."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

START = datetime(2026, 3, 9, 8, 0, tzinfo=UTC)
PLAN: dict[str, Any] = {
    "loops": {"L1": {"borehole": "B1", "section": "S1"}, "L2": {"borehole": "B2", "section": "S2"}},
    "boreholes": ["B1", "B2"],
    "sections": ["S1", "S2", "S3"],
    "manifold": True,
    "header": True,
    "header_section": "S3",
}
ALL = ["S1", "S2", "S3", "L1", "L2", "H"]


def entry(key: str, minute: float, kind: str, subject: str = "", **answers: Any) -> dict[str, Any]:
    """`envelope` holds what differs of the envelope; other names are answers."""
    envelope: dict[str, Any] = answers.pop("envelope", {})
    payload = {name: value if isinstance(value, dict) else {"value": value} for name, value in answers.items()}
    whole: dict[str, Any] = {
        "id": key, "kind": kind, "subject": subject, "payload": payload, "at": (START + timedelta(minutes=minute)).isoformat(),
        "device": "phone-a", "seq": round(minute * 10), "supersedes": "", "reason": "", "held": "", "decision": "",
    }  # fmt: skip
    return whole | envelope


def case(entries: list[dict[str, Any]], outcomes: dict[str, str] | None = None, **given: Any) -> dict[str, Any]:
    return {
        "plan": given.pop("plan", PLAN),
        "entries": entries,
        "outcomes": outcomes or {},
        "given": {"run_ends_at": "", "final_sets": 3, "approved": False} | given,
    }


def min_(value: float, unit: str = "min") -> dict[str, Any]:
    return {"text": f"{value:g}", "value": value, "unit": unit}


def papers() -> list[dict[str, Any]]:
    return [entry(f"papers-{hole}", at, "driller_papers", hole, accepted=True) for at, hole in ((1, "B1"), (2, "B2"))]


def a_permit(at: float = 0, **more: Any) -> dict[str, Any]:
    return entry("permit", at, "services_permit", **({"records_seen": True, "detected": True, "marked": True} | more))


def trenches(joints: int = 1) -> list[dict[str, Any]]:
    """With the permit that lets the ground be broken."""
    return [
        a_permit(),
        *[
            entry(
                f"trench-{name}", 10 + at, "trench_section", name, excavation_inspected=True, joints=min_(joints, "pcs")
            )
            for at, name in enumerate(("S1", "S2", "S3"))
        ],
    ]


def a_joint(key: str, at: float, subject: str, section: str, loop: str = "", **more: Any) -> dict[str, Any]:
    made = (START + timedelta(minutes=more.pop("made", at))).isoformat()
    answers = {
        "section": section,
        "ended_at": made,
        "cooling_min": min_(30),
        "visual_ok": True,
        "method": "electrofusion",
    }
    return entry(key, at, "joint", subject, **(answers | ({"loop": loop} if loop else {}) | more))


def joints() -> list[dict[str, Any]]:
    places = (("J1", "S1", "L1"), ("J2", "S2", "L2"), ("J3", "S3", "H"))
    return [a_joint(f"joint-{code}", 20 + at, code, section, loop) for at, (code, section, loop) in enumerate(places)]


def a_test(code: str = "T1", at: float = 60, covers: list[str] | None = None, dry: bool = True) -> list[dict[str, Any]]:
    return [
        entry(f"start-{code}", at, "pressure_test", code, covers=covers or ALL),
        entry(f"reading-{code}", at + 60, "pressure_reading", code, phase="isolated"),
        entry(f"end-{code}", at + 120, "pressure_end", code, joints_dry=dry),
    ]


def release(key: str, at: float, section: str = "S1", **more: Any) -> dict[str, Any]:
    return entry(key, at, "backfill_release", section, **({"positions_taken": True, "photo": ["0" * 64]} | more))


def ground() -> list[dict[str, Any]]:
    return [*papers(), *trenches(), *joints(), penetration(), *a_test()]


def penetration(at: float = 50) -> dict[str, Any]:
    return entry("wall", at, "header_penetration", "H", sealed=True)


def mix(key: str = "mix", at: float = 350) -> dict[str, Any]:
    return entry(key, at, "mix_batch", "M1", spill_ready=True)


def flushes(at: float = 300) -> list[dict[str, Any]]:
    return [entry(f"flush-{name}", at + n, "flush", name, clear=True) for n, name in enumerate(("L1", "L2", "H"))]


def fills(at: float = 400) -> list[dict[str, Any]]:
    return [
        entry(f"fill-{name}", at + n, "loop_fill", name, only_this_open=True) for n, name in enumerate(("L1", "L2"))
    ]


PASSED = {"T1": "pass"}
FLUSHED = PASSED | {f"flush-{name}": "pass" for name in ("L1", "L2", "H")}
FILLED = FLUSHED | {"M1": "pass", "fill-L1": "pass", "fill-L2": "pass", "purge": "pass", "air": "pass"}


def filled() -> list[dict[str, Any]]:
    return [
        *ground(), *flushes(), mix(), entry("read-1", 355, "strength_reading", "M1"),
        entry("read-2", 362, "strength_reading", "M1"), *fills(), entry("purge-1", 500, "purge"), entry("air", 520, "residual_air"),
    ]  # fmt: skip


def run_started(days: float = 10) -> list[dict[str, Any]]:
    started = (START + timedelta(minutes=600)).isoformat()
    return [
        *filled(), entry("sample", 530, "strength_reading", "system"), entry("static", 540, "static_pressure", valve_locked=True),
        entry("settings", 550, "source_settings", strainer_clean=True),
        entry("run", 605, "deaeration_start", started=started, planned_days=min_(days, "d")),
    ]  # fmt: skip


RUNNING = FILLED | {"system": "pass", "settings": "pass"}
DAY = 1440


def fix(
    at: float, target: str, key: str, kind: str, subject: str, *, reason: str = "typo", **answers: Any
) -> dict[str, Any]:
    """A correction."""
    envelope = {"supersedes": target, "reason": reason} | answers.pop("envelope", {})
    return entry(key, at, kind, subject, envelope=envelope, **answers)


Expected = dict[str, Any]
Case = tuple[str, dict[str, Any], Expected]
