"""Links with tokens: hashed, dated, revocable, the same None for everything that does not open."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.accounts import links
from jobs.firms.errors import NoFirmInScope
from jobs.firms.models import Firm
from jobs.firms.scope import scope
from tests.people import a_firm

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
DAY = timedelta(days=1)


def make(firm: Firm, subject: UUID, purpose: str = "driller") -> str:
    with scope(firm.pk):
        return links.make(purpose, subject=subject, at=AT, days=30)


def test_opens_for_its_purpose_until_it_runs_out() -> None:
    firm, subject = a_firm(), uuid4()
    token = make(firm, subject)
    link = links.open("driller", token, AT + 29 * DAY)
    assert link
    assert (link.firm_id, link.subject) == (firm.pk, subject)
    assert links.open("customer", token, AT) is None
    assert links.open("driller", token, AT + 30 * DAY) is None
    assert links.open("driller", token + "x", AT) is None
    assert links.open("driller", "", AT) is None


def test_a_one_time_link_is_spent_once() -> None:
    token = make(a_firm(), uuid4())
    link = links.open("driller", token, AT)
    assert link
    assert links.use(link, at=AT)
    assert not links.use(link, at=AT)
    assert links.open("driller", token, AT) is None


def test_revoking_closes_all_links_to_the_subject_and_no_others() -> None:
    firm, other, subject = a_firm(), a_firm("Other"), uuid4()
    gone, stays, theirs = make(firm, subject), make(firm, uuid4()), make(other, subject)
    with scope(firm.pk):
        links.revoke("driller", subject=subject, at=AT)
    assert links.open("driller", gone, AT) is None
    assert links.open("driller", stays, AT)
    assert links.open("driller", theirs, AT), "another firm's link is not ours to revoke"


def test_every_outcome_costs_the_same_one_query() -> None:
    token, counts = make(a_firm(), uuid4()), []
    for tried, at in ((token, AT), (token, AT + 31 * DAY), ("wrong", AT)):
        with CaptureQueriesContext(connection) as queries:
            links.open("driller", tried, at)
        counts.append(len(queries))
    assert counts == [1, 1, 1]


def test_tokens_are_long_and_never_alike() -> None:
    firm = a_firm()
    tokens = {make(firm, uuid4()) for _ in range(50)}
    assert len(tokens) == 50
    assert all(len(token) >= 43 for token in tokens), "256 bits"


def test_a_link_is_made_for_the_firm_in_scope_only() -> None:
    with pytest.raises(NoFirmInScope):
        links.make("driller", subject=uuid4(), at=AT, days=1)
