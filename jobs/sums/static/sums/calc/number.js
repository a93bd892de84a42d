// What was typed becomes a number, and a number goes into another unit of its base; the same as the server's parse and table.

// "2,5", "2.5", "-12", "1e3" is refused: one separator, no thousands.
export function parse(text) {
  const clean = String(text).trim().replace("−", "-").replace(",", ".");
  if (!/^[+-]?(\d+\.?\d*|\.\d+)$/.test(clean)) return null;
  const value = Number(clean);
  return Number.isFinite(value) ? value : null;
}

export function converted(value, unit, to, units) {
  const [from, into] = [units[unit], units[to]];
  if (!from || !into || from.base !== into.base) return null;
  return (from.factor * value + from.offset - into.offset) / into.factor;
}

// Of rows that rise and each hold from their first number on, the one that holds here.
export const rowAt = (rows, at) => rows.reduce((found, row) => (row[0] <= at ? row : found));
