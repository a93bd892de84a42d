"""An answer as JSON, and what the schema says of it."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from calcs.verdict import Outcome, Verdict
from jobs.sums.curve import Point
from jobs.sums.questions.base import Answer, Line
from jobs.sums.templatetags.numbers import figure


class LineSerializer(serializers.Serializer[Line]):
    """One figure; `band` is the half-width at about 95 %, in the same unit. `text` is as the page shows it."""

    name = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]  # a declared field, which the metaclass takes out of the class
    value = serializers.FloatField(allow_null=True)
    text = serializers.CharField()
    unit = serializers.CharField()
    band = serializers.FloatField(allow_null=True)


class FigureSerializer(serializers.Serializer[Any]):
    """A figure behind a verdict; `u` is its standard uncertainty."""

    name = serializers.CharField()
    value = serializers.FloatField()
    unit = serializers.CharField()
    u = serializers.FloatField(allow_null=True)
    limit = serializers.FloatField(allow_null=True)


class SourceSerializer(serializers.Serializer[Any]):
    """Where a figure comes from. Of status `memory`, it is an unconfirmed figure and no requirement."""

    what = serializers.CharField()
    text = serializers.CharField()
    status = serializers.CharField()


class VerdictSerializer(serializers.Serializer[Any]):
    outcome = serializers.ChoiceField(choices=[each.value for each in Outcome])
    reason = serializers.CharField()
    cause = serializers.CharField()
    to_method = serializers.BooleanField()
    way_out = serializers.CharField()
    figures = FigureSerializer(many=True)
    source = SourceSerializer()  # type: ignore[assignment]  # a declared field, which the metaclass takes out of the class


class TableSerializer(serializers.Serializer[Any]):
    caption = serializers.CharField()
    heads = serializers.ListField(child=serializers.CharField())
    rows = serializers.ListField(child=serializers.ListField(child=serializers.CharField()))


class CurveSerializer(serializers.Serializer[Any]):
    """Points as [minutes, bar]; lines that do not apply are empty."""

    seen = serializers.ListField(child=serializers.ListField(child=serializers.FloatField()))
    expected = serializers.ListField(child=serializers.ListField(child=serializers.FloatField()))
    lower = serializers.ListField(child=serializers.ListField(child=serializers.FloatField()))
    upper = serializers.ListField(child=serializers.ListField(child=serializers.FloatField()))


class AnswerSerializer(serializers.Serializer[Answer]):
    lines = LineSerializer(many=True)
    tables = TableSerializer(many=True)
    verdict = VerdictSerializer(allow_null=True)
    curve = CurveSerializer(allow_null=True)
    warnings = serializers.ListField(child=serializers.CharField())
    cautions = serializers.ListField(child=serializers.CharField())
    sources = SourceSerializer(many=True)


class ErrorsSerializer(serializers.Serializer[Any]):
    """A sentence for each field that is wrong; `sum` is about the whole."""

    errors = serializers.DictField(child=serializers.CharField())  # type: ignore[assignment]  # a declared field, which the metaclass takes out of the class


class RefusedSerializer(serializers.Serializer[Any]):
    """Nobody signed in, no firm, or no token against forgery."""

    error = serializers.CharField(required=False)
    detail = serializers.CharField(required=False)


def as_json(answer: Answer, cautions: tuple[str, ...]) -> dict[str, Any]:
    """The answer in plain types, as `AnswerSerializer` describes it."""
    curve = answer.curve
    return {
        "lines": [_line(line) for line in answer.lines],
        "tables": [
            {"caption": table.caption, "heads": list(table.heads), "rows": [list(row) for row in table.rows]}
            for table in answer.tables
        ],
        "verdict": None if answer.verdict is None else _verdict(answer.verdict),
        "curve": None
        if curve is None
        else {
            "seen": _points(curve.seen),
            "expected": _points(curve.expected),
            "lower": _points(curve.leak_line),
            "upper": _points(curve.air_line),
        },
        "warnings": list(answer.warnings),
        "cautions": list(cautions),
        "sources": [
            {"what": each.what, "text": each.source.label, "status": each.source.status.value}
            for each in answer.sources
        ],
    }


def _line(line: Line) -> dict[str, Any]:
    text = line.text or figure(line.value, line.places)
    return {
        "name": line.name, "label": line.label, "value": line.value, "text": text, "unit": line.unit, "band": line.band,
    }  # fmt: skip


def _points(points: tuple[Point, ...]) -> list[list[float]]:
    return [[minutes, bar] for minutes, bar in points]


def _verdict(verdict: Verdict) -> dict[str, Any]:
    return {
        "outcome": verdict.outcome.value,
        "reason": verdict.reason,
        "cause": verdict.cause.value,
        "to_method": verdict.to_method,
        "way_out": verdict.way_out,
        "figures": [
            {"name": each.name, "value": each.value, "unit": each.unit, "u": each.u, "limit": each.limit}
            for each in verdict.figures
        ],
        "source": {"what": "Verdict", "text": verdict.source.label, "status": verdict.source.status.value},
    }
