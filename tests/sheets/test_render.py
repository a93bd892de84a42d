"""The process that makes PDFs: no network, no files, a limit in time, the same bytes twice."""

from __future__ import annotations

import io
import os
import signal
import tempfile
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest
from PIL import Image
from pypdf import PdfReader

from jobs.sheets import render
from jobs.sheets.page.base import soft

pytestmark = pytest.mark.skipif(not render.available(), reason=render.missing() or "no PDF")


class Trap(HTTPServer):
    """Counts who comes."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        trap = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                trap.asked.append(self.path)
                self.send_response(302)
                self.send_header("Location", "file:///etc/hostname")
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        super().__init__(("127.0.0.1", 0), Handler)


@pytest.fixture
def trap() -> Iterator[Trap]:
    server = Trap()
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield server
    server.shutdown()
    server.server_close()


def text_of(pdf: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)


def payloads(port: int, secret: Path) -> list[str]:
    web, file = f"http://127.0.0.1:{port}/x", secret.as_uri()
    return [
        payload.format(url=url)
        for url in (web, file)
        for payload in (
            '<img src="{url}">',
            '<link rel="stylesheet" href="{url}">',
            '<link rel="attachment" href="{url}">',
            '<a rel="attachment" href="{url}">here</a>',
            '<style>@import url("{url}");</style>',
            '<style>@font-face {{ font-family: x; src: url("{url}"); }} p {{ font-family: x }}</style>',
            '<p style="background: url({url})">here</p>',
            '<p style="list-style-image: url({url}); display: list-item">here</p>',
            '<object data="{url}"></object>',
            '<embed src="{url}">',
            '<svg xmlns="http://www.w3.org/2000/svg"><image href="{url}" width="9" height="9"/></svg>',
            '<svg xmlns="http://www.w3.org/2000/svg"><use href="{url}#a"/></svg>',
            '<base href="{url}/"><img src="relative">',
            '<meta http-equiv="refresh" content="0; url={url}">',
            '<iframe src="{url}"></iframe>',
        )
    ]


def test_whatever_the_page_asks_for_nothing_is_fetched(trap: Trap, tmp_path: Path) -> None:
    """Worse than can happen: raw HTML of an attacker, not escaped."""
    secret = tmp_path / "secret.txt"
    secret.write_text("TOP-SECRET-CONTENT")
    page = "<p>begins</p>" + "".join(payloads(trap.server_port, secret)) + "<p>ends</p>"
    made = render.pdf(page)
    assert "begins" in text_of(made)
    assert "ends" in text_of(made)
    assert trap.asked == []
    assert b"TOP-SECRET-CONTENT" not in made
    assert "TOP-SECRET-CONTENT" not in text_of(made)
    reader = PdfReader(io.BytesIO(made))
    assert dict(reader.attachments) == {}


def test_only_prepared_pictures_are_shown() -> None:
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "red").save(out, "JPEG")
    made = render.pdf('<img src="media:abc"><img src="media:gone">', media={"abc": out.getvalue()})
    assert [image.image.size for page in PdfReader(io.BytesIO(made)).pages for image in page.images if image.image] == [
        (40, 30)
    ]


def test_a_picture_cannot_be_named_out_of_its_folder() -> None:
    with pytest.raises(ValueError, match="letters, digits"):
        render.pdf("", media={"../../x": b""})
    made = render.pdf('<p>still made</p><img src="media:../page.html"><img src="font:../../../etc/passwd">')
    assert "still made" in text_of(made)


def test_the_same_page_gives_the_same_bytes() -> None:
    page, styles = "<h1>Job 7</h1><p>5.63 bar</p>", ["h1 { color: #1b4b82 }"]
    assert render.pdf(page, styles=styles) == render.pdf(page, styles=styles)


def test_the_typeface_is_embedded() -> None:
    if render.font_file("Regular") is None:
        pytest.skip("the typeface's package is not installed")
    made = render.pdf("<p>Loops</p>", styles=['p { font-family: "Source Sans 3" }'])
    fonts = PdfReader(io.BytesIO(made)).pages[0]["/Resources"]["/Font"].get_object()  # type: ignore[index]
    names = [str(one.get_object()["/BaseFont"]) for one in fonts.values()]
    assert any("Source-Sans" in name or "SourceSans" in name for name in names), names


def test_one_endless_word_is_set_in_reasonable_time() -> None:
    """Unbroken, 100 000 characters take minutes."""
    began = time.monotonic()
    made = render.pdf(f"<p>{soft('x' * 100_000)}</p>", styles=["p { overflow-wrap: break-word }"], seconds=30)
    assert time.monotonic() - began < 15
    assert "(cut)" in text_of(made)


def test_what_takes_too_long_is_stopped() -> None:
    with pytest.raises(render.RenderFailed, match="longer than"):
        render.pdf("<p>" + "x" * 60_000 + "</p>", styles=["p { overflow-wrap: anywhere }"], seconds=3)


def test_a_page_that_breaks_the_renderer_is_a_failure_and_not_a_crash() -> None:
    wide = '<table style="width: 100%">' + "<tr>" + "<td>x</td>" * 3000 + "</tr>" * 1
    deep = "<div>" * 3000
    with pytest.raises(render.RenderFailed):
        render.pdf(wide + deep, seconds=20)


def children() -> list[int]:
    """Renderers that this process has started."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            parent = int(stat.read_text().rpartition(")")[2].split()[1])
            command = (stat.parent / "cmdline").read_bytes()
        except OSError:
            continue
        if parent == os.getpid() and b"jobs.sheets.render" in command:
            found.append(int(stat.parent.name))
    return found


def test_a_renderer_that_is_killed_is_a_failure_and_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))

    def kill() -> None:
        while not (found := children()):
            time.sleep(0.02)
        os.kill(found[0], signal.SIGKILL)

    threading.Thread(target=kill, daemon=True).start()
    with pytest.raises(render.RenderFailed):
        render.pdf("<p>" + "x" * 40_000 + "</p>", styles=["p { overflow-wrap: anywhere }"])
    assert list(tmp_path.iterdir()) == []


def test_missing_libraries_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    def no_library(*_: object, **__: object) -> None:
        raise render.NotAvailable("cannot load library 'libpango-1.0-0'")

    monkeypatch.setattr(render, "_run", no_library)
    render.missing.cache_clear()
    try:
        assert not render.available()
        assert "apt-get install libpango-1.0-0" in render.missing()
    finally:
        monkeypatch.undo()
        render.missing.cache_clear()
