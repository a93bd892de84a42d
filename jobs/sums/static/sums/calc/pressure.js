// The short tightness check on plain numbers: minutes, bar. The same functions as the server's, checked by the same
// vectors; a code is given, and what it says stands in the work pack.

export const TWO_READINGS = 0.408;
export const COVERAGE = 2.0;
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
