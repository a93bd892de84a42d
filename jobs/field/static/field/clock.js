// The phone's clock, held against two others: the page's own, which only runs forward, and the office's at every contact.

const KEY = "field.clock";
const MOVED = 60000;
const OFF = 120000;
const EVERY = 10000;
const UNIT = [[172800000, 86400000, "days"], [5400000, 3600000, "h"], [0, 60000, "min"]];

// All in milliseconds. `offset`: how far the phone was behind the office at the last contact; `seen`: by how much it was seen
// to move since; `moved`: what the office is told with the next entry; `said`: what stands on the screen; `quiet`: the offset
// that somebody has called right.
let kept = { offset: null, seen: 0, moved: 0, said: "", quiet: null };
try {
  kept = { ...kept, ...JSON.parse(localStorage.getItem(KEY) || "{}") };
} catch {
  // As if it had never met the office.
}
const drift = () => Date.now() - performance.now();
let base = drift();

function keep(change) {
  kept = { ...kept, ...change };
  try {
    localStorage.setItem(KEY, JSON.stringify(kept));
  } catch {
    // It is told while this page stands; the office measures the offset all the same.
  }
}

const far = (by) => UNIT.filter(([from]) => Math.abs(by) >= from).map(([, unit, name]) => `${Math.round(Math.abs(by) / unit)} ${name}`)[0];
const CURE = "set it by the network before the next reading, and log a note.";

// While a page sleeps its own clock may stand still: then only a clock that went back is sure to have been put.
function look(slept = false) {
  const now = drift();
  const by = now - base;
  base = now;
  if (Math.abs(by) < MOVED || (slept && by > 0)) return false;
  keep({ seen: kept.seen + by, moved: kept.moved + by, said: `This phone's clock ${by > 0 ? "jumped forward" : "went back"} by ${far(by)}: ${CURE}` });
  return true;
}

// The office's time, and when on this phone it was asked for and came.
export function contact(office, asked, came) {
  const at = Date.parse(office);
  if (Number.isNaN(at)) return;
  look();
  const offset = Math.round(at - (asked + came) / 2);
  const real = kept.offset === null ? 0 : kept.offset - offset;
  const rest = kept.offset === null ? 0 : real - kept.seen;
  const isRight = Math.abs(offset) < OFF || (kept.quiet !== null && Math.abs(kept.quiet - offset) < OFF);
  // What looked like a jump was none when the office sees the clock where it was: the page had slept.
  const moved = Math.abs(rest) < OFF ? kept.moved : Math.abs(real) < OFF ? 0 : kept.moved + rest;
  keep({ offset, seen: 0, moved, said: isRight ? "" : `This phone's clock is ${far(offset)} ${offset > 0 ? "slow" : "fast"}: ${CURE}` });
}

// In one sentence what is wrong and what to do; empty when nothing is.
export const told = () => kept.said;
export const callRight = () => keep({ said: "", quiet: kept.offset === null ? null : kept.offset - kept.seen });

// For the entry that is saved next, in seconds; `noted` once it is saved.
export function movedBy() {
  look();
  return Math.abs(kept.moved) < MOVED ? 0 : Math.round(kept.moved / 1000);
}

export const noted = (seconds) => seconds && keep({ moved: kept.moved - seconds * 1000 });

export function watchClock(changed) {
  const tell = (slept) => look(slept) && changed();
  setInterval(() => document.visibilityState === "visible" && tell(), EVERY);
  document.addEventListener("visibilitychange", () => tell(document.visibilityState === "visible"));
}
