"""Other published pressure tests: contraction method, Type II decay, ASTM F2164, a fixed drop; timed holds: `pressure_holds`.

Each class names its edition. Limits are rows of `pressure_methods`. Air is judged before leakage: it hides a leak.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import ClassVar

import numpy as np

from calcs import _tightness as kernel
from calcs._ranges import not_negative, positive
from calcs._tightness_words import is_airy, verdict_of
from calcs.errors import NotKnown
from calcs.pressure_test import En805A27, PressureReading, Restraint, TemperatureChange, method_limits
from calcs.sources import Limit
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict

DECIDED = frozenset({"tight", "air", "leak"})


@dataclass(frozen=True)
class Contraction(En805A27):
    """The contraction method: the A.27 sequence with a lower limit of the rest phase and a fixed let-down by SDR."""

    method: str = "w400_2_2022"
    edition: ClassVar[str] = (
        "DVGW W 400-2:2022, as told by instrument makers and a Swiss utility; the text was not read"
    )

    @property
    def let_down(self) -> Quantity:
        """How far to let down within 2 min: 3.2 bar for SDR 11, 2.0 bar for SDR 17. Other walls: `NotKnown`."""
        rows, sdr = self._limits(), self.bore_to_wall + 2.0
        for wall in (11, 17):
            # Real walls are a little thicker than the name of the series.
            if 0.9 * wall <= sdr <= 1.03 * wall:
                return quantity(rows[f"let_down_sdr{wall}"].value, "bar")
        raise NotKnown(what="Let-down for SDR", value=f"{sdr:.1f}", known="11 and 17")


@dataclass(frozen=True)
class TypeII:
    """The UK Type II decay test: pressures at t_L, 7 t_L and 15 t_L or later after shutting, judged by two slopes.

    `wall` is the temperature of the pipe wall; readings are gauge pressures as read.
    """

    restraint: Restraint
    loading: Quantity
    resolution: Quantity
    wall: Quantity | None = None
    excess_volume: bool = False
    limits: Mapping[str, Limit] = field(default_factory=lambda: method_limits("type_ii"))
    edition: ClassVar[str] = (
        "IGN 4-01-03 lineage (Issue 2, October 2015, not read), by a supplier page of the WRc manual"
    )

    def judge(self, readings: PressureReading, *, temperature: TemperatureChange | None = None) -> Verdict:
        """Verdict from N1 = log10(P1/P2) / log10(t2c/t1c) and N2, corrected times t + 0.4 t_L, and their ratio.

        Units: min, bar. Range: three readings, the last at 15 t_L or later; wall below 30 degC. Source: supplier page of
        the WRc lineage (read), margins and ratio house defaults.

        >>> test = TypeII(Restraint.FREE, quantity(5, "min"), quantity(0.01, "bar"))
        >>> seen = PressureReading(quantity([5.0, 35, 75], "min"), quantity([6.60, 5.68, 5.32], "bar"))
        >>> test.judge(seen).outcome.value
        'pass'
        """
        rules = {key: row.value for key, row in self.limits.items()}
        minutes, bar = readings.floats()
        loading = positive("loading time", si(self.loading, "min", "loading time"))
        step = positive("resolution", si(self.resolution, "bar", "resolution"))
        source = self.limits["free_low"].source
        if self.wall is not None and _is_above(self.wall, rules["wall_temperature"]):
            return verdict_of("wall too warm", (), source)
        run = kernel.Decay(minutes, bar, loading, step)
        kinds = [self.restraint] if self.restraint is not Restraint.UNKNOWN else [Restraint.FREE, Restraint.BACKFILLED]
        codes = {
            kernel.type_ii(run, kernel.band_of(rules, kind.value), rules, air=self.excess_volume) for kind in kinds
        }
        code = codes.pop() if len(codes) == 1 else "restraint unknown"
        if code in DECIDED and temperature is not None and temperature.explains(self._room(run, rules)):
            code = "temperature"
        return self._with_air(verdict_of(code, self._figures(run, rules), source), run, rules)

    def _room(self, run: kernel.Decay, rules: Mapping[str, float]) -> float:
        """Fall in bar that the leak line allows from the middle to the last reading."""
        kind = Restraint.FREE if self.restraint is Restraint.UNKNOWN else self.restraint
        band, share = kernel.band_of(rules, kind.value), rules["loading_share"]
        grown = (run.minutes[-1] / run.loading + share) / (rules["second"] + share)
        return max(run.bar) * (1.0 - float(grown ** -(band.high + band.fail)))

    def _with_air(self, verdict: Verdict, run: kernel.Decay, rules: Mapping[str, float]) -> Verdict:
        """A leak beside too much air: both are told, since the leak is larger than it looks."""
        found = kernel.slopes_of(run, rules)
        if verdict.outcome is not Outcome.FAIL or verdict.cause is not Cause.LEAK or found is None:
            return verdict
        kind = Restraint.FREE if self.restraint is Restraint.UNKNOWN else self.restraint
        if self.excess_volume or found[0][0] < kernel.band_of(rules, kind.value).low:
            return replace(
                verdict, reason=f"{verdict.reason} There is too much air as well: purge before the next test."
            )
        return verdict

    @staticmethod
    def _figures(run: kernel.Decay, rules: Mapping[str, float]) -> tuple[Figure, ...]:
        slopes = kernel.slopes_of(run, rules)
        if slopes is None:
            return ()
        return tuple(
            Figure(name, value, "", u=u) for name, value, u in zip(("N1", "N2"), slopes[0], slopes[1], strict=True)
        )


@dataclass(frozen=True)
class F2164:
    """ASTM F2164: after about 4 h with make-up the pressure is lowered, shut, and must stay within 5 % for an hour."""

    resolution: Quantity
    total_at_pressure: Quantity
    limits: Mapping[str, Limit] = field(default_factory=lambda: method_limits("f2164"))
    edition: ClassVar[str] = "ASTM F2164 (scopes of the 2002 to 2021 editions read; the rule is from memory)"

    def judge(
        self, readings: PressureReading, *, temperature: TemperatureChange | None = None, air: Verdict | None = None
    ) -> Verdict:
        """Every reading of the test hour within 5 % of its first. Units: min, bar. Range: at most 8 h at pressure.

        Source: ASTM F2164 (memory, unconfirmed); the 8 h from a municipal specification (read).

        >>> test = F2164(quantity(0.01, "bar"), total_at_pressure=quantity(5, "hour"))
        >>> seen = PressureReading(quantity([0.0, 10, 60], "min"), quantity([6.81, 6.96, 6.88], "bar"))
        >>> test.judge(seen).outcome.value
        'pass'
        """
        rules = {key: row.value for key, row in self.limits.items()}
        minutes, bar = readings.floats()
        source = self.limits["band"].source
        if si(self.total_at_pressure, "min", "time at pressure") > rules["longest"]:
            return verdict_of("too long at pressure", (), source)
        if is_airy(air):
            return verdict_of("air", (), source)
        step = positive("resolution", si(self.resolution, "bar", "resolution"))
        code = kernel.within_band(minutes, bar, step, rules)
        if not bar or bar[0] <= 0.0:
            return verdict_of(code, (), source)
        if code in DECIDED and temperature is not None and temperature.explains(rules["band"] * bar[0]):
            code = "temperature"
        away = max(abs(value - bar[0]) for value in bar)
        figures = (
            Figure("largest deviation", 100.0 * away / bar[0], "%", limit=100.0 * rules["band"]),
            Figure("deviation", away, "bar", u=kernel.TWO_READINGS * step, limit=rules["band"] * bar[0]),
        )
        return verdict_of(code, figures, source)


@dataclass(frozen=True)
class FixedDrop:
    """A fixed drop in a fixed time, such as 0.2 bar in 60 min: fair for pipe that was held at pressure for hours before."""

    restraint: Restraint
    resolution: Quantity
    conditioned: Quantity
    limits: Mapping[str, Limit] = field(default_factory=lambda: method_limits("fixed_drop"))
    edition: ClassVar[str] = "VDI 4640-2:2001 (from memory; the text was not read)"

    def judge(
        self, readings: PressureReading, *, temperature: TemperatureChange | None = None, air: Verdict | None = None
    ) -> Verdict:
        """Fall from the first reading to that at 60 min at most 0.2 bar. Units: min, bar. Range: one hour of readings.

        Source: VDI 4640-2:2001 (memory, unconfirmed); what creep does to it: house default.

        >>> test = FixedDrop(Restraint.FREE, quantity(0.02, "bar"), conditioned=quantity(30, "min"))
        >>> test.judge(PressureReading(quantity([0.0, 60], "min"), quantity([6.0, 5.5], "bar"))).cause.value
        'duration'
        """
        rules = {key: row.value for key, row in self.limits.items()}
        minutes, bar = readings.floats()
        step = positive("resolution", si(self.resolution, "bar", "resolution"))
        held = not_negative("time held", si(self.conditioned, "min", "time held"))
        creeps = held < rules["conditioned"] and self.restraint in {Restraint.FREE, Restraint.UNKNOWN}
        code = kernel.fixed_drop(minutes, bar, step, rules, creeps=creeps)
        source = self.limits["limit"].source
        if is_airy(air):
            return verdict_of("air", (), source)
        if code in DECIDED and temperature is not None and temperature.explains(rules["limit"]):
            code = "temperature"
        if not bar:
            return verdict_of(code, (), source)
        u = kernel.TWO_READINGS * step
        return verdict_of(code, (Figure("fall", bar[0] - bar[-1], "bar", u=u, limit=rules["limit"]),), source)


def _is_above(wall: Quantity, limit: float) -> bool:
    """Whether a wall is warmer than a limit in degC; 86 degF is 30 degC, not a hair more."""
    return si(wall, "degC", "wall temperature") > limit + kernel.EXACT


def closed_form(*, start: Quantity, slope: float, loading: Quantity, times: tuple[float, ...]) -> PressureReading:
    """P(t) = P_1 (t_c / t_1c)^-n: readings of a sound main, times in multiples of t_L (the first at t_L), for drawing.

    Units: bar, min. Range: slope 0 to 0.3. Source: definition of the decay slope.

    >>> seen = closed_form(start=quantity(6.6, "bar"), slope=0.09, loading=quantity(5, "min"), times=(1, 7, 15))
    >>> seen.pressure.magnitude.round(3).tolist()
    [6.6, 5.682, 5.319]
    """
    share = method_limits("type_ii")["loading_share"].value
    up = positive("loading time", si(loading, "min", "loading time"))
    first = positive("start pressure", si(start, "bar", "start pressure"))
    minutes = up * np.array(times, dtype=np.float64)
    corrected = minutes + share * up
    bar = first * (corrected / corrected[0]) ** -not_negative("slope", slope)
    return PressureReading(quantity(minutes, "min"), quantity(bar, "bar"))
