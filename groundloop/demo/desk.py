"""What the office and the manager do in the headless run: fill the same forms a person fills."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from html import unescape
from typing import Any

from groundloop.demo.browserless import Answer, Unexpected, Visitor
from groundloop.demo.load import DESIGN, INSTRUMENTS

Say = Callable[[str], None]
OPTION = re.compile(r'<option value="([0-9a-f-]{36})"[^>]*>\s*([^<]*)</option>')
LOOPS = (("L1", 1, "B1", 16, "S1"), ("L2", 2, "B2", 24, "S1"))
LIST = """loop;port;borehole;outside diameter (mm);wall (mm);material;array length (m);lateral (m);section
L3;3;B3;40;3,7;PE 100;200;32;S2
L4;4;B4;40;3,7;PE 100;200;40;S2
"""


@dataclass(frozen=True)
class Ordered:
    """The job as it stands in addresses."""

    id: str


def options(page: Answer) -> dict[str, str]:
    """The choices of a page's lists: label -> value."""
    return {unescape(label).strip(): value for value, label in OPTION.findall(page.text)}


def choice(page: Answer, words: str) -> str:
    """The value of the first choice whose label holds these words. Raises `Unexpected`."""
    for label, value in options(page).items():
        if words in label:
            return value
    raise Unexpected(f"no choice “{words}” on {page.url}")


def order(office: Visitor, manager: Visitor, at: datetime, say: Say) -> Ordered:
    """Registers, customer, site, job, design, array, visits."""
    say("The office sets the job up ...")
    manager.post("/limits/starters", {}, token=_token_of(manager.get("/limits/")))
    _registers(office, at)
    job = _job(office)
    ground = f"/jobs/{job.id}/ground/"
    _design(office, ground)
    _array(office, ground)
    numbers = office.get(f"{ground}numbers").text
    if "The system holds" not in numbers:
        raise Unexpected("the numbers page shows no system volume")
    say("  customer, site, job, design data, two loops typed and two from a list; the numbers are there")
    plan(office, job, (("ground", 6), ("fill", 7), ("start", 8)), at)
    say("  three visits planned, the crew booked")
    return job


def _registers(office: Visitor, at: datetime) -> None:
    product = {
        "name": "Meadow PG concentrate", "base": "propylene_glycol", "concentrate_mass_pct": "96", "density_kg_m3": "1055",
        "minimum_mass_pct": "25", "colour": "green", "drum_l": "25", "hazards": "Slippery when spilt. Keep out of drains.",
    }  # fmt: skip
    office.fill("/fluids/new", product)
    due = (at + timedelta(days=300)).date().isoformat()
    for instrument in INSTRUMENTS:
        office.fill("/instruments/new", {"calibration_due_date": due, **{k: f"{v}" for k, v in instrument.items()}})


def _token_of(page: Answer) -> str:
    found = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page.text)
    if not found:
        raise Unexpected(f"{page.url} has no form")
    return found.group(1)


def _job(office: Visitor) -> Ordered:
    page = office.get("/jobs/new")
    made = office.fill("/jobs/new", {
        "title": "Orchard House array", "rule_set": choice(page, "Small domestic, metric"), "planned_start_date": "2026-03-09",
        "customer_name": "Hazel Orchard Farm", "customer_email": "orchard@harrowfell.example", "customer_phone": "01632 960114",
        "site_name": "Orchard House", "address": "Orchard House\nNether Lane\nWestcombe", "contact_name": "R. Hazel",
        "contact_phone": "01632 960115",
    })  # fmt: skip
    found = re.search(r"/jobs/([0-9a-f-]{36})/", made.url)
    if not found:
        raise Unexpected(f"a new job leads to {made.url}")
    return Ordered(found.group(1))


def _design(office: Visitor, ground: str) -> None:
    page = office.get(f"{ground}design")
    values = {name: f"{value}" for name, value in DESIGN.items()}
    office.fill(f"{ground}design", {**values, "product": choice(page, "Meadow PG")})


