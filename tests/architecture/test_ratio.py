"""Lines of test per line of code, counted as the whole team counts them."""

from __future__ import annotations

from collections.abc import Iterable

from tests.architecture.house import File, files


def ratio(found: Iterable[File]) -> tuple[int, int]:
    """Lines of tests and of code; migrations count on neither side."""
    python = [file for file in found if file.path.endswith(".py") and "migrations" not in file.parts]
    tests = sum(file.text.count("\n") + 1 for file in python if file.parts[0] == "tests")
    return tests, sum(file.text.count("\n") + 1 for file in python if file.parts[0] != "tests")


def test_there_is_at_least_a_line_of_test_per_line_of_code() -> None:
    tests, code = ratio(files())
    print(f"tests / code = {tests} / {code} = {tests / code:.2f}")  # noqa: T201  (seen with -s and on failure)
    assert tests >= code, f"tests / code = {tests} / {code} = {tests / code:.2f}"


def test_it_counts_what_it_says() -> None:
    planted = [
        File("tests/x/test_x.py", "a\nb\n"),
        File("jobs/x/actions.py", "a\n"),
        File("jobs/x/migrations/0001_initial.py", "a\n" * 99),
        File("jobs/x/static/x.js", "a\n" * 99),
    ]
    assert ratio(planted) == (3, 2)
