"""Fluid properties and freezing points against CoolProp, the ASHRAE and CRC tables, and themselves."""

from __future__ import annotations

import pickle
from itertools import pairwise

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from calcs import _curves, fluid
from calcs.base import Base
from calcs.errors import Frozen, NotKnown, OutOfRange, WrongUnit
from calcs.sources import table
from calcs.units import Quantity, quantity

CODES = {
    Base.ETHYLENE_GLYCOL: "MEG",
    Base.PROPYLENE_GLYCOL: "MPG",
    Base.ETHANOL: "MEA",
    Base.METHANOL: "MMA",
    Base.GLYCEROL: "MGL",
    Base.POTASSIUM_ACETATE: "MKA",
    Base.POTASSIUM_FORMATE: "MKF",
    Base.POTASSIUM_CARBONATE: "MKC",
}
MIXES = sorted(CODES)
GLYCOLS = [Base.ETHYLENE_GLYCOL, Base.PROPYLENE_GLYCOL]
LETTERS = {"density": "D", "heat_capacity": "C", "conductivity": "L", "viscosity": "V"}


def percent(value: float) -> Quantity:
    return quantity(value, "percent")


def degrees(value: float) -> Quantity:
    return quantity(value, "degC")


def at(base: Base, w: float, t: float) -> fluid.Properties:
    return fluid.properties(base=base, mass_fraction=percent(w), temperature=degrees(t))


def si_values(found: fluid.Properties) -> dict[str, float]:
    return {name: float(getattr(found, name).to_base_units().magnitude) for name in LETTERS}


def freezing(base: Base, w: float) -> float:
    return float(fluid.freezing_point(base=base, mass_fraction=percent(w)).value.m_as("degC"))


def top(base: Base) -> float:
    return 100 * _curves.mass_fit(base).x_max


@pytest.mark.parametrize("base", MIXES)
@pytest.mark.parametrize("share", [0.05, 0.2, 0.4, 0.6, 0.8, 0.999])
def test_properties_are_those_of_coolprop(base: Base, share: float) -> None:
    # CoolProp 8 carries the same Melinder coefficients.
    w = share * top(base)
    name = f"INCOMP::{CODES[base]}[{w / 100:.12g}]"
    start = max(freezing(base, w), PropsSI("T_FREEZE", "T", 300, "P", 1e5, name) - 273.15) + 0.05
    for t in (start, start + 3, 5.0, 20.0, 39.0):
        if t < start:
            continue
        found = si_values(at(base, w, t))
        for key, letter in LETTERS.items():
            assert found[key] == pytest.approx(PropsSI(letter, "T", t + 273.15, "P", 3e5, name), rel=1e-9), (key, t)


@pytest.mark.parametrize("base", MIXES)
@pytest.mark.parametrize("share", [0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0])
def test_polynomial_freezing_point_is_that_of_coolprop(base: Base, share: float) -> None:
    w = max(0.01, share * _curves.mass_fit(base).x_max)
    outside = PropsSI("T_FREEZE", "T", 300, "P", 1e5, f"INCOMP::{CODES[base]}[{w:.12g}]") - 273.15
    assert _curves.polynomial_freezing(base, w) == pytest.approx(outside, abs=1e-9)


@pytest.mark.parametrize(("base", "code"), [(GLYCOLS[0], "AEG"), (GLYCOLS[1], "APG")])
@pytest.mark.parametrize("x", [12, 25, 40, 55])
def test_ashrae_volume_fits_are_those_of_coolprop(base: Base, code: str, x: float) -> None:
    name = f"INCOMP::{code}[{x / 100}]"
    start = PropsSI("T_FREEZE", "T", 300, "P", 1e5, name) - 273.15
    for t in (max(start, -35.0) + 0.5, 10.0, 60.0):
        found = fluid.ashrae_properties(base=base, volume_fraction=percent(x), temperature=degrees(t))
        assert found.freezing_point.m_as("degC") == pytest.approx(start, abs=1e-9)
        for key, value in si_values(found).items():
            assert value == pytest.approx(PropsSI(LETTERS[key], "T", t + 273.15, "P", 3e5, name), rel=1e-9)


