"""What the worker does for sheets: the PDF of an approved one, and catching up with the rooms below."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from pathlib import Path
from uuid import UUID

from django.conf import settings
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string

from jobs.files import queries as files
from jobs.files import store
from jobs.files.trade import SMALL
from jobs.firms.scope import scope
from jobs.sheets import actions, printing, queries, render
from jobs.sheets.models import Sheet
from jobs.work import actions as work

EVERY = timedelta(minutes=10)
STYLES = ("groundloop/tokens.css", "sheets/sheet.css")


def make_pdf(firm: UUID, subject: UUID, at: datetime) -> None:
    """Reads in one short scope, renders outside any transaction, keeps the PDF in another. May run twice."""
    work.progress(5, at=at)
    with scope(firm, writes=False):
        sheet = queries.sheets().get(pk=subject)
        if sheet.pdf_id and sheet.pdf and store.is_here(sheet.pdf):
            return
        media = photo_bytes(sheet)
        html = page(sheet, media)
    work.progress(25, at=at)
    try:
        data = render.pdf(html, styles=styles(), media=media, seconds=settings.PDF_SECONDS)
    except render.NotAvailable:
        # Trying again helps nobody: until somebody installs the libraries the sheet is a page to print.
        return
    work.progress(90, at=at)
    with scope(firm):
        actions.keep_pdf(sheet, data, at=at)


def page(sheet: Sheet, media: Mapping[str, bytes]) -> str:
    """The HTML that is set: pictures named as the renderer knows them."""
    printed = printing.printed(sheet, photos={sha: f"{render.MEDIA}{sha}" for sha in media})
    return render_to_string("sheets/sheet.html", {"sheet": printed, "pdf": True})


def photo_bytes(sheet: Sheet) -> dict[str, bytes]:
    """The smaller rendition of every photo that is here."""
    found = files.by_hashes(printing.photo_hashes(sheet))
    return {sha: store.read(file, purpose=SMALL) for sha, file in found.items()}


def styles() -> list[str]:
    found = [finders.find(name) for name in STYLES]
    return [Path(path).read_text(encoding="utf-8") for path in found if path]


def catch_up(subject: UUID, at: datetime) -> datetime:  # noqa: ARG001 - the firm is in scope already
    """Due handler, one per firm."""
    actions.catch_up_all(at=at)
    if queries.without_pdf() and _libraries_came():
        actions.want_missing_pdfs(at=at)
    return at + EVERY


def _libraries_came() -> bool:
    """Looks anew: they may have been installed since this process began."""
    render.missing.cache_clear()
    return render.available()
