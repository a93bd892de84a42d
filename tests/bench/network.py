"""Our network solver against WNTR's simulator call and EPANET's bare solve, in one run. Ends with 1 when a bar is broken.

    python -m tests.bench.network

N loops on one manifold, cold propylene glycol, 0.35 L/s a loop, the model built once. Bars: the public function is ahead of
the simulator call at every N; the solver is within 3 times EPANET's bare core at N = 1000. The price of quantities
(the public function against the same sums in floats) is printed beside its aim. Times depend on the machine, ratios less.
"""

from __future__ import annotations

import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import wntr
from wntr.epanet.toolkit import ENepanet

from calcs import network, plant
from calcs._darcy import Law
from calcs.network import Branch, Branches, star
from calcs.plant import Bar, Manifold, Return
from calcs.units import quantity
from tests.calcs import epanet
from tests.calcs.epanet_graph import ROUGHNESS_MM

SIZES = (4, 12, 100, 1000)
FLUID: dict[str, Any] = {"density": quantity(1025.81, "kg/m^3"), "viscosity": quantity(5.376295, "mm^2/s")}
VISCOSITY, BORE, K, EACH = 5.376295e-6, 0.0262, 4.0, 0.35e-3
CORE_BAR, DOOR_AIM, DOOR_FROM = 3.0, 1.3, 12
ROUNDS, LEAST = 25, 0.02


def say(line: str) -> None:
    sys.stdout.write(line + "\n")


def milliseconds(*calls: Callable[[], object], clock: Callable[[], float] = time.perf_counter) -> list[float]:
    """Best time of each call, taken in turn so that a busy machine is busy for all of them."""
    repeats = [_repeats(call) for call in calls]
    taken: list[list[float]] = [[] for _ in calls]
    for _ in range(ROUNDS):
        for index, call in enumerate(calls):
            start = clock()
            for _ in range(repeats[index]):
                call()
            taken[index].append((clock() - start) / repeats[index] * 1e3)
    return [min(each) for each in taken]


def _repeats(call: Callable[[], object]) -> int:
    start = time.perf_counter()
    call()
    return max(1, int(LEAST / (time.perf_counter() - start)))


@dataclass(frozen=True)
class Array:
    """One manifold of N loops: as ours, as EPANET's input and as WNTR's model."""

    lengths: np.ndarray

    @property
    def count(self) -> int:
        return len(self.lengths)

    @property
    def total(self) -> float:
        return self.count * EACH

    def branches(self) -> Branches:
        ones = np.ones(self.count)
        return Branches(
            quantity(self.lengths, "m"), quantity(BORE * ones, "m"), K * ones, quantity(ROUGHNESS_MM * ones, "mm")
        )

    def star(self) -> epanet.Star:
        ones = np.ones(self.count)
        return epanet.Star(
            list(self.lengths), list(BORE * ones), list(K * ones), ROUGHNESS_MM / 1000, VISCOSITY, self.total
        )

    def model(self) -> Any:
        found = wntr.network.WaterNetworkModel()
        found.add_reservoir("R", base_head=1000.0)
        found.add_junction("J", base_demand=self.total, elevation=0.0)
        for index, length in enumerate(self.lengths):
            found.add_pipe(f"P{index}", "R", "J", float(length), BORE, ROUGHNESS_MM / 1000, K)
        options = found.options
        # It warns that roughness keeps its number when the law changes: it is given in the new law's unit.
        warnings.filterwarnings("ignore", message="Changing the headloss formula")
        options.hydraulic.headloss, options.hydraulic.inpfile_units = "D-W", "LPS"
        options.hydraulic.viscosity, options.hydraulic.accuracy = VISCOSITY, 1e-5
        options.hydraulic.headerror = options.hydraulic.flowchange = 1e-6
        options.time.duration = 0
        return found


@contextmanager
def opened(source: Path) -> Iterator[ENepanet]:
    """EPANET with its input read, ready to solve."""
    engine = ENepanet()
    engine.ENopen(str(source), str(source.with_suffix(".rpt")), str(source.with_suffix(".bin")))
    engine.ENopenH()
    yield engine
    engine.ENcloseH()
    engine.ENclose()