@pytest.mark.parametrize("t", [0.1, 1, 4, 5, 10, 15, 20, 30, 45, 60, 80, 99])
def test_water_is_iapws(t: float) -> None:
    # IAPWS-95, viscosity and conductivity formulations through CoolProp at 3 bar; the fit is good to 3.2e-5.
    found = si_values(at(Base.WATER, 0, t))
    for key, letter in LETTERS.items():
        limit = {"density": 2e-6, "heat_capacity": 1e-5, "conductivity": 4e-5, "viscosity": 1e-5}[key]
        assert found[key] == pytest.approx(PropsSI(letter, "T", t + 273.15, "P", 3e5, "Water"), rel=limit)


def test_water_agrees_with_the_shipped_water_table() -> None:
    # Table at 5 bar: 2 bar more is 1e-4 in density.
    for row in table("water_properties")[1:]:
        found = at(Base.WATER, 0, float(row["t_c"]))
        assert found.density.m_as("kg/m^3") == pytest.approx(float(row["density_kg_m3"]), rel=1.5e-4)
        assert found.kinematic_viscosity.m_as("mm^2/s") == pytest.approx(float(row["nu_1e6_m2_s"]), rel=1e-3)


# Widest distance polynomial - CRC, 1 to 60 mass % (the deviations stated for the two curves are 0.07 K, 0.4 K, ...).
CRC_FREEZING = {
    Base.ETHYLENE_GLYCOL: 0.07,
    Base.GLYCEROL: 0.18,
    Base.POTASSIUM_CARBONATE: 0.15,
    Base.ETHANOL: 0.45,
    Base.METHANOL: 0.35,
}


@pytest.mark.parametrize("base", sorted(CRC_FREEZING))
def test_polynomial_freezing_against_crc(base: Base) -> None:
    rows = [r for r in table("crc_aqueous_solutions") if r["fluid"] == base.value and r["T_freeze_C"]]
    # Ground loops stay below 44 mass %; the fit of alcohols is looser above.
    used = [(float(r["mass_pct"]), float(r["T_freeze_C"])) for r in rows if 1 <= float(r["mass_pct"]) <= 44]
    assert len(used) > 15
    for w, t in used:
        assert _curves.polynomial_freezing(base, w / 100) == pytest.approx(t, abs=CRC_FREEZING[base]), w


@pytest.mark.parametrize("base", sorted(CRC_FREEZING))
def test_density_and_viscosity_against_crc(base: Base) -> None:
    rows = [r for r in table("crc_aqueous_solutions") if r["fluid"] == base.value]
    checked = 0
    for r in rows:
        w = float(r["mass_pct"])
        if 10 <= w <= 40:
            found = at(base, w, 20)
            assert found.density.m_as("kg/m^3") == pytest.approx(float(r["density_kg_m3_20C"]), rel=1e-3)
            assert found.viscosity.m_as("mPa*s") == pytest.approx(float(r["viscosity_mPas_20C"]), rel=0.025)
            checked += 1
    assert checked >= 10


def ashrae_rows(base: Base) -> list[tuple[dict[str, str], fluid.Properties]]:
    """The rows to 40 volume % and down to -10 degC, where the fits are stated to hold, with the fit at each."""
    kept = []
    for r in table("ashrae_properties"):
        x, t = float(r["ashrae_vol_pct"]), float(r["T_C"])
        misprint = (r["fluid"], x, t) == ("ethylene_glycol", 10, 30)
        if r["fluid"] == base.value and x <= 40 and t >= -10 and not misprint:
            kept.append((r, fluid.ashrae_properties(base=base, volume_fraction=percent(x), temperature=degrees(t))))
    return kept


