"""A same-origin page with nothing on it, from which the phone's modules can be loaded as they lie in the tree."""

from __future__ import annotations

import mimetypes
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = {
    "field": ROOT / "jobs/field/static/field",
    "sums": ROOT / "jobs/sums/static/sums",
    "vectors": ROOT / "tests/vectors",
}


class Handler(BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        first, _, rest = self.path.lstrip("/").partition("/")
        file = FOLDERS.get(first, ROOT / "nothing") / rest
        if self.path == "/":
            self.answer(b"<!doctype html><title>blank</title>", "text/html")
        elif file.is_file():
            self.answer(file.read_bytes(), mimetypes.guess_type(file.name)[0] or "text/plain")
        else:
            self.send_error(404)

    def answer(self, body: bytes, kind: str) -> None:
        self.send_response(200)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the base class's name
        """Silent."""


@contextmanager
def plain_site() -> Iterator[str]:
    """Its address."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}"
    finally:
        server.shutdown()
        thread.join()
