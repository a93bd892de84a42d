"""One set of inputs, run through the Python and through the phone's JavaScript: they must agree."""

from __future__ import annotations

import json
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import pytest
from playwright.sync_api import Page

from jobs.field.pack_numbers import calc_json
from jobs.field.words import words_json
from jobs.ground.trade import Plan
from jobs.sums.tables import fluid_rows, scale_rows
from jobs.visits.judging import verdicts_of
from jobs.visits.kinds import Logged, tightness
from jobs.visits.kinds.units import units_json
from tests.build_entries import n
from tests.vectors.calc_cases import FILE, givens
from tests.vectors.calc_functions import FUNCTIONS
from tests.visits.facts import FACTS, logged

PORTS = """
async ({ given, cases }) => {
  const from = (name) => import(`/sums/calc/${name}.js`);
  const names = ["air", "colour", "flow", "fluid", "joint", "number", "pressure"];
  const modules = Object.fromEntries(await Promise.all(names.map(async (name) => [name, await from(name)])));
  const { air, colour, flow, fluid, joint, number, pressure } = modules;
  const { concentrate, table } = given;
  const planned = (length, bore, litres) => colour.planned({ length, bore, flow: litres, viscosity: given.viscosity });
  const ports = {
    short_tightness: (minutes, bar, run, lies) => pressure.shortTightness(minutes, bar, run, pressure.bandOf(given.rules, lies), given.rules),
    falls: (minutes, bar, run, lies) => pressure.falls(minutes, bar, run, pressure.bandOf(given.rules, lies)),
    sequence: (run, method) => pressure.sequence(run, given.methods[method]),
    decay: (minutes, bar, resolution, lies) => {
      const run = { minutes, bar, loading: 5, resolution };
      const kinds = lies === "unknown" ? ["free", "backfilled"] : [lies];
      const codes = new Set(kinds.map((kind) => pressure.typeTwo(run, pressure.bandOf(given.decay, kind), given.decay, false)));
      const slopes = pressure.slopesOf(run, given.decay) || [];
      return { code: codes.size === 1 ? [...codes][0] : "restraint unknown", slopes: slopes.map((each) => each.slope) };
    },
    leak: (minutes, bar, resolution, lies) => {
      const kinds = lies === "unknown" ? ["free", "backfilled", "grouted"] : [lies];
      const how = { loading: 10, hold: 60, resolution };
      const bands = kinds.map((kind) => pressure.bandOf(given.rules, kind));
      return pressure.leakRate({ minutes, bar, how, bands, volume: 166.9, ratio: 8.811 }, { wall: given.wall_one_hour, water: given.wall.water_modulus, doubt: given.air.modulus_doubt });
    },
    changeover_at: (length, bore, flow, out) => {
      const plan = { ...planned(length, bore, 2 * flow), reynolds: 2 * out.reynolds };
      return { ...colour.changeoverAt(plan, flow, given.colour), reynolds: out.reynolds };
    },
    changeover_due: (length, bore, flow) => {
      const plan = planned(length, bore, flow);
      return { ...colour.changeoverAt(plan, flow, given.colour), reynolds: plan.reynolds };
    },
    effective_length: flow.effectiveLength,
    diagnose: (seen, sharp) => colour.diagnose({ expected_first: 374, expected_full: 399, transit: 386, seen, rules: { ...given.colour, sharp } }),
    litres_of: flow.litresOf,
    velocity: flow.velocity,
    flow_at: flow.flowAt,
    judge_purge: (velocity, minutes, turnovers) => flow.judgePurge({ velocity, minutes, turnovers, limits: given.purge })[0],
    air: (volume, ratio, start, end, litres) => {
      const found = air.residualAir({ volume, bore_to_wall: ratio, start, end, ...given.wall }, litres);
      const { volume: left, low, high, elastic } = found;
      return { volume: left, low, high, elastic, outcome: air.judgeAir(found, given.air)[0] };
    },
    mixed: (target, out) => ({
      ...out,
      mass: fluid.mixed({ water: out.water, concentrate: out.concentrate, concentrateMassPct: concentrate.massPct, concentrateDensity: concentrate.density, waterDensity: given.water }),
    }),
    correction: (volume, measured, target) => fluid.correction({ table, volume, measured, target, concentrate }),
    top_up: (volume, measured, massPct, litres, out) => {
      const adding = massPct ? { massPct, density: fluid.densityOf(table, massPct) } : concentrate;
      return { ...out, litres: fluid.topUp({ table, volume, measured, target: out.target, concentrate: adding }) };
    },
    strength_of: (mass) => {
      const freezing = fluid.freezingOf(table, mass);
      return { volume: fluid.volumeOf(table, mass), freezing, mass: fluid.massFor(table, freezing) };
    },
    frost: (freezing, required, u) => fluid.frost({ freezing, required, u, rules: given.frost })[1],
    in_band: (mass, u, target, band) => fluid.inBand({ mass, u, target, band })[1],
    brix: (value, celsius) => {
      const found = fluid.reading(given.scale, value, celsius);
      return { mass: found.mass, u: found.u, freezing: fluid.freezingOf(table, found.mass) };
    },
    heat: (litres, warm, cold) => flow.heat({ flow: litres, difference: warm - cold, density: given.density, heatCapacity: given.heat_capacity }),
    cooling: (method, od, told, elapsed) => {
      const clock = joint.cooling({ method, od, told: told && { move: told[0], pressurise: told[1] } }, given.sockets);
      if (!clock) return null;
      const left = joint.waiting(clock, elapsed);
      return { clock: [clock.move, clock.pressurise], left: [left.move, left.pressurise], outcome: left.outcome };
    },
    row_at: number.rowAt,
    converted: (value, unit, to) => number.converted(value, unit, to, given.units),
  };
  return cases.map(({ fn, args, out }) => ports[fn](...args, out));
}
"""
# The phone reads tables with straight lines between rows; what it computes itself agrees to the last digits.
LOOSE = {"brix": 0.06, "strength_of": 0.02, "correction": 0.02, "top_up": 0.02}


