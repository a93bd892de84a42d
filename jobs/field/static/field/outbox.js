// What an entry is on this phone, how it is worded, and how a queue of them is cut into batches. Pure functions.

export const SCHEMA = 1;

export const PLAIN = {
  no_signal: "no signal, will send by itself while this app is open",
  not_ours: "connected, but not to our server. Open the browser to sign in to the Wi-Fi",
  busy: "office system busy, will try again",
  sign_in: "sign in to send what is on this phone",
  sending: "sending",
  old: "update this app to see receipts",
  store: "this page has lost its store. Reload it",
};
const LONGEST_REST = 3600;

export class Trouble extends Error {
  constructor(kind, { status = 0, after = 0 } = {}) {
    super(kind);
    this.kind = kind;
    this.status = status;
    this.after = after;
  }
}

// Sorts an answer: only our own JSON with our own header counts.
export function troubleOf(answer, ours) {
  const { status, type } = answer;
  if (type === "opaqueredirect" || (status >= 300 && status < 400 && status !== 304)) return "not_ours";
  if (status === 401 && ours) return "sign_in";
  if (status === 403 && ours) return "csrf";
  if (status === 413 || (status === 400 && ours)) return "too_large";
  if (status === 408 || status === 429 || status >= 500) return "busy";
  return ours ? "" : "not_ours";
}

// A single entry may be what the office, or something on the way, stumbles over.
export function maybeItself({ kind, status }) {
  return ["no_signal", "not_ours"].includes(kind) || [408, 500, 502, 504].includes(status);
}

// Seconds to wait, from a header that gives seconds or a date.
export function restAsked(header, now) {
  const seconds = /^\d+$/.test(header || "") ? Number(header) : (Date.parse(header || "") - now) / 1000;
  return Math.min(Math.max(seconds || 0, 0), LONGEST_REST);
}

// In the order of the phone's own numbers, at most so many and so heavy; one that is too heavy alone goes alone.
export function batches(entries, { most = 20, bytes = 200000 } = {}) {
  const cut = [];
  let batch = [];
  let weight = 0;
  for (const entry of entries) {
    const size = JSON.stringify(entry.wire).length * 1.1 + 2;
    if (batch.length && (batch.length >= most || weight + size > bytes)) {
      cut.push(batch);
      batch = [];
      weight = 0;
    }
    batch.push(entry);
    weight += size;
  }
  if (batch.length) cut.push(batch);
  return cut;
}

export function halves(batch) {
  const middle = Math.ceil(batch.length / 2);
  return [batch.slice(0, middle), batch.slice(middle)];
}

// What the receipts say about the entries that were sent; an entry without its own line stays as it is.
export function changes(batch, results) {
  const byId = new Map((results || []).map((result) => [result.id, result]));
  const found = [];
  for (const entry of batch) {
    const result = byId.get(entry.id);
    const state = result && { stored: "received", duplicate: "received", held: "held", id_conflict: "held", rejected: "problem" }[result.status];
    if (state && result.received_at) found.push({ id: entry.id, state, why: result.why || "", received_at: result.received_at });
  }
  return found;
}

export function clockTime(iso, zone) {
  const at = new Date(iso);
  if (Number.isNaN(at.getTime())) return "";
  return at.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: zone || undefined });
}

export function dayAndTime(iso, now) {
  const at = new Date(iso);
  if (at.toDateString() === new Date(now).toDateString()) return clockTime(iso);
  return `${at.toLocaleDateString("en-GB", { day: "numeric", month: "short" })} ${clockTime(iso)}`;
}

export function barWords({ waiting, photos, trouble, sending, last, now }) {
  const open = waiting + photos;
  if (!open) return { mark: "received", text: last ? `All received ${dayAndTime(last, now)}` : "Nothing waits on this phone" };
  const why = sending ? PLAIN.sending : PLAIN[trouble] || "will send by itself while this app is open";
  return { mark: "phone", text: `${open} on this phone – ${why}` };
}
