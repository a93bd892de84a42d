// Pressure tests on plain numbers: minutes, bar, litres. The same functions as the server's, checked by the same vectors;
// a code is given, and what it says stands in the work pack. Three methods: the short tightness check, the sequence after
// EN 805 A.27 and the decay test.

const TWO_READINGS = 0.408;
const COVERAGE = 2.0;
const GRID = 60;
const EXACT = 1e-9;

// 2u of a difference of two readings of one gauge.
export function guard(resolution) {
  return COVERAGE * TWO_READINGS * resolution;
}

export function isRising(minutes) {
  return minutes.every((minute, at) => at === 0 || minute > minutes[at - 1]);
}

function loaded(at, up, kept, power) {
  return ((at + kept + up) ** power - (at + kept) ** power) / (up * power);
}

// Times (min after isolation) and pressures (share of the pressure held) of a tight pipe that only creeps.
export function creep(slope, loading, hold, until, waterShare) {
  const [up, kept, end] = [loading / 60, hold / 60, until / 60];
  const power = slope + 1;
  const times = [];
  for (let step = 0; step <= GRID; step += 1) times.push(end * (step / GRID) ** 2);
  const pressures = [1];
  const rates = [];
  const shut = loaded(0, up, kept, power) + waterShare;
  for (let now = 1; now <= GRID; now += 1) {
    const [at, step] = [times[now], times[now] - times[now - 1]];
    let past = 0;
    rates.forEach((rate, k) => {
      past += rate * ((at - times[k]) ** power - (at - times[k + 1]) ** power);
    });
    const lacking = shut - loaded(at, up, kept, power) - past / power - waterShare * pressures[now - 1];
    const rate = lacking / (step ** power / power + waterShare * step);
    rates.push(rate);
    pressures.push(pressures[now - 1] + rate * step);
  }
  return [times.map((at) => 60 * at), pressures];
}

export function line(times, values, when) {
  for (let at = 1; at < times.length; at += 1) {
    if (when <= times[at] + EXACT) {
      const share = (when - times[at - 1]) / (times[at] - times[at - 1]);
      return values[at - 1] + share * (values[at] - values[at - 1]);
    }
  }
  return values[values.length - 1];
}

function left(slope, run, middle, end) {
  const [times, pressures] = creep(slope, run.loading, run.hold, end, run.water_share);
  return [line(times, pressures, middle), pressures[pressures.length - 1]];
}

// The seen and allowed falls at the last of three readings or more; the middle one is that nearest to half time.
export function falls(minutes, bar, run, band) {
  const end = minutes[minutes.length - 1];
  let middle = 1;
  for (let at = 2; at < minutes.length - 1; at += 1) {
    if (Math.abs(minutes[at] - end / 2) < Math.abs(minutes[middle] - end / 2)) middle = at;
  }
  const [start, half, last] = [bar[0], bar[middle], bar[bar.length - 1]];
  const doubtful = left(band.high + band.doubt, run, minutes[middle], end);
  const leak = left(band.high + band.fail, run, minutes[middle], end);
  const air = band.low > 0 ? left(band.low - band.doubt, run, minutes[middle], end)[1] : 1;
  return {
    seen: start - last,
    late: half - last,
    doubtful: start * (1 - doubtful[1]),
    leak: start * (1 - leak[1]),
    leak_late: half * (1 - leak[1] / leak[0]),
    air: start * (1 - air),
  };
}

export function bandOf(rules, restraint) {
  return { low: rules[`${restraint}_low`], high: rules[`${restraint}_high`], doubt: rules[`${restraint}_doubt`], fail: rules[`${restraint}_fail`] };
}

function complaint(minutes, bar, run, rules) {
  if (minutes.length < 3 || minutes.length !== bar.length || Math.abs(minutes[0]) > rules.reading_window) return "readings missing";
  if (!isRising(minutes)) return "clock";
  if (Math.min(...bar) <= 0) return "no pressure";
  if (run.hold < rules.hold) return "hold too short";
  const rises = bar.slice(1).map((value, at) => value - bar[at]);
  return Math.max(...rises) > run.resolution + EXACT ? "rising" : "";
}

function isStuck(bar, run, band) {
  return Math.max(...bar) === Math.min(...bar) && bar[0] * Math.max(band.low, band.high / 2) > 2 * run.resolution;
}

function slopeCode(found, run, spare) {
  if (found.seen + run.resolution < found.air) return "air";
  if (found.seen < found.air - EXACT) return "air in doubt";
  const inside = found.seen <= found.doubtful + EXACT && found.seen + spare <= found.leak + EXACT;
  return inside && found.late <= found.leak_late + EXACT ? "tight" : "slope in doubt";
}

// Code of a short tightness check: minutes from isolation, first reading at 0.
export function shortTightness(minutes, bar, run, band, rules) {
  const wrong = complaint(minutes, bar, run, rules);
  if (wrong) return wrong;
  const found = falls(minutes, bar, run, band);
  const spare = guard(run.resolution);
  if (found.seen - spare > found.leak || found.late - run.resolution > found.leak_late) return "leak";
  if (minutes[minutes.length - 1] < rules.isolated) return "too short";
  if (found.leak < rules.resolution_multiple * TWO_READINGS * run.resolution) return "gauge too coarse";
  return isStuck(bar, run, band) ? "gauge stuck" : slopeCode(found, run, spare);
}

