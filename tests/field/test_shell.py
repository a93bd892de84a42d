"""The shell, its worker, its manifest, and the rules of its modules."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.test import Client

from jobs.field import assets, parcel
from tests.people import a_team, signed_in

OWN = [*assets.FIRST, *assets.LATER]


def source(path: str) -> str:
    found = finders.find(path)
    assert found, path
    return Path(str(found)).read_text(encoding="utf-8")


@pytest.mark.parametrize("path", ["/field/", "/field/visit/1/log/joint", "/field/phone", "/field/anything/at/all"])
def test_any_address_below_gives_the_same_shell_to_everybody(path: str) -> None:
    answer = Client().get(path)

    assert answer.status_code == 200
    assert answer.content.decode() == assets.shell()
    assert "no-cache" in answer["Cache-Control"]


@pytest.mark.django_db
def test_the_shell_holds_nothing_of_who_is_signed_in() -> None:
    team = a_team()

    answer = signed_in(team.crew).get("/field/")

    assert answer.content.decode() == assets.shell()
    assert not answer.cookies


def test_an_unknown_side_door_is_not_answered_with_the_shell() -> None:
    assert Client().get("/field/api/nothing").status_code == 404


def test_the_shell_has_no_inline_script_or_style() -> None:
    shell = assets.shell()

    assert not re.findall(r"<script(?![^>]*\bsrc=)", shell)
    assert "<style" not in shell
    assert not re.findall(r"\s(on\w+|style)=", shell)


def test_the_policy_allows_own_files_only() -> None:
    policy = Client().get("/field/")["Content-Security-Policy"]

    assert "default-src 'none'" in policy
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy
    assert "nonce" not in policy


def test_the_worker_is_asked_for_every_time_and_names_every_file_or_its_parcel() -> None:
    answer = Client().get("/field/sw.js")
    text = answer.content.decode()

    assert answer["Content-Type"].startswith("text/javascript")
    assert "no-cache" in answer["Cache-Control"]
    later = parcel.packed()
    named = text + later.decode()
    assert all(url in named for url in assets.urls())
    assert f'const PARCEL = "/field/parcel/{parcel.seal(later)}"' in text
    assert f'const BUILD = "{assets.build()}"' in text
    assert f'content="{assets.build()}"' in assets.shell()


@pytest.mark.parametrize("changed", ["urls", "shell"])
def test_any_change_makes_another_build(changed: str, monkeypatch: pytest.MonkeyPatch) -> None:
    before = assets.build()
    if changed == "urls":
        kept = assets.urls()
        monkeypatch.setattr(assets, "urls", lambda: [*kept[:-1], kept[-1] + "x"])
    else:

        def render(name: str, context: dict[str, Any]) -> str:
            return render_to_string(name, context) + "<!-- changed -->"

        monkeypatch.setattr(assets, "render_to_string", render)

    assert assets.build() != before


def test_the_manifest_starts_inside_the_scope() -> None:
    answer = Client().get("/field/manifest.webmanifest")

    assert answer["Content-Type"] == "application/manifest+json"
    assert (answer.json()["start_url"], answer.json()["scope"]) == ("/field/", "/field/")


def test_every_module_is_on_the_list_and_every_listed_one_is_there() -> None:
    folder = Path(source.__globals__["__file__"]).resolve().parents[2] / "jobs"
    there = {f"field/{file.name}" for file in (folder / "field/static/field").glob("*.js")}
    there |= {f"sums/calc/{file.name}" for file in (folder / "sums/static/sums/calc").glob("*.js")}

    assert there >= set(OWN)
    assert {name for name in there if name.startswith("field/")} <= set(OWN)


@pytest.mark.parametrize("path", OWN)
def test_the_rules_of_a_module(path: str) -> None:
    text = source(path)

    assert len(text.splitlines()) <= 400
    imports = re.findall(r"^import .*|import\(.*?\)", text, re.MULTILINE)
    assert all(re.search(r"[\"']\.{1,2}/[\w./]+\.js[\"']", each) for each in imports), (
        "own modules only, by relative path"
    )
    assert all(each.endswith((";", ")")) for each in imports), "the hashing of file names needs the semicolon"
    assert not re.search(r"\beval\(|new Function|innerHTML|insertAdjacentHTML|document\.write|import\.meta", text)
    taken = re.findall(r"(?:const|let) \[[^\]]*\] = (?!.*=>)[^;\n]*\{", text)
    assert not taken, (
        "name the answer first: made small, an array taken apart from a call with an object moves up too far"
    )
    assert "new Blob" not in text or path in {"field/picture.js", "field/visit.js"}, "no Blob goes into the store"


def test_only_the_store_opens_the_database() -> None:
    assert [path for path in OWN if "indexedDB.open(" in source(path)] == ["field/store.js"]


def test_modules_form_no_circle() -> None:
    needs = {
        path: {
            str(Path(path).parent / name)
            for name in re.findall(r"^import[^;]*from \"([^\"]+)\"", source(path), re.MULTILINE)
        }
        for path in OWN
    }
    needs = {path: {_clean(name) for name in names} for path, names in needs.items()}
    done: set[str] = set()
    while len(done) < len(needs):
        free = {path for path in needs if path not in done and needs[path] <= done}
        assert free, f"a circle among {sorted(set(needs) - done)}"
        done |= free


def _clean(name: str) -> str:
    return "sums/calc/" + Path(name).name if "sums/calc" in name else "field/" + Path(name).name
