"""The one door to Django's mail. A mail is a row first; a worker sends it."""

from __future__ import annotations

import re
from datetime import datetime
from uuid import UUID

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.mail import EmailMessage
from django.core.validators import validate_email

from jobs.firms.scope import scope
from jobs.work import actions
from jobs.work.errors import BadAddress
from jobs.work.models import Mail

KIND = "mail"
AUTOMATIC = {"Auto-Submitted": "auto-generated"}  # RFC 3834: no holiday notice answers it


def one_line(text: str) -> str:
    """What people typed, fit to stand in a subject: no line breaks, no control characters."""
    return re.sub(r"[\x00-\x1f\x7f\u0085\u2028\u2029]+", " ", text).strip()


def post(*, to: str, subject: str, body: str, at: datetime, secret: bool = False) -> Mail:
    """Writes a mail to be sent once this transaction has committed. `secret`: its body goes when it was sent.

    Raises `BadAddress` for what would break the head of the mail.
    """
    _check(to, subject)
    mail = Mail.objects.create(to=to, subject=subject, body=body, wanted_at=at, is_secret=secret)
    actions.want(KIND, key=str(mail.pk), subject=mail.pk, at=at)
    return mail


def send_now(*, to: str, subject: str, body: str) -> None:
    """For sign-in mails only, which must not lie in a row. Raises `OSError` when the mail host does not take it."""
    _check(to, subject)
    EmailMessage(subject, body, settings.DEFAULT_FROM_EMAIL, [to], headers=AUTOMATIC).send()


def _check(to: str, subject: str) -> None:
    try:
        validate_email(to)
    except ValidationError:
        raise BadAddress("This is not a mail address. Check it and send again.") from None
    if subject != one_line(subject):
        raise BadAddress("The subject of a mail must be a single line. Take the line breaks out.")


def send(firm: UUID, subject: UUID, at: datetime) -> None:
    """The handler. After a crash between sending and noting it, the mail goes again under the same Message-ID."""
    with scope(firm, writes=False):
        mail = Mail.objects.get(pk=subject)
    if mail.sent_at is not None:
        return
    head = AUTOMATIC | {"Message-ID": f"<{mail.pk}@{settings.SITE_HOST}>"}
    EmailMessage(mail.subject, mail.body, settings.DEFAULT_FROM_EMAIL, [mail.to], headers=head).send()
    with scope(firm):
        mail.sent_at = at
        mail.body = "" if mail.is_secret else mail.body
        mail.save(update_fields=["sent_at", "body"])