const [SHORTEST, LONGEST] = [5 / 60, 48];

// Litres per hour behind a fall beyond creep, from the first reading to the last that shows half of its pressure or more:
// likely, least and most; null where the readings do not tell. `bands` of the restraint, litres, bore over wall, and the
// moduli of wall (after an hour, with the share of doubt) and water in MPa.
export function leakRate({ minutes, bar, how, bands, volume, ratio }, { wall, water, doubt }) {
  const last = bar.reduce((found, value, at) => (at === 1 || value >= bar[0] / 2 ? at : found), 0);
  const hours = (minutes[last] - minutes[0]) / 60;
  if (bar.length < 2 || !isRising(minutes) || Math.min(...bar) <= 0 || hours < SHORTEST || hours > LONGEST) return null;
  const slopes = [Math.min(...bands.map((band) => band.low)), Math.max(...bands.map((band) => band.high))];
  const [slow, fast] = slopes.map((slope) => bar[0] * (1 - creep(slope, how.loading, how.hold, 60 * hours, wall / (water * ratio))[1][GRID]));
  const gives = slopes.flatMap((slope) => [1 - doubt, 1 + doubt].map((factor) => (volume * ((factor * ratio * hours ** slope) / ((slope + 1) * wall) + 1 / water)) / 10));
  const [stiff, soft, seen, spare] = [Math.min(...gives), Math.max(...gives), bar[0] - bar[last], guard(how.resolution)];
  const rate = (fall, give) => (Math.max(0, fall) * give) / hours;
  return { likely: rate(seen - (slow + fast) / 2, (soft + stiff) / 2), low: rate(seen - spare - fast, stiff), high: rate(seen + spare - slow, soft) };
}

// Litres that may come out in a let-down of so many bar; none without one.
export function allowable(volume, ratio, letDown, rules) {
  const give = 1 / rules.water_modulus + ratio / rules.wall_modulus;
  return letDown > 0 ? (rules.volume_factor * volume * letDown * give) / 10 : 0;
}

// The reading nearest to a time inside the window, else a straight line between two readings not too far apart.
export function pressureAt(minutes, bar, when, rules) {
  let near = 0;
  minutes.forEach((minute, at) => {
    if (Math.abs(minute - when) < Math.abs(minutes[near] - when)) near = at;
  });
  if (minutes.length && Math.abs(minutes[near] - when) <= rules.reading_window) return bar[near];
  for (let at = 1; at < minutes.length; at += 1) {
    const [before, after] = [minutes[at - 1], minutes[at]];
    if (before <= when && when <= after && after - before <= rules.largest_gap) return line([before, after], [bar[at - 1], bar[at]], when);
  }
  return null;
}

// What ends the test before or without the reading at the end of the rest phase.
function restEnds(run, rules) {
  const { rest, restBar, testPressure: full, resolution } = run;
  if (!restBar.length) return "rest missing";
  if (Math.abs(rest[0]) <= rules.reading_window && restBar[0] < full - resolution) return "pressure not reached";
  return full - restBar[restBar.length - 1] - guard(resolution) > rules.rest_high * full ? "rest leak" : "";
}

function restLow(drop, spare, lower, restraint) {
  if (lower <= 0 || drop - spare >= lower || restraint === "backfilled" || restraint === "grouted") return "rest passed";
  if (restraint === "unknown") return "restraint unknown";
  return drop + spare < lower ? "rest low" : "rest low in doubt";
}

function restCode(run, rules) {
  const ended = restEnds(run, rules);
  if (ended) return ended;
  const end = pressureAt(run.rest, run.restBar, rules.rest, rules);
  if (end === null) return "rest missing";
  const [spare, upper, drop] = [guard(run.resolution), rules.rest_high * run.testPressure, run.testPressure - end];
  if (drop - spare > upper) return "rest leak";
  if (drop + spare > upper) return "rest in doubt";
  return restLow(drop, spare, rules.rest_low * run.testPressure, run.restraint);
}

// Highest pressure so far less that at a time; null without a reading there.
function fallAt({ main, mainBar }, when, rules) {
  const now = pressureAt(main, mainBar, when, rules);
  if (now === null) return null;
  const before = mainBar.filter((_, at) => main[at] <= when + rules.reading_window);
  return Math.max(0, Math.max(...before, now) - now);
}

// Fall from the running maximum: the short limit at the end of the phase, the long one after the extension.
function mainCode(run, rules) {
  const { main, mainBar: bar, resolution } = run;
  const limit = rules.fall_long;
  if (!bar.length || Math.abs(main[0]) > rules.reading_window) return "main missing";
  if (limit < rules.resolution_multiple * TWO_READINGS * resolution) return "gauge too coarse";
  const [short, long, spare] = [fallAt(run, rules.main_short, rules), fallAt(run, rules.main_long, rules), guard(resolution)];
  const last = long ?? Math.max(...bar) - bar[bar.length - 1];
  if (last - spare > limit) return "leak";
  if (long !== null) return long + spare <= limit + EXACT ? "tight" : "main in doubt";
  if (short === null) return "main missing";
  return short + spare <= rules.fall_short + EXACT && last + spare <= limit + EXACT ? "tight" : "extend";
}

