// An entry as it is minted on this phone, and how it stands, in words.

import { SCHEMA, dayAndTime } from "./outbox.js";

export function newEntry({ id, author, job, visit, kind, subject, now, zone, supersedes, reason, instrument, source }) {
  const at = new Date(now).toISOString();
  return {
    id,
    author,
    job,
    kind,
    state: "waiting",
    why: "",
    received_at: "",
    wire: {
      id,
      job,
      visit: visit || null,
      kind,
      subject: subject || "",
      payload: {},
      text: {},
      observed_at: at,
      recorded_at: at,
      tz: zone,
      supersedes: supersedes || null,
      reason: reason || "",
      instrument: instrument || null,
      source: source || "typed",
      schema: SCHEMA,
    },
  };
}

// Why the office holds it; `words` are those of the work pack.
export function heldBecause(words, why) {
  const [what, field = ""] = String(why || "").split(":");
  if (what === "hold_point") return `hold point ${field} is not released`;
  return (words.held?.[what] || "the office has to look").replace("{field}", field.replaceAll("_", " "));
}

export function wordsOf(words, record) {
  if (record.state === "received") return { mark: "received", text: `Received by office ${dayAndTime(record.received_at, Date.now())}` };
  if (record.state === "held") return { mark: "held", text: `Received by office. Office will check: ${heldBecause(words, record.why)}` };
  if (record.state === "problem") return { mark: "held", text: `On this phone. Office cannot read it yet: ${heldBecause(words, record.why)}` };
  return { mark: "phone", text: "On this phone" };
}
