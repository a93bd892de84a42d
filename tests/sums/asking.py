"""Asking a sum as people do: by the page's address, and by the API with the same figures."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from django.test import Client
from django.urls import reverse

from jobs.sums.questions import QUESTIONS
from jobs.sums.questions.base import Example, Question
from jobs.sums.schema import example_body

Typed = Mapping[str, str]
BY_SLUG = {question.slug: question for question in QUESTIONS}
# Every worked example of every sum, with a name for the test's report.
EXAMPLES = [
    (question, example, f"{question.slug} {example.given.get(question.switch, '')}".strip())
    for question in QUESTIONS
    for example in question.examples
]


def page(client: Client, slug: str, typed: Typed) -> Any:
    return client.get(f"{reverse(f'sums:{slug}')}?{urlencode(typed)}")


def post(client: Client, slug: str, body: Any) -> Any:
    return client.post(reverse(f"sums:api-{slug}"), body, content_type="application/json")


def body_of(question: Question, typed: Typed) -> dict[str, Any]:
    """What was typed, as the body of the API."""
    return example_body(question, Example("", typed))


def ask(client: Client, slug: str, typed: Typed) -> dict[str, Any]:
    """The API's answer, which must be there."""
    got = post(client, slug, body_of(BY_SLUG[slug], typed))
    assert got.status_code == 200, got.content
    answer: dict[str, Any] = got.json()
    return answer


def value(answer: dict[str, Any], name: str) -> float:
    found: float = next(line["value"] for line in answer["lines"] if line["name"] == name)
    return found


def errors(answer: Any) -> dict[str, str]:
    """Sentences of the page's form by field; `sum` about the whole, as the API says it."""
    told = answer.context["form"].errors.items()
    return {"sum" if name == "__all__" else name: str(sentences[0]) for name, sentences in told}
