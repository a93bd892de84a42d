"""A signed-in person without a browser: fetches pages, fills their forms, talks to the phone's API. Standard library only."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from html import unescape
from http.client import HTTPConnection, HTTPResponse
from http.cookies import SimpleCookie
from typing import Any
from urllib.parse import urlencode, urljoin, urlsplit

TOKEN = re.compile(r'name="csrfmiddlewaretoken" value="([^"]+)"')
ERROR = re.compile(r'class="error"[^>]*>([^<]+)<')


class Unexpected(Exception):
    """The service answered other than the story needs; the message says where and what."""


@dataclass(frozen=True)
class Answer:
    status: int
    url: str
    headers: Mapping[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode("utf-8")

    def json(self) -> Any:
        return json.loads(self.body)

    def path_matching(self, pattern: str) -> str:
        """The first link or action whose address fits. Raises `Unexpected`."""
        for found in re.findall(r'(?:href|action)="([^"]+)"', self.text):
            if re.search(pattern, unescape(found)):
                return unescape(str(found))
        raise Unexpected(f"no link like {pattern} on {self.url}")


@dataclass
class Visitor:
    """One person's session with the service at `base`."""

    base: str
    cookies: dict[str, str] = field(default_factory=dict)

    def get(self, path: str) -> Answer:
        return self._follow(self._send("GET", path, None, {}))

    def sign_in(self, email: str, password: str) -> None:
        answer = self.fill("/account/login/", {"login": email, "password": password})
        if "/login" in answer.url:
            raise Unexpected(f"{email} was not let in: {_first_error(answer)}")

    def fill(self, path: str, values: Mapping[str, Any]) -> Answer:
        """Opens the form at `path`, sends `values` with its token, and follows to where it leads."""
        form = self.get(path)
        return self.post(form.url, values, token=_token(form))

    def post(self, path: str, values: Mapping[str, Any], *, token: str = "") -> Answer:
        """Sends a form. Raises `Unexpected` when the page comes back with an error beside a field."""
        fields = {"csrfmiddlewaretoken": token or self.cookies.get("csrf", ""), **values}
        body = urlencode({k: v for k, v in fields.items() if v is not None}, doseq=True).encode()
        first = self._send("POST", path, body, {"Content-Type": "application/x-www-form-urlencoded"})
        answer = self._follow(first)
        if answer.status >= 400 or (first.status == 200 and ERROR.search(first.text)):
            raise Unexpected(f"{path}: {answer.status} {_first_error(answer)}")
        return answer

    def api(self, method: str, path: str, body: Any = None, *, raw: bytes | None = None, **headers: str) -> Answer:
        """The phone's API: JSON in and out, token fetched right before anything is sent."""
        sent = {"X-App": "groundloop", **{name.replace("_", "-"): value for name, value in headers.items()}}
        if method != "GET":
            session = self._send("GET", "/field/api/session", None, sent).json()
            sent["X-CSRFToken"] = session["csrf"]
            sent.setdefault("Content-Type", "application/json")
        data = raw if raw is not None else (json.dumps(body).encode() if body is not None else None)
        answer = self._send(method, path, data, sent)
        if answer.status >= 400:
            raise Unexpected(f"{method} {path}: {answer.status} {answer.text[:300]}")
        return answer

    def _send(self, method: str, path: str, body: bytes | None, headers: Mapping[str, str]) -> Answer:
        url = urljoin(self.base, path)
        parts = urlsplit(url)
        connection = HTTPConnection(parts.hostname or "", parts.port, timeout=60)
        target = parts.path + (f"?{parts.query}" if parts.query else "")
        cookie = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        try:
            connection.request(method, target, body, {"Cookie": cookie, "Referer": url, **headers})
            response = connection.getresponse()
            self._keep_cookies(response)
            return Answer(response.status, url, dict(response.getheaders()), response.read())
        finally:
            connection.close()

    def _keep_cookies(self, response: HTTPResponse) -> None:
        for line in response.headers.get_all("Set-Cookie") or []:
            for name, morsel in SimpleCookie(line).items():
                self.cookies[name] = morsel.value

    def _follow(self, answer: Answer) -> Answer:
        for _ in range(5):
            if answer.status not in {301, 302, 303}:
                return answer
            answer = self._send("GET", urljoin(answer.url, answer.headers["Location"]), None, {})
        raise Unexpected(f"{answer.url} leads in a circle")


def _token(form: Answer) -> str:
    found = TOKEN.search(form.text)
    if not found:
        raise Unexpected(f"{form.url} ({form.status}) has no form")
    return found.group(1)


def _first_error(answer: Answer) -> str:
    found = ERROR.search(answer.text)
    return unescape(found.group(1)) if found else re.sub(r"<[^>]+>|\s+", " ", answer.text)[:300]
