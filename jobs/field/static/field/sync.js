// Sends what waits, one sender at a time. Received is only what the office's own answer names by its id.

import { contact } from "./clock.js";
import { SCHEMA, Trouble, batches, changes, halves, maybeItself, restAsked, troubleOf } from "./outbox.js";
import * as store from "./store.js";

const API = "/field/api/";
const PATIENCE = 20000;
const FIRST_WAIT = 2000;
const LONGEST_WAIT = 60000;
const STRIKES = 2;
const MOST_STUCK = 2;
const PHOTO_PIECE = 65536;

export const status = { trouble: "", sending: false, session: null, last: "", signedOut: false };
const listeners = new Set();
let timer = 0;
let pause = FIRST_WAIT;
let queued = null;
let notBefore = 0;
let strikes = 0;
const others = new Set();

export function onChange(listener) {
  listeners.add(listener);
}

function tell() {
  for (const listener of listeners) listener(status);
}

export async function call(path, { method = "GET", body, headers = {}, patience = PATIENCE } = {}) {
  const stop = new AbortController();
  const clock = setTimeout(() => stop.abort(), patience);
  let answer;
  try {
    answer = await fetch(API + path, {
      method,
      body,
      headers: { Accept: "application/json", ...headers },
      redirect: "manual",
      cache: "no-store",
      credentials: "same-origin",
      signal: stop.signal,
    });
    return await read(answer);
  } catch (error) {
    if (error instanceof Trouble) throw error;
    throw new Trouble("no_signal");
  } finally {
    clearTimeout(clock);
  }
}

async function read(answer) {
  const ours = answer.headers.get("X-App") === "groundloop";
  const trouble = troubleOf(answer, ours);
  if (trouble) {
    const after = restAsked(answer.headers.get("Retry-After"), Date.now());
    throw new Trouble(trouble, { status: answer.status, after });
  }
  if (answer.status === 304) return { status: 304, data: null };
  const text = await answer.text();
  try {
    return { status: answer.status, data: JSON.parse(text) };
  } catch {
    throw new Trouble("not_ours");
  }
}

export async function session() {
  const asked = Date.now();
  const { data } = await call("session");
  if (!data.person || !data.csrf) throw new Trouble("not_ours");
  contact(data.now, asked, Date.now());
  status.session = data;
  status.signedOut = false;
  return data;
}

// A token from before a new sign-in is dead: asked for anew right before sending, and once more when refused.
async function send(path, options) {
  const token = () => ({ ...options.headers, "X-CSRFToken": status.session.csrf });
  try {
    return await call(path, { ...options, headers: token() });
  } catch (error) {
    if (error.kind !== "csrf") throw error;
    await session();
    try {
      return await call(path, { ...options, headers: token() });
    } catch (again) {
      throw again.kind === "csrf" ? new Trouble("sign_in") : again;
    }
  }
}

export async function post(path, body) {
  return send(path, { method: "POST", body: JSON.stringify(body), headers: { "Content-Type": "application/json" } });
}

async function envelope(author, batch, waiting) {
  return {
    device: await store.get("meta", "device"),
    device_label: (await store.get("meta", "label")) || "",
    author,
    client_build: buildName(),
    schema: SCHEMA,
    sent_at: new Date().toISOString(),
    waiting,
    entries: batch.map((entry) => entry.wire),
  };
}

export function buildName() {
  return document.querySelector("meta[name=groundloop-shell]")?.content || "";
}

// `waiting`: what is still on this phone once this batch is in.
async function deliver(author, batch, waiting) {
  const { data } = await post("entries", await envelope(author, batch, waiting));
  const found = changes(batch, data.results);
  if (batch.length && !found.length) throw new Trouble("not_ours");
  await store.setStates(found, data.now);
  status.last = data.now;
}

