"""The sums as JSON: POST what the page asks for, get the same answer."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from rest_framework.exceptions import ParseError
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from jobs.firms.access import member_view
from jobs.sums.errors import Mistake
from jobs.sums.forms import BY_API, SumForm, unit_name
from jobs.sums.parse import shown
from jobs.sums.questions import QUESTIONS
from jobs.sums.questions.base import Field, Kind, Question
from jobs.sums.schema import SumSchema
from jobs.sums.serializers import as_json

LARGEST = 1e12  # more than anybody measures in any unit
WHOLE = "sum"  # the key of what is wrong with no single field
OBJECT = 'Send one JSON object with an object for each field, such as {"volume": {"value": 600, "unit": "L"}}.'


class SumView(APIView):
    """One sum; `question` is given by the address."""

    schema = SumSchema()
    question: Question = QUESTIONS[0]

    def post(self, request: Request) -> Response:
        try:
            sent = request.data
        except ParseError:
            return _wrong({WHOLE: OBJECT})
        if not isinstance(sent, dict):
            return _wrong({WHOLE: OBJECT})
        data, wrong = read_body(self.question, sent)
        form = SumForm(self.question, data, initial={}, at_most=BY_API)
        answer = form.work_out() if not wrong else None
        if answer is None:
            return _wrong({**_sentences(form), **wrong})
        return Response(as_json(answer, self.question.cautions))


def api_of(question: Question) -> Callable[[HttpRequest], HttpResponseBase]:
    """The view of one sum, for members only. Nothing is stored, so it opens no transaction."""
    return member_view(api=True, own_scope=True)(SumView.as_view(question=question))


def read_body(question: Question, sent: dict[Any, Any]) -> tuple[dict[str, str], dict[str, str]]:
    """The body as a form would have sent it, and what is wrong with its shape."""
    data: dict[str, str] = {}
    wrong = {
        str(name)[:60]: "This sum has no such field; leave it out." for name in sent if name not in question.by_name
    }
    for name, raw in sent.items():
        if name in question.by_name:
            try:
                data |= _read(question.by_name[name], raw)
            except Mistake as mistake:
                wrong[name] = str(mistake)
    return data, wrong


def _read(each: Field, raw: Any) -> dict[str, str]:
    if not isinstance(raw, dict) or "value" not in raw or set(raw) - {"value", "unit"}:
        raise Mistake("Give an object with “value” and, for a number, “unit”.")
    value, unit = raw["value"], raw.get("unit", "")
    known = [one.code for one in each.units if one.code]
    if unit not in known and (unit or len(known) > 1):
        raise Mistake(
            f"Give one of these units: {', '.join(known)}." if known else "This field has no unit; leave it out."
        )
    found = {each.name: _text(each, value)}
    return {**found, unit_name(each.name): unit} if each.has_units else found


def _text(each: Field, value: Any) -> str:
    """What a person would have typed."""
    if isinstance(value, str):
        return value
    if each.kind is not Kind.NUMBER:
        raise Mistake("Give text.")
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Mistake("Give a number, or digits as text.")
    if not -LARGEST < value < LARGEST:
        raise Mistake("That number is too large.")
    return shown(value)


def _sentences(form: SumForm) -> dict[str, str]:
    return {WHOLE if name == "__all__" else name: str(told[0]) for name, told in form.errors.items()}


def _wrong(errors: dict[str, str]) -> Response:
    return Response({"errors": errors}, status=400)
