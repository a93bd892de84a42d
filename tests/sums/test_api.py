"""The sums as JSON: shapes, sentences, who may, and the schema that describes them."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.sums.questions import QUESTIONS
from jobs.sums.questions.base import Example, Kind, Question
from tests.people import Team, a_team, signed_in
from tests.sums.asking import EXAMPLES, body_of, post

pytestmark = pytest.mark.django_db
MIX = {"volume": {"value": 600, "unit": "L"}, "strength": {"value": "31,4", "unit": "%"}}
NAMES = [question.slug for question in QUESTIONS]


@pytest.fixture
def team() -> Team:
    return a_team()


@pytest.fixture
def client(team: Team) -> Client:
    return signed_in(team.crew)


@pytest.fixture(scope="module")
def schema(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """As the command writes it, validated, any warning a failure."""
    file = tmp_path_factory.mktemp("schema") / "schema.json"
    call_command("spectacular", "--validate", "--fail-on-warn", "--format", "openapi-json", "--file", str(file))
    found: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    return found


class TestAnswer:
    def test_numbers_and_texts_are_one(self, client: Client) -> None:
        as_text = {**MIX, "volume": {"value": "600,0", "unit": "L"}, "strength": {"value": 31.4, "unit": "%"}}
        assert post(client, "mix", MIX).json() == post(client, "mix", as_text).json()

    def test_a_line_has_its_figure_its_text_its_unit_and_its_band(self, client: Client) -> None:
        lines = {line["name"]: line for line in post(client, "mix", MIX).json()["lines"]}
        assert lines["concentrate"] == {
            "name": "concentrate", "label": "Concentrate", "value": pytest.approx(175.909, abs=0.001), "text": "175.9",
            "unit": "L", "band": None,
        }  # fmt: skip
        assert lines["freezing_point"]["text"] == "−15.0"
        assert lines["freezing_point"]["band"] > 0

    def test_every_figure_has_a_source_with_its_status(self, client: Client) -> None:
        for question, example, _ in EXAMPLES:
            for source in post(client, question.slug, body_of(question, example.given)).json()["sources"]:
                assert source["text"]
                assert source["status"] in {"read", "memory", "computed", "common practice", "house default", "exact"}
                assert ("unconfirmed" in source["text"]) == (source["status"] == "memory")

    def test_the_api_takes_a_long_log(self, client: Client) -> None:
        """One reading a second for half an hour; the page takes a hundred."""
        text = "\n".join(f"{n / 60:.4f} {6 - n / 36000:.4f}" for n in range(1800))
        body = {"readings": {"value": text, "unit": "bar"}, "resolution": {"value": 0.001, "unit": "bar"}}
        answer = post(client, "pressure-test", body).json()
        assert answer["verdict"]["cause"] == "duration"
        assert len(answer["curve"]["seen"]) == 1800

    def test_it_costs_three_queries_and_writes_nothing(self, client: Client) -> None:
        with CaptureQueriesContext(connection) as seen:
            assert post(client, "mix", MIX).status_code == 200
        sql = [one["sql"].split()[0] for one in seen.captured_queries if "set_config" not in one["sql"]]
        assert sql == ["SELECT"] * 3  # session, person, member


class TestWrong:
    @pytest.mark.parametrize(
        ("body", "said"),
        [
            ({}, {"volume": "Type a number."}),
            ({**MIX, "volume": 600}, {"volume": "Give an object with “value” and, for a number, “unit”."}),
            ({**MIX, "volume": {"value": 600}}, {"volume": "Give one of these units: L, m³, gal."}),
            ({**MIX, "volume": {"value": 600, "unit": "litre"}}, {"volume": "Give one of these units: L, m³, gal."}),
            ({**MIX, "volume": {"value": 600, "unit": ["L"]}}, {"volume": "Give one of these units: L, m³, gal."}),
            ({**MIX, "volume": {"value": 600, "unit": "L", "basis": 1}}, {"volume": "Give an object with “value” and, for a number, “unit”."}),
            ({**MIX, "volume": {"value": True, "unit": "L"}}, {"volume": "Give a number, or digits as text."}),
            ({**MIX, "volume": {"value": None, "unit": "L"}}, {"volume": "Give a number, or digits as text."}),
            ({**MIX, "volume": {"value": 10**400, "unit": "L"}}, {"volume": "That number is too large."}),
            ({**MIX, "volume": {"value": 0, "unit": "L"}}, {"volume": "Give a value from 1 to 100000 L."}),
            ({**MIX, "volume": {"value": "1.200,5", "unit": "L"}},
             {"volume": "“1.200,5” is not a number; type digits with one comma or point, such as 2,5."}),
            ({**MIX, "base": {"value": "brine"}}, {"base": "Select a valid choice. brine is not one of the available choices."}),
            ({**MIX, "base": {"value": "ethanol", "unit": "L"}}, {"base": "This field has no unit; leave it out."}),
            ({**MIX, "colour": {"value": "blue"}}, {"colour": "This sum has no such field; leave it out."}),
            ({**MIX, "freezing_point": {"value": -15, "unit": "°C"}},
             {"freezing_point": "Give the freezing point or the strength, one of the two."}),
        ],
    )  # fmt: skip
    def test_a_sentence_for_each_field(self, client: Client, body: Any, said: dict[str, str]) -> None:
        got = post(client, "mix", body)
        assert (got.status_code, got.json()) == (400, {"errors": said})

    @pytest.mark.parametrize("raw", ["", "{", "[]", "5", '"x"', "null", '{"volume": NaN}', "\x00"])
    def test_what_is_no_object_is_told(self, client: Client, raw: str) -> None:
        got = client.generic("POST", reverse("sums:api-mix"), raw, content_type="application/json")
        assert got.status_code == 400
        told = json.loads(got.content)["errors"]
        assert told == {"volume": "Type a number."} if raw == "" else "one JSON object" in told["sum"]

    def test_only_json_and_only_post(self, client: Client) -> None:
        address = reverse("sums:api-mix")
        assert client.post(address, {"volume": "600"}).status_code == 415
        assert client.post(address, "volume=600", content_type="text/plain").status_code == 415
        for method in ("get", "put", "patch", "delete"):
            assert getattr(client, method)(address).status_code == 405


class TestWho:
    @pytest.mark.parametrize("slug", NAMES)
    def test_every_member_of_any_firm(self, team: Team, slug: str) -> None:
        question, example = next((one, each) for one, each, _ in EXAMPLES if one.slug == slug)
        for who in (*team.insiders, team.outsider):
            assert post(signed_in(who), slug, body_of(question, example.given)).status_code == 200

    @pytest.mark.parametrize("slug", NAMES)
    def test_nobody_else(self, slug: str) -> None:
        got = post(Client(), slug, {})
        assert (got.status_code, got["Content-Type"]) == (401, "application/json")

    def test_not_without_the_token_against_forgery(self, team: Team) -> None:
        strict = Client(enforce_csrf_checks=True)
        strict.force_login(team.crew.user)
        assert post(strict, "mix", MIX).status_code == 403


class TestSchema:
    def test_every_sum_is_in_it(self, schema: dict[str, Any]) -> None:
        assert set(schema["paths"]) >= {reverse(f"sums:api-{slug}") for slug in NAMES}

    @pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.slug)
    def test_it_names_fields_units_and_choices(self, schema: dict[str, Any], question: Question) -> None:
        operation = schema["paths"][reverse(f"sums:api-{question.slug}")]["post"]
        body = operation["requestBody"]["content"]["application/json"]
        properties = body["schema"]["properties"]
        assert set(properties) == set(question.by_name)
        for each in question.fields:
            told = properties[each.name]["properties"]
            if each.kind is Kind.CHOICE:
                assert told["value"]["enum"] == [code for code, _ in each.choices]
            elif any(unit.code for unit in each.units):
                assert told["unit"]["enum"] == [unit.code for unit in each.units]
        assert set(operation["responses"]) == {"200", "400", "401", "403"}
        assert operation["responses"]["200"]["content"]["application/json"]["schema"]["$ref"].endswith("/Answer")

    @pytest.mark.parametrize(("question", "example"), [row[:2] for row in EXAMPLES], ids=[row[2] for row in EXAMPLES])
    def test_its_examples_can_be_sent_as_they_stand(
        self, client: Client, schema: dict[str, Any], question: Question, example: Example
    ) -> None:
        content = schema["paths"][reverse(f"sums:api-{question.slug}")]["post"]["requestBody"]["content"]
        listed = [each["value"] for each in content["application/json"]["examples"].values()]
        assert body_of(question, example.given) in listed
        for body in listed:
            assert post(client, question.slug, body).status_code == 200

    def test_what_it_requires_is_required(self, client: Client, schema: dict[str, Any]) -> None:
        for question in QUESTIONS:
            content = schema["paths"][reverse(f"sums:api-{question.slug}")]["post"]["requestBody"]["content"]
            required = set(content["application/json"]["schema"].get("required", []))
            assert set(post(client, question.slug, {}).json()["errors"]) == required

    def test_an_answer_has_the_shape_it_promises(self, client: Client, schema: dict[str, Any]) -> None:
        promised = schema["components"]["schemas"]
        for question, example, _ in EXAMPLES:
            answer = post(client, question.slug, body_of(question, example.given)).json()
            assert set(answer) == set(promised["Answer"]["properties"])
            assert set(answer["lines"][0]) == set(promised["Line"]["properties"])
            if answer["verdict"]:
                assert set(answer["verdict"]) == set(promised["Verdict"]["properties"])
