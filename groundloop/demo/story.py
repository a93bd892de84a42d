"""The main job told in entries, as a phone sends them: the whole job in the order of the work."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from math import ceil, pi
from typing import Any, cast
from uuid import UUID

from groundloop.demo.log import (
    DEVICE,
    PHOTOS,
    START,
    Log,
    known_photos,
    n,
    photo,
    photos_of,
    send,
    sha256_of,
    tools,
    value,
)
from jobs.firms.models import Member
from jobs.firms.scope import scope
from jobs.ground.queries import plan_of
from jobs.ground.results import numbers_json, strength_rows
from jobs.ground.trade import Plan
from jobs.planning.models import Job

__all__ = [
    "DEVICE", "PHOTOS", "STAGES", "START", "Log", "Work", "happy_entries", "happy_log", "known_photos", "n", "photo",
    "photos_of", "send", "sha256_of", "tools", "value",
]  # fmt: skip

STAGES = (
    "papers", "trenched", "joined", "tested", "released", "covered", "flushed", "mixed", "filled", "purged", "running",
    "checked", "final", "submitted",
)  # fmt: skip


def happy_entries(
    job: Job,
    upto: str = "purged",
    *,
    crew: Member,
    engineer: Member | None = None,
    device: UUID = DEVICE,
    start: datetime = START,
) -> list[dict[str, Any]]:
    """The main job as it goes when all goes well, up to one of `STAGES`; readings follow the job's own plan."""
    return happy_log(job, upto, crew=crew, engineer=engineer, device=device, start=start).entries


def happy_log(
    job: Job,
    upto: str = "purged",
    *,
    crew: Member,
    engineer: Member | None = None,
    device: UUID = DEVICE,
    start: datetime = START,
) -> Log:
    """As `happy_entries`, with the phone's log to go on from."""
    with scope(job.firm_id, writes=False):
        plan, numbers = plan_of(job), numbers_json(job)
    log = Log(job, crew, device=device, at=start, instruments=tools(job.firm_id))
    work = Work(log, plan, numbers, engineer or crew)
    for stage in STAGES[: STAGES.index(upto) + 1]:
        getattr(work, stage)()
    return log


