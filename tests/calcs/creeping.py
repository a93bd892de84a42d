"""A pipe that creeps, with a leak or without, by a solver of its own: an oracle for the judging of pressure tests.

Even time steps and the midpoint rule on the convolution; the product has uneven steps and the exact integral.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

MODULUS = 886.0
WATER = 2092.0
STEP = 0.25


@dataclass(frozen=True)
class Pipe:
    """Wall compliance t^slope / 886 MPa at one hour, bore over wall, litres, leak in L/h at `full` bar."""

    slope: float
    litres: float
    ratio: float = 8.811
    leak: float = 0.0
    full: float = 6.0

    @property
    def wall(self) -> float:
        """Give of the wall per bar at one hour."""
        return self.ratio / (10 * MODULUS)


@dataclass
class Run:
    """One pipe through its test, phase by phase: `drive` pumps or bleeds to a pressure, `leave` shuts it."""

    pipe: Pipe
    rises: list[float] = field(default_factory=list)
    bar: list[float] = field(default_factory=lambda: [0.0])

    def strain(self) -> float:
        """Stretch of wall and water now, share of the volume."""
        rises = np.array(self.rises)
        ages = (len(rises) - np.arange(len(rises)) - 0.5) * STEP / 60.0
        return float(np.sum(rises * ages**self.pipe.slope)) * self.pipe.wall + self.bar[-1] / (10 * WATER)

    def drive(self, minutes: float, to: float) -> float:
        """An even way to a pressure; litres that went in (bled: negative)."""
        before, steps = self.strain(), round(minutes / STEP)
        for rise in np.full(steps, (to - self.bar[-1]) / steps).tolist():
            self._step(rise)
        return (self.strain() - before) * self.pipe.litres

    def leave(self, minutes: float) -> tuple[np.ndarray, np.ndarray]:
        """Minutes and bar while nobody touches it."""
        content, steps, first = self.strain(), round(minutes / STEP), len(self.bar) - 1
        own = (STEP / 120.0) ** self.pipe.slope * self.pipe.wall + 1 / (10 * WATER)
        for _ in range(steps):
            pressure = max(self.bar[-1], 0.0)
            content -= self.pipe.leak * (pressure / self.pipe.full) ** 0.5 * STEP / 60.0 / self.pipe.litres
            self.rises.append(0.0)
            still = self.strain()
            self.rises.pop()
            self._step((content - still) / own)
        return np.arange(steps + 1) * STEP, np.array(self.bar[first:])

    def _step(self, rise: float) -> None:
        self.rises.append(rise)
        self.bar.append(self.bar[-1] + rise)


def shut(pipe: Pipe, start: float, loading: float, hold: float, until: float) -> tuple[np.ndarray, np.ndarray]:
    """Minutes and bar after shutting: raised over `loading` min, held by pumping for `hold` min, then left alone."""
    run = Run(pipe)
    run.drive(loading, start)
    if hold:
        run.drive(hold, start)
    return run.leave(until)
