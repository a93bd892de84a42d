"""The person without a browser, against a small server of our own: token, cookies, redirects, errors as people meet them."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs

import pytest

from groundloop.demo.browserless import Answer, Unexpected, Visitor

TOKEN = "tok&en-1"
FORM = '<form><input type="hidden" name="csrfmiddlewaretoken" value="tok&amp;en-1"></form>'
PLAIN_FORM = '<form><input type="hidden" name="csrfmiddlewaretoken" value="plain-1"></form>'


@dataclass
class Seen:
    """One request as the server got it."""

    method: str
    path: str
    headers: dict[str, str]
    body: bytes

    @property
    def fields(self) -> dict[str, list[str]]:
        return parse_qs(self.body.decode(), keep_blank_values=True)


@dataclass
class Site:
    """What the server answers, by method and path, and what it was asked."""

    base: str = ""
    seen: list[Seen] = field(default_factory=list)
    answers: dict[str, tuple[int, dict[str, str], str]] = field(default_factory=dict)


def handler(site: Site) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def answer(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
            site.seen.append(Seen(self.command, self.path, dict(self.headers.items()), body))
            status, headers, text = site.answers.get(f"{self.command} {self.path}", (404, {}, "Not found"))
            data = text.encode()
            self.send_response(status)
            for name, value in headers.items():
                for line in value.split("\n"):
                    self.send_header(name, line)
            self.send_header("Content-Length", str(len(data)))
            self.end_headers()
            self.wfile.write(data)

        do_GET = do_POST = do_PATCH = answer  # noqa: N815 - names that the base class looks for

        def log_message(self, *_: Any) -> None:
            pass

    return Handler


@pytest.fixture
def site() -> Iterator[Site]:
    found = Site()
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler(found))
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    found.base = f"http://127.0.0.1:{server.server_address[1]}"
    yield found
    server.shutdown()
    server.server_close()
    thread.join(timeout=5)


def test_a_form_is_sent_with_its_token_its_page_and_all_values(site: Site) -> None:
    site.answers = {
        "GET /new": (200, {}, PLAIN_FORM),
        "POST /new": (302, {"Location": "/made"}, ""),
        "GET /made": (200, {}, "Made"),
    }
    answer = Visitor(site.base).fill("/new", {"name": "Ærø & Söhne", "crew": ["a", "b"], "none": None, "empty": ""})
    assert (answer.url, answer.text) == (f"{site.base}/made", "Made")
    sent = site.seen[1]
    assert sent.fields == {
        "csrfmiddlewaretoken": ["plain-1"],
        "name": ["Ærø & Söhne"],
        "crew": ["a", "b"],
        "empty": [""],
    }
    assert sent.headers["Referer"] == f"{site.base}/new"
    assert [seen.method for seen in site.seen] == ["GET", "POST", "GET"]


def test_cookies_are_kept_changed_and_sent_back(site: Site) -> None:
    site.answers = {
        "GET /one": (200, {"Set-Cookie": "csrf=c1; Path=/; SameSite=Lax\nsession=s1; HttpOnly; Path=/"}, "1"),
        "GET /two": (200, {"Set-Cookie": "session=s2; Path=/"}, "2"),
        "GET /three": (200, {}, "3"),
    }
    visitor, stranger = Visitor(site.base), Visitor(site.base)
    for path in ("/one", "/two", "/three"):
        visitor.get(path)
    stranger.get("/three")
    sent = [seen.headers.get("Cookie", "") for seen in site.seen]
    assert sent == ["", "csrf=c1; session=s1", "csrf=c1; session=s2", ""]


def test_cookies_set_on_the_way_of_a_redirect_count(site: Site) -> None:
    site.answers = {
        "GET /in": (302, {"Location": "/home", "Set-Cookie": "session=new; Path=/"}, ""),
        "GET /home": (200, {}, "Home"),
    }
    assert Visitor(site.base).get("/in").text == "Home"
    assert site.seen[1].headers["Cookie"] == "session=new"


@pytest.mark.parametrize("status", [301, 302, 303])
@pytest.mark.parametrize("where", ["/there?x=1", "there?x=1", "{base}/there?x=1"])
def test_a_redirect_is_followed_by_a_get_however_it_is_written(status: int, where: str, site: Site) -> None:
    site.answers = {
        "POST /here": (status, {"Location": where.format(base=site.base)}, ""),
        "GET /there?x=1": (200, {}, "There"),
    }
    assert Visitor(site.base).post("/here", {"a": 1}, token="t").text == "There"
    assert (site.seen[1].method, site.seen[1].body) == ("GET", b"")


def test_a_circle_ends_with_a_word(site: Site) -> None:
    site.answers = {"GET /a": (302, {"Location": "/b"}, ""), "GET /b": (302, {"Location": "/a"}, "")}
    with pytest.raises(Unexpected, match="leads in a circle"):
        Visitor(site.base).get("/a")
    assert len(site.seen) < 10


def test_an_error_beside_a_field_is_told_in_its_words(site: Site) -> None:
    refused = f'{PLAIN_FORM}<p class="error" id="id_depth_error">“deep” isn&#x27;t a number &amp; no unit.</p>'
    site.answers = {"GET /new": (200, {}, PLAIN_FORM), "POST /new": (200, {}, refused)}
    with pytest.raises(Unexpected, match=r"/new: 200 “deep” isn't a number & no unit."):
        Visitor(site.base).fill("/new", {"depth": "deep"})


@pytest.mark.parametrize("status", [400, 403, 404, 500])
def test_a_refused_form_is_not_taken_for_done(status: int, site: Site) -> None:
    site.answers = {"POST /new": (status, {}, "<h1>No</h1> <p>Not for you</p>")}
    with pytest.raises(Unexpected, match=rf"/new: {status} .*Not for you"):
        Visitor(site.base).post("/new", {}, token="t")


def test_a_page_without_a_form_is_named(site: Site) -> None:
    site.answers = {"GET /new": (200, {}, "<p>Nothing to fill in</p>")}
    with pytest.raises(Unexpected, match=r"/new \(200\) has no form"):
        Visitor(site.base).fill("/new", {})


@pytest.mark.parametrize("lets_in", [True, False])
def test_signing_in_tells_whether_it_worked(lets_in: bool, site: Site) -> None:
    site.answers = {
        "GET /account/login/": (200, {}, PLAIN_FORM),
        "POST /account/login/": (302, {"Location": "/" if lets_in else "/account/login/"}, ""),
        "GET /": (200, {}, "Board"),
    }
    visitor = Visitor(site.base)
    if lets_in:
        visitor.sign_in("office@harrowfell.example", "secret")
        assert site.seen[1].fields["login"] == ["office@harrowfell.example"]
    else:
        with pytest.raises(Unexpected, match=r"office@harrowfell.example was not let in"):
            visitor.sign_in("office@harrowfell.example", "secret")


def api_site(site: Site) -> Visitor:
    site.answers = {
        "GET /field/api/session": (200, {}, json.dumps({"csrf": "fresh"})),
        "POST /field/api/entries": (200, {}, json.dumps({"results": []})),
        "PATCH /field/api/uploads/1": (200, {}, "{}"),
        "GET /field/api/pack": (200, {}, '{"jobs": []}'),
    }
    return Visitor(site.base)


def test_the_phones_api_gets_json_and_a_fresh_token(site: Site) -> None:
    assert api_site(site).api("POST", "/field/api/entries", {"text": "größer"}).json() == {"results": []}
    first, sent = site.seen
    assert first.path == "/field/api/session"
    assert json.loads(sent.body) == {"text": "größer"}
    heads = {name.lower(): value for name, value in sent.headers.items()}
    assert (heads["x-app"], heads["x-csrftoken"], heads["content-type"]) == ("groundloop", "fresh", "application/json")


def test_bytes_go_as_they_are_with_the_headers_given(site: Site) -> None:
    data = bytes(range(256))
    api_site(site).api(
        "PATCH", "/field/api/uploads/1", raw=data, Content_Type="application/octet-stream", Upload_Offset="64"
    )
    heads = {name.lower(): value for name, value in site.seen[1].headers.items()}
    assert site.seen[1].body == data
    assert (heads["content-type"], heads["upload-offset"]) == ("application/octet-stream", "64")


def test_reading_the_api_asks_for_no_token(site: Site) -> None:
    assert api_site(site).api("GET", "/field/api/pack").json() == {"jobs": []}
    assert [seen.path for seen in site.seen] == ["/field/api/pack"]


def test_an_api_error_says_what_came_back(site: Site) -> None:
    visitor = api_site(site)
    site.answers["POST /field/api/entries"] = (401, {}, '{"error": "Sign in"}')
    with pytest.raises(Unexpected, match=r"POST /field/api/entries: 401 .*Sign in"):
        visitor.api("POST", "/field/api/entries", {})


def test_a_link_is_found_by_its_form_and_its_absence_is_named() -> None:
    page = Answer(200, "/jobs/1/", {}, b'<a href="/sheets/x/?a=1&amp;b=2">s</a><form action="/sheets/y/answer">')
    assert page.path_matching(r"^/sheets/x/") == "/sheets/x/?a=1&b=2"
    assert page.path_matching(r"answer$") == "/sheets/y/answer"
    with pytest.raises(Unexpected, match=r"no link like \^/held on /jobs/1/"):
        page.path_matching(r"^/held")
