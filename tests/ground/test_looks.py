"""Every page of planning and ground in a browser: no accessibility fault, nothing wider than a small phone."""

from __future__ import annotations

import re
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.staticfiles import finders
from django.test import Client
from django.urls import reverse
from playwright.sync_api import sync_playwright

from jobs.firms.scope import scope
from jobs.planning.models import Job
from tests import build
from tests.people import a_team, signed_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db, pytest.mark.long]
PLANNING = (
    "customers",
    "customer-new",
    "job-new",
    "instruments",
    "instrument-new",
    "products",
    "product-new",
    "rule-sets",
)
GROUND = ("array", "numbers", "design", "loop-new", "import", "borehole-new", "section-new", "header", "manifold")


def with_its_styles(page: str) -> str:
    """The page as it stands alone: each style sheet in place of its link."""

    def css(found: re.Match[str]) -> str:
        path = finders.find(found[1])
        assert isinstance(path, str), found[1]
        with open(path, encoding="utf-8") as file:  # noqa: PTH123 - a finder gives text
            return f"<style>{file.read()}</style>"

    return re.sub(r'<link rel="stylesheet" href="/static/([^"]+)">', css, page)


def addresses(job: Job, bare: Job, more: dict[str, Any]) -> list[str]:
    found = [reverse(f"planning:{name}") for name in PLANNING]
    found += [reverse(f"planning:{name}", args=[row.pk]) for name, row in more.items()]
    return found + [reverse(f"ground:{name}", args=[one.pk]) for name in GROUND for one in (job, bare)]


def pages() -> dict[str, str]:
    """Every page, full and empty, and two forms that were refused."""
    team = a_team()
    job, bare = build.a_job(team.firm), build.a_job(team.firm, with_design=False, with_array=False)
    build.instruments(team.firm)
    client: Client = signed_in(team.manager)
    with scope(team.firm.pk):
        more = {
            "customer": job.site.customer, "site": job.site, "site-edit": job.site, "job-edit": job, "job-hold": job,
            "rule-set": job.rule_set, "rule-set-version": job.rule_set,
        }  # fmt: skip
    found = {url: client.get(url).content.decode() for url in addresses(job, bare, more)}
    refused = reverse("ground:loop-new", args=[job.pk])
    found["refused loop"] = client.post(refused, {"array_m": "far", "kind": "trench"}).content.decode()
    wrong = "loop;borehole;od;wall;array\nL1;B9;40;3,7;far\nL9;;40;3,7;200"
    found["refused list"] = client.post(reverse("ground:import", args=[bare.pk]), {"text": wrong}).content.decode()
    return {name: with_its_styles(page) for name, page in found.items()}


def test_every_page_is_reachable_and_fits(chromium_path: str) -> None:
    shown = pages()
    faults, wide = [], []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium_path, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 320, "height": 740})
        for name, content in shown.items():
            page.set_content(content)
            if page.evaluate("document.documentElement.scrollWidth") > 320:
                wide.append(name)
            faults += [
                f"{name}: {fault['id']} at {fault['nodes'][0]['html'][:120]}"
                for fault in Axe().run(page).response["violations"]
            ]
        browser.close()
    assert len(shown) > 30
    assert wide == []
    assert faults == []
