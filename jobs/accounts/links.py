"""Links with a token that are sent out. Only the token's hash is kept, so that the table opens nothing by itself.

Who opens one gets its row or None: a wrong, expired, used or revoked token cannot be told apart.
"""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta
from uuid import UUID

from jobs.accounts.models import LinkToken
from jobs.firms.scope import firm_in_scope


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def make(purpose: str, *, subject: UUID, at: datetime, days: float) -> str:
    """The token to put into an address; it is not kept and cannot be shown again."""
    token = secrets.token_urlsafe(32)
    LinkToken.objects.create(
        purpose=purpose,
        token_hash=_hash(token),
        firm_id=firm_in_scope(),
        subject=subject,
        expires_at=at + timedelta(days=days),
    )
    return token


def open(purpose: str, token: str, at: datetime) -> LinkToken | None:  # noqa: A001  (always read as links.open)
    """The row this token opens now; its `firm_id` says whose scope to open. One query whatever the outcome."""
    return LinkToken.objects.filter(
        purpose=purpose, token_hash=_hash(token), expires_at__gt=at, used_at=None, revoked_at=None
    ).first()


def use(link: LinkToken, *, at: datetime) -> bool:
    """Spends a one-time link; False when somebody was faster or it was revoked meanwhile."""
    fresh = LinkToken.objects.filter(pk=link.pk, used_at=None, revoked_at=None, expires_at__gt=at)
    return fresh.update(used_at=at) == 1


def revoke(purpose: str, *, subject: UUID, at: datetime) -> None:
    """Closes every open link of this purpose to the subject."""
    LinkToken.objects.filter(
        purpose=purpose, subject=subject, firm_id=firm_in_scope(), used_at=None, revoked_at=None
    ).update(revoked_at=at)
