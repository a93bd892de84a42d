// What is asked of entries and drafts again and again.

import { converted } from "../sums/calc/number.js";

export const CANNOT = "cannot tell";

// A number of an entry or draft in the unit asked for; null when there is none.
export function numberIn(payload, name, unit, units) {
  const given = payload[name];
  if (!given || typeof given.value !== "number") return null;
  return given.unit === unit ? given.value : converted(given.value, given.unit, unit, units);
}

export function momentOf(payload, name) {
  const at = Date.parse(payload[name]?.value);
  return Number.isNaN(at) ? null : at;
}

export const minutesBetween = (from, to) => (to - from) / 60000;
export const of = (app, kind, subject) => app.current.filter((entry) => entry.kind === kind && (subject === undefined || entry.subject === subject));
export const last = (list) => list[list.length - 1] || null;

// The office's words for a code, with this phone's figures in them, and the outcome where the code alone decides it.
export function told(app, area, code, figures = {}) {
  const row = app.pack.words?.[area]?.[code] || [CANNOT, code, ""];
  const [outcome, words, wayOut] = row.length > 2 ? row : [CANNOT, ...row];
  return { code, outcome, words: words.replace(/\{(\w+)\}/g, (_, name) => figures[name]), wayOut };
}

export const noted = (app, code, figures) => told(app, "notes", code, figures);
