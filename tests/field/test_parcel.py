"""The parcel: the later modules in one answer, which the worker takes whole or not at all."""

from __future__ import annotations

import gzip
from collections import Counter

import brotli
import pytest
from django.templatetags.static import static
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Browser, expect

from jobs.field import assets, parcel
from tests.field.fault_proxy import FaultProxy
from tests.field.office import Crew, Phone, phone_in
from tests.field.test_shell import source
from tests.running.server import Server

NEWER = "0123456789ab"
PLAIN = {
    "br": brotli.decompress,
    "gzip": gzip.decompress,
    "": bytes,
}


def address() -> str:
    return reverse("field:parcel", args=[parcel.seal(parcel.packed())])


def test_the_parcel_holds_every_later_module_as_it_is_served() -> None:
    parts = [part.partition("\n") for part in parcel.packed().decode().split(parcel.GAP)]

    assert {url: text for url, _, text in parts} == {static(path): source(path) for path in assets.LATER}
    assert len(parts) == len(assets.LATER) >= 20


@pytest.mark.parametrize(
    ("accepted", "encoding"),
    [("gzip, deflate, br", "br"), ("gzip", "gzip"), ("br;q=0, gzip;q=0.5", "gzip"), ("identity", ""), ("", "")],
)
def test_it_is_pressed_as_the_phone_can_read_it_and_kept_for_good(accepted: str, encoding: str) -> None:
    answer = Client().get(address(), headers={"Accept-Encoding": accepted})

    assert answer.get("Content-Encoding", "") == encoding
    assert PLAIN[encoding](answer.content) == parcel.packed()
    assert answer["Content-Type"] == "text/plain; charset=utf-8"
    assert {"public", "immutable"} <= set(answer["Cache-Control"].split(", "))
    assert answer["Vary"] == "Accept-Encoding"
    assert not answer.cookies


def test_the_parcel_of_another_build_is_not_there() -> None:
    assert Client().get(address()[:-1] + "x").status_code == 404
    assert Client().get(reverse("field:parcel", args=["0" * 64])).status_code == 404


def test_a_module_with_the_parting_sign_in_it_is_no_part_of_a_parcel(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parcel, "_text", lambda path: f"const sign = '{parcel.GAP}';")

    with pytest.raises(ValueError, match="the sign that parts"):
        parcel.packed()


def asked_for(proxy: FaultProxy) -> Counter[str]:
    """How often each file was asked for, by its name without hash."""
    names = [path.rpartition("/")[2].split(".")[0] + ".js" for _, path in proxy.log if path.endswith(".js")]
    return Counter(names)


LATER = {path.rpartition("/")[2] for path in assets.LATER}
FIRST = {path.rpartition("/")[2] for path in assets.FIRST}
KEPT = """
async () => {
  const [name] = await caches.keys();
  const requests = await (await caches.open(name)).keys();
  return requests.map((each) => new URL(each.url).pathname);
}
"""


@pytest.mark.browser
@pytest.mark.parametrize("path", ["", "visit"])
def test_a_first_visit_fetches_no_later_module_but_in_the_parcel(
    path: str, chromium: Browser, office: Server, proxy: FaultProxy, crew: Crew
) -> None:
    """Not even where the first page that is opened needs one before the worker has it."""
    phone = phone_in(chromium, office, proxy.address, crew)
    phone.page.goto(f"{proxy.address}/field/{path and f'visit/{crew.visit}'}")
    if path:
        expect(phone.page.get_by_text("Log something else")).to_be_visible(timeout=20_000)
    else:
        expect(phone.page.get_by_text("Ready for no signal").first).to_be_visible(timeout=20_000)
        phone.open()
        expect(phone.page.get_by_text("Log something else")).to_be_visible(timeout=20_000)

    asked = asked_for(proxy)
    assert {name: asked[name] for name in LATER if asked[name]} == {}
    assert proxy.count("GET", "/field/parcel/") == 1
    assert {asked[name] for name in FIRST} <= {1, 2}, "by the page, and made sure of by the worker"
    kept = phone.page.evaluate(KEPT)
    assert len(kept) == 1 + len(assets.urls())
    assert sum(each.endswith(".js") for each in kept) == len(assets.FIRST) + len(assets.LATER)
    phone.context.close()


@pytest.mark.browser
@pytest.mark.parametrize("fault", ["404", "portal", "half", "tampered"])
def test_a_parcel_that_is_not_ours_is_not_taken_and_the_modules_come_one_by_one(
    fault: str, chromium: Browser, office: Server, proxy: FaultProxy, crew: Crew
) -> None:
    """Case 12 and 13 on a first visit: no word of being ready; what is needed now is fetched, and next time it is whole."""
    proxy.only, proxy.mode = "/field/parcel/", fault
    phone = phone_in(chromium, office, proxy.address, crew)
    phone.page.goto(f"{proxy.address}/field/visit/{crew.visit}")
    expect(phone.page.get_by_text("Log something else")).to_be_visible(timeout=20_000)
    phone.page.goto(f"{proxy.address}/field/")
    expect(phone.page.get_by_text("Not ready: stay where there is signal").first).to_be_visible()
    assert asked_for(proxy)["visit.js"] >= 1
    assert phone.page.evaluate("async () => (await navigator.serviceWorker.getRegistration())?.active || null") is None

    proxy.mode = "pass"
    phone.ready()
    assert len(phone.page.evaluate(KEPT)) == 1 + len(assets.urls())
    phone.context.close()


@pytest.mark.browser
@pytest.mark.parametrize("fault", ["404", "portal", "half", "tampered"])
def test_a_new_version_whose_parcel_is_not_ours_replaces_nothing(fault: str, phone: Phone, proxy: FaultProxy) -> None:
    """Case 12 and 13 later on: the old version stays whole, and the new one is offered once its parcel is."""
    proxy.build, proxy.only, proxy.mode = NEWER, "/field/parcel/", fault
    phone.page.evaluate(
        "async () => { await (await navigator.serviceWorker.getRegistration()).update().catch(() => null); }"
    )
    phone.page.reload()
    expect(phone.page.get_by_text("Ready for no signal").first).to_be_visible()
    phone.open()
    expect(phone.page.get_by_text("Log something else")).to_be_visible()
    assert proxy.count("GET", "/field/parcel/") >= 1
    assert phone.page.evaluate("async () => (await navigator.serviceWorker.getRegistration()).waiting") is None

    proxy.mode = "pass"
    phone.page.goto(f"{phone.base_url}/field/")
    expect(phone.page.get_by_text("A new version is ready.")).to_be_visible(timeout=15_000)
