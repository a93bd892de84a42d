// Taking a photo: made small at once, kept in a transaction of its own beside the entry that is being written.

import * as store from "./store.js";

const LONG_SIDE = 1600;
const MOST = 1000000;
const UNSENT_MOST = 150 * 1024 * 1024;
const RAW_MOST = 15 * 1024 * 1024;
export const HEIC = "image/heic";

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
  const original = await file.arrayBuffer().catch(() => new ArrayBuffer(0));
  if (!original.byteLength) throw new PhotoNotSaved("This photo is empty. Take it again.");
  const source = new Blob([original], { type: file.type });
  try {
    for (const [side, quality] of [[LONG_SIDE, 0.8], [LONG_SIDE, 0.6], [1200, 0.5]]) {
      const bytes = await drawn(source, side, quality);
      if (bytes.byteLength <= MOST) return { bytes, type: "image/jpeg" };
    }
  } catch {
    // This browser cannot open it; the office's side can, if it is of a kind that is known there.
  }
  const type = typeOf(new Uint8Array(original, 0, Math.min(12, original.byteLength)));
  if (!type) throw new PhotoNotSaved("This photo is not saved: it is of a kind that cannot be opened. Set the camera to JPEG (most compatible) and take it again.");
  if (original.byteLength > RAW_MOST) throw new PhotoNotSaved("This photo is too large for this phone. Take it again smaller.");
  return { bytes: original, type };
}

// By its first bytes: a phone often tells no type, or the wrong one.
function typeOf(head) {
  const text = String.fromCharCode(...head);
  if (text.startsWith("\xff\xd8\xff")) return "image/jpeg";
  if (text.startsWith("\x89PNG")) return "image/png";
  if (/^....ftyp(hei[cmsx]|hev[cmsx]|mif1|msf1)/s.test(text)) return HEIC;
  return text.startsWith("RIFF") && text.endsWith("WEBP") ? "image/webp" : "";
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
    throw new PhotoNotSaved(error.full ? "This photo is not saved: phone full. The reading is saved." : "This photo is not saved. Reload this page, then take it again.");
  }
}

export async function discard(entryId) {
  for (const photo of await store.all("photos")) {
    if (photo.entry !== entryId || photo.state !== "draft") continue;
    await store.removePhoto(photo);
  }
}