// 2u of the water let out less what is allowed; what is allowed hangs on a difference of two readings.
function volumeGuard(run) {
  const letDown = letDownOf(run);
  const perBar = letDown > 0 ? run.allowable / letDown : 0;
  return COVERAGE * Math.hypot(run.volumeU, perBar * TWO_READINGS * run.resolution);
}

// Air by the bled volume comes first: it can hide a leak. A small volume needs a second sign.
function volumeAndMain(run, rest, rules) {
  if (run.bled === null) return "volume missing";
  const [main, spare] = [mainCode(run, rules), volumeGuard(run)];
  if (main === "main missing") return main;
  if (run.bled - spare > run.allowable) return run.allowable >= rules.small_volume || rest === "rest low" || main === "leak" ? "air" : "small volume";
  if (rest !== "rest passed") return rest === "rest low" ? "air" : rest;
  if (main !== "tight") return main;
  return run.bled + spare <= run.allowable ? "tight" : "volume in doubt";
}

function sequenceCode(run, rules) {
  const rest = restCode(run, rules);
  if (["rest leak", "rest missing", "pressure not reached"].includes(rest)) return rest;
  if (run.warmedBar > rules.temperature_share * rules.fall_long) return "temperature";
  return volumeAndMain(run, rest, rules);
}

const letDownOf = ({ restBar, mainBar }) => (restBar.length && mainBar.length ? restBar[restBar.length - 1] - mainBar[0] : null);

// What of the phases before was not as the method asks; a time that is not known is not held against the run.
function phases({ relax = null, raised = null, held = null }, rules) {
  return (relax !== null && relax < rules.relax) || (raised !== null && raised > rules.raise) || (held !== null && held < rules.hold);
}

// Code of one run. `rest`, `restBar`, `main`, `mainBar`: minutes from the start of each phase and bar; `bled` in litres or
// null, `volume` in litres, `ratio` bore over wall.
export function sequence(given, rules) {
  if (!isRising(given.rest) || !isRising(given.main)) return "clock";
  const letDown = letDownOf(given);
  const run = { volumeU: 0, warmedBar: 0, ...given, letDown, allowable: allowable(given.volume, given.ratio, letDown, rules) };
  const code = sequenceCode(run, rules);
  if (phases(given, rules)) return "phases too short";
  const tooSmall = code !== "rest leak" && letDown !== null && letDown + given.resolution < rules.let_down_low * given.testPressure;
  return tooSmall ? "let-down too small" : code;
}

function nearest(minutes, when) {
  return minutes.reduce((best, minute, at) => (Math.abs(minute - when) < Math.abs(minutes[best] - when) ? at : best), 0);
}

// The two decay slopes and their standard uncertainties, from the readings at t_L, about 7 t_L and the last; null when one
// is missing.
export function slopesOf({ minutes, bar, loading, resolution }, rules) {
  const last = minutes[minutes.length - 1];
  if (minutes.length < 3 || Math.min(...bar) <= 0 || !isRising(minutes) || minutes[0] <= 0) return null;
  const chosen = [loading, rules.second * loading, last].map((when) => nearest(minutes, when));
  if (new Set(chosen).size < 3 || last < rules.third * loading) return null;
  const times = chosen.map((at) => minutes[at] + rules.loading_share * loading);
  const held = chosen.map((at) => bar[at]);
  return [0, 1].map((at) => {
    const spread = Math.log10(times[at + 1] / times[at]);
    const doubt = (resolution / Math.sqrt(12)) * Math.hypot(1 / held[at], 1 / held[at + 1]);
    return { slope: Math.log10(held[at] / held[at + 1]) / spread, u: doubt / Math.LN10 / spread };
  });
}

// Code: a leak by slope or by its growth, air by a low first slope (or `air`: too much was pumped), 2u to spare.
export function typeTwo(run, band, rules, air) {
  if (!isRising(run.minutes)) return "clock";
  const slopes = slopesOf(run, rules);
  if (!slopes) return "readings missing";
  const [{ slope: n1 }, { slope: n2 }] = slopes;
  const [g1, g2] = slopes.map(({ u }) => COVERAGE * u);
  // Both slopes are in doubt here, so 3u of each, else rounding alone could turn a pass into a fail.
  const steeper = n1 > 0 && n2 - 1.5 * g2 > rules.ratio_fail * (n1 + 1.5 * g1);
  if (n2 - g2 > band.high + band.fail || steeper) return "leak";
  const low = band.low - band.doubt;
  if ((band.low > 0 && n1 + g1 < low) || air) return "air";
  if (band.low > 0 && n1 - g1 < low) return "air in doubt";
  const sound = Math.max(n1, n2) <= band.high + band.doubt && n2 + g2 <= band.high + band.fail && n2 <= rules.ratio_pass * n1;
  return sound ? "tight" : "slope in doubt";
}
