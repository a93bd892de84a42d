// Strength and litres on plain numbers: what a look says, what was poured, what to add. The same functions as the server's,
// checked by the same vectors; the tables come with the work pack.

// Columns of a fluid's table: mass %, volume %, freezing point in °C, °Brix and, in the sums of the pack, kg/m³ at 20 °C.
const MASS = 0;
const VOLUME = 1;
const FREEZING = 2;
const DENSITY = 4;
const SLICES = 64;

// Straight line between the rows; null outside them.
export function between(table, from, to, value) {
  const rows = table.filter((row) => row[from] !== null && row[to] !== null);
  for (let at = 1; at < rows.length; at += 1) {
    const [a, b] = [rows[at - 1], rows[at]];
    const [low, high] = [Math.min(a[from], b[from]), Math.max(a[from], b[from])];
    if (value >= low && value <= high && high > low) {
      const share = (value - a[from]) / (b[from] - a[from]);
      return a[to] + share * (b[to] - a[to]);
    }
  }
  return null;
}

export function freezingOf(table, massPct) {
  return between(table, MASS, FREEZING, massPct);
}

export function volumeOf(table, massPct) {
  return between(table, MASS, VOLUME, massPct);
}

export function densityOf(table, massPct) {
  return between(table, MASS, DENSITY, massPct);
}

// The mass per cent that freezes at so many °C; null where the table does not reach.
export function massFor(table, celsius) {
  return between(table, FREEZING, MASS, celsius);
}

// Mass per cent with its standard uncertainty from one look. `rows`: reading, mass %, u at 20 °C, u per kelvin off 20 °C.
export function reading(rows, value, celsius) {
  const mass = between(rows, 0, 1, value);
  if (mass === null) return null;
  return { mass, u: Math.hypot(between(rows, 0, 2, value), between(rows, 0, 3, value) * (celsius - 20)) };
}

// A code and an outcome: inside the band with 2u to spare, too near its edge, too weak or too strong.
export function inBand({ mass, u, target, band }) {
  const short = target - mass;
  if (Math.abs(short) + 2 * u <= band) return ["inside", "pass"];
  if (Math.abs(short) - 2 * u <= band) return ["edge", "cannot tell"];
  return short > 0 ? ["weak", "fail"] : ["strong", "warn"];
}

// Mass per cent of what was poured together; densities in kg/m³.
export function mixed({ water, concentrate, concentrateMassPct, concentrateDensity, waterDensity }) {
  const [a, b] = [water * waterDensity, concentrate * concentrateDensity];
  return a + b > 0 ? (concentrateMassPct * b) / (a + b) : 0;
}

// What is added when a mix goes from one strength to another: water when it is too strong.
function added({ table, measured, target, concentrate }) {
  return target >= measured ? concentrate : { massPct: 0, density: densityOf(table, 0) };
}

// Litres to drain and to add at constant volume, and to feed while as much runs over (null where that never gets there).
// `concentrate`: its mass per cent and kg/m³. Null outside the table or when the concentrate is weaker than the target.
export function correction({ table, volume, measured, target, concentrate }) {
  const [from, into] = [densityOf(table, measured), densityOf(table, target)];
  const adding = added({ table, measured, target, concentrate });
  const span = adding.massPct - measured;
  if (from === null || into === null || (target >= measured && adding.massPct < target)) return null;
  if (target === measured) return { drain: 0, add: 0, feed: 0 };
  return {
    drain: volume - (volume * into * (adding.massPct - target)) / (from * span),
    add: (volume * into * (target - measured)) / (span * adding.density),
    feed: adding.massPct === target ? null : (volume / adding.density) * fed(table, adding.massPct, measured, target),
  };
}

// Integral of density over what is lacking to the strength fed, by Simpson's rule; smooth in the logarithm of the lack.
function fed(table, massPct, from, to) {
  const side = massPct > from ? 1 : -1;
  const [low, high] = [to, from].map((mass) => Math.log(side * (massPct - mass)));
  const width = (high - low) / SLICES;
  let sum = 0;
  for (let at = 0; at <= SLICES; at += 1) {
    const weight = at === 0 || at === SLICES ? 1 : at % 2 ? 4 : 2;
    const mass = at === 0 ? to : at === SLICES ? from : massPct - side * Math.exp(low + at * width);
    sum += weight * densityOf(table, mass);
  }
  return (sum * width) / 3;
}

// Litres to pour on top of a bin that has room; null as above, and where water would never do.
export function topUp({ table, volume, measured, target, concentrate }) {
  const from = densityOf(table, measured);
  const adding = added({ table, measured, target, concentrate });
  const lacking = adding.massPct - target;
  if (from === null || densityOf(table, target) === null || lacking === 0 || (target >= measured && lacking < 0)) return null;
  return (volume * from * (target - measured)) / (lacking * adding.density);
}

// A code and an outcome: is a freezing point read with its u in kelvin cold enough.
export function frost({ freezing, required, u, rules }) {
  const guard = Math.max(rules.guard, 2 * u);
  if (freezing > required + guard) return ["weak", "fail"];
  if (freezing > required - guard) return ["edge", "cannot tell"];
  return freezing < required - rules.surplus ? ["strong", "warn"] : ["inside", "pass"];
}