// What is too large goes in halves. So does what failed again and again while the office answered otherwise: then one
// entry may be to blame, and the others must not wait for it.
async function sendBatch(author, batch, waiting, trial) {
  try {
    await deliver(author, batch, waiting);
    trial.stuck = 0;
  } catch (error) {
    error.struck = error.kind !== "too_large" && maybeItself(error);
    if (error.kind !== "too_large" && !(trial.split && error.struck)) throw error;
    if (batch.length === 1) return single(author, batch[0], waiting, { error, trial });
    let rest = waiting + batch.length;
    for (const half of halves(batch)) {
      rest -= half.length;
      await sendBatch(author, half, rest, trial);
    }
  }
  return null;
}

// One entry that does not go in: as it is, for a person to look at, or passed by for this time.
async function single(author, entry, waiting, { error, trial }) {
  const hopeless = error.kind === "too_large" || (error.status === 500 && (await isItself(author, entry, waiting)));
  if (hopeless && (await asRaw(author, entry))) return;
  if (hopeless === null) return;
  trial.stuck += 1;
  trial.error = error;
  if (trial.stuck > MOST_STUCK) throw error;
}

// The office takes an empty letter and stumbles over this entry once more. null: now it is in.
async function isItself(author, entry, waiting) {
  await deliver(author, [], waiting);
  try {
    await deliver(author, [entry], waiting);
    return null;
  } catch (again) {
    if (again.status !== 500) throw again;
    return true;
  }
}

async function asRaw(author, entry) {
  const device = await store.get("meta", "device");
  try {
    const { data } = await post(`raw?device=${device}`, { author, device, client_build: buildName(), entry: entry.wire });
    if (!data.received_at) return false;
    await store.setStates([{ id: entry.id, state: "held", why: data.why || "unreadable", received_at: data.received_at }]);
  } catch (error) {
    if (error.kind === "too_large") await store.setStates([{ id: entry.id, state: "problem", why: "too_large" }]);
    else if (error.status === 500) return false;
    else throw error;
  }
  return true;
}

// Ids the office holds already: an answer that was lost on the way is made good.
async function reconcile(open) {
  const device = await store.get("meta", "device");
  const { data } = await call(`receipts?device=${device}&after_seq=${open[0].seq - 1}`);
  const found = changes(open, data.results);
  if (found.length) await store.setStates(found);
}

// The entry is saved: its photos may go. Also asked at every start, for what was cut off in between.
export async function releasePhotos(entryId) {
  for (const photo of await store.all("photos")) {
    if (photo.entry === entryId && photo.state === "draft") await store.put("photos", { ...photo, state: "waiting" });
  }
}

// One after the other until `stop()`: a reading that came in the meantime goes first. A photo at which the office stumbles
// does not hold up those behind it.
async function sendPhotos(author, stop) {
  let trouble = null;
  for (const photo of await store.all("photos")) {
    if (photo.state !== "waiting" || photo.author !== author) continue;
    try {
      if (!(await sendPhoto(photo, stop))) break;
    } catch (error) {
      if (error.status !== 500 || trouble) throw error;
      trouble = error;
    }
  }
  if (trouble) throw trouble;
}

async function sendPhoto(photo, stop) {
  const bytes = await store.photoBytes(photo);
  const path = `uploads/${photo.id}`;
  let { data } = await post(path, { size: photo.size, sha256: photo.sha256, content_type: photo.type });
  let restarts = 0;
  while (!data.done && !data.refused) {
    if (!Number.isInteger(data.offset)) return true;
    if (await stop()) return false;
    const before = data.offset;
    const headers = { "Content-Type": "application/octet-stream", "Upload-Offset": String(before) };
    data = (await send(path, { method: "PATCH", body: bytes.slice(before, before + PHOTO_PIECE), headers })).data;
    if (!data.done && !data.refused && data.offset <= before) restarts += 1;
    if (restarts > 3) return true;
    // How far it came is only for show: a full phone goes on sending.
    await store.put("photos", { ...photo, sent: data.offset }).catch(() => null);
    tell();
  }
  const received = { ...photo, sent: photo.size, state: data.done ? "received" : "problem", why: data.refused || "" };
  await store.endPhoto(received, { drop: Boolean(data.done) });
  tell();
  return true;
}

