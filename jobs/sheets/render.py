"""From HTML to PDF, the only user of WeasyPrint: in a process of its own, with a time, a memory limit and no network.

Run as a module it is that process: it reads a folder with the page, its styles and its pictures, and writes the PDF
beside them. It knows neither Django nor the database.
"""

from __future__ import annotations

import argparse
import importlib.util
import resource
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, NoReturn

MEMORY = 1_500_000_000
SECONDS = 60
CHECK_SECONDS = 30
MEDIA = "media:"
FONT = "font:"
# The typeface comes with a package; without it the system's sans serif stands in.
FONT_PACKAGE = "font_source_sans_pro"
FACES = (("Regular", 400, "normal"), ("Semibold", 600, "normal"), ("Bold", 700, "normal"), ("It", 400, "italic"))
SYSTEM_PACKAGES = "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"


class RenderFailed(Exception):
    """The process ended without a PDF; the message is its last line."""


class NotAvailable(RenderFailed):
    """System libraries are missing; the message names the packages."""


def pdf(
    html: str, *, styles: Sequence[str] = (), media: Mapping[str, bytes] | None = None, seconds: int = SECONDS
) -> bytes:
    """The page as PDF. Pictures are named `media:<name>` in the page and given in `media`; nothing else is ever fetched."""
    with tempfile.TemporaryDirectory(prefix="sheet-") as name:
        folder = Path(name)
        (folder / "page.html").write_text(html, encoding="utf-8")
        (folder / "page.css").write_text("\n".join(styles), encoding="utf-8")
        (folder / "media").mkdir()
        for key, data in (media or {}).items():
            (folder / "media" / _plain(key)).write_bytes(data)
        _run([str(folder)], home=folder, seconds=seconds)
        made = folder / "page.pdf"
        if not made.is_file():
            raise RenderFailed("no PDF was written")
        return made.read_bytes()


@cache
def missing() -> str:
    """Empty when PDFs can be made here, else one sentence that names what to install."""
    with tempfile.TemporaryDirectory(prefix="sheet-") as name:
        try:
            _run(["--check"], home=Path(name), seconds=CHECK_SECONDS)
        except RenderFailed:
            return f"PDFs need system libraries that are missing here: apt-get install {SYSTEM_PACKAGES}."
    return ""


def available() -> bool:
    """True when PDFs can be made here; without, the sheet is a page to print."""
    return not missing()


def _plain(key: str) -> str:
    if not key.replace("-", "").isalnum():
        raise ValueError("a picture's name holds letters, digits and hyphens")
    return key


def _run(arguments: list[str], *, home: Path, seconds: int) -> None:
    """The child gets no environment of ours but the way to Python's packages."""
    command = [sys.executable, "-m", "jobs.sheets.render", *arguments]
    room = str(Path(__file__).resolve().parents[2])
    plain = {"HOME": str(home), "PATH": "/usr/bin:/bin", "LANG": "C.UTF-8", "PYTHONPATH": room, "TMPDIR": str(home)}
    try:
        done = subprocess.run(  # noqa: S603 - our own module, no shell
            command, cwd=room, env=plain, capture_output=True, timeout=seconds, check=False
        )
    except subprocess.TimeoutExpired as error:
        raise RenderFailed(f"the PDF took longer than {seconds} s") from error
    if done.returncode:
        last = done.stderr.decode("utf-8", "replace").strip().splitlines()[-1:] or [f"ended with {done.returncode}"]
        raise (NotAvailable if done.returncode == NO_LIBRARY else RenderFailed)(last[0][:300])


NO_LIBRARY = 3


def font_file(face: str) -> Path | None:
    """The file of one face; None when the package is not here."""
    found = importlib.util.find_spec(FONT_PACKAGE)
    if found is None or found.origin is None:
        return None
    file = Path(found.origin).parent / "files" / f"SourceSansPro-{face}.ttf"
    return file if file.is_file() else None


def font_css() -> str:
    """Binds the faces to the family that the styles name first."""
    return "\n".join(
        f'@font-face {{ font-family: "Source Sans 3"; font-weight: {weight}; font-style: {style}; '
        f"src: url({FONT}{face}); }}"
        for face, weight, style in FACES
        if font_file(face)
    )


def _shut_off() -> None:
    """Limits that hold whatever the page asks for."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))

    def refuse(event: str, _: tuple[Any, ...]) -> None:
        if event in {"socket.connect", "socket.getaddrinfo", "socket.bind", "subprocess.Popen", "os.system"}:
            raise PermissionError(event)

    sys.addaudithook(refuse)


def _write(folder: Path) -> None:
    from weasyprint import CSS, HTML  # noqa: PLC0415 - only the child loads it
    from weasyprint.text.fonts import FontConfiguration  # noqa: PLC0415
    from weasyprint.urls import URLFetcher, URLFetcherResponse  # noqa: PLC0415

    class Prepared(URLFetcher):  # type: ignore[misc]
        """Resolves what the caller prepared and refuses all else, redirects included."""

        def __init__(self) -> None:
            super().__init__(allowed_protocols=())

        def fetch(self, url: str, headers: Any = None) -> Any:  # noqa: ARG002 - the fetcher's shape
            if url.startswith(MEDIA):
                return URLFetcherResponse(url, (folder / "media" / _plain(url.removeprefix(MEDIA))).read_bytes())
            if url.startswith(FONT):
                file = font_file(_plain(url.removeprefix(FONT)))
                if file:
                    return URLFetcherResponse(url, file.read_bytes())
            raise ValueError(f"refused: {url[:80]}")

    fonts, fetcher = FontConfiguration(), Prepared()
    css = font_css() + (folder / "page.css").read_text(encoding="utf-8")
    sheet = CSS(string=css, font_config=fonts, url_fetcher=fetcher)
    page = HTML(string=(folder / "page.html").read_text(encoding="utf-8"), url_fetcher=fetcher, base_url=None)
    made = page.write_pdf(stylesheets=[sheet], font_config=fonts, pdf_tags=True)
    (folder / "page.pdf").write_bytes(made)


def main() -> NoReturn:
    """`--check`: only whether the libraries are here."""
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", nargs="?", type=Path)
    parser.add_argument("--check", action="store_true")
    asked = parser.parse_args()
    try:
        import weasyprint  # noqa: F401, PLC0415 - loads the system libraries
    except (ImportError, OSError) as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(NO_LIBRARY)
    if not asked.check:
        _shut_off()
        _write(asked.folder)
    sys.exit(0)


if __name__ == "__main__":
    main()