@pytest.mark.parametrize("base", GLYCOLS)
def test_volume_fits_against_the_ashrae_table(base: Base) -> None:
    # Stated: density and heat capacity 0.01 %, conductivity 0.12 %, viscosity 2.7 % (EG, 40 %, -5 degC) and 5.0 % (PG).
    viscosity = {Base.ETHYLENE_GLYCOL: 0.0275, Base.PROPYLENE_GLYCOL: 0.050}[base]
    found = ashrae_rows(base)
    assert len(found) > 30
    for r, fit in found:
        assert fit.density.m_as("kg/m^3") == pytest.approx(float(r["density_kg_m3"]), rel=1e-4)
        assert fit.heat_capacity.m_as("J/kg/K") == pytest.approx(float(r["specific_heat_J_kgK"]), rel=1.5e-4)
        assert fit.conductivity.m_as("W/m/K") == pytest.approx(float(r["conductivity_W_mK"]), rel=1.25e-3)
        assert fit.viscosity.m_as("mPa*s") == pytest.approx(float(r["viscosity_mPas"]), rel=viscosity)


@pytest.mark.parametrize(
    ("base", "x", "t", "stated"),
    [
        (Base.ETHYLENE_GLYCOL, 20, 0, (-0.3, 1.5, 1.9, 11.4)),
        (Base.ETHYLENE_GLYCOL, 20, 20, (-0.3, None, 0.5, 6.0)),
        (Base.ETHYLENE_GLYCOL, 30, 0, (-0.3, 0.5, 1.9, 11.3)),
        (Base.ETHYLENE_GLYCOL, 30, 20, (None, None, 0.5, 4.9)),
        (Base.ETHYLENE_GLYCOL, 40, 0, (-0.3, -0.7, 1.6, 7.6)),
        (Base.ETHYLENE_GLYCOL, 40, 20, (None, None, 0.2, 1.8)),
        (Base.PROPYLENE_GLYCOL, 20, 0, (-0.5, 0.0, 1.0, 9.6)),
        (Base.PROPYLENE_GLYCOL, 20, -5, (None, None, None, 12.0)),
        (Base.PROPYLENE_GLYCOL, 30, 0, (-0.4, 0.0, 0.7, 3.7)),
        (Base.PROPYLENE_GLYCOL, 30, -5, (None, None, None, 5.6)),
        (Base.PROPYLENE_GLYCOL, 40, 0, (-0.2, 0.0, 0.3, -2.0)),
        (Base.PROPYLENE_GLYCOL, 40, -5, (None, None, None, -2.0)),
    ],
)
def test_mass_polynomial_lies_beside_the_ashrae_table_as_stated(
    base: Base,
    x: float,
    t: float,
    stated: tuple[float | None, ...],
) -> None:
    # Percent of density, heat capacity, conductivity, viscosity: polynomial minus table, at the mass fraction of the table's own row (rounded to 0.1 where stated).
    r, fit = next((r, fit) for r, fit in ashrae_rows(base) if (float(r["ashrae_vol_pct"]), float(r["T_C"])) == (x, t))
    mass = fluid.properties(base=base, mass_fraction=fit.mass_fraction, temperature=degrees(t))
    found = si_values(mass)
    printed = {
        "density": float(r["density_kg_m3"]),
        "heat_capacity": float(r["specific_heat_J_kgK"]),
        "conductivity": float(r["conductivity_W_mK"]),
        "viscosity": float(r["viscosity_mPas"]) / 1000,
    }
    for key, apart in zip(LETTERS, stated, strict=True):
        if apart is not None:
            assert 100 * (found[key] / printed[key] - 1) == pytest.approx(apart, abs=0.061), key


@pytest.mark.parametrize("base", GLYCOLS)
def test_the_used_freezing_point_of_a_glycol_is_never_colder_than_either_curve(base: Base) -> None:
    for r in table("ashrae_freezing"):
        if r["fluid"] == base.value:
            w = float(r["mass_pct"])
            used = freezing(base, w)
            assert used >= float(r["T_freeze_C"]) - 1e-9
            assert used >= _curves.polynomial_freezing(base, w / 100) - 1e-9