// Whether anything of these people is still here afterwards.
async function flushOnce() {
  if (!(await store.waiting()).length && !(await hasPhotos())) return false;
  status.sending = true;
  tell();
  const { person, limits, schemas } = await session();
  const isOld = schemas && schemas.every((each) => each > SCHEMA);
  const trial = { split: strikes >= STRIKES, stuck: 0, error: null };
  const authors = new Set([person.id, ...others]);
  for (const author of authors) await sendOf(author, { limits, trial, isOld });
  const before = (await store.waiting()).length;
  await sendPhotos(person.id, async () => (await store.waiting()).length > before);
  if (trial.error) throw trial.error;
  others.clear();
  if (isOld) throw new Trouble("old");
  return (await hasPhotos(person.id)) || (await store.waiting()).some((entry) => authors.has(entry.author));
}

async function sendOf(author, { limits, trial, isOld }) {
  const open = await store.waiting();
  const own = open.filter((entry) => entry.author === author);
  let rest = open.length;
  for (const batch of batches(own, { most: limits.entries, bytes: limits.bytes })) {
    rest -= batch.length;
    if (isOld) for (const entry of batch) await asRaw(author, entry);
    else await sendBatch(author, batch, rest, trial);
    tell();
  }
  const left = (await store.waiting()).filter((entry) => entry.author === author);
  if (left.length) await reconcile(left);
}

async function hasPhotos(author = "") {
  const photos = await store.all("photos");
  return photos.some((photo) => photo.state === "waiting" && (!author || photo.author === author));
}

// What the office asked to wait is kept to, unless somebody taps.
async function flush(tapped) {
  if (!tapped && performance.now() < notBefore) return;
  clearTimeout(timer);
  notBefore = 0;
  try {
    const left = await flushOnce();
    status.trouble = "";
    strikes = 0;
    if (left) later(0);
    else pause = FIRST_WAIT;
  } catch (error) {
    const kind = error instanceof Trouble ? error.kind : "store";
    strikes = error.struck ? strikes + 1 : 0;
    status.trouble = kind;
    status.signedOut = kind === "sign_in";
    later(error.after ? error.after * 1000 : 0);
  } finally {
    status.sending = false;
    tell();
  }
}

function later(least) {
  clearTimeout(timer);
  const wait = Math.max(least, pause * (0.75 + Math.random() / 2));
  notBefore = least ? performance.now() + least : 0;
  pause = Math.min(pause * 2, LONGEST_WAIT);
  timer = setTimeout(() => sendSoon(), wait);
}

// Each window queues at most one turn under the lock; whoever comes second finds nothing left to send.
export function sendSoon({ now = false, tapped = false } = {}) {
  if (now || tapped) pause = FIRST_WAIT;
  if (tapped) notBefore = 0;
  if (queued) return queued;
  const turn = () => {
    queued = null;
    return flush(tapped);
  };
  queued = navigator.locks ? navigator.locks.request("field-sync", turn) : Promise.resolve().then(turn);
  return queued;
}

// What somebody who left wrote goes with both names: who wrote it, and who sent it.
export function sendFor(author) {
  others.add(author);
  return sendSoon({ tapped: true });
}

export function watch() {
  addEventListener("online", () => sendSoon({ now: true }));
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") sendSoon({ now: true });
  });
}

// The work pack: kept whole or left as it was.
export async function fetchPack(person) {
  const kept = await store.get("pack", person.id);
  const { status: code, data } = await call(`pack?etag=${encodeURIComponent(kept?.pack.etag || "")}`, { patience: 60000 });
  const fetched_at = new Date().toISOString();
  if (code === 304 && kept) {
    await store.put("pack", { ...kept, fetched_at }, person.id);
    return false;
  }
  if (!data || !data.etag || data.person.id !== person.id) throw new Trouble("not_ours");
  await store.put("pack", { pack: data, fetched_at }, person.id);
  return true;
}

// Which numbers wait, not only how many: a letter may overtake this, and the office then knows better.
export async function tellOffice(told) {
  const { open, seq } = await store.unsent();
  return post("report", { device: await store.get("meta", "device"), build: buildName(), waiting: open.length, open, seq, ...told });
}