def _array(office: Visitor, ground: str) -> None:
    for number, (title, length) in enumerate(
        (("Manifold to B1 and B2", 12), ("Manifold to B3 and B4", 20), ("Manifold to plant room", 15)), 1
    ):
        office.fill(
            f"{ground}sections/new",
            {"code": f"S{number}", "title": title, "length_m": length, "depth_mm": 900, "width_mm": 450},
        )
    for number in range(1, 5):
        office.fill(f"{ground}boreholes/new", {"code": f"B{number}", "depth_m": 100, "driller": "Deepwell Drilling"})
    office.fill(f"{ground}manifold", {"ports": 4, "place": "Chamber beside the garage", "rating_bar": 10})
    page = office.get(f"{ground}header")
    office.fill(f"{ground}header", {
        "pipe": _pipe(page, "63 × 5.8"), "length_each_way_m": 15, "fittings_k": 6, "section": choice(page, "S3"),
    })  # fmt: skip
    for code, port, hole, lateral, section in LOOPS:
        page = office.get(f"{ground}loops/new")
        office.fill(f"{ground}loops/new", {
            "code": code, "port": port, "kind": "borehole", "borehole": choice(page, hole), "pipe": _pipe(page, "40 × 3.7"),
            "array_m": 200, "lateral_m": f"{lateral},0", "section": choice(page, section), "fittings_k": 6,
        })  # fmt: skip
    checked = office.fill(f"{ground}loops/import", {"text": LIST})
    office.post(f"{ground}loops/import", {"text": LIST, "take": "1"}, token=_token_of(checked))


def _pipe(page: Answer, words: str) -> str:
    for value, label in re.findall(r'<option value="([^"]+)"[^>]*>\s*([^<]*)</option>', page.text):
        if unescape(label).strip().startswith(words):
            return unescape(value)
    raise Unexpected(f"no pipe {words} on {page.url}")


def plan(office: Visitor, job: Ordered, visits: Iterable[tuple[str, int]], at: datetime) -> None:
    """Visits of these kinds, so many days from now, with the crew booked."""
    address = f"/jobs/{job.id}/visits/new"
    crew = re.search(r'name="crew" value="([^"]+)"[^>]*>\s*Tomas Reed', office.get(address).text)
    if not crew:
        raise Unexpected("the crew cannot be booked")
    for kind, days in visits:
        day = (at + timedelta(days=days)).date().isoformat()
        office.fill(address, {"kind": kind, "planned_date": day, "crew": [crew.group(1)], "note": ""})


def sheet_of(manager: Visitor, job: Ordered) -> str:
    """The address of the job's newest sheet; opening the queue lets it catch up."""
    manager.get("/sheets/")
    page = manager.get(f"/jobs/{job.id}/")
    return page.path_matching(r"^/sheets/[0-9a-f-]{36}/$")


def send_back(manager: Visitor, sheet: str, *, entry: str, field: str, text: str) -> None:
    review = manager.get(f"{sheet}review")
    manager.post(f"{sheet}ask", {"entry": entry, "field": field, "text": text}, token=_token_of(review))


def answer_all(manager: Visitor, sheet: str) -> int:
    """Answers every finding that waits for one; those that block are waived with a reason."""
    review = manager.get(f"{sheet}review")
    waiting = sorted(set(re.findall(r'action="(/sheets/findings/[0-9a-f-]{36}/answer)"', review.text)))
    for address in waiting:
        values: dict[str, Any] = {"text": "Looked at with the crew, as it should be."}
        manager.post(address, values, token=_token_of(review))
    return len(waiting)


def approve(manager: Visitor, sheet: str) -> None:
    review = manager.get(f"{sheet}review")
    seen = re.search(r'name="seen_version" value="(\d+)"', review.text)
    if not seen:
        raise Unexpected("the sheet cannot be approved: " + re.sub(r"<[^>]+>|\s+", " ", review.text)[:2600])
    manager.post(f"{sheet}approve", {"seen_version": seen.group(1)}, token=_token_of(review))
