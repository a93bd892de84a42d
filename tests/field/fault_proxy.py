"""What lies between a phone and the office: a proxy that fails in the ways networks fail."""

from __future__ import annotations

import http.client
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

PORTAL = b"<!doctype html><title>Guest network</title><p>Accept the terms to go on.</p>"
SKIPPED = {"transfer-encoding", "connection", "keep-alive", "content-length"}


class FaultProxy(ThreadingHTTPServer):
    """`mode` says what happens to what is asked below `only`; `log` keeps (method, path) of all that came."""

    daemon_threads = True

    def __init__(self, target: int) -> None:
        super().__init__(("127.0.0.1", 0), Handler)
        self.target = target
        self.mode = "pass"
        self.only = "/field/api/"
        self.log: list[tuple[str, str]] = []
        self.build = ""  # the office was brought up to date: shell and worker carry this build
        self.poison = b"poison"  # the office stumbles over a letter with this in it
        self.raw_too = False  # over the last resort as well
        self.rest = "1"  # Retry-After of what is busy
        self.slow_s = 0.1
        self.late = threading.Event()  # until then `late` keeps its answers back

    @property
    def address(self) -> str:
        return f"http://localhost:{self.server_address[1]}"

    def posts(self, path: str = "/field/api/entries") -> int:
        return self.count("POST", path)

    def count(self, method: str, path: str = "/") -> int:
        return sum(each == method and asked.startswith(path) for each, asked in self.log)


class Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server: FaultProxy

    def handle_any(self) -> None:
        length = int(self.headers.get("Content-Length") or 0)
        body = self.rfile.read(length) if length else None
        self.server.log.append((self.command, self.path))
        fault = self.server.mode if self.path.startswith(self.server.only) else "pass"
        getattr(self, f"do_{fault}", self.do_status)(body)

    do_GET = do_POST = do_PATCH = handle_any  # noqa: N815 - the base class's names

    def do_pass(self, body: bytes | None) -> None:
        is_renamed = self.server.build and self.path in {"/field/", "/field/sw.js"}
        if is_renamed:
            del self.headers["Accept-Encoding"]  # what is pressed cannot be changed
        status, headers, data = self.forward(body)
        if is_renamed:
            build = rb'\1"' + self.server.build.encode() + b'"'
            data = re.sub(rb'(BUILD = |groundloop-shell" content=)"[0-9a-f]{12}"', build, data)
        self.answer(status, headers, data)

    def do_refuse(self, _body: bytes | None) -> None:
        """Reset before anything was read by the office."""
        self.close_connection = True
        self.connection.close()

    def do_lose(self, body: bytes | None) -> None:
        """The office has it and has committed; its answer never arrives."""
        self.forward(body)
        self.do_refuse(None)

    def do_lose_posts(self, body: bytes | None) -> None:
        if self.command == "POST":
            self.do_lose(body)
        else:
            self.do_pass(body)

    def do_half(self, body: bytes | None) -> None:
        status, headers, data = self.forward(body)
        self.answer(status, headers, data[: len(data) // 2])

    def do_tampered(self, body: bytes | None) -> None:
        """Of the right kind and length, with another word in it."""
        del self.headers["Accept-Encoding"]
        status, headers, data = self.forward(body)
        self.answer(status, headers, data.replace(b"return", b"retour", 1))

    def do_portal(self, _body: bytes | None) -> None:
        self.answer(200, [("Content-Type", "text/html")], PORTAL)

    def do_redirect(self, _body: bytes | None) -> None:
        self.answer(302, [("Location", "http://portal.invalid/")], b"")

    def do_forbidden(self, _body: bytes | None) -> None:
        self.answer(403, [("Content-Type", "text/html")], PORTAL)

    def do_too_large(self, body: bytes | None) -> None:
        """A proxy that takes small bodies only."""
        if self.command == "POST" and body and len(body) > 2500:
            self.answer(413, [("Content-Type", "text/html")], b"<h1>Too large</h1>")
        else:
            self.do_pass(body)

    def do_poison(self, body: bytes | None) -> None:
        """The office fails at one entry, and at nothing else."""
        if self._is_poisoned(body):
            self.answer(500, [("Content-Type", "text/html")], b"<h1>Server Error</h1>")
        else:
            self.do_pass(body)

    def do_crash(self, body: bytes | None) -> None:
        """One entry takes the office's process with it: no answer at all."""
        if self._is_poisoned(body):
            self.do_refuse(None)
        else:
            self.do_pass(body)

    def _is_poisoned(self, body: bytes | None) -> bool:
        wanted = self.path.endswith("/entries") or self.server.raw_too
        return wanted and self.server.poison in (body or b"")

    def do_stale(self, body: bytes | None) -> None:
        """Somebody signed in between asking for the token and sending: the first letter carries a dead one."""
        if self.command == "POST":
            self.server.mode = "pass"
            del self.headers["X-CSRFToken"]
        self.do_pass(body)

    def do_late(self, body: bytes | None) -> None:
        """The office takes long over a letter: it commits, and answers when nobody listens any more."""
        if self.command != "POST":
            self.do_pass(body)
            return
        answer = self.forward(body)
        self.server.late.wait(60)
        self.answer(*answer)

    def do_slow(self, body: bytes | None) -> None:
        """Each piece of a photo takes its time."""
        if self.command == "PATCH":
            threading.Event().wait(self.server.slow_s)
        self.do_pass(body)

    def do_newer_schemas(self, body: bytes | None) -> None:
        """An office that has forgotten this phone's way of writing."""
        status, headers, data = self.forward(body)
        self.answer(status, headers, data.replace(b'"schemas": [1]', b'"schemas": [2, 3]'))

    def do_throws(self, _body: bytes | None) -> None:
        self.answer(200, [("Content-Type", "text/javascript")], b"throw new Error('half a deploy');")

    def do_status(self, _body: bytes | None) -> None:
        headers = [("Content-Type", "text/html"), ("Retry-After", self.server.rest)]
        self.answer(int(self.server.mode), headers, b"<h1>Busy</h1>")

    def forward(self, body: bytes | None) -> tuple[int, list[tuple[str, str]], bytes]:
        connection = http.client.HTTPConnection("127.0.0.1", self.server.target, timeout=20)
        headers = {name: value for name, value in self.headers.items() if name.lower() not in SKIPPED}
        try:
            connection.request(self.command, self.path, body=body, headers=headers)
            reply = connection.getresponse()
            data = reply.read()
        except OSError:
            return 502, [("Content-Type", "text/html")], b"<h1>Bad gateway</h1>"
        finally:
            connection.close()
        return reply.status, [pair for pair in reply.getheaders() if pair[0].lower() not in SKIPPED], data

    def answer(self, status: int, headers: list[tuple[str, str]], data: bytes) -> None:
        self.send_response(status)
        for name, value in headers:
            self.send_header(name, value)
        if status not in {204, 304}:
            self.send_header("Content-Length", str(len(data)))
        with suppress(ConnectionError):  # the page may have gone on meanwhile
            self.end_headers()
            self.wfile.write(data)

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the base class's name
        """Silent."""


@contextmanager
def fault_proxy(target: int) -> Iterator[FaultProxy]:
    proxy = FaultProxy(target)
    thread = threading.Thread(target=proxy.serve_forever, daemon=True)
    thread.start()
    try:
        yield proxy
    finally:
        proxy.shutdown()
        proxy.server_close()
