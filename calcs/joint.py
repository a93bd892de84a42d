"""Fusion joints: how long to heat and hold, and the two clocks after it: when it may be moved, when pressurised.

Times are those of the published table for socket fusion; for every other method they are what the fitting's label, the
machine's table or the maker says. Fusion is work for trained people: hot tools, and electricity in the wet.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from calcs._ranges import not_negative
from calcs.errors import NotKnown, Unsuitable
from calcs.sources import Limit, Source, Status, limits, table
from calcs.units import Quantity, quantity, si
from calcs.verdict import Cause, Figure, Outcome, Verdict, inside


class Method(StrEnum):
    """How two pieces were joined."""

    SOCKET = "socket"
    BUTT = "butt"
    ELECTROFUSION = "electrofusion"
    MECHANICAL = "mechanical"


@dataclass(frozen=True)
class SocketTimes:
    """Heat between `heat_low` and `heat_high`, hold still for `hold`, then `before_stress` more before any stress."""

    heat_low: Quantity
    heat_high: Quantity
    hold: Quantity
    before_stress: Quantity
    source: Source


@dataclass(frozen=True)
class Told:
    """What a label, a machine's table or a maker's sheet says, from the end of fusion; `where` names it."""

    move: Quantity
    pressurise: Quantity
    where: str


@dataclass(frozen=True)
class Cooling:
    """Times from the end of fusion: still clamped and unmoved until `move`, without pressure until `pressurise`."""

    move: Quantity
    pressurise: Quantity
    source: Source


@dataclass(frozen=True)
class Waiting:
    """What is left of both clocks, in minutes, and what that means."""

    move_left: Quantity
    pressurise_left: Quantity
    verdict: Verdict


def socket_times(*, od: Quantity) -> SocketTimes:
    """Seconds of heat and hold for socket fusion of one outside diameter, and the 5 min before any stress.

    Range: 25 to 110 mm, the sizes of the table. Source: ASTM F2620 as reprinted in a tool maker's manual (read). Other
    published regimes heat otherwise: the one that the pipe maker names holds.

    >>> found = socket_times(od=quantity(40, "mm"))
    >>> found.heat_low.magnitude, found.heat_high.magnitude, found.hold.magnitude
    (18.0, 21.0, 60.0)
    """
    size = si(od, "mm", "od")
    rows = _socket_rows()
    row = next((row for known, row in rows.items() if abs(known - size) < 0.05), None)
    if row is None:
        raise NotKnown(what="Socket fusion of outside diameter (od)", value=f"{size:g} mm", known=_sizes(rows))
    more = limits("joint", "socket")["before_stress"]
    low, high, hold = (quantity(float(row[key]), "s") for key in ("heat_low_s", "heat_high_s", "hold_s"))
    return SocketTimes(low, high, hold, quantity(more.value, "min"), Source(row["source"], Status(row["status"])))


def check_socket(*, od: Quantity, heated: Quantity, held: Quantity) -> Verdict:
    """Whether one socket joint was heated and held as the table says.

    Units: s. Range: as `socket_times`, times 0 or more. A joint outside the table is cut out, never heated again.
    Source: ASTM F2620 reprint (read).

    >>> check_socket(od=quantity(40, "mm"), heated=quantity(20, "s"), held=quantity(60, "s")).outcome.value
    'pass'
    """
    asked = socket_times(od=od)
    heat = not_negative("heated, s", si(heated, "s", "heated"))
    still = not_negative("held, s", si(held, "s", "held"))
    low, high, hold = (si(value, "s", "time") for value in (asked.heat_low, asked.heat_high, asked.hold))
    figures = (
        Figure("heated", heat, "s", limit=low if heat < low else high),
        Figure("held", still, "s", limit=hold),
    )
    if not low <= heat <= high:
        reason = f"It was heated for {heat:g} s, {low:g} to {high:g} s are asked for: cut it out."
        return Verdict(Outcome.FAIL, reason, Cause.DURATION, figures=figures, source=asked.source)
    if still < hold:
        reason = f"It was held for {still:g} s, {hold:g} s are asked for: cut it out."
        return Verdict(Outcome.FAIL, reason, Cause.DURATION, figures=figures, source=asked.source)
    return Verdict(Outcome.PASS, "Heated and held as the table says.", figures=figures, source=asked.source)


def tool_temperature(*, method: Method) -> tuple[Quantity, Quantity, Source]:
    """Between which temperatures the tool face is, in degC, with the source.

    Range: socket and butt fusion. Source: ASTM F2620 reprint for sockets, Plastics Pipe Institute for butt fusion (read).

    >>> low, high, source = tool_temperature(method=Method.SOCKET)
    >>> round(low.magnitude), round(high.magnitude)
    (254, 266)
    """
    if method not in {Method.SOCKET, Method.BUTT}:
        raise Unsuitable(
            what="A tool temperature",
            reason=f"{method.value} joints have no heated tool.",
            instead="Go by the label of the fitting.",
        )
    rows = limits("joint", method.value)
    low, high = (quantity(rows[key].value, "degF").to("degC") for key in ("tool_low", "tool_high"))
    return low, high, rows["tool_low"].source


def check_tool(*, method: Method, temperature: Quantity, u: Quantity) -> Verdict:
    """Whether the tool face is as hot as it must be, the doubt of the thermometer counted.

    Units: degC; `u` the standard uncertainty of the thermometer as a difference. Range: as `tool_temperature`.
    Source: as `tool_temperature`.

    >>> check_tool(method=Method.SOCKET, temperature=quantity(260, "degC"), u=quantity(1, "kelvin")).outcome.value
    'pass'
    """
    low, high, source = tool_temperature(method=method)
    seen, doubt = si(temperature, "degC", "temperature"), not_negative("u", si(u, "kelvin", "u"))
    middle, half = (si(low, "degC", "low") + si(high, "degC", "high")) / 2.0, (high.magnitude - low.magnitude) / 2.0
    figures = (Figure("tool face", seen, "°C", u=doubt, limit=middle - half if seen < middle else middle + half),)
    outcome = inside(abs(seen - middle), half, u=doubt)
    if outcome is Outcome.PASS:
        return Verdict(outcome, "The tool is hot enough and not too hot.", figures=figures, source=source)
    if outcome is Outcome.FAIL:
        word = "cold" if seen < middle else "hot"
        reason = f"The tool is too {word}: wait, and measure again before the next joint."
        return Verdict(outcome, reason, Cause.TEMPERATURE, figures=figures, source=source)
    reason = "The tool is too near the end of its range for this thermometer."
    again = "Bring it to the middle of its range, or measure with a finer contact thermometer."
    return Verdict(outcome, reason, Cause.TEMPERATURE, figures=figures, source=source, way_out=again)


def cooling(*, method: Method, od: Quantity | None = None, told: Told | None = None) -> Cooling:
    """When a joint may be moved and when it may be pressurised, in minutes from the end of fusion.

    Socket: hold, and 5 min more before any stress; what a sheet tells holds when it is longer. Electrofusion and butt
    fusion: as told by the fitting's label or the machine's table, never guessed. Mechanical: no time.
    Range: socket sizes of the table; told times 0 or more, pressure not before moving. Source: ASTM F2620 reprint (read);
    the label, as given.

    >>> found = cooling(method=Method.SOCKET, od=quantity(40, "mm"))
    >>> found.move.magnitude, found.pressurise.magnitude
    (1.0, 6.0)
    """
    if method is Method.MECHANICAL:
        nothing = quantity(0.0, "min")
        return Cooling(nothing, nothing, Source("a mechanical joint does not cool", Status.EXACT))
    said = None if told is None else _said(told)
    if method is not Method.SOCKET:
        if said is None:
            raise NotKnown(
                what=f"Cooling time of {method.value} joints",
                value="(none)",
                known="none: read it from the label of the fitting or the table of the machine",
            )
        return said
    if od is None:
        raise NotKnown(what="Outside diameter (od) of the socket", value="(none)", known=_sizes(_socket_rows()))
    asked = socket_times(od=od)
    hold = si(asked.hold, "min", "hold")
    mine = Cooling(
        quantity(hold, "min"), quantity(hold + si(asked.before_stress, "min", "stress"), "min"), asked.source
    )
    if said is None:
        return mine
    longer = said if said.pressurise > mine.pressurise else mine
    return Cooling(max(mine.move, said.move), max(mine.pressurise, said.pressurise), longer.source)


def waiting(*, cooling: Cooling, elapsed: Quantity) -> Waiting:
    """What is left of both clocks `elapsed` after the end of fusion.

    Units: min out. Range: elapsed 0 or more. Source: as the cooling times.

    >>> clock = cooling(method=Method.SOCKET, od=quantity(40, "mm"))
    >>> left = waiting(cooling=clock, elapsed=quantity(2, "min"))
    >>> left.move_left.magnitude, left.pressurise_left.magnitude, left.verdict.outcome.value
    (0.0, 4.0, 'warn')
    """
    gone = not_negative("elapsed", si(elapsed, "min", "elapsed"))
    move, press = si(cooling.move, "min", "cooling"), si(cooling.pressurise, "min", "cooling")
    still, dry = max(0.0, move - gone), max(0.0, press - gone)
    figures = (Figure("since fusion", gone, "min", limit=move if still else press),)
    if still:
        reason = f"Keep it clamped and still for {still:.1f} min more."
        found = Verdict(Outcome.FAIL, reason, Cause.DURATION, figures=figures, source=cooling.source)
    elif dry:
        reason = f"It may be moved with care; no pressure and no bending for {dry:.1f} min more."
        found = Verdict(Outcome.WARN, reason, Cause.DURATION, figures=figures, source=cooling.source)
    else:
        found = Verdict(Outcome.PASS, "It has cooled.", figures=figures, source=cooling.source)
    return Waiting(quantity(still, "min"), quantity(dry, "min"), found)


def joint_rows(*, method: Method) -> dict[str, Limit]:
    """The figures of one method with their sources (units in the rows; range: socket and butt fusion).

    Source: `calcs/data/joint.csv`.

    >>> joint_rows(method=Method.SOCKET)["before_stress"].value
    5.0
    """
    return limits("joint", method.value)


def _said(told: Told) -> Cooling:
    move = not_negative("time before moving", si(told.move, "min", "move"))
    press = not_negative("time before pressure", si(told.pressurise, "min", "pressurise"))
    return Cooling(quantity(move, "min"), quantity(max(move, press), "min"), Source(told.where, Status.READ))


def _socket_rows() -> dict[float, dict[str, str]]:
    return {float(row["od_mm"]): row for row in table("socket_fusion")}


def _sizes(rows: dict[float, dict[str, str]]) -> str:
    return ", ".join(f"{size:g}" for size in rows) + " mm"
