"""What the firm's papers say about getting in."""

from __future__ import annotations

INVITATION = "invitation"  # the purpose of its link
INVITATION_DAYS = 3
