"""What a pipe holds: bore and volume from outside diameter and wall, and the tables to choose from."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from calcs._curves import pure_density
from calcs._ranges import not_negative
from calcs.base import Base
from calcs.errors import OutOfRange
from calcs.sources import Status, table
from calcs.units import Quantity, quantity, si

MM = 1e-3


@dataclass(frozen=True)
class Pipe:
    """A pipe by material, outside diameter and wall. The wall is the least wall of the table unless measured."""

    material: str
    od: Quantity
    wall: Quantity

    @property
    def bore(self) -> Quantity:
        """Inside diameter, od - 2 wall."""
        return quantity(si(self.od, "mm", "od") - 2 * si(self.wall, "mm", "wall"), "mm")

    @property
    def area(self) -> Quantity:
        """Clear cross-section."""
        return quantity(math.pi * si(self.bore, "m", "bore") ** 2 / 4, "m^2")

    @property
    def volume_per_metre(self) -> Quantity:
        """Litres in one metre."""
        return quantity(si(self.area, "m^2", "area") * 1e3, "L/m")

    @property
    def water_per_metre(self) -> Quantity:
        """Mass of the water in one metre, at 20 degC: what a coil weighs more once it is filled."""
        return quantity(si(self.area, "m^2", "area") * pure_density(Base.WATER), "kg/m")

    @property
    def diameter_ratio(self) -> float:
        """od / wall, the true ratio (10.67 for 32 x 3.0 mm)."""
        return si(self.od, "mm", "od") / si(self.wall, "mm", "wall")

    @property
    def sdr(self) -> float | None:
        """The nominal ratio of the table row with this od and wall; None when there is no such row."""
        rows = [row for row in metric_pipes() if row.is_size(self.od, self.wall)]
        return rows[0].sdr if rows else None

    @property
    def mean_bore(self) -> Quantity | None:
        """Bore with the mean of least and greatest wall, where the table has both: nearer to real pipe."""
        rows = [row for row in metric_pipes() if row.is_size(self.od, self.wall) and row.wall_max_mm is not None]
        if not rows or rows[0].wall_max_mm is None:
            return None
        return quantity(rows[0].od_mm - rows[0].wall_mm - rows[0].wall_max_mm, "mm")


@dataclass(frozen=True)
class PipeRow:
    """One size of a pipe table, for choice lists. `name` is the trade size of inch pipe, else empty."""

    material: str
    od_mm: float
    wall_mm: float
    wall_max_mm: float | None
    sdr: float
    standard: str
    status: Status
    name: str = ""

    @property
    def label(self) -> str:
        """What a choice list shows."""
        size = f"{self.od_mm:g} × {self.wall_mm:.1f} mm" if not self.name else f"{self.name} in DR {self.sdr:g}"
        note = " (unconfirmed figure)" if self.status is Status.MEMORY else ""
        return f"{size}, {self.material}{note}"

    @property
    def pipe(self) -> Pipe:
        """The pipe of this row."""
        return Pipe(self.material, quantity(self.od_mm, "mm"), quantity(self.wall_mm, "mm"))

    def is_size(self, od: Quantity, wall: Quantity) -> bool:
        """Whether od and wall are those of this row, to 0.02 mm (inch rows are rounded)."""
        return abs(si(od, "mm", "od") - self.od_mm) < 0.02 and abs(si(wall, "mm", "wall") - self.wall_mm) < 0.02


@dataclass(frozen=True)
class Segment:
    """A length of one pipe, `count` times over."""

    pipe: Pipe
    length: Quantity
    count: int = 1


def pipe(*, od: Quantity, wall: Quantity, material: str = "PE 100") -> Pipe:
    """A pipe by outside diameter and wall.

    bore = od - 2 wall; a metre holds pi/4 bore^2, and water 998.2 kg/m3 times that at 20 degC. Units: any length.
    Range: od > 0, 0 < wall < od / 2, else `OutOfRange`.
    Source: geometry; sizes of the trade in `metric_pipes` (ISO 4427-2, ASTM D3035); density of water IAPWS (computed).

    >>> p = pipe(od=quantity(32, "mm"), wall=quantity(3.0, "mm"))
    >>> print(f"{p.bore:.1f~P}, {p.volume_per_metre:.4f~P}, {p.water_per_metre:.4f~P} of water, SDR {p.sdr:g}")
    26.0 mm, 0.5309 l/m, 0.5300 kg/m of water, SDR 11
    """
    d, e = si(od, "mm", "od"), si(wall, "mm", "wall")
    if not (0 < d < math.inf and 0 < e < d / 2):
        raise OutOfRange(
            what="pipe wall", value=f"{e:g} mm", low="more than 0", high=f"{d / 2:g} mm", source="geometry"
        )
    return Pipe(material, od, wall)


@cache
def metric_pipes() -> tuple[PipeRow, ...]:
    """Every pipe size of the tables: PE to ISO 4427-2 and DIN 8074, PE-Xa, and inch (IPS) polyethylene.

    wall = least wall, mm; inch rows without a printed wall take (od - bore) / 2. Units: mm in the field names.
    Range: the rows. Source: on each row, with its status.

    >>> row = next(r for r in metric_pipes() if r.od_mm == 63 and r.sdr == 11)
    >>> row.wall_mm, row.wall_max_mm, row.label
    (5.8, 6.5, '63 × 5.8 mm, PE 100')
    """
    return (*_metric(), *_cross_linked(), *_inch())


def _metric() -> Iterable[PipeRow]:
    for r in table("pipe_pe_metric"):
        most = float(r["e_max_mm"]) if r["e_max_mm"] else None
        yield PipeRow(
            "PE 100", float(r["od_mm"]), float(r["e_min_mm"]), most, float(r["sdr"]), r["standard"], Status(r["status"])
        )


def _cross_linked() -> Iterable[PipeRow]:
    for r in table("pipe_pexa"):
        standard = f"ISO 15875-2 series {r['series']}"
        yield PipeRow("PE-Xa", float(r["od_mm"]), float(r["e_min_mm"]), None, 11.0, standard, Status(r["status"]))


def _inch() -> Iterable[PipeRow]:
    for r in table("pipe_pe_ips"):
        od, bore = float(r["od_mm"]), float(r["id_mm"])
        wall = round((od - bore) / 2, 3)
        yield PipeRow("PE IPS", od, wall, None, float(r["dr"]), "ASTM D3035", Status(r["status"]), r["nps_in"])


def volume(*, pipe: Pipe, length: Quantity) -> Quantity:
    """What a length of pipe holds, in litres.

    V = pi/4 bore^2 L. Units: length in, litres out. Range: length >= 0. Source: geometry; the least wall makes
    the volume 2 to 4 % larger than that of real pipe.

    >>> print(f"{volume(pipe=pipe(od=quantity(32, 'mm'), wall=quantity(3, 'mm')), length=quantity(200, 'm')):.2f~P}")
    106.19 l
    """
    metres = si(length, "m", "length")
    if not 0 <= metres < math.inf:
        raise OutOfRange(what="pipe length", value=f"{metres:g} m", low="0 m", high="any", source="geometry")
    return quantity(si(pipe.area, "m^2", "area") * metres * 1e3, "L")


def system_volume(*, segments: Iterable[Segment], other: Quantity | None = None) -> Quantity:
    """What a whole circuit holds: the pipes and, as `other`, manifold, vessel and heat exchanger; in litres.

    V = sum count V_pipe + other. Units: volume out in litres. Range: as `volume`; counts and `other` >= 0. Source: geometry.

    >>> probe = pipe(od=quantity(40, "mm"), wall=quantity(3.7, "mm"))
    >>> header = pipe(od=quantity(50, "mm"), wall=quantity(4.6, "mm"))
    >>> parts = [Segment(probe, quantity(160, "m"), 4), Segment(header, quantity(20, "m"), 2)]
    >>> print(f"{system_volume(segments=parts, other=quantity(13, 'L')):.1f~P}")
    599.5 l
    """
    litres = 0.0 if other is None else not_negative("other volume", si(other, "L", "other volume"))
    for part in segments:
        if part.count < 0:
            raise OutOfRange(what="number of pipes", value=part.count, low=0, high="any", source="geometry")
        litres += part.count * si(volume(pipe=part.pipe, length=part.length), "L", "volume")
    return quantity(litres, "L")
