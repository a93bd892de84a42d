"""What a circuit holds: pipe by size and length, and what else is filled."""

from __future__ import annotations

from math import pi

from calcs.pipe import Pipe, Segment, system_volume
from calcs.sources import Source, Status
from calcs.units import Quantity, quantity
from jobs.sums.errors import Mistake, about
from jobs.sums.questions import common
from jobs.sums.questions.base import Answer, Example, Field, Given, Line, Part, Question, told
from jobs.sums.units import LENGTH, VOLUME

SECOND = Part("A second size, such as the main header", is_folded=True)
GEOMETRY = Source("geometry, with the least wall of the table", Status.EXACT)


def answer(given: Given) -> Answer:
    segments = [_segment(given, "")]
    if given.has("second_length"):
        segments.append(_segment(given, "second_"))
    elif given.has("second_count"):
        raise Mistake("Give the length of the second pipe too.", "second_length")
    other = given.quantity("other", quantity(0, "L"))
    with about("length"):
        total = system_volume(segments=segments, other=other)
    first = segments[0].pipe
    lines = [
        common.litres("total", "It holds", total, is_main=True),
        Line("per_metre", "One metre of pipe", float(first.volume_per_metre.m_as("L/m")), "L", 4, is_main=True),
        Line("bore", "Bore", float(first.bore.m_as("mm")), "mm", 1, is_main=True),
        *_mean(segments, other),
    ]
    if len(segments) > 1:
        second = segments[1].pipe
        lines += [
            Line("second_per_metre", "One metre of the second", float(second.volume_per_metre.m_as("L/m")), "L", 4),
            Line("second_bore", "Bore of the second", float(second.bore.m_as("mm")), "mm", 1),
            *(
                common.litres(f"{prefix}part", label, system_volume(segments=[segment]))
                for prefix, label, segment in zip(
                    ("", "second_"), ("In the first", "In the second"), segments, strict=True
                )
            ),
        ]
    sources = (
        *common.pipe_source(given),
        *(common.pipe_source(given, "second_") if len(segments) > 1 else ()),
        *told(("Volume", GEOMETRY)),
    )
    return Answer(tuple(lines), sources)


def _segment(given: Given, prefix: str) -> Segment:
    return Segment(
        common.pipe_of(given, prefix),
        given.quantity(f"{prefix}length"),
        int(given.number(f"{prefix}count")) if given.has(f"{prefix}count") else 1,
    )


def _mean(segments: list[Segment], other: Quantity) -> list[Line]:
    """With the mean of least and greatest wall, where the table has both for every pipe: its band is the wall's."""
    least = mean = 0.0
    for segment in segments:
        bore = segment.pipe.mean_bore
        if bore is None:
            return []
        metres = segment.count * float(segment.length.m_as("m"))
        least += _litres(segment.pipe, segment.pipe.bore, metres)
        mean += _litres(segment.pipe, bore, metres)
    value = mean + float(other.m_as("L"))
    return [Line("mean_wall", "As pipe is really made, about", value, "L", 1, band=least - mean)]


def _litres(_pipe: Pipe, bore: Quantity, metres: float) -> float:
    return 1e3 * pi / 4 * float(bore.m_as("m")) ** 2 * metres


QUESTION = Question(
    name="pipe_volume",
    title="Pipe volume",
    says="What a loop, a header or a whole circuit holds.",
    moment="Before the work",
    fields=(
        *common.size_fields("", default="PE100-32x3"),
        Field("length", "Length of one", units=LENGTH, low=0.1, high=100_000, help="A U-tube is twice the depth of its borehole."),
        Field("count", "How many", low=1, high=10_000, whole=True, default="1"),
        Field("other", "Heat exchanger, vessel and manifold", units=VOLUME, low=0, high=10_000, required=False),
        *common.size_fields("second_", default="PE100-50x4.6", part=SECOND),
        Field("second_length", "Length of one", units=LENGTH, low=0.1, high=100_000, required=False, part=SECOND),
        Field("second_count", "How many", low=1, high=10_000, whole=True, required=False, part=SECOND),
    ),
    answer=answer,
    examples=(Example("200 m of 32 × 3.0 mm: a bore of 26.0 mm, and 106.2 L.", {"pipe": "PE100-32x3", "length": "200", "count": "1"}),),
)  # fmt: skip