@pytest.fixture(scope="module")
def vectors() -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(FILE.read_text(encoding="utf-8"))
    return loaded


def close(got: Any, expected: Any, room: float) -> bool:
    """Numbers within `room` or 1e-9 relative, everything else equal."""
    if isinstance(expected, dict):
        return isinstance(got, dict) and all(close(got.get(name), value, room) for name, value in expected.items())
    if isinstance(expected, list | tuple):
        pairs = zip(got, expected, strict=True)
        return isinstance(got, list | tuple) and all(close(one, other, room) for one, other in pairs)
    if isinstance(expected, float) and not isinstance(expected, bool):
        return isinstance(got, int | float) and got == pytest.approx(expected, rel=1e-9, abs=max(room, 1e-9))
    return bool(got == expected)


def test_the_python_still_gives_what_is_written(vectors: dict[str, Any]) -> None:
    wrong = [
        case for case in vectors["cases"] if not close(FUNCTIONS[case["fn"]](*case["args"]), case["out"], room=0.0)
    ]

    assert not wrong, f"run python -m tests.vectors.calc_cases; first difference: {wrong[:1]}"


def test_the_givens_are_those_of_the_python(vectors: dict[str, Any]) -> None:
    assert close(json.loads(json.dumps(givens())), vectors["given"], room=0.0)


def test_every_calculation_has_cases(vectors: dict[str, Any]) -> None:
    counted = {name: sum(case["fn"] == name for case in vectors["cases"]) for name in FUNCTIONS}

    assert min(counted.values()) >= 3, counted


@pytest.mark.browser
def test_the_phone_computes_the_same(blank: Page, vectors: dict[str, Any]) -> None:
    got = blank.evaluate(PORTS, vectors)
    wrong = [
        (case["fn"], case["args"], case["out"], found)
        for case, found in zip(vectors["cases"], got, strict=True)
        if not close(found, case["out"], LOOSE.get(case["fn"], 0.0))
    ]

    assert not wrong, f"{len(wrong)} of {len(got)} differ; first: {wrong[0]}"


FOLD = """
async () => {
  const { fold } = await import("/field/fold.js");
  const { table, cases } = await (await fetch("/vectors/fold.json")).json();
  return cases.map((each) => ({ name: each.name, out: fold(each.case, table) }));
}
"""


@pytest.mark.browser
def test_the_phone_folds_the_same(blank: Page) -> None:
    expected = json.loads((FILE.parent / "fold.json").read_text(encoding="utf-8"))["cases"]

    got = blank.evaluate(FOLD)

    assert [each["name"] for each in got] == [each["name"] for each in expected]
    wrong = [
        (case["name"], part, found["out"][part], case["out"][part])
        for found, case in zip(got, expected, strict=True)
        for part in case["out"]
        if not close(found["out"][part], case["out"][part], room=1e-3) or set(found["out"]) != set(case["out"])
    ]
    assert not wrong, f"{len(wrong)} differ; first: {wrong[0]}"


NUMBERS = """
async (texts) => {
  const { parse } = await import("/sums/calc/number.js");
  return texts.map(parse);
}
"""


@pytest.mark.browser
def test_what_is_typed_is_read_once_and_the_same(blank: Page) -> None:
    typed = {
        "4.2": 4.2,
        "4,2": 4.2,
        " -12 ": -12,
        "−12,5": -12.5,
        ".5": 0.5,
        "7": 7,
        "": None,
        "1e3": None,
        "1,234.5": None,
        "4.2 bar": None,
        "--3": None,
    }

    assert blank.evaluate(NUMBERS, list(typed)) == list(typed.values())


