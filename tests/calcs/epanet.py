"""EPANET 2.2 (through WNTR's toolkit) on a star of parallel pipes: an oracle for `calcs.network`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from wntr.epanet.toolkit import ENepanet
from wntr.epanet.util import EN

# EPANET's own gravity is 32.2 ft/s2; its heads become pressures with this one (src/types.h of EPANET 2.2).
EPANET_GRAVITY = 32.2 * 0.3048
# EPANET multiplies K by a rounded 0.02517 for 8 / (pi^2 g); loops of unlike bore would show that at 1e-5 of flow.
EPANET_K = 0.02517 * np.pi**2 * 32.2 / 8.0


@dataclass(frozen=True)
class Star:
    """Parallel pipes in SI, roughness in metres, one kinematic viscosity and the total flow in m3/s."""

    lengths: Sequence[float]
    bores: Sequence[float]
    fittings_k: Sequence[float]
    roughness: float
    viscosity: float
    total: float


@dataclass(frozen=True)
class Answer:
    """Flows m3/s and head loss m."""

    flows: np.ndarray
    head: float


def solve(star: Star, folder: Path) -> Answer:
    """The operating point by EPANET: total flow is the demand behind the pipes, a reservoir before them.

    VISCOSITY up to 1e-3 is read as m2/s when the flow unit is SI (a multiplier of 1.022 mm2/s above that).
    """
    source = folder / "star.inp"
    source.write_text(_inp(star), encoding="ascii")
    engine = ENepanet()
    engine.ENopen(str(source), str(folder / "star.rpt"), str(folder / "star.bin"))
    engine.ENopenH()
    engine.ENinitH(10)
    engine.ENrunH()
    flows = [engine.ENgetlinkvalue(index + 1, EN.FLOW) for index in range(len(star.lengths))]
    head = engine.ENgetlinkvalue(1, EN.HEADLOSS)
    engine.ENcloseH()
    engine.ENclose()
    return Answer(np.array(flows) / 1000.0, head)


def _inp(star: Star) -> str:
    pipes = "\n".join(
        f"P{index} R J {length:.9f} {bore * 1000:.9f} {star.roughness * 1000:.9f} {k:.6f} Open"
        for index, (length, bore, k) in enumerate(zip(star.lengths, star.bores, star.fittings_k, strict=True))
    )
    return f"""[JUNCTIONS]
J 0 {star.total * 1000:.12f}
[RESERVOIRS]
R 1000
[PIPES]
{pipes}
[TIMES]
Duration 0
[OPTIONS]
Units LPS
Headloss D-W
Viscosity {star.viscosity:.9e}
Trials 200
Accuracy 1e-5
HEADERROR 1e-6
FLOWCHANGE 1e-6
[END]
"""
