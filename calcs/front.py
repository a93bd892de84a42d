"""The changeover of a loop with tees in it: the front runs through sections in series and splits, and comes out in parts.

Every way through the tree has its own time. What leaves is the flow-weighted sum F(t) = sum q_i F_i(t) / sum q of its ways,
so unlike legs blur the colour far more than the mixing in the pipe does: it comes in steps.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import pi, sqrt
from statistics import NormalDist

import numpy as np

from calcs import circuit
from calcs._ranges import between, kinematic_si, not_negative, positive
from calcs.changeover import NO_MIXING_BELOW, Changeover, Mixing, changeover_rows, dispersion, mixing_of, spread_factor
from calcs.circuit import Pipework, Split
from calcs.errors import Unsuitable
from calcs.network import Branch
from calcs.units import Array, Quantity, quantity, si

MOST_WAYS = 2000
_MIDDLES = np.array([NormalDist().inv_cdf((2 * index + 1) / 256.0) for index in range(128)])


def expected(
    *, run: Pipework, flow: Quantity, density: Quantity, viscosity: Quantity, band: float | None = None
) -> Changeover:
    """When a run should show colour: transit V / Q, first and full colour at 1 % and 99 % of F(t) = sum q_i F_i(t) / sum q.

    A way's time is the sum of its sections'; turbulent sections add their spread 2 K t / U^2, sections below Re 3000 add the
    tail of pure convection. At a tee the fluid mixes. Units: s, L. Range: all above 0, some thousand ways through the tree.
    Source: as `changeover.expected`, which it equals for a single section; sum over parallel legs: mass balance.

    >>> leg, tail = Branch(quantity(200, "m"), quantity(26.0, "mm")), Branch(quantity(20, "m"), quantity(32.6, "mm"))
    >>> water = {"density": quantity(999.7, "kg/m^3"), "viscosity": quantity(1.306, "mm^2/s")}
    >>> run = circuit.Run([tail, Split([leg, leg]), tail])
    >>> seen = expected(run=run, flow=quantity(38, "L/min"), **water)
    >>> round(seen.transit_time.magnitude), round(seen.first_colour.magnitude), round(seen.full_colour.magnitude)
    (388, 379, 397)
    """
    front = _Front.of(run, flow, density, viscosity)
    rows = changeover_rows()
    start, end = (front.time_of(rows[f"{edge}_fraction"].value) for edge in ("first", "full"))
    mixing, reynolds = front.mixing(rows["first_fraction"].value)
    return Changeover(
        transit_time=quantity(front.transit, "s"),
        first_colour=quantity(start, "s"),
        full_colour=quantity(end, "s"),
        loop_volume=circuit.volume(run=run),
        mixed_volume=quantity((end - start) * front.flow, "m^3").to("L"),
        reynolds=reynolds,
        mixing=mixing,
        band=rows["deviation"].value if band is None else between("band", band, 0.0, 1.0),
        mixed_doubt=rows["length_doubt"].value,
    )


def share_of_new(*, run: Pipework, flow: Quantity, density: Quantity, viscosity: Quantity, after: Quantity) -> float:
    """F(t), the share of new fluid in what leaves the run `after` this time (0 to 1, dimensionless).

    Formula and range as `expected`; times 0 or more. Source: as there.

    >>> short, long = Branch(quantity(100, "m"), quantity(26.0, "mm")), Branch(quantity(300, "m"), quantity(26.0, "mm"))
    >>> water = {"density": quantity(999.7, "kg/m^3"), "viscosity": quantity(1.306, "mm^2/s")}
    >>> both = {"run": circuit.Run([Split([short, long])]), "flow": quantity(38, "L/min"), **water}
    >>> [round(share_of_new(after=quantity(minutes, "min"), **both), 2) for minutes in (1, 5, 15)]
    [0.0, 0.65, 1.0]
    """
    seconds = not_negative("after", si(after, "s", "after"))
    return _Front.of(run, flow, density, viscosity).share(seconds)


def effective_length(*, run: Pipework, observed: Quantity, flow: Quantity) -> Quantity:
    """L = longest way times Q t / V: the length that a run of this shape would have for this changeover time; m.

    By volume, since the ways of a tree have no one bore: 10 % more time stands for 10 % more of every section. Range: all
    above 0. Source: geometry.

    >>> leg, tail = Branch(quantity(200, "m"), quantity(26.0, "mm")), Branch(quantity(20, "m"), quantity(32.6, "mm"))
    >>> run = circuit.Run([tail, Split([leg, leg]), tail])
    >>> round(effective_length(run=run, observed=quantity(388, "s"), flow=quantity(38, "L/min")).magnitude)
    240
    """
    t = positive("observed time", si(observed, "s", "observed time"))
    swept = positive("flow", si(flow, "m^3/s", "flow")) * t
    whole = si(circuit.volume(run=run), "m^3", "volume")
    return quantity(si(circuit.longest_path(run=run), "m", "length") * swept / whole, "m")


@dataclass(frozen=True)
class _Way:
    """One way through the run in SI: its share of the flow, seconds in mixing sections and their spread, seconds in others."""

    share: float
    mixed: float = 0.0
    variance: float = 0.0
    streaming: float = 0.0

    @property
    def transit(self) -> float:
        return self.mixed + self.streaming

    def then(self, other: _Way) -> _Way:
        return _Way(
            self.share * other.share,
            self.mixed + other.mixed,
            self.variance + other.variance,
            self.streaming + other.streaming,
        )

    def curve(self, t: float) -> float:
        """F of this way: a Gaussian front, then no mixing across the bore: F = 1 - 1/(4 theta^2) from half a volume on."""
        spread = sqrt(self.variance)
        if self.streaming == 0.0:
            return NormalDist(self.mixed, spread).cdf(t)
        left = t - self.mixed - (spread * _MIDDLES if spread > 0.0 else np.zeros(1))
        theta = np.maximum(left / self.streaming, 0.5)
        return float(np.mean(1.0 - 1.0 / (4.0 * theta**2)))


@dataclass(frozen=True)
class _Front:
    """All ways of a run at one flow (m3/s), and its sections with what they hold (m3) and their Reynolds numbers."""

    ways: tuple[_Way, ...]
    flow: float
    volumes: Array
    reynolds: Array

    @classmethod
    def of(cls, run: Pipework, flow: Quantity, density: Quantity, viscosity: Quantity) -> _Front:
        shared = circuit.flows(run=run, flow=flow, density=density, viscosity=viscosity).sections
        nu = kinematic_si(viscosity, density)
        flows = [float(each) for each in shared.flows.magnitude]
        ways, _ = _ways(run, iter(flows), nu)
        pieces = circuit.sections(run=run)
        return cls(
            ways=tuple(ways),
            flow=si(flow, "m^3/s", "flow"),
            volumes=np.array([si(circuit.volume(run=piece), "m^3", "volume") for piece in pieces]),
            reynolds=shared.reynolds,
        )

    @property
    def transit(self) -> float:
        return float(np.sum(self.volumes)) / self.flow

    def share(self, t: float) -> float:
        return sum(way.share * way.curve(t) for way in self.ways)

    def time_of(self, fraction: float) -> float:
        """When this share of new fluid is reached, by halving; F never falls."""
        low, high = 0.0, self.transit
        while self.share(high) < fraction:
            low, high = high, 2.0 * high
        for _ in range(60):
            middle = (low + high) / 2.0
            low, high = (middle, high) if self.share(middle) < fraction else (low, middle)
        return high

    def mixing(self, fraction: float) -> tuple[Mixing, float]:
        """What holds in most of the volume, with the Reynolds number of its largest section; unlike legs come first."""
        kinds = [mixing_of(float(re)) for re in self.reynolds]
        held = {
            kind: sum(v for v, each in zip(self.volumes, kinds, strict=True) if each is kind) for kind in set(kinds)
        }
        most = max(held, key=lambda kind: held[kind])
        largest = max((i for i, kind in enumerate(kinds) if kind is most), key=lambda i: self.volumes[i])
        times = [way.transit for way in self.ways]
        width = spread_factor(fraction) / sqrt(2.0) * max(sqrt(way.variance) for way in self.ways)
        apart = max(times) - min(times) > width
        unlike = apart and most is not Mixing.CONVECTION
        return Mixing.UNLIKE_LEGS if unlike else most, float(self.reynolds[largest])


def _ways(run: Pipework | Split, flows: Iterator[float], nu: float) -> tuple[list[_Way], float]:
    """Every way through a part of the tree, and the flow that enters it. `flows` gives each section's in order of walking."""
    if isinstance(run, Branch):
        flow = next(flows)
        return [_one(run, flow, nu)], flow
    if isinstance(run, Split):
        legs = [_ways(leg, flows, nu) for leg in run.legs]
        total = sum(flow for _, flow in legs)
        return _merged([_Way(flow / total).then(way) for ways, flow in legs for way in ways]), total
    parts = [_ways(part, flows, nu) for part in run.parts]
    ways = [_Way(1.0)]
    for further, _ in parts:
        ways = _merged([way.then(next_way) for way in ways for next_way in further])
    return ways, parts[0][1]


def _one(section: Branch, flow: float, nu: float) -> _Way:
    bore, length = si(section.bore, "m", "bore"), si(section.length, "m", "length")
    speed = flow / (pi / 4.0 * bore**2)
    transit, re = length / speed, speed * bore / nu
    if re < NO_MIXING_BELOW:
        return _Way(1.0, streaming=transit)
    spread = dispersion(bore=section.bore, velocity=quantity(speed, "m/s"), reynolds=re)
    return _Way(1.0, transit, 2.0 * si(spread, "m^2/s", "dispersion") * transit / speed**2)


def _merged(ways: Sequence[_Way]) -> list[_Way]:
    """Like ways taken together, so that a string of double U-tubes does not double them each time."""
    found: dict[tuple[float, float, float], _Way] = {}
    for way in ways:
        key = (round(way.mixed, 4), round(way.variance, 4), round(way.streaming, 4))
        held = found.get(key)
        found[key] = way if held is None else _Way(held.share + way.share, way.mixed, way.variance, way.streaming)
    if len(found) > MOST_WAYS:
        reason = f"there are more than {MOST_WAYS} ways through it."
        raise Unsuitable(what="This run", reason=reason, instead="Take its parts one by one.")
    return list(found.values())