PHONE_TEST = """
async (app) => {
  const { judgeTest } = await import("/field/judge_test.js");
  const { outcome, words } = judgeTest(app, "T1");
  return [outcome, words];
}
"""
REST = ((0, "7.50"), (15, "7.10"), (30, "6.90"), (45, "6.75"), (60, "6.65"))
MAIN = ((61, "bleed", "5.50"), (71, "isolated", "5.58"), (81, "isolated", "5.60"), (91, "isolated", "5.59"))


def a_sequence(rest: Any, main: Any, litres: str, **start: Any) -> list[Logged]:
    """As a crew logs it: raised from 0 to 8 min, held to 40, then rest, let-down and main phase, and the end."""
    given = {"method": "en805_a27_2000", "restraint": "free", "covers": ["L1"], "test_pressure": n("7.5", "bar")}
    begun = logged("pressure_test", "T1", **({"pipe_temperature": n("9", "°C")} | given | start))

    def read(minute: float, phase: str, bar: str, **more: Any) -> Logged:
        answers = {"phase": phase, "pressure": n(bar, "bar")} | more
        return logged("pressure_reading", "T1", minute, instrument="g", **answers)

    out = {"litres": n(litres, "L")} if litres else {}
    return [
        begun,
        read(8, "hold", "7.50"),
        *(read(40 + minute, "rest", bar) for minute, bar in rest),
        *(read(40 + minute, phase, bar, **(out if phase == "bleed" else {})) for minute, phase, bar in main),
        logged("pressure_end", "T1", 140, joints_dry=True, pipe_temperature=n("9.1", "°C")),
    ]


BARE = cast(Plan, SimpleNamespace(design=None))  # all that these numbers ask of a plan
SEQUENCES = {
    "sound": a_sequence(REST, MAIN, "0.15"),
    "too much let out": a_sequence(REST, MAIN, "0.40"),
    "nothing measured": a_sequence(REST, MAIN, ""),
    "leak at rest": a_sequence((*REST[:4], (60, "5.00")), MAIN, "0.15"),
    "no main phase": a_sequence(REST, (), ""),
    "no rest phase": a_sequence((), MAIN, "0.15"),
    "the whole job": a_sequence(REST, MAIN, "0.5", covers=["S1"], restraint="unknown"),
    "warmed": a_sequence(REST, MAIN, "0.15", pipe_temperature=n("14", "°C")),
    "short check": a_sequence(REST, (), "", method="short_tightness"),
}


@pytest.mark.browser
@pytest.mark.parametrize("case", SEQUENCES)
def test_a_logged_test_gets_the_same_word_on_the_phone(case: str, blank: Page) -> None:
    facts = replace(FACTS, entries=tuple(SEQUENCES[case]))
    entries = [
        {"kind": one.kind, "subject": one.subject, "payload": dict(one.payload), "instrument": one.instrument}
        | {"at": one.observed_at.isoformat()}
        for one in SEQUENCES[case]
    ]
    gauges = [{"id": one.id, "resolution": one.resolution, "unit": one.unit} for one in facts.instruments.values()]
    job = {"calc": calc_json(facts, BARE), "instruments": gauges}
    pack = {"units": units_json(), "words": words_json()}

    wanted = tightness.judge_test(facts, "T1")

    assert blank.evaluate(PHONE_TEST, {"pack": pack, "job": job, "current": entries}) == [
        wanted.outcome.value,
        wanted.reason,
    ]


PHONE_READING = """
async ({ pack, fluid, payload }) => {
  const { judgeReading } = await import("/field/judge.js");
  return judgeReading({ pack, job: { fluid } }, payload).outcome;
}
"""


@pytest.mark.browser
@pytest.mark.parametrize(("unit", "outcome"), [("°C", "pass"), ("°Bx", "cannot tell")])
def test_degrees_typed_as_brix_say_nothing_on_either_side(unit: str, outcome: str, blank: Page) -> None:
    """The phone once took the figure for degrees all the same, and the office did not."""
    entry = logged(
        "strength_reading",
        "L1",
        zeroed=True,
        scale="propylene_glycol",
        value=n("-15.0", unit),
        sample_temperature=n("20", "°C"),
        instrument="r",
    )
    scales = {"propylene_glycol": {"": scale_rows("propylene_glycol", "propylene_glycol", 0.2, 0.2)}}
    fluid = {"scales": scales, "table": fluid_rows("propylene_glycol"), "target_mass_pct": 33.0, "band_pct": 1.5}
    given = {
        "pack": {"units": units_json(), "words": words_json()},
        "fluid": fluid,
        "payload": dict(entry.payload),
    }

    (office,) = verdicts_of(FACTS, entry)

    assert (office.outcome.value, blank.evaluate(PHONE_READING, given)) == (outcome, outcome)
