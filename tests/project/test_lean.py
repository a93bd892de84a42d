"""Our own scripts and style sheets made lean for the wire: the same words in the same order, without prose and idle spaces."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
import tinycss2
from pygments.lexers.javascript import JavascriptLexer
from pygments.token import Comment, String

from groundloop.statics import OWN, lean, lean_style

OWN_SCRIPTS = sorted(
    path
    for room in Path("jobs").glob("*/static")
    for path in room.rglob("*.js")
    if str(path.relative_to(room)).startswith(OWN)
)


def words(script: str) -> list[str]:
    """The script word by word as an outside reader of JavaScript sees it: spaces count within a text, and only there.

    The sign that ends a statement says nothing before the brace that closes its block.
    """
    read = [
        word
        for kind, word in JavascriptLexer(stripnl=False).get_tokens(script)
        if kind not in Comment and (word.strip() or kind in String)
    ]
    return [word for word, after in zip(read, [*read[1:], ""], strict=True) if (word, after) != (";", "}")]


@pytest.mark.parametrize("path", OWN_SCRIPTS, ids=lambda path: path.name)
def test_making_a_script_lean_takes_away_prose_and_spaces_only(path: Path) -> None:
    """Sound as long as no text in backticks runs over a line and no comment opens with a slash and a star."""
    text = path.read_text(encoding="utf-8")
    code = [line.strip() for line in text.splitlines() if line.strip() and not line.strip().startswith("//")]

    assert words(lean(text)) == words(text)
    assert len(lean(text)) < len(text)
    assert all(line.count("`") % 2 == 0 for line in code)
    assert not any(is_empty(line) for line in code), "an empty statement would be lost"
    assert not any(line.startswith(("/*", "*")) for line in code)


def is_empty(line: str) -> bool:
    """`while (a(b));`: what opens behind the first word closes at the end of the line."""
    if not re.match(r"(for|while|if) ?\(", line):
        return False
    depth = 0
    for at, sign in enumerate(line):
        depth += {"(": 1, ")": -1}.get(sign, 0)
        if sign == ")" and depth == 0:
            return line[at + 1 :].strip() == ";"
    return False


def test_an_empty_statement_is_told_from_a_short_one() -> None:
    assert is_empty("while (next(a));")
    assert not is_empty("while (next(a)) b();")
    assert not is_empty("next(a);")


LEAN = {
    "const a = 1; // gone\n\n  // gone\n  const b = `x // y`;": "const a=1;const b=`x // y`;",
    "const b = `a, ${n ? ` b , c` : ``} d`;": "const b = `a, ${n ? ` b , c` : ``} d`;",
    'const c = a\n  ? "x  y"\n  : b;': 'const c=a?"x  y":b;',
    "a()\nb()": "a()\nb()",
    "const d = `${a} ${b}`;": "const d=`${a} ${b}`;",
    "x = a\n(b)": "x=a\n(b)",
    "return /a  b/.test(c)": "return/a  b/.test(c)",
    "if (a) {\n  b();\n}\nc();": "if(a){b()}\nc();",
    'import { a } from "./a.js";': 'import{a}from"./a.js";',
}


@pytest.mark.parametrize(("written", "made"), LEAN.items(), ids=range(len(LEAN)))
def test_where_a_statement_ends_and_what_a_text_says_stays(written: str, made: str) -> None:
    assert lean(f"{written}\n") == f"{made}\n"


def test_only_scripts_of_our_own_are_made_lean() -> None:
    assert len(OWN_SCRIPTS) >= 20


STYLES = ("jobs/field/static/field/field.css", "groundloop/static/groundloop/tokens.css")


@pytest.mark.parametrize("path", STYLES)
def test_making_a_style_sheet_lean_takes_away_prose_and_spaces_only(path: str) -> None:
    text = Path(path).read_text(encoding="utf-8")

    assert _rules(lean_style(text)) == _rules(text)
    assert len(lean_style(text)) < len(text)


def _rules(sheet: str) -> list[tuple[str, str]]:
    """Each rule and what stands in it, as the PDF's own reader of style sheets sees them; spaces inside are idle at the ends."""
    found = tinycss2.parse_stylesheet(sheet, skip_comments=True, skip_whitespace=True)
    return [(tinycss2.serialize(rule.prelude).strip(), _body(rule.content)) for rule in found]


def _body(content: Any) -> str:
    parts = tinycss2.parse_blocks_contents(content or [], skip_comments=True, skip_whitespace=True)
    return "|".join(re.sub(r"\s*([{};])\s*", r"\1", tinycss2.serialize([part])) for part in parts)
