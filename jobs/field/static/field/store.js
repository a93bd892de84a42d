// The phone's own memory. Nothing is said to be saved before its transaction is complete: over quota the single
// request succeeds first and the transaction then aborts.

const VERSION = 1;
const RESERVE_BYTES = 1024 * 1024;
const LOST = /InvalidState|UnknownError|connection|closing|server lost/i;
const WHO = "field.who";

let base = null;
let opening = null;
let name = "";

export class NotSaved extends Error {
  constructor(cause) {
    super(cause && cause.message ? cause.message : "not saved");
    this.full = Boolean(cause && cause.name === "QuotaExceededError");
    this.already = Boolean(cause && cause.name === "ConstraintError");
  }
}

// Behind “NOT SAVED – write it down.”: only a full phone is called one.
export const whyNot = (error) => (error.full ? "This phone is full. Free some space, then save again." : "Then reload this page and save again.");

// Whose phone this is. The browser writes local storage to the disk some seconds late: a phone that was killed in between
// would not know its own store any more. So it stands in a small store of its own as well, and that one counts.
async function person(work) {
  const db = await new Promise((done, failed) => {
    const request = indexedDB.open("who", 1);
    request.onupgradeneeded = () => request.result.createObjectStore("who");
    request.onerror = () => failed(request.error);
    request.onsuccess = () => done(request.result);
  });
  db.onversionchange = () => db.close();
  return run(db, ["who"], "readwrite", work).finally(() => db.close());
}

export async function who() {
  try {
    const kept = await person(({ who: place }, done) => (place.get(1).onsuccess = (event) => done(event.target.result))).catch(() => null);
    return kept || JSON.parse(localStorage.getItem(WHO)) || null;
  } catch {
    return null;
  }
}

export async function setWho(someone) {
  if (someone) localStorage.setItem(WHO, JSON.stringify(someone));
  else localStorage.removeItem(WHO);
  await person(({ who: place }) => (someone ? place.put(someone, 1) : place.delete(1))).catch(() => null);
}

function upgrade(db) {
  db.createObjectStore("meta");
  db.createObjectStore("pack");
  db.createObjectStore("drafts", { keyPath: "id" });
  const entries = db.createObjectStore("entries", { keyPath: "id" });
  entries.createIndex("state", "state");
  const photos = db.createObjectStore("photos", { keyPath: "id" });
  photos.createIndex("state", "state");
  db.createObjectStore("photo_bytes");
  db.createObjectStore("reserve");
}

// A store that a newer version of this page has made is opened as it is: new versions only add to what is there.
function connect(version = VERSION) {
  return new Promise((done, failed) => {
    const request = version ? indexedDB.open(name, version) : indexedDB.open(name);
    request.onupgradeneeded = () => upgrade(request.result);
    request.onblocked = () => failed(new Error("another window holds the store"));
    request.onerror = () => (version && request.error.name === "VersionError" ? connect(0).then(done, failed) : failed(request.error));
    request.onsuccess = () => {
      const db = request.result;
      db.onversionchange = () => drop(db);
      db.onclose = () => drop(db);
      done(db);
    };
  });
}

function drop(db) {
  db.close();
  if (base === db) base = null;
}

async function connected() {
  if (base) return base;
  opening = opening || connect();
  try {
    base = await opening;
  } finally {
    opening = null;
  }
  return base;
}

// One transaction. `work(stores, done)` makes its requests; what it hands to `done` is the answer.
function run(db, names, mode, work) {
  return new Promise((finished, failed) => {
    const strict = mode === "readwrite" ? { durability: "strict" } : undefined;
    const tx = db.transaction(names, mode, strict);
    const stores = Object.fromEntries(names.map((each) => [each, tx.objectStore(each)]));
    let answer;
    let cause = null;
    tx.oncomplete = () => finished(answer);
    tx.onabort = () => failed(cause || tx.error || new Error("aborted"));
    tx.onerror = (event) => {
      cause = cause || event.target.error;
    };
    try {
      work(stores, (value) => {
        answer = value;
      });
    } catch (error) {
      cause = error;
      tx.abort();
    }
  });
}

