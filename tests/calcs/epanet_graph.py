"""EPANET 2.2 (through WNTR's toolkit) on any network of pipes: an oracle for `calcs.plant` and `calcs.circuit`.

The tests draw each network a second time, pipe by pipe between named nodes, so that the oracle also checks how ours is laid.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from wntr.epanet.toolkit import ENepanet
from wntr.epanet.util import EN

from calcs.network import Branch
from tests.calcs.epanet import EPANET_GRAVITY, EPANET_K

INLET, OUTLET = "in", "out"
ROUGHNESS_MM = 7e-3


@dataclass(frozen=True)
class Drawn:
    """One pipe between two named nodes, in SI."""

    start: str
    end: str
    length: float
    bore: float
    fittings_k: float = 0.0


@dataclass(frozen=True)
class Answer:
    """Flows m3/s of the pipes as drawn, and the drop in Pa of a fluid of 1000 kg/m3 from inlet to outlet."""

    flows: np.ndarray
    drop: float


def drawn(start: str, end: str, section: Branch) -> Drawn:
    """The same section as ours, between two nodes."""
    return Drawn(start, end, section.length.m_as("m"), section.bore.m_as("m"), section.fittings_k)


def for_epanet(section: Branch) -> Branch:
    """Ours with the K that EPANET's rounded constant makes of it."""
    return Branch(section.length, section.bore, section.fittings_k * EPANET_K, name=section.name)


def solve(pipes: Sequence[Drawn], viscosity: float, total: float, folder: Path) -> Answer:
    """The flows by EPANET when `total` m3/s enters at `in` and leaves at `out`; viscosity in m2/s."""
    source = folder / "graph.inp"
    source.write_text(_inp(pipes, viscosity, total), encoding="ascii")
    engine = ENepanet()
    engine.ENopen(str(source), str(folder / "graph.rpt"), str(folder / "graph.bin"))
    engine.ENopenH()
    engine.ENinitH(10)
    engine.ENrunH()
    flows = [engine.ENgetlinkvalue(index + 1, EN.FLOW) for index in range(len(pipes))]
    head = 1000.0 - engine.ENgetnodevalue(engine.ENgetnodeindex(OUTLET), EN.HEAD)
    engine.ENcloseH()
    engine.ENclose()
    return Answer(np.array(flows) / 1000.0, head * 1000.0 * EPANET_GRAVITY)


def _inp(pipes: Sequence[Drawn], viscosity: float, total: float) -> str:
    nodes = sorted({node for pipe in pipes for node in (pipe.start, pipe.end)} - {INLET})
    junctions = "\n".join(f"{node} 0 {total * 1000 if node == OUTLET else 0:.12f}" for node in nodes)
    lines = "\n".join(
        f"P{index} {pipe.start} {pipe.end} {pipe.length:.9f} {pipe.bore * 1000:.9f} {ROUGHNESS_MM} "
        f"{pipe.fittings_k:.6f} Open"
        for index, pipe in enumerate(pipes)
    )
    return f"""[JUNCTIONS]
{junctions}
[RESERVOIRS]
{INLET} 1000
[PIPES]
{lines}
[TIMES]
Duration 0
[OPTIONS]
Units LPS
Headloss D-W
Viscosity {viscosity:.9e}
Trials 200
Accuracy 1e-5
HEADERROR 1e-6
FLOWCHANGE 1e-6
[END]
"""
