"""A phone as the server sees it: batches of entries, receipts, and what waits to be sent again."""

from __future__ import annotations

import random
import uuid
from datetime import UTC, datetime
from typing import Any

from tests.running.browser import Browser

TAKEN = {"stored", "duplicate", "held"}


class Phone:
    """Sends batch after batch, remembers what was acknowledged, and sends the rest again later."""

    def __init__(self, browser: Browser, job: str, seed: int) -> None:
        self.browser, self.job, self.dice = browser, job, random.Random(seed)
        self.id, self.seq = str(uuid.UUID(int=self.dice.getrandbits(128), version=4)), 0
        self.waiting: list[dict[str, Any]] = []
        self.acknowledged: dict[str, str] = {}
        self.author = self.browser.get("/field/api/session").json()["person"]["id"]

    def note(self) -> dict[str, Any]:
        return self.entry("note", {}, {"note": f"Reading {self.seq + 1} of this phone"})

    def entry(self, kind: str, payload: dict[str, Any], text: dict[str, Any]) -> dict[str, Any]:
        self.seq += 1
        now = datetime.now(UTC).isoformat()
        return {
            "id": str(uuid.UUID(int=self.dice.getrandbits(128), version=4)),
            "job": self.job, "visit": None, "kind": kind, "subject": "", "payload": payload,
            "text": text,
            "observed_at": now, "recorded_at": now, "tz": "Europe/London", "seq": self.seq,
            "supersedes": None, "reason": "", "instrument": None, "source": "typed", "schema": 1,
        }  # fmt: skip

    def send(self) -> None:
        """One batch: what waits, at most twenty. Raises OSError when the server is gone."""
        batch = self.waiting[:20]
        reply = self.browser.post_json(
            "/field/api/entries",
            {
                "device": self.id, "device_label": "", "author": self.author, "client_build": "test", "schema": 1,
                "sent_at": datetime.now(UTC).isoformat(), "entries": batch,
            },
        )  # fmt: skip
        assert reply.status == 200, f"{reply.status}: {reply.text[:300]}"
        for result in reply.json()["results"]:
            assert result["status"] in TAKEN, result
            self.acknowledged[result["id"]] = result["status"]
        self.waiting = [entry for entry in self.waiting if entry["id"] not in self.acknowledged]

    def work_until_it_breaks(self) -> None:
        while True:
            self.waiting += [self.note() for _ in range(self.dice.randint(1, 4))]
            try:
                self.send()
            except (OSError, ValueError):  # gone, or an answer cut in half
                return