// A phone that was asleep may hold a dead connection: throw it away, open once more, try again.
async function attempt(names, mode, work) {
  try {
    return await run(await connected(), names, mode, work);
  } catch (error) {
    if (!LOST.test(`${error.name} ${error.message}`)) throw error;
    if (base) drop(base);
    return run(await connected(), names, mode, work);
  }
}

export async function read(names, work) {
  return attempt(names, "readonly", work);
}

export async function write(names, work) {
  try {
    return await attempt(names, "readwrite", work);
  } catch (error) {
    throw new NotSaved(error);
  }
}

// When the store is filled to the brim, the reserve gives way so that a reading still goes in.
export async function writeAtAllCosts(names, work) {
  try {
    return await write(names, work);
  } catch (error) {
    if (!error.full) throw error;
    await write(["reserve"], ({ reserve }) => reserve.clear());
    return write(names, work);
  }
}

export async function open(firm) {
  name = `field-${firm}`;
  if (base) drop(base);
  await connected();
  return settle(firm);
}

// What stands outside the store, so that an emptied store is noticed and told.
function canaryKey() {
  return `canary.${name}`;
}

export function canary() {
  try {
    return JSON.parse(localStorage.getItem(canaryKey())) || {};
  } catch {
    return {};
  }
}

function setCanary(change) {
  try {
    localStorage.setItem(canaryKey(), JSON.stringify({ ...canary(), ...change }));
  } catch {
    // The canary only warns; the store itself is what counts.
  }
}

async function settle() {
  const told = canary();
  const kept = await get("meta", "device");
  if (kept) return { device: kept, lost: null };
  const device = crypto.randomUUID();
  const lost = told.device && told.waiting ? { count: told.waiting, after: told.receivedUpTo || "", device: told.device } : null;
  await write(["meta"], ({ meta }) => {
    meta.put(device, "device");
    meta.put(0, "seq");
    if (lost) meta.put(lost, "lost");
  });
  setCanary({ device, seq: 0, waiting: 0 });
  return { device, lost };
}

// Browsers press what they store: a reserve of zeros would hold no room at all.
function noise(bytes) {
  const found = new Uint8Array(bytes);
  for (let at = 0; at < bytes; at += 65536) crypto.getRandomValues(found.subarray(at, at + 65536));
  return found.buffer;
}

export async function keepReserve() {
  const there = await read(["reserve"], ({ reserve }, done) => {
    reserve.count().onsuccess = (event) => done(event.target.result);
  });
  if (there) return true;
  try {
    await write(["reserve"], ({ reserve }) => reserve.put(noise(RESERVE_BYTES), 1));
    return true;
  } catch {
    return false; // no room for it now; tried again at the next start
  }
}

export async function get(store, key) {
  return read([store], (stores, done) => {
    stores[store].get(key).onsuccess = (event) => done(event.target.result);
  });
}

export async function all(store) {
  return read([store], (stores, done) => {
    stores[store].getAll().onsuccess = (event) => done(event.target.result);
  });
}

export async function put(store, value, key) {
  return write([store], (stores) => {
    if (key === undefined) stores[store].put(value);
    else stores[store].put(value, key);
  });
}

export async function remove(store, key) {
  return write([store], (stores) => stores[store].delete(key));
}

export async function keepDraft(draft) {
  return writeAtAllCosts(["drafts"], ({ drafts }) => drafts.put(draft));
}

// One transaction: the draft becomes an entry with the phone's next number. The id was minted when the form opened
// and is added, never put: a second tap finds it there.
export async function saveEntry(record, draftId) {
  let seq = 0;
  try {
    await writeAtAllCosts(["meta", "drafts", "entries"], ({ meta, drafts, entries }) => {
      meta.get("seq").onsuccess = (event) => {
        seq = (event.target.result || 0) + 1;
        meta.put(seq, "seq");
        entries.add({ ...record, seq, wire: { ...record.wire, seq } });
        if (draftId) drafts.delete(draftId);
      };
    });
  } catch (error) {
    if (!error.already) throw error;
    if (draftId) await remove("drafts", draftId);
    return { ...(await get("entries", record.id)), already: true };
  }
  const told = canary();
  setCanary({ seq, waiting: (told.waiting || 0) + 1, receivedUpTo: told.receivedUpTo || record.wire.recorded_at });
  return { ...record, seq, wire: { ...record.wire, seq } };
}

