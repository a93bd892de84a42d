"""One set of inputs, run through the Python and through the phone's JavaScript: they must agree."""

from __future__ import annotations

import json
from typing import Any

import pytest
from playwright.sync_api import Page

from tests.vectors.calc_cases import FILE, FUNCTIONS, givens

PORTS = """
async ({ given, cases }) => {
  const pressure = await import("/sums/calc/pressure.js");
  const circuit = await import("/sums/calc/circuit.js");
  const waterRun = (length, bore, flow) => {
    const speed = circuit.velocity(flow, bore);
    return { length_m: length, bore_mm: bore, flow_l_min: flow, transit_s: length / speed };
  };
  const ports = {
    short_tightness: (minutes, bar, run, lies) => pressure.shortTightness(minutes, bar, run, pressure.bandOf(given.rules, lies), given.rules),
    falls: (minutes, bar, run, lies) => pressure.falls(minutes, bar, run, pressure.bandOf(given.rules, lies)),
    changeover_at: (length, bore, flow, out) => {
      const plan = { ...waterRun(length, bore, 2 * flow), reynolds: 2 * out.reynolds };
      const found = circuit.changeoverAt(plan, flow, given.colour);
      return { ...found, reynolds: out.reynolds };
    },
    diagnose: (seen, sharp) => circuit.diagnose({ expected_first: 374, expected_full: 399, transit: 386, seen, rules: { ...given.colour, sharp } }),
    judge_purge: (velocity, minutes, turnovers) => circuit.judgePurge({ velocity, minutes, turnovers, limits: given.purge })[0],
    air: (volume, ratio, start, end, litres) => {
      const found = circuit.residualAir({ volume, bore_to_wall: ratio, start, end, ...given.wall }, litres);
      const { volume: air, low, high, elastic } = found;
      return { volume: air, low, high, elastic, outcome: circuit.judgeAir(found, given.air)[0] };
    },
    mixed: (target, out) => ({
      ...out,
      mass: circuit.mixed({ water: out.water, concentrate: out.concentrate, concentrateMassPct: 96, concentrateDensity: 1041, waterDensity: given.water }),
    }),
    brix: (value, celsius) => {
      const found = circuit.reading(given.scale, value, celsius);
      return { mass: found.mass, u: found.u, freezing: circuit.freezingOf(given.table, found.mass) };
    },
    heat: (flow, warm, cold) => circuit.heat({ flow, difference: warm - cold, density: given.density, heatCapacity: given.heat_capacity }),
    converted: (value, unit, to) => circuit.converted(value, unit, to, given.units),
  };
  return cases.map(({ fn, args, out }) => ports[fn](...args, out));
}
"""
# The phone reads tables with straight lines between rows; what it computes itself agrees to the last digits.
LOOSE = {"brix": 0.06}


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
  const { parse } = await import("/sums/calc/circuit.js");
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
