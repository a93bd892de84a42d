"""Timed holds of public rules: so much pressure for so many minutes, with nothing leaking and perhaps no fall.

None of these rules knows that PE creeps. Each is judged as it is written, and says what it can and cannot show; a fall beyond
what creep explains is a leak whatever the rule says. Local code decides which rule is asked for.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from enum import StrEnum

from calcs import _tightness as kernel
from calcs._ranges import between, not_negative, positive
from calcs._tightness_words import SAYINGS, Saying, is_airy, spoken
from calcs.errors import NotKnown
from calcs.leak_rate import Shut, smallest_leak
from calcs.pressure_test import (
    WALL_ONE_HOUR,
    WATER_MODULUS,
    PressureReading,
    Restraint,
    TemperatureChange,
    method_limits,
)
from calcs.sources import Source, Status, table
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict

# No rule asks for readings, but one at each end is what a fall is made of; this long a clock may differ from the watch.
WINDOW = 1.0


class Criterion(StrEnum):
    """What a rule asks for besides its minutes."""

    NO_LEAK = "no_leak"
    NO_DROP = "no_drop"
    DROP = "drop"


@dataclass(frozen=True)
class HoldRule:
    """One public rule: minutes, least pressure (None when it gives none), criterion, and what it can and cannot show."""

    name: str
    minutes: Quantity
    least: Quantity | None
    criterion: Criterion
    drop: Quantity | None
    shows: str
    source: Source


HOLD_SAYINGS: dict[str, Saying] = {
    "held": Saying(Outcome.PASS, Cause.NONE, "Held for the time of the rule, and no leak was seen."),
    "pressure too low": Saying(
        Outcome.CANNOT_TELL,
        Cause.CONDITIONS,
        "The pressure was lower than the rule asks for.",
        "Raise it to the pressure of the rule, if every part is rated for it, and start the time again.",
        to_method=False,
    ),
    "not looked": Saying(
        Outcome.CANNOT_TELL,
        Cause.READINGS,
        "Nobody said whether the joints are dry.",
        "Look at every joint and wipe it dry, then say what you saw.",
    ),
    "creep or leak": Saying(
        Outcome.CANNOT_TELL,
        Cause.DURATION,
        "The pressure falls more than the rule allows, but no more than plastic pipe may creep.",
        "Hold the pressure by pumping for some hours more and start the time again, or judge by the creep slope.",
    ),
    "fall in doubt": Saying(
        Outcome.CANNOT_TELL,
        Cause.RESOLUTION,
        "The fall lies too near what the rule allows for this gauge.",
        "Use a gauge with finer steps, or hold by pumping for longer and start the time again.",
    ),
}


def hold_rules() -> dict[str, HoldRule]:
    """The timed holds of public rules by name (units in the rows; range: rows of the table).

    Source: each row of `calcs/data/timed_holds.csv`.

    >>> hold_rules()["minnesota_4725_7050"].minutes.magnitude
    15.0
    """
    return {
        row["rule"]: HoldRule(
            name=row["rule"],
            minutes=quantity(float(row["minutes"]), "min"),
            least=quantity(float(row["pressure"]), row["unit"]) if row["pressure"] else None,
            criterion=Criterion(row["criterion"]),
            drop=quantity(float(row["drop_bar"]), "bar") if row["drop_bar"] else None,
            shows=row["shows"],
            source=Source(row["source"], Status(row["status"])),
        )
        for row in table("timed_holds")
    }


@dataclass(frozen=True)
class TimedHold:
    """One timed hold on one piece of pipe. `conditioned` is how long it was held by pumping before it was shut.

    `least` replaces the rule's pressure, where 1.5 times the working pressure is more. With `volume` the smallest leak that
    this hold was sure to show is told beside the verdict.
    """

    rule: str
    restraint: Restraint
    resolution: Quantity
    conditioned: Quantity
    loading: Quantity = field(default_factory=lambda: quantity(10.0, "min"))
    bore_to_wall: float = 9.0
    least: Quantity | None = None
    volume: Quantity | None = None

    @property
    def asked(self) -> HoldRule:
        """The rule; `NotKnown` for a name that is not in the table."""
        rules = hold_rules()
        if self.rule not in rules:
            raise NotKnown(what="Timed hold", value=self.rule, known=", ".join(rules))
        return rules[self.rule]

    def judge(
        self,
        readings: PressureReading,
        *,
        joints_dry: bool | None,
        temperature: TemperatureChange | None = None,
        air: Verdict | None = None,
    ) -> Verdict:
        """Verdict on readings whose minutes count from shutting the pipe; `joints_dry` None when nobody looked.

        Order: a leak that was seen, air, readings, pressure, a fall beyond creep, temperature, time, joints, the rule's own
        fall with 2u to spare. Units: bar, min. Range: two readings or more. Source: each rule's row; creep bands of the WRc
        lineage (read).

        >>> test = TimedHold("minnesota_4725_7050", Restraint.FREE, quantity(0.1, "bar"), quantity(0, "min"))
        >>> seen = PressureReading(quantity([0.0, 15], "min"), quantity([5.5, 4.9], "bar"))
        >>> test.judge(seen, joints_dry=True).outcome.value
        'pass'
        """
        rule = self.asked
        minutes, bar = readings.floats()
        first = "leak seen" if joints_dry is False else "air" if is_airy(air) else ""
        code = first or next(self._codes(rule, minutes, bar, temperature, joints_dry=joints_dry))
        saying = SAYINGS.get(code) or HOLD_SAYINGS[code]
        verdict = spoken(saying, tuple(self._figures(rule, minutes, bar)), rule.source)
        return replace(verdict, reason=f"{verdict.reason} {rule.shows}") if verdict.outcome is Outcome.PASS else verdict

    def _codes(
        self,
        rule: HoldRule,
        minutes: list[float],
        bar: list[float],
        temperature: TemperatureChange | None,
        *,
        joints_dry: bool | None,
    ) -> Iterator[str]:
        """What there is to say, the most pressing first."""
        yield from self._unready(rule, minutes, bar)
        creep = self._leak_line(minutes[-1] - minutes[0], bar[0])
        if temperature is not None and temperature.explains(creep):
            yield "temperature"
        if bar[0] - bar[-1] - kernel.guard(self._step()) > creep:
            yield "leak"
        if minutes[-1] - minutes[0] < si(rule.minutes, "min", "minutes") - WINDOW:
            yield "too short"
        if joints_dry is None:
            yield "not looked"
        yield self._rule_code(rule, bar[0] - bar[-1])

    def _unready(self, rule: HoldRule, minutes: list[float], bar: list[float]) -> Iterator[str]:
        """What keeps the readings from being judged at all."""
        step = self._step()
        if len(bar) < 2 or min(bar) <= 0.0:
            yield "readings missing"
        if not kernel.is_rising(minutes):
            yield "clock"
        least = self.least if self.least is not None else rule.least
        if least is not None and bar[0] + step < si(least, "bar", "least pressure"):
            yield "pressure too low"
        if max(bar) - bar[0] > step + kernel.EXACT:
            yield "rising"

    def _rule_code(self, rule: HoldRule, fall: float) -> str:
        if rule.criterion is Criterion.NO_LEAK:
            return "held"
        if rule.criterion is Criterion.NO_DROP:
            # One step is what rounding alone can make of a fall that is none.
            return "held" if fall <= kernel.EXACT else "fall in doubt" if fall <= self._step() else "creep or leak"
        limit, spare = self._drop(rule) or 0.0, kernel.guard(self._step())
        if fall + spare <= limit + kernel.EXACT:
            return "held"
        return "creep or leak" if fall - spare > limit else "fall in doubt"

    def _figures(self, rule: HoldRule, minutes: list[float], bar: list[float]) -> Iterator[Figure]:
        if len(bar) < 2 or not kernel.is_rising(minutes):
            return
        limit = 0.0 if rule.criterion is Criterion.NO_DROP else self._drop(rule)
        yield Figure("fall", bar[0] - bar[-1], "bar", u=kernel.TWO_READINGS * self._step(), limit=limit)
        least = minutes[-1] - minutes[0]
        if self.volume is not None and bar[0] > 0.0 and least >= 5.0:
            shut = Shut(self.restraint, self.volume, self.loading, self.conditioned, self.resolution, self.bore_to_wall)
            found = smallest_leak(shut=shut, start=quantity(bar[0], "bar"), minutes=quantity(least, "min"))
            yield Figure("smallest leak that this is sure to show", si(found, "L/hour", "leak"), "L/h")

    @staticmethod
    def _drop(rule: HoldRule) -> float | None:
        return None if rule.drop is None else si(rule.drop, "bar", "drop")

    def _step(self) -> float:
        return positive("resolution", si(self.resolution, "bar", "resolution"))

    def _leak_line(self, elapsed: float, start: float) -> float:
        """Fall in bar at which creep of the softest pipe that this may be no longer explains it."""
        rules = {key: row.value for key, row in method_limits("short_tightness").items()}
        kind = Restraint.FREE if self.restraint is Restraint.UNKNOWN else self.restraint
        band = kernel.band_of(rules, kind.value)
        loading = positive("loading time", si(self.loading, "min", "loading time"))
        hold = not_negative("time held", si(self.conditioned, "min", "time held"))
        ratio = between("bore over wall", self.bore_to_wall, 5.0, 30.0, "thin-wall formula")
        share = WALL_ONE_HOUR / (WATER_MODULUS * ratio)
        return start * (1.0 - kernel.creep(band.high + band.fail, loading, hold, elapsed, share)[1][-1])