export async function waiting() {
  const kept = await read(["entries"], ({ entries }, done) => {
    entries.index("state").getAll("waiting").onsuccess = (event) => done(event.target.result);
  });
  return kept.sort((a, b) => a.seq - b.seq);
}

// The numbers that are still here, whoever wrote them, and the last number given so far, as they stand at one moment.
export async function unsent() {
  return read(["entries", "meta"], ({ entries, meta }, done) => {
    let open = [];
    const among = entries.index("state");
    among.getAll("waiting").onsuccess = (event) => (open = event.target.result);
    among.getAll("problem").onsuccess = (event) => open.push(...event.target.result);
    meta.get("seq").onsuccess = (event) => done({ open: open.map((entry) => entry.seq), seq: event.target.result || 0 });
  });
}

// Receipts of one batch, stored together before anything is shown as received; `now` is the office's time of them.
export async function setStates(changes, now = "") {
  await writeAtAllCosts(["entries", "meta"], ({ entries, meta }) => {
    for (const change of changes) {
      entries.get(change.id).onsuccess = (event) => {
        const kept = event.target.result;
        if (kept) entries.put({ ...kept, ...change });
      };
    }
    if (now) meta.put(now, "last");
  });
  await recount();
}

async function recount() {
  const [open, seq] = [await waiting(), await get("meta", "seq")];
  setCanary({ seq, waiting: open.length, receivedUpTo: open.length ? open[0].wire.recorded_at : "" });
}

const PIECE = 256 * 1024;

export async function savePhoto(photo, bytes) {
  await write(["photos", "photo_bytes"], (stores) => {
    for (let at = 0, n = 0; at < bytes.byteLength; at += PIECE, n += 1) {
      stores.photo_bytes.put(bytes.slice(at, at + PIECE), [photo.id, n]);
    }
    stores.photos.add(photo);
  });
}

export async function photoBytes(photo) {
  const range = IDBKeyRange.bound([photo.id, 0], [photo.id, Infinity]);
  const pieces = await read(["photo_bytes"], (stores, done) => {
    stores.photo_bytes.getAll(range).onsuccess = (event) => done(event.target.result);
  });
  const whole = new Uint8Array(photo.size);
  let at = 0;
  for (const piece of pieces) {
    whole.set(new Uint8Array(piece), at);
    at += piece.byteLength;
  }
  return whole.buffer;
}

// Its end, whichever: what is said of it from now on, and with `drop` its bytes go in the same transaction.
export async function endPhoto(photo, { drop }) {
  const range = IDBKeyRange.bound([photo.id, 0], [photo.id, Infinity]);
  await writeAtAllCosts(["photos", "photo_bytes"], (stores) => {
    stores.photos.put(photo);
    if (drop) stores.photo_bytes.delete(range);
  });
}

export async function removePhoto(photo) {
  const range = IDBKeyRange.bound([photo.id, 0], [photo.id, Infinity]);
  await write(["photos", "photo_bytes"], (stores) => {
    stores.photo_bytes.delete(range);
    stores.photos.delete(photo.id);
  });
}

// Received entries go 30 days after their receipt once their job is closed; waiting ones never.
export async function prune(closedJobs, now) {
  const old = now - 30 * 24 * 3600 * 1000;
  await write(["entries"], ({ entries }) => {
    entries.openCursor().onsuccess = (event) => {
      const cursor = event.target.result;
      if (!cursor) return;
      const { state, received_at: at, job } = cursor.value;
      if (state === "received" && closedJobs(job) && Date.parse(at) < old) cursor.delete();
      cursor.continue();
    };
  });
}
