// Which entries stand, which are struck, and in what order they count; the same as the server's ordering, line by line.

const ZONED = /(Z|[+-]\d\d:\d\d)$/;

export function sortOut(entries) {
  const standing = {};
  const held = {};
  const leftOut = [];
  for (const entry of entries) {
    if (entry.decision === "left_out") {
      if (!leftOut.includes(entry.id)) leftOut.push(entry.id);
    } else if (entry.held && !entry.held.startsWith("hold_point:") && entry.decision !== "taken") {
      held[entry.id] = entry.held;
    } else {
      standing[entry.id] = entry;
    }
  }
  leftOut.sort();
  return [standing, held, leftOut];
}

export function strike(standing) {
  const struck = {};
  for (const key of Object.keys(standing).sort()) {
    const entry = standing[key];
    const target = standing[entry.supersedes || ""];
    if (target && target.kind === entry.kind && target.id !== entry.id) (struck[target.id] ||= []).push(entry.id);
  }
  return [struck, Object.keys(struck).sort().filter((key) => struck[key].length > 1)];
}

// A correction takes the place and time of what it corrects.
export function inOrder(standing, struck) {
  const current = [];
  for (const key of Object.keys(standing).sort()) {
    if (struck[key]) continue;
    const first = firstOf(standing[key], standing);
    current.push({ ...standing[key], at: first.at, device: first.device, seq: first.seq });
  }
  const places = new Map(current.map((entry) => [entry.id, [moment(entry.at) || 0, entry.device, entry.seq, entry.id]]));
  return current.sort((a, b) => compared(places.get(a.id), places.get(b.id)));
}

function compared(a, b) {
  for (let at = 0; at < a.length; at += 1) {
    if (a[at] < b[at]) return -1;
    if (a[at] > b[at]) return 1;
  }
  return 0;
}

function firstOf(entry, standing) {
  let first = entry;
  const seen = [entry.id];
  while (first.supersedes && standing[first.supersedes]) {
    const following = standing[first.supersedes];
    if (seen.includes(following.id) || following.kind !== entry.kind) break;
    seen.push(following.id);
    first = following;
  }
  return first;
}

export function moment(text) {
  if (typeof text !== "string" || !ZONED.test(text)) return null;
  const found = Date.parse(text);
  return Number.isNaN(found) ? null : found / 1000;
}

const isRow = (found) => found !== null && typeof found === "object" && !Array.isArray(found);

export function value(entry, name) {
  const found = entry.payload[name];
  return isRow(found) && found.value !== undefined ? found.value : null;
}

export function isYes(entry, name) {
  const found = entry.payload[name];
  return isRow(found) && (found.value === true || found.unknown === "not_applicable");
}

export const names = (found) => (Array.isArray(found) ? [...found] : Object.keys(found));

// The current entries in the order of the work, with the place and time under which each counts.
export function currentOf(entries) {
  const [standing] = sortOut(entries);
  const [struck] = strike(standing);
  return inOrder(standing, struck);
}
