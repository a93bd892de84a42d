"""What the API's schema says of each sum: names, units and choices come from its question."""

from __future__ import annotations

from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiExample, OpenApiRequest, OpenApiResponse

from jobs.sums.parse import parse_number
from jobs.sums.questions.base import Example, Field, Kind, Question
from jobs.sums.serializers import AnswerSerializer, ErrorsSerializer, RefusedSerializer
from jobs.sums.units import Units

NUMBER: dict[str, Any] = {
    "oneOf": [{"type": "number"}, {"type": "string"}],
    "description": "A number, or digits with one comma or point.",
}


class SumSchema(AutoSchema):
    """Reads everything from the view's question."""

    @property
    def question(self) -> Question:
        found: Question = self.view.question  # type: ignore[attr-defined]  # each view of a sum has it
        return found

    def get_operation_id(self) -> str:
        return f"sum_{self.question.name}"

    def get_tags(self) -> list[str]:
        return ["sums"]

    def get_summary(self) -> str:
        return self.question.title

    def get_description(self) -> str:  # type: ignore[override]  # as its own base class has it
        return f"{self.question.says} {' '.join(self.question.cautions)}".strip()

    def get_request_serializer(self) -> Any:
        told = [
            OpenApiExample(each.says, value=example_body(self.question, each), request_only=True)
            for each in self.question.examples
        ]
        return {"application/json": OpenApiRequest(request_schema(self.question), examples=told)}

    def get_response_serializers(self) -> Any:
        return {
            200: AnswerSerializer,
            400: OpenApiResponse(ErrorsSerializer, description="What is wrong, a sentence for each field."),
            401: OpenApiResponse(RefusedSerializer, description="Nobody is signed in."),
            403: OpenApiResponse(RefusedSerializer, description="No firm, or no token against forgery."),
        }


def request_schema(question: Question) -> dict[str, Any]:
    """The body of one sum. A field that belongs to one choice of a switch is never required of the others."""
    required = [each.name for each in question.fields if _is_required(each)]
    return {
        "type": "object",
        "additionalProperties": False,
        "properties": {each.name: field_schema(each) for each in question.fields},
        **({"required": required} if required else {}),
    }


def _is_required(each: Field) -> bool:
    return each.required and not each.default and not each.when


def field_schema(each: Field) -> dict[str, Any]:
    """One field: an object of its value and, where there is a choice, its unit."""
    parts = {Kind.NUMBER: NUMBER, Kind.CHOICE: _choice(each), Kind.READINGS: {"type": "string"}}
    found: dict[str, Any] = {
        "type": "object",
        "description": _words(each),
        "properties": {"value": parts[each.kind]},
        "required": ["value"],
        "additionalProperties": False,
    }
    if any(unit.code for unit in each.units):
        found["properties"]["unit"] = {"type": "string", "enum": [unit.code for unit in each.units]}
        if each.has_units:
            found["required"] = ["value", "unit"]
    return found


def _choice(each: Field) -> dict[str, Any]:
    return {"type": "string", "enum": [code for code, _ in each.choices]}


def _words(each: Field) -> str:
    """Label, help, range, default, and for which choices of the switch."""
    usual = each.units[0].code
    said = [f"{each.label}.", each.help]
    if each.low is not None or each.high is not None:
        low, high = ("any" if limit is None else f"{limit:g}" for limit in (each.low, each.high))
        said.append(f"Range {low} to {high} {usual}".rstrip() + ".")
    if each.default:
        said.append(f"Left out: {each.default} {usual}".rstrip() + ".")
    if each.when:
        said.append(f"Only for: {', '.join(sorted(each.when))}.")
    return " ".join(word for word in said if word)


def example_body(question: Question, example: Example) -> dict[str, Any]:
    """A worked example as a body of the API."""
    body: dict[str, Any] = {}
    for each in question.fields:
        if each.name in example.given:
            text = example.given[each.name]
            body[each.name] = {"value": parse_number(text) if each.kind is Kind.NUMBER else text}
            body[each.name] |= _unit(each.units, example.given.get(f"{each.name}_unit", ""))
    return body


def _unit(units: Units, code: str) -> dict[str, str]:
    usual = code or units[0].code
    return {"unit": usual} if usual else {}
