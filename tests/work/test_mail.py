"""Mail is a row first; a worker sends it, under the same Message-ID at every try."""

from __future__ import annotations

import smtplib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.core import mail as django_mail
from django.core.mail import EmailMessage

from jobs.firms.scope import scope
from jobs.work import mail
from jobs.work.errors import BadAddress
from jobs.work.models import Mail, Work, WorkState
from jobs.work.sweep import sweep
from tests.people import a_firm

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def post(*, secret: bool = False) -> Mail:
    firm = a_firm()
    with scope(firm.pk):
        return mail.post(to="cato@example.test", subject="Run overdue", body="Go and look.", at=AT, secret=secret)


def read(letter: Mail) -> Mail:
    with scope(letter.firm_id):
        return Mail.objects.get(pk=letter.pk)


def test_a_mail_goes_once_however_often_it_is_swept() -> None:
    letter = post()
    for _ in range(3):
        sweep(AT)
    assert [(sent.to, sent.subject, sent.body) for sent in django_mail.outbox] == [
        (["cato@example.test"], "Run overdue", "Go and look.")
    ]
    assert read(letter).sent_at == AT
    assert read(letter).body == "Go and look."


def test_a_mail_of_a_transaction_that_failed_is_never_sent() -> None:
    def post_and_fail() -> None:
        with scope(a_firm().pk):
            mail.post(to="cato@example.test", subject="Run overdue", body="", at=AT)
            raise ValueError("later")

    with pytest.raises(ValueError, match="later"):
        post_and_fail()
    sweep(AT)
    assert not django_mail.outbox
    assert not Work.objects.exists()


def test_after_a_crash_between_sending_and_noting_it_goes_again_under_the_same_id(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    letter = post()
    with monkeypatch.context() as broken:
        broken.setattr(Mail, "save", lambda self, **_: (_ for _ in ()).throw(OSError()))
        sweep(AT)
    sweep(AT + timedelta(minutes=1))
    ids = [sent.extra_headers["Message-ID"] for sent in django_mail.outbox]
    assert ids == [f"<{letter.pk}@localhost>"] * 2
    assert read(letter).sent_at == AT + timedelta(minutes=1)


def test_a_mail_host_that_refuses_delays_and_at_last_parks(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(self: EmailMessage, fail_silently: bool = False) -> int:
        raise smtplib.SMTPRecipientsRefused({"cato@example.test": (550, b"no such box")})

    monkeypatch.setattr(EmailMessage, "send", refuse)
    letter, at = post(), AT
    for _ in range(8):
        sweep(at)
        at += timedelta(hours=1)
    row = Work.objects.get()
    assert (row.state, row.error_code, row.attempts) == (WorkState.PARKED, "SMTPRecipientsRefused", 8)
    assert read(letter).sent_at is None


def test_the_body_of_a_secret_mail_goes_when_it_was_sent() -> None:
    letter = post(secret=True)
    assert read(letter).body
    sweep(AT)
    assert django_mail.outbox[0].body == "Go and look."
    assert not read(letter).body


@pytest.mark.parametrize(
    ("to", "subject"),
    [
        ("cato@example.test\nBcc: all@example.test", "Run overdue"),
        ("cato@example.test, all@example.test", "Run overdue"),
        ("no address", "Run overdue"),
        ("cato@example.test", "Run overdue\r\nBcc: all@example.test"),
        ("cato@example.test", "Run overdue\nX: y"),
        ("cato@example.test", "Run\x00overdue"),
        ("cato@example.test", "Run\u2028overdue"),
    ],
)
def test_what_would_break_the_head_is_refused(to: str, subject: str) -> None:
    with scope(a_firm().pk), pytest.raises(BadAddress):
        mail.post(to=to, subject=subject, body="", at=AT)
    with pytest.raises(BadAddress):
        mail.send_now(to=to, subject=subject, body="")
    assert not django_mail.outbox
    assert not Work.objects.exists()


def test_a_customers_name_with_line_breaks_becomes_one_line() -> None:
    assert mail.one_line("Old Mill\r\nBcc: all@example.test\x0b ") == "Old Mill Bcc: all@example.test"
    with scope(a_firm().pk):
        mail.post(to="cato@example.test", subject=mail.one_line("Old\nMill"), body="x", at=AT)


def test_the_message_as_it_travels_has_the_heads_it_should(settings: object, tmp_path: Path) -> None:
    """Read back by the standard library's parser, not by Django."""
    letter = post()
    sweep(AT)
    travelled = django_mail.outbox[0].message()
    assert travelled["Message-ID"] == f"<{letter.pk}@localhost>"
    assert travelled["To"] == "cato@example.test"
    assert travelled["Bcc"] is None
    assert travelled["Auto-Submitted"] == "auto-generated"  # RFC 3834, section 5


def test_a_sign_in_mail_says_too_that_no_person_sent_it() -> None:
    mail.send_now(to="cato@example.test", subject="New password", body="Follow the link.")
    assert django_mail.outbox[0].message()["Auto-Submitted"] == "auto-generated"
