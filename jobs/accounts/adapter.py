"""The sign-in package on our terms: nobody signs up, mails go through our one door, links are made from our address."""

from __future__ import annotations

import logging
from typing import Any, cast

from allauth.account.adapter import DefaultAccountAdapter
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest
from django.shortcuts import resolve_url
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme

from jobs.accounts import queries
from jobs.firms.models import User
from jobs.work import mail

log = logging.getLogger(__name__)


class AccountAdapter(DefaultAccountAdapter):  # type: ignore[misc]  # the package has no types we read
    def is_open_for_signup(self, request: HttpRequest) -> bool:  # noqa: ARG002
        """People come in by invitation only."""
        return False

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        """A mail host that is down is told on the page; whether the address is known is not."""
        letter = self.render_mail(template_prefix, email, {"site": settings.SITE_URL, **context})
        try:
            mail.send_now(to=email, subject=letter.subject, body=letter.body)
        except OSError as error:
            log.warning("A sign-in mail was not sent: %s", type(error).__name__)
            messages.error(self.request, "The mail could not be sent just now. Wait a few minutes and ask again.")

    def get_reset_password_from_key_url(self, key: str) -> str:
        """From our own address, whatever host name the request came with."""
        uid, _, token = key.partition("-")
        return settings.SITE_URL + reverse("account_reset_password_from_key", kwargs={"uidb36": uid, "key": token})

    def get_login_redirect_url(self, request: HttpRequest) -> str:
        """To the one firm's desk or phone; who works for several firms, or none, is asked."""
        mine = queries.memberships(cast("User", request.user))
        if len(mine) != 1:
            return reverse("accounts:firms")
        return landing(works_at_desk=mine[0].works_at_desk)

    def is_safe_url(self, url: str | None) -> bool:
        """Only paths of this site are followed after signing in."""
        return url_has_allowed_host_and_scheme(url, allowed_hosts=None)


def landing(*, works_at_desk: bool) -> str:
    """The first page after signing in."""
    return resolve_url(settings.LOGIN_REDIRECT_URL if works_at_desk else "/field/")
