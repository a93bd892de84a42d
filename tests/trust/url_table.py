"""The one access table: every URL of the service, who may open it, and what its path parameters stand for.

A URL that is missing here fails the tests. `obj` names an entry of `tests/trust/world.py`: the row of a firm that the path
leads to. Add a line for a new URL beside its siblings.
"""

from __future__ import annotations

from dataclasses import dataclass

from jobs.firms.models import Role

EVERYONE = frozenset(Role)
DESK = frozenset({Role.SCHEDULER, Role.MANAGER})
MANAGER = frozenset({Role.MANAGER})
ENDERS = DESK | {Role.ENGINEER}
# Not by role: anybody at all; anybody who is signed in.
PUBLIC = "public"
SIGNED_IN = "signed in"


@dataclass(frozen=True)
class Row:
    """`own`: the path parameter is minted by whoever calls, so that an unknown one is not 404 but new."""

    name: str
    who: frozenset[Role] | str
    obj: str = ""
    own: bool = False

    @property
    def roles(self) -> frozenset[Role]:
        return frozenset(self.who) if isinstance(self.who, frozenset) else frozenset()

    @property
    def is_api(self) -> bool:
        return ":api-" in self.name or self.name == "sheets:progress"


def row(name: str, who: frozenset[Role] | str, obj: str = "", *, own: bool = False) -> Row:
    return Row(name, who, obj, own)


SUMS = ("pipe-volume", "mix", "pressure-test", "purge", "air-check", "refractometer", "correction", "heat")
TABLE = (
    row("healthz", PUBLIC),
    row("readyz", PUBLIC),
    row("api-schema", SIGNED_IN),
    # accounts
    row("account_login", PUBLIC),
    row("account_logout", PUBLIC),
    row("account_signup", PUBLIC),
    row("account_inactive", PUBLIC),
    row("account_change_password", SIGNED_IN),
    row("account_set_password", SIGNED_IN),
    row("account_reset_password", PUBLIC),
    row("account_reset_password_done", PUBLIC),
    row("account_reset_password_from_key", PUBLIC, "reset-key"),
    row("account_reset_password_from_key_done", PUBLIC),
    row("accounts:people", DESK),
    row("accounts:invite", MANAGER),
    row("accounts:withdraw", MANAGER, "invitation"),
    row("accounts:member", MANAGER, "member"),
    row("accounts:member-switch", MANAGER, "member"),
    row("accounts:firms", SIGNED_IN),
    row("accounts:invitation", PUBLIC, "token"),
    # the phone
    row("field:shell", PUBLIC),
    row("field:shell-path", PUBLIC),
    row("field:worker", PUBLIC),
    row("field:parcel", PUBLIC, "parcel"),
    row("field:manifest", PUBLIC),
    row("field:api-session", EVERYONE),
    row("field:api-pack", EVERYONE),
    row("field:api-entries", EVERYONE),
    row("field:api-raw", EVERYONE),
    row("field:api-receipts", EVERYONE),
    row("field:api-report", EVERYONE),
    row("field:api-upload", EVERYONE, "upload", own=True),
    # files
    row("files:photo", EVERYONE, "photo"),
    row("files:photo_by_hash", EVERYONE, "photo-hash"),
    # sums
    row("sums:index", EVERYONE),
    *(row(f"sums:{name}", EVERYONE) for name in SUMS),
    *(row(f"sums:api-{name}", EVERYONE) for name in SUMS),
    # planning
    row("planning:customers", DESK),
    row("planning:customer-new", DESK),
    row("planning:customer", DESK, "customer"),
    row("planning:customer-edit", DESK, "customer"),
    row("planning:site-new", DESK, "customer"),
    row("planning:site", DESK, "site"),
    row("planning:site-edit", DESK, "site"),
    row("planning:job-new", DESK),
    row("planning:job-edit", DESK, "job"),
    row("planning:job-hold", DESK, "job"),
    row("planning:job-resume", DESK, "job"),
    row("planning:job-cancel", MANAGER, "job"),
    row("planning:instruments", DESK),
    row("planning:instrument-new", DESK),
    row("planning:instrument-edit", DESK, "instrument"),
    row("planning:products", DESK),
    row("planning:product-new", DESK),
    row("planning:product-edit", DESK, "product"),
    row("planning:rule-sets", DESK),
    row("planning:starters", MANAGER),
    row("planning:rule-set", DESK, "rule-set"),
    row("planning:rule-set-version", MANAGER, "rule-set"),
    # ground
    row("ground:array", EVERYONE, "job"),
    row("ground:numbers", EVERYONE, "job"),
    row("ground:design", DESK, "job"),
    row("ground:header", DESK, "job"),
    row("ground:manifold", DESK, "job"),
    row("ground:import", DESK, "job"),
    row("ground:loop-new", DESK, "job"),
    row("ground:loop-restore", DESK, "job"),
    row("ground:loop-edit", DESK, "loop"),
    row("ground:loop-remove", DESK, "loop"),
    row("ground:borehole-new", DESK, "job"),
    row("ground:borehole-edit", DESK, "borehole"),
    row("ground:borehole-remove", DESK, "borehole"),
    row("ground:section-new", DESK, "job"),
    row("ground:section-edit", DESK, "section"),
    row("ground:section-remove", DESK, "section"),
    # visits
    row("visits:visit-new", DESK, "job"),
    row("visits:scope", DESK, "job"),
    row("visits:entries", EVERYONE, "job"),
    row("visits:visit", EVERYONE, "visit"),
    row("visits:visit-paper", EVERYONE, "visit"),
    row("visits:visit-edit", DESK, "visit"),
    row("visits:visit-cancel", DESK, "visit"),
    row("visits:visit-finish", DESK, "visit"),
    row("visits:held", DESK),
    row("visits:held-entry", DESK, "held-entry"),
    row("visits:held-item", DESK, "held-item"),
    row("visits:run-extend", DESK, "run"),
    # sheets
    row("sheets:queue", DESK),
    row("sheets:sheet", EVERYONE, "sheet"),
    row("sheets:review", MANAGER, "sheet"),
    row("sheets:ask", MANAGER, "sheet"),
    row("sheets:approve", MANAGER, "sheet"),
    row("sheets:reopen", MANAGER, "sheet"),
    row("sheets:pdf", EVERYONE, "sheet"),
    row("sheets:progress", EVERYONE, "sheet"),
    row("sheets:facts", DESK, "sheet"),
    row("sheets:print", EVERYONE, "sheet"),
    row("sheets:answer", MANAGER, "finding"),
    row("sheets:submit", ENDERS, "job"),
    row("sheets:verify", PUBLIC, "verify"),
    # office
    row("office:board", EVERYONE),
    row("office:week", DESK),
    row("office:job", EVERYONE, "job"),
    row("office:background", DESK),
    row("office:work-again", DESK, "work"),
)
BY_NAME = {one.name: one for one in TABLE}