def test_the_two_ethylene_glycol_curves_differ_as_stated() -> None:
    # Polynomial minus ASHRAE: -0.15 K at 20, -0.48 at 30, -1.51 at 40 mass %.
    for w, apart in [(20, -0.15), (30, -0.48), (40, -1.51)]:
        found = fluid.freezing_point(base=Base.ETHYLENE_GLYCOL, mass_fraction=percent(w))
        assert found.source is _curves.ASHRAE
        assert -found.spread.m_as("K") == pytest.approx(apart, abs=0.05)


def test_every_known_curve_is_told() -> None:
    ethanol = fluid.freezing_point(base=Base.ETHANOL, mass_fraction=percent(24.2))
    assert [c.source for c in ethanol.curves] == [_curves.MELINDER, _curves.CRC, _curves.LANGE]
    assert ethanol.source is _curves.CRC
    assert ethanol.curves[2].value.m_as("degC") == pytest.approx(-14.0)  # Lange, read


@pytest.mark.parametrize("base", MIXES)
def test_the_used_curve_falls_all_the_way(base: Base) -> None:
    high = _curves.highest_fraction(base)
    found = [_curves.used_freezing(base, high * i / 2000)[0] for i in range(2001)]
    assert found[0] == 0.0
    assert all(a > b for a, b in pairwise(found))


@given(base=st.sampled_from(MIXES), share=st.floats(0.0, 1.0))
def test_strength_for_a_freezing_point_is_the_inverse(base: Base, share: float) -> None:
    w = share * _curves.highest_fraction(base)
    t = fluid.freezing_point(base=base, mass_fraction=quantity(w, "")).value
    back = fluid.mass_fraction_for(base=base, freezing_point=t)
    assert back.m_as("") == pytest.approx(w, abs=1e-9)


@given(base=st.sampled_from(MIXES), w=st.floats(0.0, 1.0), t=st.floats(-60, 120))
def test_any_state_gives_sound_numbers_or_a_named_error(base: Base, w: float, t: float) -> None:
    try:
        found = fluid.properties(base=base, mass_fraction=quantity(w, ""), temperature=degrees(t))
    except (Frozen, OutOfRange):
        return
    values = si_values(found)
    assert 850 < values["density"] < 1500
    assert 2500 < values["heat_capacity"] < 4500
    assert 0.2 < values["conductivity"] < 0.75
    assert 2e-4 < values["viscosity"] < 0.5


@pytest.mark.parametrize("base", MIXES)
def test_properties_join_water_without_a_step(base: Base) -> None:
    pure, near = si_values(at(Base.WATER, 0, 10)), si_values(at(base, 1e-7, 10))
    below, above = si_values(at(base, 1 - 1e-9, 10)), si_values(at(base, 1 + 1e-9, 10))
    for key in LETTERS:
        assert near[key] == pytest.approx(pure[key], rel=1e-6)
        assert below[key] == pytest.approx(above[key], rel=1e-6)


def test_frozen_names_the_freezing_point() -> None:
    with pytest.raises(Frozen, match=r"-5\.00 °C is at or below its freezing point of -4\.87 °C"):
        at(Base.PROPYLENE_GLYCOL, 15, -5)
    with pytest.raises(Frozen):
        at(Base.WATER, 0, 0)


@pytest.mark.parametrize(
    ("base", "w", "t"),
    [
        (Base.ETHYLENE_GLYCOL, 60.01, 0),
        (Base.ETHYLENE_GLYCOL, -0.1, 0),
        (Base.POTASSIUM_FORMATE, 48.1, 0),
        (Base.ETHANOL, 25, 41),
        (Base.WATER, 1, 10),
        (Base.WATER, 0, 101),
        (Base.ETHANOL, float("nan"), 10),
    ],
)
def test_outside_the_range_is_an_error(base: Base, w: float, t: float) -> None:
    with pytest.raises(OutOfRange) as caught:
        at(base, w, t)
    assert pickle.loads(pickle.dumps(caught.value)).facts == caught.value.facts  # noqa: S301


