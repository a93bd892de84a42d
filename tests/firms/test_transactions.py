"""When the wrapper around a view opens a transaction; asked where nothing else has opened one."""

from __future__ import annotations

import pytest
from django.db import connection
from django.http import HttpResponse

from jobs.firms.access import MemberRequest, member_view
from tests.firms.test_access import ask
from tests.people import a_team
from tests.real_db import real_db

__all__ = ["real_db"]
pytestmark = pytest.mark.usefixtures("real_db")


def look(request: MemberRequest) -> HttpResponse:
    body_was_read = hasattr(request, "_body") or hasattr(request, "_post")
    return HttpResponse(f"{connection.in_atomic_block} {body_was_read}")


def seen(method: str) -> list[str]:
    answer = ask(member_view()(look), a_team().crew, method)
    assert isinstance(answer, HttpResponse)
    return answer.content.decode().split()


@pytest.mark.parametrize("method", ["get", "head", "options"])
def test_reading_opens_none_on_sqlite(method: str) -> None:
    """IMMEDIATE would make every reader wait for the one writer."""
    assert seen(method)[0] == str(connection.vendor == "postgresql")


@pytest.mark.parametrize("method", ["post", "put", "patch", "delete"])
def test_writing_opens_one_and_only_after_the_body_was_read(method: str) -> None:
    assert seen(method) == ["True", "True"]
