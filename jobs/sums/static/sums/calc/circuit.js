// Flow, changeover, purge, residual air, strength and heat on plain numbers; the same functions as the server's, checked
// by the same vectors.

const NO_MIXING_BELOW = 3000;
const TAYLOR_FROM = 20000;

// m/s from L/min and mm.
export function velocity(flow, bore) {
  return flow / 60000 / ((Math.PI / 4) * (bore / 1000) ** 2);
}

// Loop volumes until this share of new fluid leaves a pipe without mixing across its bore.
export function laminarTurnovers(fraction) {
  return Math.sqrt(1 / (4 * (1 - fraction)));
}

function dispersion(bore, speed, reynolds) {
  if (reynolds < TAYLOR_FROM) return bore * speed * (1.17e9 * reynolds ** -2.5 + 0.41);
  return ((10.1 * bore) / 2) * speed * Math.sqrt((0.3164 * reynolds ** -0.25) / 8);
}

// When colour is due at the return hose, in seconds. `plan` is one loop of the work pack at its planned flow; the flow
// read at the hose moves all of it. `quantiles` are those of the normal distribution at the two shares of colour.
export function changeoverAt(plan, flow, rules) {
  const factor = flow / plan.flow_l_min;
  const transit = plan.transit_s / factor;
  const reynolds = plan.reynolds * factor;
  if (reynolds < NO_MIXING_BELOW) {
    return { transit, first: transit * laminarTurnovers(rules.first_fraction), full: transit * laminarTurnovers(rules.full_fraction), sharp: false };
  }
  const speed = plan.length_m / transit;
  const spread = Math.sqrt(dispersion(plan.bore_mm / 1000, speed, reynolds) * transit) / speed;
  const first = Math.max(transit + Math.SQRT2 * spread * rules.first_quantile, 0);
  return { transit, first, full: transit + Math.SQRT2 * spread * rules.full_quantile, sharp: true };
}

// The observed time that decides, and the earliest and latest it may be.
function passage(first, full, due, rules) {
  const [early, transit, late] = due;
  const [sharp, less, more] = [rules.sharp > 0, 1 - rules.deviation, 1 + rules.deviation];
  if (first !== null && full !== null && sharp) return [(first + full) / 2, transit * less, transit * more];
  if (first !== null) return [first, early * less, (sharp ? early : transit) * more];
  return [full || 0, (sharp ? late : transit) * less, late * more];
}

function nothingSeen(clear, transit, rules) {
  if (clear === null) return ["cannot tell", "nothing seen"];
  return clear >= rules.no_colour * transit ? ["fail", "no colour"] : ["cannot tell", "too soon to say"];
}

// What the observed seconds say: an outcome and a code.
export function diagnose({ expected_first: early, expected_full: late, transit, seen, rules }) {
  const [first, full, clear] = seen;
  if (first === null && full === null) return nothingSeen(clear, transit, rules);
  if (first !== null && full !== null && full < first) return ["cannot tell", "order"];
  const [when, low, high] = passage(first, full, [early, transit, late], rules);
  if (when <= rules.at_once * transit) return ["fail", "at once"];
  if (when < low) return ["fail", "too fast"];
  if (when > high) return ["fail", "too slow"];
  const longest = Math.max(rules.blur * (late - early), rules.blur_floor);
  if (first !== null && full !== null && full - first > longest) return ["warn", "blurred"];
  return ["pass", "as expected"];
}

// Was a purge fast and long enough: m/s, minutes after the last bubble, turnovers.
export function judgePurge({ velocity: speed, minutes, turnovers, limits }) {
  if (speed < limits.velocity) return ["fail", "slow"];
  if (minutes < limits.minutes) return ["fail", "short"];
  if (turnovers < limits.turnovers) return ["fail", "turnovers"];
  return ["pass", "enough"];
}

const ATMOSPHERE = 101.325;

function stretch(squeeze, wall) {
  const give = 1 / (squeeze.water_modulus * 1000) + squeeze.bore_to_wall / (wall * 1000);
  return squeeze.volume * (squeeze.end - squeeze.start) * give;
}

function atAtmosphere(squeeze, taken) {
  const [start, end] = [squeeze.start + ATMOSPHERE, squeeze.end + ATMOSPHERE];
  return ((taken / (1 - start / end)) * start) / ATMOSPHERE;
}

export function litresIn(diameter, fall) {
  return (Math.PI / 4) * (diameter / 1000) ** 2 * (fall / 1000) * 1000;
}

// Litres of air left at atmospheric pressure. `squeeze`: litres, kPa above atmosphere, MPa; null without a rise of pressure.
export function residualAir(squeeze, wentIn) {
  if (!(squeeze.end > squeeze.start)) return null;
  const [wall, doubt] = [squeeze.wall_modulus, squeeze.modulus_doubt];
  const parts = [wall, wall * (1 - doubt), wall * (1 + doubt)].map((modulus) => stretch(squeeze, modulus));
  const [air, low, high] = parts.map((part) => atAtmosphere(squeeze, wentIn - part));
  return { volume: air, low, high, elastic: parts[0], litres_in: wentIn, loop_volume: squeeze.volume };
}

export function judgeAir(air, rules) {
  const good = Math.max(rules.good_share * air.loop_volume, rules.good_floor);
  const bad = Math.max(rules.fail_share * air.loop_volume, good);
  if (air.litres_in < rules.low_share_of_elastic * air.elastic) return ["cannot tell", "shut"];
  if (air.high <= good) return ["pass", "good"];
  if (air.volume <= good) return ["cannot tell", "unsure"];
  return [air.low > bad ? "fail" : "warn", "air"];
}

// Columns of a product's table: mass %, volume %, freezing point in °C, °Brix.
const MASS = 0;
const VOLUME = 1;
const FREEZING = 2;

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

// kW carried by a flow in L/min at a difference in kelvin; density in kg/m³, heat capacity in J/(kg K).
export function heat({ flow, difference, density, heatCapacity }) {
  return (density * heatCapacity * (flow / 60000) * difference) / 1000;
}

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