def test_the_sentence_of_an_error_is_in_the_unit_people_use() -> None:
    with pytest.raises(OutOfRange, match=r"ethanol is 65 %, outside 0 % to 60 % \(Melinder"):
        at(Base.ETHANOL, 65, 10)
    with pytest.raises(OutOfRange, match=r"is -70 °C, outside -48\.3 °C to 0 °C"):
        fluid.mass_fraction_for(base=Base.ETHYLENE_GLYCOL, freezing_point=degrees(-70))


def test_a_freezing_point_out_of_reach_is_an_error() -> None:
    with pytest.raises(OutOfRange):
        fluid.mass_fraction_for(base=Base.GLYCEROL, freezing_point=degrees(-50))
    with pytest.raises(OutOfRange):
        fluid.mass_fraction_for(base=Base.ETHANOL, freezing_point=degrees(1))


def test_a_bare_number_is_refused() -> None:
    with pytest.raises(WrongUnit, match="mass_fraction"):
        fluid.properties(base=Base.ETHANOL, mass_fraction=0.3, temperature=degrees(0))  # type: ignore[arg-type]


def test_no_ashrae_table_for_ethanol() -> None:
    with pytest.raises(NotKnown):
        fluid.ashrae_properties(base=Base.ETHANOL, volume_fraction=percent(30), temperature=degrees(0))


def test_strength_table_rows_agree_with_the_functions() -> None:
    rows = fluid.strength_table(base=Base.PROPYLENE_GLYCOL, step=percent(1), highest=percent(50))
    assert len(rows) == 51
    row = rows[30]
    assert row.freezing_point.m_as("degC") == pytest.approx(freezing(Base.PROPYLENE_GLYCOL, 30))
    assert row.volume_fraction is not None
    assert row.volume_fraction.m_as("percent") == pytest.approx(29.64, abs=0.02)  # final-volume column of the table
    assert row.brix == pytest.approx(21.8, abs=0.1)
    assert all(a.freezing_point > b.freezing_point for a, b in pairwise(rows))


def test_strength_table_leaves_out_what_is_not_known() -> None:
    salt = fluid.strength_table(base=Base.POTASSIUM_FORMATE, step=percent(5))[4]
    assert salt.volume_fraction is None
    assert salt.refractive_index is None
    assert salt.brix is None
    methanol = fluid.strength_table(base=Base.METHANOL, step=percent(10))
    assert methanol[3].refractive_index == pytest.approx(1.3407)  # CRC, read
    assert methanol[6].refractive_index is None  # the index has turned back
    with pytest.raises(OutOfRange):
        fluid.strength_table(base=Base.ETHANOL, step=percent(0))


def test_mixing_density_follows_temperature() -> None:
    # Thermal contraction of 600 L from 20 to -3 degC: EG 30.5 % 4.5 L, ethanol 24.6 % 6.1 L, methanol 20 % 3.9 L.
    for base, w, litres in [(Base.ETHYLENE_GLYCOL, 30.5, 4.5), (Base.ETHANOL, 24.6, 6.1), (Base.METHANOL, 20, 3.9)]:
        warm, cold = (
            float(fluid.mix_density(base=base, mass_fraction=percent(w), temperature=degrees(t)).m_as("kg/m^3"))
            for t in (20, -3)
        )
        assert 600 * (1 - warm / cold) == pytest.approx(litres, abs=0.06)


def test_pure_expansion_against_reference_equations() -> None:
    # CoolProp's reference equations of state between 10 and 30 degC.
    for name, base in [("Ethanol", Base.ETHANOL), ("Methanol", Base.METHANOL)]:
        cold, warm = (PropsSI("D", "T", t + 273.15, "P", 1.2e5, name) for t in (10, 30))
        assert _curves.expansion(base, 1.0, 10) / _curves.expansion(base, 1.0, 30) == pytest.approx(
            cold / warm, rel=1e-3
        )
