"""Readings: the chain of tables, the refusals, sample temperature, uncertainty and the frost verdict."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import _curves, _optics, refractometer
from calcs.base import Base
from calcs.errors import OutOfRange, Unsuitable
from calcs.refractometer import Reading, Scale
from calcs.sources import table
from calcs.units import Quantity, quantity
from calcs.verdict import Cause, Outcome

EG, PG = Base.ETHYLENE_GLYCOL, Base.PROPYLENE_GLYCOL


def degrees(value: float) -> Quantity:
    return quantity(value, "degC")


def brix(value: float, base: Base = EG, t: float = 20, **more: object) -> Reading:
    return refractometer.read(
        scale=Scale.BRIX,
        value=quantity(value, ""),
        base=base,
        sample_temperature=degrees(t),
        **more,  # type: ignore[arg-type]
    )


def on_degrees(value: float, base: Base, scale_base: Base | None, **more: object) -> Reading:
    return refractometer.read(
        scale=Scale.FREEZING_POINT,
        value=degrees(value),
        base=base,
        scale_base=scale_base,
        sample_temperature=degrees(20),
        **more,  # type: ignore[arg-type]
    )


def mass(reading: Reading) -> float:
    return float(reading.mass_fraction.m_as("percent"))


def frost(reading: Reading) -> float:
    return float(reading.freezing_point.m_as("degC"))


def u_frost(reading: Reading) -> float:
    return float(reading.u_freezing_point.m_as("K"))


@pytest.mark.parametrize(
    ("shown", "base", "w", "t"),
    [
        (10, EG, 15.4, -5.6),
        (14, EG, 21.7, -8.8),
        (20, EG, 31.3, -15.0),
        (24, EG, 37.9, -20.2),
        (10, PG, 13.5, -4.3),
        (14, PG, 19.0, -6.7),
        (18, PG, 24.6, -9.4),
        (20, PG, 27.4, -11.1),
        (24, PG, 33.3, -15.1),
        (10, Base.ETHANOL, 21.2, -11.9),
    ],
)
def test_brix_chain_of_the_worked_table(shown: float, base: Base, w: float, t: float) -> None:
    # Computed independently: ICUMSA 1974, index tables inverted (monotone cubic), the warmer freezing curve. 0.1 is the
    # tolerance of the golden rows of this chain.
    found = brix(shown, base)
    assert mass(found) == pytest.approx(w, abs=0.1)
    assert frost(found) == pytest.approx(t, abs=0.1)


@pytest.mark.parametrize(("base", "factor"), [(EG, 1.55), (PG, 1.36), (Base.GLYCEROL, 1.25)])
def test_field_rule_of_thumb(base: Base, factor: float) -> None:
    for shown in range(8, 21):
        assert mass(brix(shown, base)) == pytest.approx(factor * shown, abs=0.3)


@pytest.mark.parametrize("base", [EG, Base.ETHANOL, Base.GLYCEROL])
def test_index_reading_gives_back_the_crc_row(base: Base) -> None:
    rows = [r for r in table("crc_aqueous_solutions") if r["fluid"] == base.value and 5 <= float(r["mass_pct"]) <= 28]
    for r in rows:
        found = refractometer.read(
            scale=Scale.REFRACTIVE_INDEX,
            value=quantity(float(r["nD20"]), ""),
            base=base,
            sample_temperature=degrees(20),
        )
        assert mass(found) == pytest.approx(float(r["mass_pct"]), abs=1e-6)


def test_brix_scale_agrees_with_its_cubic_fit() -> None:
    # n = 1.332985 + 1.428775e-3 B + 5.327717e-6 B^2 + 1.875191e-8 B^3, 0 to 50, within 5e-6.
    for b in range(51):
        fit = 1.332985 + 1.428775e-3 * b + 5.327717e-6 * b**2 + 1.875191e-8 * b**3
        assert refractometer.index_from_brix(brix=b) == pytest.approx(fit, abs=6e-6)


@given(w=st.floats(0, 0.6), base=st.sampled_from([EG, PG, Base.GLYCEROL]))
def test_index_there_and_back(w: float, base: Base) -> None:
    assert _optics.fraction_of(base, _optics.index_of(base, w)) == pytest.approx(w, abs=1e-9)


@given(b=st.floats(0, 50))
def test_brix_there_and_back(b: float) -> None:
    index = refractometer.index_from_brix(brix=b)
    assert refractometer.brix_from_index(index=index) == pytest.approx(b, abs=1e-9)


def test_propylene_glycol_index_against_abbe_readings() -> None:
    # Abbe readings of another source at 20, 25 and 30 degC, 50 and 60 mass %: 3e-4.
    for r in table("propylene_glycol_refractive_index_abbe"):
        w = float(r["mass_pct"]) / 100
        if w <= 0.6:
            n, slope = _optics.index_of(PG, w), _optics.propylene_glycol_slope(w)
            assert n == pytest.approx(float(r["nD20"]), abs=3e-4)
            assert slope == pytest.approx(float(r["dn_dT_per_K_computed"]), rel=0.03)


@given(t=st.floats(-40, -1), base=st.sampled_from([EG, PG]))
def test_a_degree_scale_of_its_own_glycol_is_taken_at_its_word(t: float, base: Base) -> None:
    found = on_degrees(t, base, base)
    assert frost(found) == pytest.approx(t, abs=1e-6)
    assert u_frost(found) == pytest.approx(1 / math.sqrt(3), rel=0.05)  # ASTM D3321: within 1 degC


@pytest.mark.parametrize("base", [Base.ETHANOL, Base.POTASSIUM_CARBONATE, Base.GLYCEROL])
def test_degree_scales_are_refused_for_all_but_glycols(base: Base) -> None:
    with pytest.raises(Unsuitable, match="for glycols"):
        on_degrees(-15, base, EG)


def test_the_wrong_glycol_scale_is_refused_with_its_reason() -> None:
    with pytest.raises(Unsuitable, match="too much protection"):
        on_degrees(-18, PG, EG)
    with pytest.raises(Unsuitable, match="the fluid is ethylene glycol"):
        on_degrees(-10, EG, PG)
    with pytest.raises(Unsuitable, match="not said"):
        on_degrees(-10, EG, None)
    with pytest.raises(Unsuitable, match="frost protection"):
        on_degrees(-10, EG, EG, midpoint=True)


@pytest.mark.parametrize("base", [Base.METHANOL, Base.POTASSIUM_ACETATE, Base.POTASSIUM_FORMATE, Base.WATER])
def test_brix_is_refused_where_it_says_nothing(base: Base) -> None:
    with pytest.raises(Unsuitable):
        brix(8, base)


def test_brix_of_strong_ethanol_is_refused() -> None:
    assert mass(brix(14.9, Base.ETHANOL)) < 40
    with pytest.raises(Unsuitable, match="falls again"):
        brix(15.5, Base.ETHANOL)


@pytest.mark.parametrize(
    ("base", "w", "seen"),
    [(PG, 20, -9.6), (PG, 40, -29.8), (EG, 20, None), (Base.ETHANOL, 15, -3.6), (Base.METHANOL, 30, -2.7)],
)
def test_what_the_wrong_scale_would_show(base: Base, w: float, seen: float | None) -> None:
    scale = EG if seen is not None else PG
    found = refractometer.shown_on(base=base, mass_fraction=quantity(w, "percent"), scale_base=scale)
    assert found.m_as("degC") == pytest.approx(-6.0 if seen is None else seen, abs=0.06)


def test_a_scale_shows_its_own_fluid_right() -> None:
    found = refractometer.shown_on(base=EG, mass_fraction=quantity(30, "percent"), scale_base=EG)
    assert found.m_as("degC") == pytest.approx(_curves.polynomial_freezing(EG, 0.3))


@pytest.mark.parametrize(("shown", "t", "add"), [(10, 5, -0.82), (20, 12, -0.53), (30, 17, -0.22), (15, 10, -0.62)])
def test_sucrose_correction_of_the_printed_table(shown: float, t: float, add: float) -> None:
    # OIV-MA-AS2-02, Table I.
    assert refractometer.brix_correction(brix=shown, sample_temperature=degrees(t)) == pytest.approx(add, abs=1e-9)


def test_the_wider_correction_table_agrees_with_the_shipped_extract() -> None:
    for r in table("brix_temperature_correction_oiv"):
        for column in (10, 15, 20, 25, 30):
            found = refractometer.brix_correction(brix=column, sample_temperature=degrees(float(r["T_C"])))
            assert found == pytest.approx(float(r[f"brix_{column}"]), abs=1e-9)


def test_a_cold_uncompensated_sample_reads_too_strong() -> None:
    # PG 30 % at 10 degC: 1.7 mass % and 1.1 K too good without correction.
    n_cold = _optics.index_of(PG, 0.3) - 10 * _optics.propylene_glycol_slope(0.3)

    def taken(t: float, *, compensated: bool) -> Reading:
        return refractometer.read(
            scale=Scale.REFRACTIVE_INDEX,
            value=quantity(n_cold, ""),
            base=PG,
            sample_temperature=degrees(t),
            compensated=compensated,
        )

    raw, corrected = taken(20, compensated=True), taken(10, compensated=False)
    assert mass(raw) - 30 == pytest.approx(1.7, abs=0.1)
    assert frost(raw) - frost(corrected) == pytest.approx(-1.1, abs=0.15)
    assert mass(corrected) == pytest.approx(30, abs=1e-6)


def test_compensated_cold_sample_is_less_certain_and_warned_of() -> None:
    # Sucrose compensation leaves 0.5 Brix = 0.8 mass % = 0.5 K at 10 K for PG 30 %.
    cold, warm = brix(21.8, PG, t=10), brix(21.8, PG, t=20)
    widened = math.sqrt(u_frost(cold) ** 2 - u_frost(warm) ** 2) * math.sqrt(3)
    assert widened == pytest.approx(0.5, abs=0.06)
    assert any("10 °C" in text for text in cold.warnings)
    assert not any("°C" in text for text in warm.warnings)


def test_a_corrected_sample_is_less_certain_the_colder_it_was() -> None:
    # A 30 % mix: 10 K times 1.96e-4 per K, known to 10 %: 1.96e-4 in the index = 0.17 mass % as a limit.
    exact = quantity(0, "")
    cold = brix(22.9, PG, t=10, compensated=False, accuracy=exact)
    assert mass(cold) == pytest.approx(30, abs=0.3)
    warm = brix(21.8, PG, t=20, compensated=False, accuracy=exact)
    u_cold, u_warm = (float(r.u_mass_fraction.m_as("percent")) for r in (cold, warm))
    assert math.sqrt(3 * (u_cold**2 - u_warm**2)) == pytest.approx(0.17, abs=0.01)


def test_uncompensated_outside_the_table_is_an_error() -> None:
    with pytest.raises(OutOfRange):
        brix(18, EG, t=25, compensated=False)
    with pytest.raises(OutOfRange):
        brix(18, PG, t=40, compensated=False)
    assert mass(brix(18, EG, t=20, compensated=False)) == pytest.approx(mass(brix(18, EG)))


@pytest.mark.parametrize(
    ("base", "shown", "limit_w", "limit_t"), [(EG, 18, 0.31, 0.2), (PG, 20, 0.28, 0.16), (Base.ETHANOL, 12, 0.5, 0.5)]
)
def test_limits_of_a_hand_instrument(base: Base, shown: float, limit_w: float, limit_t: float) -> None:
    # 0.2 Brix: EG 0.29 mass % = 0.2 K; PG 0.26 % = 0.15 K; ethanol 0.5 % = 0.5 K, before the index table's own doubt.
    bare = brix(shown, base)
    table_limit = {EG: 1e-4, PG: 3e-4, Base.ETHANOL: 1e-4}[base] / _optics.slope(base, mass(bare) / 100)
    instrument = math.sqrt(max(bare.u_mass_fraction.m_as("") ** 2 - table_limit**2 / 3, 0)) * math.sqrt(3)
    assert 100 * instrument == pytest.approx(limit_w, rel=0.1)
    assert instrument / bare.u_mass_fraction.m_as("") * u_frost(bare) == pytest.approx(limit_t, rel=0.25)


def test_resolution_and_accuracy_count() -> None:
    plain = brix(18)
    coarse = brix(18, resolution=quantity(1, ""))
    exact = brix(18, accuracy=quantity(0.01, ""))
    assert u_frost(exact) < u_frost(plain) < u_frost(coarse)
    with pytest.raises(OutOfRange, match="accuracy"):
        brix(18, accuracy=quantity(-0.2, ""))


def test_readings_outside_the_scale() -> None:
    with pytest.raises(OutOfRange):
        brix(51)
    with pytest.raises(OutOfRange):
        brix(-1)
    with pytest.raises(OutOfRange):
        on_degrees(-70, EG, EG)
    with pytest.raises(Unsuitable):
        refractometer.read(scale=Scale.DENSITY, value=quantity(1, "kg/m^3"), base=EG, sample_temperature=degrees(20))


@given(base=st.sampled_from([b for b in Base if b is not Base.WATER]), share=st.floats(0.02, 0.99), t=st.floats(1, 39))
def test_density_there_and_back(base: Base, share: float, t: float) -> None:
    w = share * _curves.mass_fit(base).x_max
    rho = quantity(_curves.density(base, w, t), "kg/m^3")
    if base.is_glycol and rho.magnitude > 1080:
        return
    found = refractometer.read_density(density=rho, base=base, sample_temperature=degrees(t))
    assert mass(found) == pytest.approx(100 * w, abs=1e-4)


def test_hydrometer_of_ethanol() -> None:
    # 0.001 in specific gravity is 0.7 mass % = 0.65 K at 20 to 25 %; 10 K of sample temperature 3.5 mass %.
    def at(rho: float, t: float = 20) -> Reading:
        return refractometer.read_density(
            density=quantity(rho, "kg/m^3"), base=Base.ETHANOL, sample_temperature=degrees(t)
        )

    assert mass(at(962.5)) - mass(at(963.5)) == pytest.approx(0.7, abs=0.05)
    assert frost(at(963.5)) - frost(at(962.5)) == pytest.approx(0.65, abs=0.06)
    assert mass(at(962.5, 10)) - mass(at(962.5, 20)) == pytest.approx(3.5, abs=0.5)
    assert mass(at(968.7)) == pytest.approx(20, abs=1e-6)  # CRC, read


def test_the_thermometer_counts_in_a_hydrometer_reading() -> None:
    # Ethanol 25 %: 0.49 kg/m3 per kelvin over 1.4 kg/m3 per mass %, thermometer within 1 K: 0.35 mass % as a limit.
    found = refractometer.read_density(
        density=quantity(961.7, "kg/m^3"),
        base=Base.ETHANOL,
        sample_temperature=degrees(20),
        accuracy=quantity(0, "kg/m^3"),
    )
    assert math.sqrt(3) * float(found.u_mass_fraction.m_as("percent")) == pytest.approx(0.35, abs=0.03)


def test_battery_acid_scale_is_refused_for_glycol() -> None:
    with pytest.raises(Unsuitable, match="battery"):
        refractometer.read_density(density=quantity(1170, "kg/m^3"), base=EG, sample_temperature=degrees(20))
    with pytest.raises(Unsuitable):
        refractometer.read_density(density=quantity(1000, "kg/m^3"), base=Base.WATER, sample_temperature=degrees(20))
    with pytest.raises(OutOfRange):
        refractometer.read_density(density=quantity(1010, "kg/m^3"), base=Base.ETHANOL, sample_temperature=degrees(20))


def verdict(t: float, u: float | None = None) -> Outcome:
    return refractometer.frost_verdict(
        freezing_point=degrees(t), required=degrees(-15), u=None if u is None else quantity(u, "K")
    ).outcome


def test_frost_verdict_at_its_edges() -> None:
    assert verdict(-16.0) is Outcome.PASS
    assert verdict(-15.999) is Outcome.CANNOT_TELL
    assert verdict(-14.0) is Outcome.CANNOT_TELL
    assert verdict(-13.999) is Outcome.FAIL
    assert verdict(-21.0) is Outcome.PASS
    assert verdict(-21.001) is Outcome.WARN


def test_a_poor_instrument_widens_the_guard_band() -> None:
    assert verdict(-16.5, u=0.3) is Outcome.PASS
    assert verdict(-16.5, u=1.0) is Outcome.CANNOT_TELL


def test_a_frost_verdict_names_cause_and_way_out() -> None:
    found = refractometer.frost_verdict(freezing_point=degrees(-15), required=degrees(-15))
    assert found.cause is Cause.STRENGTH
    assert found.way_out
    with pytest.raises(OutOfRange):
        refractometer.frost_verdict(freezing_point=degrees(3), required=degrees(-15))


def test_repeats_that_differ_are_refused_and_the_warmest_counts() -> None:
    pair = [brix(18.0), brix(18.3)]
    assert refractometer.repeat_of(readings=pair) is pair[0]
    with pytest.raises(Unsuitable, match="differ by"):
        refractometer.repeat_of(readings=[brix(18), brix(20)])
    with pytest.raises(Unsuitable):
        refractometer.repeat_of(readings=[brix(18), brix(18, PG)])
    with pytest.raises(Unsuitable):
        refractometer.repeat_of(readings=[])


def test_reading_knows_its_strength() -> None:
    found = brix(18)
    assert found.strength.label == "28.0 % by mass, ethylene glycol"
    assert found.volume_fraction is not None
    assert found.low <= found.freezing_point