@dataclass(frozen=True)
class Line:
    """Milliseconds of one size; `door` is what quantities cost, as a ratio to floats."""

    count: int
    ours: float
    simulator: float
    with_file: float
    solver: float
    core: float
    door: float

    def text(self) -> str:
        return (
            f"{self.count:>5} {self.ours:8.3f} {self.solver:8.3f} {self.simulator:9.2f} {self.with_file:8.2f} "
            f"{self.core:8.3f}   x{self.simulator / self.ours:6.1f} x{self.with_file / self.ours:6.1f} "
            f"x{self.solver / self.core:7.2f} x{self.door:6.2f}"
        )

    def broken(self) -> list[str]:
        found = []
        if self.ours >= self.simulator:
            found.append(f"N = {self.count}: not ahead of the simulator call")
        if self.count == max(SIZES) and self.solver > CORE_BAR * self.core:
            found.append(f"N = {self.count}: {self.solver / self.core:.1f} times the bare core, bar {CORE_BAR:g}")
        return found


def measured(count: int, folder: Path) -> Line:
    array = Array(np.random.default_rng(count).uniform(140.0, 260.0, count))
    branches, total = array.branches(), quantity(array.total, "m^3/s")
    pipes = branches.pipes(**FLUID)
    source = folder / f"star{count}.inp"
    source.write_text(epanet._inp(array.star()), encoding="ascii")
    simulator = wntr.sim.EpanetSimulator(array.model())

    def ours() -> network.Solution:
        return network.solve(branches=branches, total_flow=total, **FLUID)

    def floats() -> object:
        # Made anew, as the public function does: nothing that one solve keeps for the next may count.
        return network._point(network._System(replace(pipes), None, 0.0), array.total, Law.COLEBROOK)

    def simulated() -> Any:
        return simulator.run_sim(file_prefix=str(folder / "sim"))

    def from_file() -> None:
        with opened(source) as engine:
            engine.ENinitH(10)
            engine.ENrunH()

    _agree(ours(), simulated(), array)
    with opened(source) as engine:

        def core() -> None:
            engine.ENinitH(10)
            engine.ENrunH()

        solver, bare = milliseconds(lambda: star(pipes, array.total, Law.COLEBROOK), core)
    called, simulator_call, with_file = milliseconds(ours, simulated, from_file)
    # Neither waits for anything: processor time, so that what else runs here does not count.
    alone, in_floats = milliseconds(ours, floats, clock=time.process_time)
    return Line(count, called, simulator_call, with_file, solver, bare, alone / in_floats)


def _agree(ours: network.Solution, theirs: Any, array: Array) -> None:
    """Both must solve the same thing, or their times say nothing."""
    flows = theirs.link["flowrate"].iloc[0][[f"P{index}" for index in range(array.count)]].to_numpy()
    np.testing.assert_allclose(ours.flows.to("m^3/s").magnitude, flows, rtol=0.015)


def ladders() -> None:
    """The graph solver on a ladder, for the record."""
    loop, step = (
        Branch(quantity(200, "m"), quantity(26.2, "mm"), fittings_k=4),
        Branch(quantity(1, "m"), quantity(73.6, "mm")),
    )
    for count in (12, 100):
        bar = Bar([step] * (count - 1), Return.REVERSE)
        total = quantity(count * EACH, "m^3/s")
        call = milliseconds(
            lambda bar=bar, total=total, count=count: plant.solve(  # type: ignore[misc]
                manifolds=[Manifold([loop] * count, bar=bar)], total_flow=total, **FLUID
            )
        )[0]
        say(f"reverse-return ladder of {count} loops, quantities in and out: {call:.1f} ms")


def main() -> int:
    say("milliseconds                                                 ratio to ours        ours to")
    say("    N     ours   solver simulator file ready     core   simulator  file    core  floats")
    with tempfile.TemporaryDirectory() as folder:
        lines = [measured(count, Path(folder)) for count in SIZES]
    for line in lines:
        say(line.text())
    ladders()
    dear = [line for line in lines if line.count >= DOOR_FROM and line.door > DOOR_AIM]
    for line in dear:
        say(f"aim missed: N = {line.count}: quantities cost x{line.door:.2f}, aim x{DOOR_AIM:g}")
    broken = [each for line in lines for each in line.broken()]
    for each in broken:
        say(f"BROKEN: {each}")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
