"""Notes written straight into a phone's own store, where tapping them in one by one would take minutes."""

from __future__ import annotations

from typing import Any

from tests.field.office import OPEN, Phone

Note = dict[str, Any]


def a_note(words: str, **changes: Any) -> Note:
    """`changes` are made to what would travel."""
    return {"text": {"note": words}, **changes}


def write_notes(phone: Phone, notes: list[Note], *, author: str = "") -> None:
    """As if they had been saved before this page was opened: numbered on, waiting."""
    phone.page.evaluate(
        WRITE, {"job": phone.crew.job, "visit": phone.crew.visit, "notes": notes, "author": author or phone.crew.id}
    )


WRITE = (
    f"async ({{ job, visit, notes, author }}) => {{{OPEN}"
    """
  const tx = db.transaction(["entries", "meta"], "readwrite");
  const finished = new Promise((done, failed) => { tx.oncomplete = done; tx.onabort = () => failed(tx.error); });
  const [entries, meta] = [tx.objectStore("entries"), tx.objectStore("meta")];
  meta.get("seq").onsuccess = (event) => {
    let seq = event.target.result || 0;
    for (const changes of notes) {
      seq += 1;
      const id = crypto.randomUUID();
      const at = new Date().toISOString();
      const wire = { id, job, visit, kind: "note", subject: "", payload: {}, text: {}, observed_at: at, recorded_at: at,
        tz: "Europe/London", seq, supersedes: null, reason: "", instrument: null, source: "typed", schema: 1, ...changes };
      entries.add({ id, author, job, kind: "note", state: "waiting", why: "", received_at: "", seq, wire });
    }
    meta.put(seq, "seq");
  };
  await finished;
  db.close();
}
"""
)
