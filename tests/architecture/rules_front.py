"""Pages, styles and scripts: nothing inline, nothing dynamic, nothing from elsewhere."""

from __future__ import annotations

import re

from tests.architecture.house import File, Rule

STATEMENT = re.compile(r"^import\b(?!\s*\()", re.MULTILINE)


def _lines(files: list[File], suffixes: tuple[str, ...], pattern: str, what: str, *allowed: str) -> list[str]:
    compiled = re.compile(pattern, re.IGNORECASE)
    return [
        f"{file.path}:{number} {what}"
        for file in files
        if file.path.endswith(suffixes) and file.parts[0] in {"groundloop", "jobs"} and not file.matches(*allowed)
        for number, line in enumerate(file.text.splitlines(), 1)
        if compiled.search(line)
    ]


def inline(files: list[File]) -> list[str]:
    """The pages' policy would refuse them at run time, silently. In Python and scripts markup is built too."""
    return [
        *_lines(files, (".html", ".svg"), r"<style\b", "inline style sheet"),
        *_lines(files, (".html", ".svg", ".js", ".py"), r"<[a-z][^>]*\sstyle=", "inline style"),
        *_lines(files, (".html", ".svg"), r"<[a-z][^>]*\son[a-z]+\s*=", "inline handler"),
        *_lines(files, (".html", ".svg"), r"<script\b(?![^>]*\bsrc=)", "inline script"),
        *_lines(files, (".html", ".js"), r"javascript:", "script in an address"),
    ]


def from_elsewhere(files: list[File]) -> list[str]:
    """Nothing is fetched from another host; a link a person follows is another thing."""
    return [
        *_lines(
            files, (".html",), r"<(script|link|img|iframe|source)\b[^>]*(src|href)=[\"'](https?:)?//", "from elsewhere"
        ),
        *_lines(files, (".css",), r"(@import|url\(\s*[\"']?(https?:)?//)", "from elsewhere"),
        *_lines(files, (".js",), r"\b(import|from)\s*\(?[\"'](https?:)?//", "from elsewhere"),
    ]


def unescaped(files: list[File]) -> list[str]:
    """Only drawings our own pen has made, whose text it escaped, are marked as safe; mails in plain text escape nothing."""
    drawn = r"\{\{[^}]*\b(svg|qr)\|safe\s*\}\}"
    hits = _lines(files, (".html",), r"\|\s*safe\b|autoescape\s+off|\|\s*safeseq\b", "not escaped")
    texts = {file.path: file.text.splitlines() for file in files}
    return [
        hit for hit in hits if not re.search(drawn, texts[hit.split(":")[0]][int(hit.split(":")[1].split()[0]) - 1])
    ]


def dynamic(files: list[File]) -> list[str]:
    return [
        *_lines(files, (".js",), r"\beval\s*\(|new Function\b|document\.write\b", "code from text"),
        *_lines(files, (".js",), r"\.(innerHTML|outerHTML)\s*\+?=|insertAdjacentHTML", "markup from text"),
        *_lines(files, (".js",), r"set(Timeout|Interval)\(\s*[\"'`]", "code from text"),
    ]


def store(files: list[File]) -> list[str]:
    return _lines(
        files,
        (".js",),
        r"indexedDB\s*\.\s*(open|deleteDatabase)\s*\(",
        "second door",
        "jobs/field/static/field/store.js",
    )


def semicolons(files: list[File]) -> list[str]:
    """The hashed names of modules are written into the imports by a pattern that wants the semicolon."""
    found = []
    for file in files:
        if not file.path.endswith(".js") or file.parts[0] == "tests":
            continue
        for match in STATEMENT.finditer(file.text):
            rest = file.text[match.start() :]
            whole = re.match(r"import\s+(?:[^;\"']*?\sfrom\s+)?([\"'])[^\"'\n]+\1(.?)", rest, re.DOTALL)
            if whole is None or whole[2] != ";":
                found.append(f"{file.path}:{file.text.count(chr(10), 0, match.start()) + 1} import without semicolon")
    return found


def packages(files: list[File]) -> list[str]:
    return [f"{file.path} belongs to npm" for file in files if file.name in {"package.json", "package-lock.json"}] + [
        f"{file.path}: bare module name"
        for file in files
        if file.path.endswith(".js") and file.parts[0] in {"groundloop", "jobs"}
        if re.search(r"^import[^\"']*[\"'](?![./])", file.text, re.MULTILINE)
    ]


def _page(text: str) -> File:
    return File("jobs/office/templates/office/x.html", text)


def _script(text: str, path: str = "jobs/field/static/field/x.js") -> File:
    return File(path, text)


RULES = (
    Rule(
        "nothing inline in pages",
        inline,
        (
            _page("<p style='color: red'>x</p>"),
            _page("<style>p {}</style>"),
            _page("<script>alert(1)</script>"),
            _page('<button onclick="go()">x</button>'),
            _page('<a href="javascript:go()">x</a>'),
        ),
        (_page('<script type="module" src="{{ start }}"></script><p class="style" data-on="x">on = 1</p>'),),
    ),
    Rule(
        "nothing from elsewhere",
        from_elsewhere,
        (
            _page('<script src="https://cdn.test/x.js"></script>'),
            _page('<link rel="stylesheet" href="//cdn.test/x.css">'),
            File("jobs/office/static/office/x.css", "p { background: url(https://cdn.test/x.png); }"),
            _script('import { a } from "https://cdn.test/a.js";'),
        ),
        (_page('<a href="https://example.test">x</a>'),),
    ),
    Rule(
        "what people typed is escaped",
        unescaped,
        (_page("{{ note|safe }}"), _page("{% autoescape off %}{{ note }}{% endautoescape %}")),
        (_page("{{ plan.svg|safe }}"),),
    ),
    Rule(
        "scripts make no code and no markup from text",
        dynamic,
        (
            _script("eval(x);"),
            _script("node.innerHTML = text;"),
            _script("const f = new Function(x);"),
            _script('setTimeout("go()", 1);'),
        ),
        (_script("node.textContent = text; setTimeout(() => go(), 1);"),),
    ),
    Rule("one door to the phone's store", store, (_script('indexedDB.open("x", 1);'),)),
    Rule(
        "imports end with a semicolon",
        semicolons,
        (
            _script('import { a } from "./a.js"\nconst b = 1;'),
            _script('import "./a.js"\n'),
            _script('import {\n  a,\n  b,\n} from "./a.js"\n'),
        ),
        (
            _script(
                'import { a } from "./a.js";\nimport "./b.js";\nimport {\n  c,\n} from "./c.js";\nimport("./d.js");'
            ),
        ),
    ),
    Rule(
        "no packages for the browser",
        packages,
        (File("package.json", "{}"), _script('import { html } from "lit";')),
        (_script('import { a } from "./a.js";'),),
    ),
)
