"""The main job as plain evidence, without a database: four boreholes, everything logged, judged by the kinds themselves."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from calcs.pressure_test import Restraint, creep_curve
from calcs.units import quantity
from jobs.ground.drawing import array_svg
from jobs.ground.results import numbers_json, numbers_of
from jobs.ground.trade import (
    BoreholePlan,
    DesignPlan,
    HeaderPlan,
    LimitPlan,
    LoopPlan,
    ManifoldPlan,
    Plan,
    ProductPlan,
    SectionPlan,
)
from jobs.planning import rules
from jobs.sheets.evidence import Array, Evidence, Hold, Item, Kit, Ordered, Person, Standing
from jobs.visits import given
from jobs.visits.fold import fold
from jobs.visits.judging import outcomes, verdicts_of
from jobs.visits.kinds import Facts, Fluid, Instrument, Logged
from jobs.visits.kinds.loop_fill import expected
from jobs.visits.kinds.strength_reading import mass_pct, read
from jobs.visits.procedure import TABLE, hold_label

RULES = rules.parse(next(one.limits for one in rules.starters() if one.name.startswith("Small domestic")))
LATERALS_M = (16.0, 24.0, 32.0, 40.0)
LOOPS = ("L1", "L2", "L3", "L4")
CREW, ENGINEER, MANAGER = "crew", "engineer", "manager"
PEOPLE = {
    CREW: Person(CREW, "Cato Birch", "Ground crew"),
    ENGINEER: Person(ENGINEER, "Edda Pine", "Heat pump engineer"),
    MANAGER: Person(MANAGER, "Mara Fenwick", "Manager"),
}
GAUGE, REFRACTOMETER, FLOW, PAIR = "gauge", "refractometer", "flow", "pair"
KIT = {
    GAUGE: Kit(GAUGE, "gauge", "Digital gauge", "G-0502", "bar", 25.0, 0.01, 0.05, calibration_due="2026-12-31"),
    REFRACTOMETER: Kit(REFRACTOMETER, "refractometer", "Hand refractometer", "R-0031", "°Bx", 32.0, 0.2, 0.2,
                       scale="brix", calibration_due="2026-12-31"),
    FLOW: Kit(FLOW, "flow_meter", "Flow meter", "F-0007", "L/min", 150.0, 0.5, 1.0, calibration_due="2026-12-31"),
    PAIR: Kit(PAIR, "thermometers", "Thermometer pair", "T-0012", "°C", 50.0, 0.01, 0.1, calibration_due="2026-12-31"),
}  # fmt: skip
DAY = datetime(2026, 3, 9, tzinfo=UTC)
STROKES = [[[0, 40], [15, 5], [28, 44], [40, 12], [60, 38]], [[70, 30], [95, 18], [120, 33], [150, 20]]]


def clock(day: int, hhmm: str) -> datetime:
    hours, minutes = hhmm.split(":")
    return DAY + timedelta(days=day, hours=int(hours), minutes=int(minutes))


def plan() -> Plan:
    loops = tuple(
        LoopPlan(f"L{n}", n, "borehole", f"B{n}", "S1" if n < 3 else "S2", 40.0, 3.7, "PE 100", 200.0, lateral, 6.0)
        for n, lateral in enumerate(LATERALS_M, 1)
    )
    limits = {code: limit.value for code, limit in RULES.limits.items()}
    return Plan(
        number=7,
        title="Orchard House array",
        loops=loops,
        boreholes=tuple(BoreholePlan(f"B{n}", 100.0) for n in range(1, 5)),
        sections=(
            SectionPlan("S1", "Manifold to B1 and B2", 12.0, 900.0, 450.0),
            SectionPlan("S2", "Manifold to B3 and B4", 20.0, 900.0, 450.0),
            SectionPlan("S3", "Manifold to plant room", 15.0, 900.0, 450.0),
        ),
        header=HeaderPlan(63.0, 5.8, "PE 100", 15.0, 6.0, "S3"),
        manifold=ManifoldPlan(4, "Chamber beside the garage"),
        design=DesignPlan("B", -15.0, 0.0, 12.0, 4.6, "B0/W35", 3.0, 38.0, 18.0, 45.0, -9.0, 15.0, 200.0, 90.0, 250.0),
        product=ProductPlan("Meadow PG concentrate", "propylene_glycol", 96.0, 1055.0, 25.0, "green", 25.0),
        limits=LimitPlan(
            limits["purge_velocity_m_s"], limits["purge_minutes_after_bubble"], limits["purge_turnovers"],
            limits["changeover_band_pct"], limits["freeze_margin_k"], limits["freeze_margin_block_k"],
            limits["balance_spread_pct"], "rules of the job", "rules of the job",
        ),
    )  # fmt: skip


def n(value: float, unit: str, text: str = "") -> dict[str, Any]:
    return {"text": text or f"{value:g}", "value": value, "unit": unit}


def v(value: Any) -> dict[str, Any]:
    return {"value": value}


def t(at: datetime) -> dict[str, Any]:
    return {"value": at.isoformat()}


def photo(name: str) -> dict[str, Any]:
    return {"value": [hashlib.sha256(name.encode()).hexdigest()]}


@dataclass
class Diary:
    """Logs entries in order, with ids that are the same in every run."""

    entries: list[Logged] = field(default_factory=list)
    texts: dict[str, dict[str, Any]] = field(default_factory=dict)
    who: str = CREW

    def log(self, kind: str, subject: str, at: datetime, instrument: str = "", **payload: dict[str, Any]) -> Logged:
        id = str(UUID(int=len(self.entries) + 1))  # noqa: A001
        words = {name: payload.pop(name)["text"] for name in list(payload) if set(payload[name]) == {"text"}}
        entry = Logged(id, kind, subject, payload, at, at + timedelta(minutes=1), self.who, instrument)
        self.entries.append(entry)
        if words:
            self.texts[id] = words
        return entry


def w(text: Any) -> dict[str, Any]:
    """Free words, for the side row."""
    return {"text": text}


def facts_of(the_plan: Plan) -> Facts:
    product, design = the_plan.product, the_plan.design
    assert product
    assert design
    return Facts(
        numbers=numbers_json(numbers_of(the_plan)),
        limits=RULES.limits,
        fluid=Fluid(product.base, product.concentrate_mass_pct, product.density_kg_m3, design.freezing_point_c),
        instruments={
            key: Instrument(key, kit.kind, str(kit), kit.unit, kit.resolution, kit.accuracy, kit.range_high, kit.scale)
            for key, kit in KIT.items()
        },
        design={"minimum_flow_l_min": design.minimum_flow_l_min, "frost_alarm_c": design.frost_alarm_c},
        runs=given._runs(the_plan),
    )


def papers_and_trench(diary: Diary) -> None:
    for number in range(1, 5):
        seen = (
            "log_seen",
            "grout_sheet_seen",
            "test_before_seen",
            "test_after_seen",
            "utube_certificate_seen",
            "accepted",
        )
        diary.log("driller_papers", f"B{number}", clock(0, f"08:1{number}"), "", **{name: v(True) for name in seen})
    diary.log(
        "services_permit", "", clock(0, "08:30"), records_seen=v(True), detected=v(True), marked=v(True), found=v(["water"]),
        nearest=n(2.4, "m"), permit_no=v("PD-117"), valid_from=t(clock(0, "07:00")), valid_to=t(clock(4, "18:00")),
        photo=photo("services"),
    )  # fmt: skip
    for number, (depth, drawn) in enumerate(((920, 4), (905, 4), (950, 2)), 1):
        diary.log(
            "trench_section", f"S{number}", clock(0, f"09:{number}5"), excavation_inspected=v(True), depth=n(depth, "mm"),
            bed_material=v("sand"), bed=n(110, "mm"), stones=v(False), water=v(False), joints=n(drawn, "pcs"),
            photo=photo(f"trench {number}"),
        )  # fmt: skip


def ground_work(diary: Diary) -> None:
    papers_and_trench(diary)
    joints = [("S1", loop) for loop in ("L1", "L1", "L2", "L2")] + [("S2", loop) for loop in ("L3", "L3", "L4", "L4")]
    for number, (section, loop) in enumerate([*joints, ("S3", "H"), ("S3", "H")], 1):
        at = clock(0, "10:00") + timedelta(minutes=8 * number)
        diary.log(
            "joint", f"J{number}", at, method=v("electrofusion"), od=n(63 if loop == "H" else 40, "mm"), section=v(section),
            loop=v(loop), buried=v(True), welder=v(CREW), ended_at=t(at), cooling_min=n(30, "min"), visual_ok=v(True),
            scraped=v(True), clamped=v(True), indicators=v(True),
        )  # fmt: skip

    for number in range(1, 11):
        diary.log(
            "position", f"J{number}", clock(0, "11:40") + timedelta(minutes=3 * number), what=v("joint"),
            section=v("S1" if number < 5 else "S2" if number < 9 else "S3"), point_a=v("Corner SW"), point_b=v("Corner SE"),
            distance_a=n(4 + 1.3 * number, "m"), distance_b=n(9 + 0.8 * number, "m"), depth=n(900, "mm"),
        )  # fmt: skip
    for number, lateral in enumerate(LATERALS_M, 1):
        diary.log(
            "pipe_laid", f"L{number}", clock(0, f"09:5{number}"), batch=v("PE-26-0311"), stretch=v("lateral"),
            mark_start=n(12, "m"), mark_end=n(12 + lateral, "m"), no_kink=v(True), tagged=v(True), capped=v(True),
        )  # fmt: skip
        diary.log(
            "manifold_port", f"L{number}", clock(0, f"11:3{number}"), port=n(number, "pcs"), same_number=v(True),
            works=v(True), tagged=v(True), scale=v("water"),
        )  # fmt: skip
    diary.log(
        "header_penetration", "H", clock(0, "12:20"), length_to=n(15, "m"), length_from=n(15, "m"), depth=n(900, "mm"),
        high_points=n(0, "pcs"), vents=n(0, "pcs"), seal=v("link"), sealed=v(True), no_joint_in_wall=v(True),
        insulated=v(True), labelled=v(True), photo=photo("penetration"),
    )  # fmt: skip


def pressure_test(diary: Diary) -> None:
    start = clock(0, "12:30")
    diary.log(
        "pressure_test", "T1", start, GAUGE, covers=v(["S1", "S2", "S3", *LOOPS, "H"]), method=v("short_tightness"),
        test_pressure=n(6.0, "bar", "6.0"), restraint=v("free"), height=n(100, "m"), lowest_rating=n(16, "bar"),
        pipe_temperature=n(9.5, "°C"), vented=v(True), shut_off=v(True), safe=v(True),
    )  # fmt: skip
    litres = (5.2, 1.1, 0.6, 0.4)
    for minutes, went_in in zip((10, 30, 50, 70), litres, strict=True):
        diary.log(
            "pressure_reading", "T1", start + timedelta(minutes=minutes), GAUGE, phase=v("hold"),
            pressure=n(6.0, "bar", "6.00"), litres=n(went_in, "L"),
        )  # fmt: skip
    curve = creep_curve(
        start=quantity(6.0, "bar"), until=quantity(60, "min"), restraint=Restraint.FREE, loading=quantity(10, "min"),
        hold=quantity(60, "min"),
    )  # fmt: skip
    import numpy as np  # noqa: PLC0415

    for minutes in range(0, 61, 10):
        bar = round(float(np.interp(minutes, curve.minutes.m_as("min"), curve.expected.m_as("bar"))), 2)
        diary.log(
            "pressure_reading", "T1", start + timedelta(minutes=70 + minutes), GAUGE, phase=v("isolated"),
            pressure=n(bar, "bar", f"{bar:.2f}"), gauge=photo(f"gauge {minutes}"),
        ) if minutes in {0, 60} else diary.log(
            "pressure_reading", "T1", start + timedelta(minutes=70 + minutes), GAUGE, phase=v("isolated"),
            pressure=n(bar, "bar", f"{bar:.2f}"),
        )  # fmt: skip
    diary.log(
        "pressure_end", "T1", start + timedelta(minutes=132), GAUGE, joints_dry=v(True), pipe_temperature=n(9.5, "°C"),
        watch_pressure=n(2.0, "bar", "2.00"),
    )  # fmt: skip
    for number in (1, 2, 3):
        at = clock(0, "15:00") + timedelta(minutes=20 * number)
        diary.log(
            "backfill_release", f"S{number}", at, GAUGE, watch_pressure=n(1.98, "bar"), positions_taken=v(True),
            photo=photo(f"before backfill {number}"),
        )  # fmt: skip
        diary.log("covered", f"S{number}", at + timedelta(minutes=15), cover=n(150, "mm"), tape=v(True))
    diary.log("watch_reading", "T1", clock(0, "16:40"), GAUGE, pressure=n(1.95, "bar"))
    diary.log("watch_release", "T1", clock(0, "16:50"), GAUGE, pressure=n(1.94, "bar"), capped=v(True))


def brix_for(facts: Facts) -> float:
    """The reading that stands for the target strength, on a mark of the scale."""
    target = float(facts.numbers["fluid"]["target_mass_pct"])

    def off(brix: float) -> float:
        payload = {"value": n(brix, "°Bx"), "sample_temperature": n(15, "°C"), "scale": v("brix")}
        reading = read(facts, Logged("x", "strength_reading", "M1", payload, DAY, DAY, "", REFRACTOMETER))
        assert reading
        return abs(mass_pct(reading) - target)

    return min((round(0.2 * step, 1) for step in range(75, 160)), key=off)


def strength(diary: Diary, facts: Facts, sample: str, at: datetime, place: str) -> None:
    diary.log(
        "strength_reading", sample, at, REFRACTOMETER, zeroed=v(True), scale=v("brix"), value=n(brix_for(facts), "°Bx"),
        sample_temperature=n(15, "°C"), place=v(place),
    )  # fmt: skip


def fill_work(diary: Diary, facts: Facts) -> None:
    for number, (pipe, flow) in enumerate((*((loop, 32.0) for loop in LOOPS), ("H", 80.0))):
        diary.log(
            "flush", pipe, clock(1, "08:20") + timedelta(minutes=25 * number), FLOW, flow=n(flow, "L/min"),
            minutes=n(18, "min"), direction=v("both"), debris=v("fine" if pipe == "L1" else "none"), clear=v(True),
        )  # fmt: skip
    diary.log("plant_connection", "", clock(1, "10:20"), kept_closed=v(True), strainer=v(True), shut_off=v(True))
    diary.log(
        "fluid_delivery", "", clock(1, "10:30"), lot=v("PG-2611"), drums=n(15, "pcs"), drum_l=n(25, "L"),
        strength=n(96, "mass %"), photo=photo("drum label"),
    )  # fmt: skip
    recipe = facts.numbers["fill"]["batches"]
    for number, batch in enumerate(recipe, 1):
        at = clock(1, "10:45") + timedelta(minutes=26 * number)
        diary.log(
            "mix_batch", f"M{number}", at, spill_ready=v(True), water=n(round(batch["water_l"]), "L"),
            concentrate=n(round(batch["concentrate_l"]), "L"), stirred=n(12, "min"), temperature=n(11, "°C"),
        )  # fmt: skip
        strength(diary, facts, f"M{number}", at + timedelta(minutes=2), "top")
        strength(diary, facts, f"M{number}", at + timedelta(minutes=9), "bottom")
    loops_and_air(diary, facts)


def loops_and_air(diary: Diary, facts: Facts) -> None:
    for number, (loop, flow, off) in enumerate(
        zip(LOOPS, (20.0, 19.5, 20.5, 19.0), (0.98, 1.04, 1.01, 1.06), strict=True)
    ):
        start = clock(1, "14:20") + timedelta(minutes=22 * number)
        plan_ = expected(facts, loop, flow)
        assert plan_
        first = start + timedelta(seconds=round(plan_.first_colour.m_as("s") * off))
        full = start + timedelta(seconds=round(plan_.full_colour.m_as("s") * off))
        diary.log(
            "loop_fill", loop, full + timedelta(minutes=1), FLOW, only_this_open=v(True), flow=n(flow, "L/min"),
            started=t(start), first_colour=t(first), full_colour=t(full), return_reading=n(brix_for(facts), "°Bx"),
            waste=n(160 + 8 * number, "L"),
        )  # fmt: skip
    for pair, at in ((("L1", "L2"), clock(1, "16:00")), (("L3", "L4"), clock(1, "16:40"))):
        diary.log(
            "purge", "", at + timedelta(minutes=38), FLOW, open=v(list(pair)), flow=n(80, "L/min"), started=t(at),
            last_bubble=t(at + timedelta(minutes=17)), ended=t(at + timedelta(minutes=36)),
        )  # fmt: skip
    diary.log(
        "residual_air", "", clock(1, "17:40"), GAUGE, safe=v(True), bin_diameter=n(580, "mm"), start_pressure=n(0.4, "bar"),
        level_before=n(620, "mm"), level_after=n(612, "mm"), dead_head_pressure=n(2.5, "bar"),
    )  # fmt: skip
    strength(diary, facts, "system", clock(1, "17:50"), "system")
    diary.log(
        "waste", "", clock(1, "18:00"), what=v("water"), amount=n(680, "L"), where=v("sewer"), note_no=v("W-0093")
    )


def plant_work(diary: Diary, facts: Facts) -> None:
    diary.who = ENGINEER
    for number, row in enumerate(facts.numbers["loops"], 1):
        flow = round(2 * row["running"]["flow_l_min"]) / 2
        diary.log("balance_reading", row["code"], clock(2, f"08:4{number}"), FLOW, flow=n(flow, "L/min"))
    diary.log(
        "static_pressure", "", clock(2, "09:10"), GAUGE, type=v("sealed"), relief=n(3, "bar"), vessel_l=n(18, "L"), precharge=n(0.8, "bar"),
        pressure=n(1.6, "bar"), valve_locked=v(True),
    )  # fmt: skip
    diary.log(
        "source_settings", "", clock(2, "10:00"), serial=v("HP-44-0193"), frost_alarm=n(-9, "°C"),
        fluid_set=v("propylene_glycol"), flow=n(45, "L/min"), pump_mode=v("controlled"), strainer_clean=v(True),
    )  # fmt: skip
    diary.log(
        "deaeration_start", "", clock(2, "10:30"), GAUGE, started=t(clock(2, "10:30")), planned_days=n(10, "d"),
        pressure=n(1.6, "bar"),
    )  # fmt: skip
    for day, bar, litres, air in ((3, 1.42, 1.5, "some"), (9, 1.55, 0.0, "none"), (13, 1.54, 0.0, "none")):
        diary.log(
            "follow_up", "", clock(day, "11:00"), GAUGE, pressure_on_arrival=n(bar, "bar"), t_in=n(6.8, "°C"),
            t_out=n(3.4, "°C"), top_up=n(litres, "L"), strainer=v("some" if day == 3 else "clean"), air=v(air),
            **({"debris": v("fine")} if day == 3 else {}),
            **({"top_up_strength": n(33, "mass %"), "pressure_left": n(1.6, "bar")} if litres else {}),
        )  # fmt: skip
    for number, (flow, warm, cold) in enumerate(((44.0, 6.52, 3.21), (44.5, 6.48, 3.19), (44.0, 6.45, 3.15)), 1):
        diary.log(
            "final_reading", f"R{number}", clock(13, f"12:{10 * number}"), PAIR, run_minutes=n(40 + 10 * number, "min"),
            flow=n(flow, "L/min"), t_in=n(warm, "°C"), t_out=n(cold, "°C"), power=n(2.6, "kW"),
        )  # fmt: skip
    diary.log(
        "photo", "", clock(13, "12:40"), shot=v("label"), photo=photo("label"), caption=w("Label at the fill point")
    )
    diary.log("photo", "", clock(13, "12:41"), shot=v("manifold"), photo=photo("manifold"))
    diary.log(
        "note", "", clock(13, "12:45"), note=w("Vent on the manifold opened at every visit, no air at the last one.")
    )
    diary.log("signature", "", clock(13, "12:50"), role=v("engineer"), name=w("Edda Pine"), strokes=w(STROKES))
    diary.log(
        "sheet_submit", "", clock(13, "12:55"), complete=v(True), remark=w("All done, key is back with the owner.")
    )


def diary() -> Diary:
    """Everything logged as it should be."""
    book, facts = Diary(), facts_of(plan())
    ground_work(book)
    pressure_test(book)
    fill_work(book, facts)
    plant_work(book, facts)
    return book


Change = Callable[[Logged], Logged | None]


def evidence(change: Change | None = None, add: Iterable[Logged] = (), **parts: Any) -> Evidence:
    """The clean main job, or what becomes of it when every entry passes through `change` (None: it was never logged)."""
    book, the_plan = diary(), plan()
    entries = [kept for entry in book.entries if (kept := change(entry) if change else entry) is not None]
    entries = sorted([*entries, *add], key=lambda entry: entry.observed_at)
    facts = replace(facts_of(the_plan), entries=tuple(entries))
    folded = _folded(the_plan, entries, facts)
    items = tuple(_item(entry, folded, facts, book) for entry in entries)
    whole = Evidence(
        ordered=_ordered(the_plan),
        array=_array(the_plan),
        numbers=facts.numbers,
        limits=RULES.limits,
        limit_labels={code: about.label for code, about in rules.CODES.items()},
        kit=KIT,
        people=PEOPLE,
        items=items,
        holds=_holds(folded, items),
        passed={name: row["entry"] for name, row in folded["facts"].get("tested", {}).items()},
        photos_here=frozenset(sha for item in items for sha in item.photos()),
        version=1,
    )
    return replace(whole, **parts)


def _folded(the_plan: Plan, entries: list[Logged], facts: Facts) -> dict[str, Any]:
    rows = [
        {
            "id": entry.id, "kind": entry.kind, "subject": entry.subject, "payload": dict(entry.payload),
            "at": entry.observed_at.isoformat(), "device": "d", "seq": at, "supersedes": "", "reason": "", "held": "",
            "decision": "",
        }
        for at, entry in enumerate(entries)
    ]  # fmt: skip
    case = {
        "plan": given.plan_json(the_plan),
        "entries": rows,
        "outcomes": outcomes(facts),
        "given": {"run_ends_at": "", "final_sets": 3, "approved": False},
    }
    return fold(case, TABLE)


def _item(entry: Logged, folded: dict[str, Any], facts: Facts, book: Diary) -> Item:
    held = folded["held"].get(entry.id, "")
    by = next((row["by"] for row in folded["overrides"] if row["entry"] == entry.id), "")
    return Item(
        entry,
        standing=Standing.HELD if held else Standing.CURRENT,
        texts=book.texts.get(entry.id, {}),
        why=held,
        overridden_by=by,
        verdicts=() if held else verdicts_of(facts, entry),
    )


def _holds(folded: dict[str, Any], items: tuple[Item, ...]) -> tuple[Hold, ...]:
    kinds = {row["code"]: row["kind"] for row in TABLE["hold_points"]}
    return tuple(
        Hold(
            code=row["code"], title=hold_label(row["code"]).removeprefix(row["code"] + " "), subject=row["subject"],
            released=row["open"], missing=tuple(row["missing"]), override=row["overridden_by"],
            step=next((item.id for item in items if item.kind == kinds[row["code"]]
                       and item.subject in {row["subject"], ""} and item.standing is Standing.CURRENT), ""),
        )
        for row in folded["hold_points"] if row["code"] != "H14"
    )  # fmt: skip


def _ordered(the_plan: Plan) -> Ordered:
    assert the_plan.design
    assert the_plan.product
    design = asdict(the_plan.design) | {
        "product": the_plan.product.name,
        "product_base": the_plan.product.base,
        "concentrate_mass_pct": the_plan.product.concentrate_mass_pct,
        "density_kg_m3": the_plan.product.density_kg_m3,
    }
    return Ordered(
        7, "Orchard House array", "Hazel Orchard Farm", "Orchard House", "Orchard House\nNether Lane\nWestcombe",
        "Europe/London", "Northfold Ground Loops", design, "Small domestic, metric, version 1", RULES.method,
    )  # fmt: skip


def _array(the_plan: Plan) -> Array:
    assert the_plan.header
    assert the_plan.manifold
    header = asdict(the_plan.header) | {"code": "H", "length_m": 2 * the_plan.header.length_each_way_m}
    return Array(
        loops=tuple(asdict(loop) | {"length_m": loop.length_m} for loop in the_plan.loops),
        boreholes=tuple(asdict(hole) for hole in the_plan.boreholes),
        sections=tuple(asdict(section) for section in the_plan.sections),
        header=header,
        manifold=asdict(the_plan.manifold),
        svg=str(array_svg(the_plan)),
    )