@dataclass
class Work:
    """Each stage of the job; every method logs what a crew would."""

    log: Log
    plan: Plan
    numbers: dict[str, Any]
    engineer: Member

    def papers(self) -> None:
        seen = (
            "log_seen",
            "grout_sheet_seen",
            "test_before_seen",
            "test_after_seen",
            "utube_certificate_seen",
            "accepted",
        )
        for hole in self.plan.boreholes:
            self.log.add("driller_papers", hole.code, after=3, **cast("Any", dict.fromkeys(seen, True)))

    def trenched(self) -> None:
        joints, log = self._joints_per_section(), self.log
        log.add(
            "services_permit", "", after=10, records_seen=True, detected=True, marked=True, found=["water", "private"],
            nearest=n("2.4", "m"), permit_no="PD-117", valid_from=log.at.replace(hour=7, minute=0),
            valid_to=(log.at + timedelta(days=4)).replace(hour=18, minute=0), photo=log.photo("services"),
        )  # fmt: skip
        for number, section in enumerate(self.plan.sections):
            self.log.add(
                "trench_section", section.code, after=40, excavation_inspected=True, depth=n(str(900 + 20 * number), "mm"),
                bed_material="sand", bed=n("110", "mm"), stones=False, water=False,
                joints=n(str(joints.get(section.code, 0)), "pcs"), photo=self.log.photo(f"trench {section.code}"),
            )  # fmt: skip

    def _joints_per_section(self) -> dict[str, int]:
        found: dict[str, int] = {}
        for _, section in self._joint_places():
            found[section] = found.get(section, 0) + 1
        return found

    def _joint_places(self) -> list[tuple[str, str]]:
        """Two joints per loop, two in the header."""
        places = [(loop.code, loop.section) for loop in self.plan.loops for _ in range(2)]
        return [*places, *([("H", self.plan.header.section)] * 2 if self.plan.header else [])]

    def joined(self) -> None:
        self._laid()
        for number, (loop, section) in enumerate(self._joint_places(), start=1):
            od = self.plan.header.od_mm if loop == "H" and self.plan.header else self.plan.loops[0].od_mm
            self.log.add(
                "joint", f"J{number}", after=14, method="electrofusion", od=n(f"{od:g}", "mm"), section=section, loop=loop,
                buried=True, welder=str(self.log.author.pk), ended_at=self.log.at + timedelta(minutes=12),
                cooling_min=n("30", "min"), visual_ok=True, scraped=True, clamped=True, indicators=True,
            )  # fmt: skip
        self._connected()
        self._measured()

    def _laid(self) -> None:
        """The laterals out and back, by their printed marks."""
        for number, loop in enumerate(self.plan.loops):
            start, half = 12.0 + 70 * number, loop.lateral_m / 2
            marks = (start, start + half, start + half, start + 2 * half)
            names = ("mark_start", "mark_end", "mark_start_2", "mark_end_2")
            self.log.add(
                "pipe_laid", loop.code, after=6, batch="PE-26-0311", stretch="lateral", no_kink=True, tagged=True, capped=True,
                **{name: n(f"{mark:.1f}", "m") for name, mark in zip(names, marks, strict=True)},
            )  # fmt: skip

    def _connected(self) -> None:
        """Ports of the manifold, and the header through the wall."""
        for loop in self.plan.loops:
            self.log.add(
                "manifold_port", loop.code, after=2, port=n(str(loop.port), "pcs"), same_number=True, works=True, tagged=True,
                scale="water",
            )  # fmt: skip
        header = self.plan.header
        if header:
            each = f"{header.length_each_way_m:g}"
            self.log.add(
                "header_penetration", "H", after=12, length_to=n(each, "m"), length_from=n(each, "m"), depth=n("900", "mm"),
                high_points=n("0", "pcs"), vents=n("0", "pcs"), seal="link", sealed=True, no_joint_in_wall=True, insulated=True,
                labelled=True, photo=self.log.photo("penetration"),
            )  # fmt: skip

    def tested(self) -> None:
        log = self.log
        covers = [section.code for section in self.plan.sections] + [loop.code for loop in self.plan.loops]
        log.add(
            "pressure_test", "T1", after=45, instrument="gauge", covers=[*covers, *(["H"] if self.plan.header else [])],
            method="short_tightness", test_pressure=n("6.0", "bar"), restraint="free", height=n("1.5", "m"),
            lowest_rating=n("10", "bar"), pipe_temperature=n("9.5", "°C"), vented=True, shut_off=True, safe=True,
        )  # fmt: skip
        for after, bar in ((10, "6.00"), (30, "5.99"), (28, "6.01")):
            log.add("pressure_reading", "T1", after=after, instrument="gauge", phase="hold", pressure=n(bar, "bar"))
        readings = ((2, "6.00"), (5, "5.95"), (5, "5.91"), (10, "5.84"), (10, "5.78"), (15, "5.70"), (15, "5.64"))
        for after, bar in readings:
            log.add("pressure_reading", "T1", after=after, instrument="gauge", phase="isolated", pressure=n(bar, "bar"))
        # What pipe and water give way for 6 bar within minutes.
        went_in = 0.0085 * (self.numbers["volumes"]["loops_l"] + self.numbers["volumes"]["header_l"])
        log.add(
            "pressure_end", "T1", after=5, instrument="gauge", joints_dry=True, pipe_temperature=n("9.8", "°C"),
            litres_in=n(f"{went_in:.1f}", "L"), top_ups=n("2", "pcs"), watch_pressure=n("3.00", "bar"),
        )  # fmt: skip

    def released(self) -> None:
        for number, section in enumerate(self.plan.sections):
            self.log.add(
                "backfill_release", section.code, after=20, instrument="gauge", watch_pressure=n(f"{3.0 - 0.02 * number:.2f}", "bar"),
                positions_taken=True, photo=self.log.photo(f"before backfill {section.code}"),
            )  # fmt: skip

    def _measured(self) -> None:
        """Every joint from two corners of the house."""
        for number, (_, section) in enumerate(self._joint_places(), start=1):
            self.log.add(
                "position", f"J{number}", after=2, what="joint", section=section, point_a="Corner SW", point_b="Corner SE",
                distance_a=n(f"{4.1 + 1.35 * number:.2f}", "m"), distance_b=n(f"{9.8 + 0.9 * number:.2f}", "m"), depth=n("900", "mm"),
            )  # fmt: skip

    def covered(self) -> None:
        for section in self.plan.sections:
            self.log.add("covered", section.code, after=35, cover=n("150", "mm"), tape=True)
        self.log.add("watch_reading", "T1", after=5, instrument="gauge", pressure=n("2.91", "bar"))
        self.log.add("watch_release", "T1", after=8, instrument="gauge", pressure=n("2.90", "bar"), capped=True)

    def flushed(self) -> None:
        self.next_day()
        for loop in self.plan.loops:
            self._flush(loop.code, loop.od_mm - 2 * loop.wall_mm)
        if self.plan.header:
            self._flush("H", self.plan.header.od_mm - 2 * self.plan.header.wall_mm)
        self.log.add("plant_connection", "", after=15, kept_closed=True, strainer=True, shut_off=True)

    def _flush(self, subject: str, bore_mm: float) -> None:
        least = 0.6 * pi / 4 * bore_mm**2 * 60 / 1000
        self.log.add(
            "flush", subject, after=20, instrument="flow_meter", flow=n(f"{ceil(least) + 1.5:.1f}", "L/min"), minutes=n("18", "min"),
            direction="to_ground", debris="fine" if subject == "L1" else "none", clear=True,
        )  # fmt: skip

    def mixed(self) -> None:
        fill, log = self.numbers["fill"], self.log
        drum = fill["drum_l"]
        log.add(
            "fluid_delivery", "", after=10, lot="PG-2605", drums=n(str(fill["drums"]), "pcs"), drum_l=n(f"{drum:g}", "L"),
            strength=n("96", "mass %"),
        )  # fmt: skip
        for number, batch in enumerate(fill["batches"], start=1):
            log.add(
                "mix_batch", f"M{number}", after=25, spill_ready=True, water=n(f"{batch['water_l']:.0f}", "L"),
                concentrate=n(f"{batch['concentrate_l']:.0f}", "L"), stirred=n("12", "min"), temperature=n("8", "°C"),
            )  # fmt: skip
            self._read_strength(f"M{number}", "top", off=0.0)
            self._read_strength(f"M{number}", "bottom", off=0.2)

    def brix(self) -> float:
        """What the refractometer shows at the target, to its step of 0.2."""
        target = self.numbers["fluid"]["target_mass_pct"]
        rows = strength_rows(self.numbers["fluid"]["base"])
        for low, high in pairwise(rows):
            if low[0] <= target <= high[0] and low[3] is not None and high[3] is not None:
                share = (target - low[0]) / (high[0] - low[0])
                return round(float(low[3] + share * (high[3] - low[3])) * 5) / 5
        raise LookupError("no Brix for this fluid")

    def _read_strength(self, subject: str, place: str, *, off: float) -> None:
        self.log.add(
            "strength_reading", subject, after=6, instrument="refractometer", zeroed=True, scale="brix",
            value=n(f"{self.brix() + off:.1f}", "°Bx"), sample_temperature=n("12", "°C"), place=place,
        )  # fmt: skip

    def filled(self) -> None:
        for row in self.numbers["loops"]:
            plan = row["changeover"]
            started = self.log.at + timedelta(minutes=5)
            first, full = (timedelta(seconds=round(1.03 * plan[name])) for name in ("first_colour_s", "full_colour_s"))
            litres = plan["flow_l_min"] * plan["full_colour_s"] / 60
            self.log.add(
                "loop_fill", row["code"], after=7 + full.total_seconds() / 60, instrument="flow_meter", only_this_open=True,
                flow=n(f"{plan['flow_l_min']:.1f}", "L/min"), started=started, first_colour=started + first,
                full_colour=started + full, waste=n(f"{litres:.0f}", "L"),
            )  # fmt: skip

        self.log.add("waste", "", after=5, what="water", amount=n("600", "L"), where="sewer", note_no="W-0093")

    def purged(self) -> None:
        """Two loops at a time, so that the header runs fast enough too; then the air that is left."""
        self.next_day()
        codes = [loop.code for loop in self.plan.loops]
        for at in range(0, len(codes), 2):
            started = self.log.at + timedelta(minutes=2)
            self.log.add(
                "purge", "", after=58, instrument="flow_meter", open=codes[at : at + 2], flow=n("78", "L/min"), started=started,
                last_bubble=started + timedelta(minutes=32), ended=started + timedelta(minutes=55),
            )  # fmt: skip
        volume = self.numbers["volumes"]["loops_l"] + self.numbers["volumes"]["header_l"]
        # What pipe and water give way for 1.5 bar, and 0.2 L for the air; a low pressure, where stretch hides less.
        drop_mm = (0.00154 * volume + 0.2) / (pi / 4 * 6.0**2) * 100
        self.log.add(
            "residual_air", "", after=10, instrument="gauge", safe=True, bin_diameter=n("600", "mm"), start_pressure=n("0", "bar"),
            level_before=n("640", "mm"), level_after=n(f"{640 - drop_mm:.0f}", "mm"), dead_head_pressure=n("1.50", "bar"),
        )  # fmt: skip
        self._read_strength("system", "system", off=0.0)

    def running(self) -> None:
        log, by = self.log, self.engineer
        for number, row in enumerate(self.numbers["loops"]):
            flow = row["running"]["flow_l_min"] * (1.01 - 0.005 * number)
            log.add(
                "balance_reading", row["code"], by=by, after=4, instrument="flow_meter", flow=n(f"{round(2 * flow) / 2:.1f}", "L/min"),
            )  # fmt: skip
        log.add(
            "static_pressure", "", by=by, after=14, instrument="gauge", type="sealed", relief=n("3.0", "bar"), vessel_l=n("25", "L"), precharge=n("0.5", "bar"),
            pressure=n("1.80", "bar"), valve_locked=True,
        )  # fmt: skip
        flow = self.numbers["flow"]["design_flow_l_min"]
        log.add(
            "source_settings", "", by=by, after=20, serial="NX-4417-08", frost_alarm=n("-9", "°C"), fluid_set=self.numbers["fluid"]["base"],
            flow=n(f"{flow:.0f}", "L/min"), pump_mode="fixed", strainer_clean=True,
        )  # fmt: skip
        log.add(
            "photo",
            "",
            by=by,
            after=3,
            shot="plant_room",
            photo=log.photo("plant room"),
            text={"caption": "Source side"},
        )
        log.add(
            "deaeration_start", "", by=by, after=12, instrument="gauge", started=log.at + timedelta(minutes=10),
            planned_days=n("10", "d"), pressure=n("1.80", "bar"),
        )  # fmt: skip

    def checked(self) -> None:
        for days, arrival, top_up, left in ((3, "1.62", "0.8", "1.80"), (4, "1.74", "0", None), (4, "1.71", "0", None)):
            self.log.add(
                "follow_up", "", by=self.engineer, after=days * 1440, instrument="gauge", pressure_on_arrival=n(arrival, "bar"),
                t_in=n("4.1", "°C"), t_out=n("1.0", "°C"), top_up=n(top_up, "L"), strainer="some" if days == 3 else "clean",
                **cast("Any", {"debris": "fine"} if days == 3 else {}),
                air="some" if left else "none", **({"pressure_left": n(left, "bar")} if left else {}),
            )  # fmt: skip

    def final(self) -> None:
        flow, spread = 0.95 * self.numbers["flow"]["design_flow_l_min"], self.numbers["flow"]["spread_k"] / 0.95
        for number, (warm, off) in enumerate(((3.42, 0.0), (3.40, 0.03), (3.37, -0.02)), start=1):
            self.log.add(
                "final_reading", f"R{number}", by=self.engineer, after=6, instrument="thermometers", run_minutes=n(str(35 + 6 * number), "min"),
                flow=n(f"{flow:.1f}", "L/min"), t_in=n(f"{warm:.2f}", "°C"), t_out=n(f"{warm - spread - off:.2f}", "°C"), power=n("2.61", "kW"),
            )  # fmt: skip

    def submitted(self) -> None:
        log, by = self.log, self.engineer
        log.add(
            "photo",
            "",
            by=by,
            after=5,
            shot="label",
            photo=log.photo("label"),
            text={"caption": "Label at the fill point"},
        )
        strokes = [[[10, 40], [60, 12], [110, 44]], [[20, 60], [120, 58]]]
        log.add("signature", "", by=by, after=3, role="engineer", text={"name": "E. Pine", "strokes": strokes})
        log.add("sheet_submit", "", by=by, after=2, complete=True)

    def next_day(self) -> None:
        """Half past seven the next morning."""
        self.log.at = (self.log.at + timedelta(days=1)).replace(hour=7, minute=30)
