// Photos: made small at once, kept in a transaction of their own, sent in pieces that can be taken up again.

import * as store from "./store.js";

const LONG_SIDE = 1600;
const MOST = 1000000;
const PIECE = 65536;
const UNSENT_MOST = 150 * 1024 * 1024;
const RAW_MOST = 15 * 1024 * 1024;

export class PhotoNotSaved extends Error {}

async function drawn(file, side, quality) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, side / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", quality));
  if (!blob) throw new Error("cannot be drawn");
  return blob.arrayBuffer();
}

// Read at once: a file from the picker may be gone a moment later.
export async function shrunk(file) {
  const original = await file.arrayBuffer();
  if (!original.byteLength) throw new PhotoNotSaved("This photo is empty. Take it again.");
  const source = new Blob([original], { type: file.type });
  try {
    for (const [side, quality] of [[LONG_SIDE, 0.8], [LONG_SIDE, 0.6], [1200, 0.5]]) {
      const bytes = await drawn(source, side, quality);
      if (bytes.byteLength <= MOST) return { bytes, type: "image/jpeg" };
    }
  } catch {
    // This browser cannot open it; the office's side can.
  }
  if (original.byteLength > RAW_MOST) throw new PhotoNotSaved("This photo is too large for this phone. Take it again smaller.");
  return { bytes: original, type: file.type || "image/jpeg" };
}

async function hash(bytes) {
  const digest = await crypto.subtle.digest("SHA-256", bytes);
  return [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

// Prepared when it is picked, so that its hash can stand in the entry.
export async function prepare(file) {
  const { bytes, type } = await shrunk(file);
  return { id: crypto.randomUUID(), bytes, type, size: bytes.byteLength, sha256: await hash(bytes) };
}

export async function keep(prepared, entry) {
  const unsent = (await store.all("photos")).filter((photo) => photo.state === "waiting");
  const total = unsent.reduce((sum, photo) => sum + photo.size, 0);
  if (total + prepared.size > UNSENT_MOST) throw new PhotoNotSaved("This photo is not saved: too many photos wait on this phone. The reading is saved.");
  // A photo never takes the room that is kept for readings.
  if (!(await store.keepReserve())) throw new PhotoNotSaved("This photo is not saved: phone full. The reading is saved.");
  const { bytes, ...told } = prepared;
  const photo = { ...told, entry: entry.id, author: entry.author, job: entry.job, state: "draft", sent: 0, why: "" };
  try {
    await store.savePhoto(photo, bytes);
  } catch (error) {
    if (error.already) return;
    throw new PhotoNotSaved("This photo is not saved: phone full. The reading is saved.");
  }
}

// The entry is saved: its photos may go. Also asked at every start, for what was cut off in between.
export async function release(entryId) {
  for (const photo of await store.all("photos")) {
    if (photo.entry === entryId && photo.state === "draft") await store.put("photos", { ...photo, state: "waiting" });
  }
}

export async function discard(entryId) {
  for (const photo of await store.all("photos")) {
    if (photo.entry !== entryId || photo.state !== "draft") continue;
    await store.dropPhotoBytes(photo);
    await store.remove("photos", photo.id);
  }
}

export async function sendPhotos(author, uploads, tell) {
  for (const photo of await store.all("photos")) {
    if (photo.state === "waiting" && photo.author === author) await sendPhoto(photo, uploads, tell);
  }
}

async function sendPhoto(photo, uploads, tell) {
  const bytes = await store.photoBytes(photo);
  let { data } = await uploads.open(photo.id, { size: photo.size, sha256: photo.sha256, content_type: photo.type });
  let restarts = 0;
  while (!data.done && !data.refused) {
    if (!Number.isInteger(data.offset)) return;
    const piece = bytes.slice(data.offset, data.offset + PIECE);
    const before = data.offset;
    data = (await uploads.piece(photo.id, before, piece)).data;
    if (!data.done && !data.refused && data.offset <= before) restarts += 1;
    if (restarts > 3) return;
    await store.put("photos", { ...photo, sent: data.offset });
    tell();
  }
  const received = { ...photo, sent: photo.size, state: data.done ? "received" : "problem", why: data.refused || "" };
  await store.put("photos", received);
  if (data.done) await store.dropPhotoBytes(photo);
  tell();
}
