"""A client over HTTP with cookies and the CSRF token: what a browser does, without one."""

from __future__ import annotations

import email.message
import json
import urllib.error
import urllib.parse
import urllib.request
from dataclasses import dataclass
from http.cookiejar import CookieJar
from typing import Any


@dataclass(frozen=True)
class Reply:
    status: int
    url: str
    body: bytes
    headers: email.message.Message

    @property
    def text(self) -> str:
        return self.body.decode("utf-8", errors="replace")

    def json(self) -> Any:
        return json.loads(self.body)


class Browser:
    def __init__(self, base_url: str, *, timeout_s: float = 20) -> None:
        self.base_url, self.timeout_s = base_url, timeout_s
        self.cookies = CookieJar()
        self._opener = urllib.request.build_opener(
            urllib.request.ProxyHandler({}), urllib.request.HTTPCookieProcessor(self.cookies)
        )

    def get(self, path: str) -> Reply:
        return self._send("GET", path, None, {})

    def post(self, path: str, form: dict[str, Any]) -> Reply:
        """Posts a form; a redirect is followed."""
        body = urllib.parse.urlencode(form, doseq=True).encode()
        return self._send("POST", path, body, {"Content-Type": "application/x-www-form-urlencoded"})

    def post_json(self, path: str, data: Any) -> Reply:
        return self._send("POST", path, json.dumps(data).encode(), {"Content-Type": "application/json"})

    def sign_in(self, email: str, password: str) -> None:
        self.get("/account/login/")
        reply = self.post("/account/login/", {"login": email, "password": password})
        assert not reply.url.endswith("/account/login/"), "the sign-in page came back"

    def answers(self, path: str) -> bool:
        try:
            return self.get(path).status == 200
        except OSError:
            return False

    @property
    def token(self) -> str:
        return next((cookie.value or "" for cookie in self.cookies if cookie.name in {"csrf", "__Host-csrf"}), "")

    def _send(self, method: str, path: str, body: bytes | None, headers: dict[str, str]) -> Reply:
        target = urllib.parse.urljoin(self.base_url, path)
        request = urllib.request.Request(target, body, headers, method=method)
        request.add_header("Origin", self.base_url)
        if body is not None:
            request.add_header("X-CSRFToken", self.token)
        try:
            with self._opener.open(request, timeout=self.timeout_s) as found:
                return Reply(found.status, found.url, found.read(), found.headers)
        except urllib.error.HTTPError as refused:
            with refused:
                return Reply(refused.code, refused.url or target, refused.read(), refused.headers)
