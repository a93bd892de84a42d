"""The pages of the sums, asked as everybody: nothing typed is lost, and one sentence says what is wrong."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from urllib.parse import parse_qs, urlencode

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.sums.forms import ON_PAGE
from jobs.sums.questions import QUESTIONS
from jobs.sums.questions.base import Example, Kind, Question
from tests import build
from tests.people import Team, a_team, signed_in
from tests.sums.asking import BY_SLUG, EXAMPLES, Typed, ask, errors, page

pytestmark = pytest.mark.django_db
SLUGS = [question.slug for question in QUESTIONS]
each_example = pytest.mark.parametrize(
    ("question", "example"), [row[:2] for row in EXAMPLES], ids=[row[2] for row in EXAMPLES]
)


@pytest.fixture
def team() -> Team:
    return a_team()


@pytest.fixture
def client(team: Team) -> Client:
    return signed_in(team.crew)


def fields(html: str) -> dict[str, str]:
    """Every text field, list of lines and hidden field of the page with what stands in it."""
    found = {
        unescape(name): unescape(text)
        for name, text in re.findall(r'<input type="(?:text|hidden)" name="([^"]+)"(?: value="([^"]*)")?', html)
    }
    found |= {
        name: unescape(text).strip()
        for name, text in re.findall(r'<textarea name="(\w+)".*?>(.*?)</textarea>', html, re.DOTALL)
    }
    return found


def chosen(html: str, name: str) -> str:
    select = re.search(rf'<select name="{name}".*?</select>', html, re.DOTALL)
    assert select
    picked = re.search(r'value="([^"]*)" selected', select[0])
    return unescape(picked[1]) if picked else ""


class TestWho:
    @pytest.mark.parametrize("slug", ["index", *SLUGS])
    def test_every_member_of_any_firm_gets_the_page(self, team: Team, slug: str) -> None:
        for who in (*team.insiders, team.outsider):
            assert signed_in(who).get(reverse(f"sums:{slug}")).status_code == 200

    def test_everybody_finds_them_in_the_navigation(self, team: Team) -> None:
        for who in team.insiders:
            shown = signed_in(who).get(reverse("sums:index")).content.decode()
            assert re.search(r'<a href="/sums/" aria-current="page">Sums</a>', shown)

    def test_the_list_leads_to_every_sum(self, client: Client) -> None:
        shown = client.get(reverse("sums:index")).content.decode()
        for question in QUESTIONS:
            assert f'<a href="{reverse(f"sums:{question.slug}")}">{question.title}</a>' in shown

    def test_rows_of_the_firm_cost_no_queries_and_show_nowhere(self, team: Team) -> None:
        client, address = (
            signed_in(team.manager),
            f"{reverse('sums:mix')}?{urlencode(BY_SLUG['mix'].examples[0].given)}",
        )

        def counted() -> int:
            with CaptureQueriesContext(connection) as seen:
                shown = client.get(address).content.decode()
            assert "Orchard House array" not in shown
            return len([one for one in seen.captured_queries if "set_config" not in one["sql"]])

        few = counted()
        for _ in range(3):
            build.a_job(team.firm, title="Orchard House array")
        assert counted() == few <= 3  # session, person, member


class TestAnswer:
    @each_example
    def test_page_and_api_say_the_same(self, client: Client, question: Question, example: Example) -> None:
        shown = page(client, question.slug, example.given)
        assert errors(shown) == {}
        told = ask(client, question.slug, example.given)
        html = unescape(shown.content.decode())
        for line in told["lines"]:
            assert line["label"] in html
            assert line["text"] in html
        for source in told["sources"]:
            assert source["text"] in html
        for sentence in [*told["warnings"], *told["cautions"]]:
            assert sentence.replace("-", "−") in html.replace("-", "−")
        if told["verdict"]:
            assert told["verdict"]["reason"].replace("-", "−") in html.replace("-", "−")
            assert 'class="state state--' in html

    @each_example
    def test_the_empty_page_offers_the_example_that_gives_the_answer(
        self, client: Client, question: Question, example: Example
    ) -> None:
        empty = client.get(reverse(f"sums:{question.slug}"), {"show": example.given.get(question.switch, "")})
        assert empty.context["answer"] is None
        link = re.search(r'href="\?([^"]+)#answer"', empty.content.decode())
        assert link
        typed = {name: values[0] for name, values in parse_qs(unescape(link[1])).items()}
        assert typed == dict(example.given)
        assert page(client, question.slug, typed).context["answer"] is not None

    @each_example
    def test_what_was_given_is_on_paper_with_its_units(
        self, client: Client, question: Question, example: Example
    ) -> None:
        """In print the form is left out, so the answer repeats it."""
        html = page(client, question.slug, example.given).content.decode()
        paper = html[html.index('class="on-paper"') :]
        numbers = [each for each in question.fields if each.name in example.given and each.kind == "number"]
        for each in numbers:
            unit = example.given.get(f"{each.name}_unit", each.units[0].code)
            assert re.search(rf"<dd>[−\d.]+ ?{re.escape(unit)}", paper), each.name

    def test_a_bare_address_takes_the_usual_values(self, client: Client) -> None:
        got = page(client, "mix", {"volume": "600", "strength": "30"})
        assert errors(got) == {}
        assert chosen(got.content.decode(), "base") == "ethylene_glycol"

    def test_what_is_in_the_address_besides_does_no_harm(self, client: Client) -> None:
        assert page(client, "mix", {"utm": "<script>", "x": "1"}).context["answer"] is None
        got = page(client, "mix", {"volume": "600", "strength": "30", "utm": "<script>"})
        assert got.context["answer"] is not None
        assert "<script>" not in got.content.decode()


WRONG: list[tuple[str, Typed, dict[str, str]]] = [
    ("mix", {"volume": "abc", "strength": "30"}, {"volume": "“abc” is not a number; type digits with one comma or point, such as 2,5."}),
    ("mix", {"volume": "", "strength": "30"}, {"volume": "Type a number."}),
    ("mix", {"volume": "0", "strength": "30"}, {"volume": "Give a value from 1 to 100000 L."}),
    ("mix", {"volume": "0", "volume_unit": "m³", "strength": "30"}, {"volume": "Give a value from 0.001 to 100 m³."}),
    ("mix", {"volume": "600", "volume_unit": "barrel", "strength": "30"}, {"volume": "Choose one of these units: L, m³, gal."}),
    ("mix", {"volume": "600"}, {"freezing_point": "Give the freezing point or the strength, one of the two."}),
    ("mix", {"volume": "600", "strength": "30", "freezing_point": "-15"},
     {"freezing_point": "Give the freezing point or the strength, one of the two."}),
    ("mix", {"volume": "600", "strength": "30", "residual_water": "600"},
     {"residual_water": "The water left in the pipes must be less than the whole volume."}),
    ("mix", {"volume": "100000", "strength": "30", "bin": "1"},
     {"bin": "That would be more than 1000 bins; give a larger bin or another unit."}),
    ("mix", {"volume": "600", "base": "potassium_formate", "freezing_point": "-15"},
     {"drum_strength": "Potassium formate is sold dissolved in water; give the strength on its data sheet."}),
    ("mix", {"volume": "600", "base": "ethanol", "strength": "30", "basis": "volume_ashrae"},
     {"basis": "The ASHRAE volumes are for glycols only; choose another basis."}),
    ("refractometer", {"base": "methanol", "reading": "8", "reading_unit": "°Bx"},
     {"reading": "A refractometer for methanol cannot be used: its index hardly changes with strength. Use a density meter."}),
    ("refractometer", {"reading": "-12", "reading_unit": "°C"},
     {"reading": "This degree scale cannot be used: it is not said for which glycol it is. Read the scale for this fluid, or Brix."}),
    ("refractometer", {"reading": "60", "reading_unit": "°Bx"},
     {"reading": "Brix is 60, outside 0 to 50 (ICUMSA 1974 sucrose scale). Give a value inside."}),
    ("refractometer", {"reading": "18", "second_reading": "-12", "second_reading_unit": "°C"},
     {"second_reading": "Give the second reading in °Bx too."}),
    ("pipe-volume", {"pipe": "own", "od": "32", "length": "1"}, {"wall": "Give both the outside diameter and the wall."}),
    ("pipe-volume", {"pipe": "own", "od": "32", "wall": "20", "length": "1"},
     {"wall": "Pipe wall is 20 mm, outside more than 0 to 16 mm (geometry). Give a value inside."}),
    ("pipe-volume", {"od": "32", "wall": "3", "length": "1"},
     {"pipe": "Choose “not in this list” to use the diameter and wall that are typed, or empty them."}),
    ("pipe-volume", {"length": "1", "count": "1.5"}, {"count": "Give a whole number."}),
    ("purge", {"length": "200", "base": "ethanol"}, {"strength": "Give the strength of the ethanol mix."}),
    ("purge", {"length": "200", "pump_head": "300"}, {"pump_flow": "Give both ends of the pump's curve."}),
    ("air-check", {"volume": "334", "start": "2", "end": "1", "litres_in": "1"},
     {"end": "The pressure at the end must be above the one at the start."}),
    ("air-check", {"volume": "334", "end": "3"}, {"litres_in": "Give what went in as a volume, or read off the bin: one of the two."}),
    ("heat", {"strength": "25", "flow": "40", "t_in": "0", "t_out": "0"},
     {"t_out": "Both temperatures are the same; let the heat pump run and read again."}),
    ("heat", {"strength": "25", "flow": "40", "t_in": "0", "t_out": "-3", "cop": "4"},
     {"heating": "Give both the heating power and the COP to compare."}),
    ("pressure-test", {"readings": "0 6\n10"},
     {"readings": "Line 2, “10”: put a time and a pressure on it, with a space or tab between them."}),
    ("pressure-test", {"readings": " "}, {"readings": "Paste the readings."}),
    ("pressure-test", {"method": "type_ii", "readings": "0 6\n5 5.9"},
     {"readings": "This test needs three readings or more after shutting."}),
]  # fmt: skip


class TestWrong:
    @pytest.mark.parametrize(("slug", "typed", "said"), WRONG)
    def test_one_sentence_at_the_field_and_nothing_typed_is_lost(
        self, client: Client, slug: str, typed: Typed, said: dict[str, str]
    ) -> None:
        got = page(client, slug, typed)
        assert got.status_code == 200
        assert errors(got) == said
        html = got.content.decode()
        assert got.context["answer"] is None
        assert "Look at these again" in html
        kept = fields(html)
        numbers = {name: text for name, text in typed.items() if name in kept}
        assert {name: kept[name] for name in numbers} == {name: text.strip() for name, text in numbers.items()}
        for name in set(typed) - set(numbers):
            if not (name == "volume_unit" and typed[name] == "barrel"):
                assert chosen(html, name) == typed[name]

    def test_a_folded_part_opens_where_something_in_it_is_wrong(self, client: Client) -> None:
        html = page(client, "mix", {"volume": "600", "strength": "30", "drum_density": "5"}).content.decode()
        assert '<details class="more" open>' in html
        assert '<details class="more">' in page(client, "mix", {"volume": "600", "strength": "30"}).content.decode()

    def test_what_is_typed_is_escaped(self, client: Client) -> None:
        html = page(client, "mix", {"volume": "<b>1", "strength": "30"}).content.decode()
        assert "<b>1" not in html
        assert "&lt;b&gt;1" in html

    def test_too_many_readings_for_an_address_are_told(self, client: Client) -> None:
        many = "\n".join(f"{n} 6" for n in range(101))
        assert errors(page(client, "pressure-test", {"readings": many})) == {
            "readings": "These are 101 readings; give at most 100, such as every second one."
        }


class TestMethods:
    TYPED: Typed = {"method": "short_tightness", "hold": "75", "readings": "0 6\n30 5.8\n60 5.7", "resolution": "0.02"}

    def test_another_method_keeps_what_was_typed_and_judges_nothing_yet(self, client: Client) -> None:
        got = page(client, "pressure-test", {**self.TYPED, "show": "type_ii"})
        html = got.content.decode()
        assert got.context["answer"] is None
        assert errors(got) == {}
        assert fields(html)["readings"] == "0 6\n30 5.8\n60 5.7"
        assert fields(html)["resolution"] == "0.02"
        assert fields(html)["method"] == "type_ii"
        assert fields(html)["hold"] == "75", "kept for going back"
        assert 'name="wall_temperature"' in html

    def test_going_back_finds_it_again(self, client: Client) -> None:
        there = fields(page(client, "pressure-test", {**self.TYPED, "show": "type_ii"}).content.decode())
        back = fields(page(client, "pressure-test", {**there, "show": "short_tightness"}).content.decode())
        assert (back["hold"], back["method"]) == ("75", "short_tightness")

    def test_an_unknown_method_is_the_usual_one(self, client: Client) -> None:
        got = page(client, "pressure-test", {"show": "by ear"})
        assert fields(got.content.decode())["method"] == "short_tightness"
        assert "by ear" in errors(page(client, "pressure-test", {**self.TYPED, "method": "by ear"}))["method"]

    def test_enter_works_it_out(self, client: Client) -> None:
        """The first key of the form is the one that Enter presses; it must not be a method."""
        html = client.get(reverse("sums:pressure-test")).content.decode()
        form = html[html.index("sum__form") :]
        first = re.search(r"<button[^>]*>", form)
        assert first
        assert "name=" not in first[0]


def test_the_longest_address_of_a_sum_is_one_that_the_web_server_takes() -> None:
    """Every field filled and both series full: gunicorn refuses a longer request line."""
    question = BY_SLUG["pressure-test"]
    lines = "\r\n".join(f"{12 + n // 60}:{n % 60:02d} 5,654" for n in range(ON_PAGE))
    typed = {each.name: lines if each.kind is Kind.READINGS else each.default or "12,34" for each in question.fields}
    typed |= {f"{each.name}_unit": each.units[0].code for each in question.fields}
    compose = (Path(__file__).parents[2] / "docker-compose.yml").read_text(encoding="utf-8")
    taken = re.search(r"--limit-request-line (\d+)", compose)
    assert taken
    assert len(f"GET {reverse('sums:pressure-test')}?{urlencode(typed)} HTTP/1.1") < int(taken[1])
