// What stands beside the steps: site, limits and fluid with their sources, cautions, who is where, breaks and leaving.

import { h, key, state } from "./dom.js";
import { ask, caution } from "./parts.js";
import { summary, stateLine } from "./entry.js";
import { of } from "./given.js";
import { clockTime, dayAndTime } from "./outbox.js";

// From when on a stop of the work is a break: common practice, no source; it decides only whether the words are shown.
const BREAK_MIN = 30;
const SHIFT_MIN = 12 * 60;
// Nor has this one a source: a start of a fill that nothing followed is no longer shown.
const FILL_MIN = 4 * 60;
const minutesSince = (iso) => (Date.now() - Date.parse(iso)) / 60000;
const newest = (entries) => entries.reduce((a, b) => (a && a.at > b.at ? a : b), null);

export function siteBox(job) {
  const { site } = job;
  return h("details", {}, h("summary", {}, site.name), h("p", {}, site.address), site.directions ? h("p", {}, site.directions) : null,
    site.hazards ? h("ul.caution", {}, h("li", {}, site.hazards)) : null,
    site.contact_phone ? h("p", {}, h("a.key", { href: `tel:${site.contact_phone.replace(/[^+\d]/g, "")}` }, `Call ${site.contact_name || site.contact_phone}`)) : null);
}

const fact = (label, words, source) => [h("dt", {}, label), h("dd", {}, words, source ? h("small", {}, ` ${source}`) : null)];

export function limitsBox({ job }) {
  const rows = Object.values(job.limits);
  const groups = [...new Set(rows.map((row) => row.group))].filter(Boolean);
  return h("details", {}, h("summary", {}, "Limits and their sources"), groups.map((group) => [h("h3", {}, group), h("dl.facts", {}, rows.filter((row) => row.group === group).map((row) => fact(row.label, `${row.value} ${row.unit}`, row.source)))]));
}

export function fluidBox({ job }) {
  const { fluid } = job;
  if (!fluid) return null;
  const number = (value, unit) => `${Number(value.toPrecision(3))} ${unit}`;
  const rows = [
    ["Product", fluid.product, fluid.base_label],
    ["Strength wanted", `${number(fluid.target_mass_pct, "% by mass")}${fluid.target_vol_pct ? `, ${number(fluid.target_vol_pct, "% by volume")}` : ""}`, fluid.band_pct ? `± ${fluid.band_pct} %` : ""],
    ["Freezes at", number(fluid.freezing_point_c, "°C")],
    ["Colour", fluid.colour || "none: read the return hose instead"],
    ["Concentrate as delivered", number(fluid.concentrate_mass_pct, "% by mass")],
  ];
  return h("details", {}, h("summary", {}, "The fluid"), h("dl.facts", {}, rows.map((row) => fact(...row))));
}

// Each caution of this visit once, where it matters first.
export function cautionsBox({ job, kinds }, steps) {
  const words = [...new Set(steps.filter((step) => !step.notOurs).flatMap((step) => job.cautions[step.kind] || kinds[step.kind].cautions))];
  return words.length ? h("details", {}, h("summary", {}, "Cautions of this visit"), caution(words)) : null;
}

// What holds after a break for a step under way; empty when it was not left, or nothing is ruled.
export function afterBreak(inside, kind, isLeft) {
  const row = inside.pack.procedure.resume.find((each) => each.kind === kind);
  const begun = inside.drafts.filter((draft) => draft.job === inside.job.id && draft.kind === kind).map((draft) => ({ at: draft.observed_at || draft.opened_at }));
  const last = newest([...inside.current.filter((entry) => entry.kind === kind || (kind === "pressure_test" && entry.kind === "pressure_reading")), ...begun]);
  if (!row || !last || !isLeft) return null;
  const limit = row.limit && inside.job.limits[row.limit];
  if (row.limit && !limit) return null;
  const longest = row.then === "restart_after" ? limit.value : BREAK_MIN;
  if (minutesSince(last.at) <= longest) return null;
  return h("p.help", {}, h("b", {}, `After the break: ${inside.pack.words.resumed[row.then]}. `), row.words.replace("{n}", limit?.value));
}

// Was it said how the site was left, after the last work?
function leftAs(inside) {
  const last = newest(inside.current);
  return last?.kind === "leaving_site" ? last : null;
}

export function leavingBox(inside, local) {
  const left = leftAs(inside);
  const go = key("Leaving the site", () => local.go("log/leaving_site"));
  if (left) return h("p", {}, state("done", `Site left ${dayAndTime(left.at, Date.now())}: ${summary(inside, left)}`));
  return inside.folded.ask_on_leaving ? h("section.asks", {}, h("p", {}, inside.pack.words.said.freeze), go) : go;
}

const asked = new Set();

// On the way out of a visit, once: water that may freeze is not simply left behind.
export async function leave(inside, local, out) {
  const { id } = inside.job;
  if (!inside.folded.ask_on_leaving || leftAs(inside) || asked.has(id)) return out();
  asked.add(id);
  const { freeze, leaving } = inside.pack.words.said;
  return (await ask(leaving, { yes: "Leaving: say how", no: "Not yet", detail: freeze })) ? local.go("log/leaving_site") : out();
}

const isOthers = (inside, entry, within) => !entry.record && entry.name !== inside.person.name && minutesSince(entry.at) < within;

// The fills that others have under way: started, not saved since, not taken back. It ends by itself.
export function fillings(inside) {
  const isOver = (start) => of(inside, "loop_fill", start.subject).some((fill) => Date.parse(fill.at) >= Date.parse(start.at));
  const open = of(inside, "fill_start").filter((entry) => isOthers(inside, entry, FILL_MIN) && !isOver(entry));
  return [...new Map(open.map((entry) => [entry.subject + entry.name, entry])).values()];
}

// What others are at: the fills they have under way, and the newest of each within a shift: `L4: Cato Birch, Flush 10:12`.
export function others(inside) {
  const found = new Map();
  for (const entry of inside.current) if (entry.kind !== "fill_start" && isOthers(inside, entry, SHIFT_MIN)) found.set(entry.name, entry);
  return [...fillings(inside), ...found.values()];
}

export const claimWords = (inside, entry) => entry.kind === "fill_start" ? `${entry.subject}: ${entry.name} is filling since ${clockTime(entry.at, inside.zone)}` : `${entry.subject ? `${entry.subject}: ` : ""}${entry.name}, ${inside.kinds[entry.kind]?.label || entry.kind} ${clockTime(entry.at, inside.zone)}`;

export function othersBox(inside) {
  const there = others(inside);
  return there.length ? h("section.rows", {}, h("h2", {}, "Others on this job"), h("ul", {}, there.map((entry) => h("li.row", {}, claimWords(inside, entry)))), h("p.source", {}, "As far as this phone has heard.")) : null;
}

// One entry that two people corrected: both rows stand until one is taken back.
export function conflictsBox(inside, local) {
  const { conflicts, superseded } = inside.folded;
  return conflicts.map((id) => h("section.asks", {}, h("h2", {}, `${inside.kinds[inside.entry(id)?.kind]?.label || "One entry"} was corrected twice`), h("p", {}, inside.pack.words.said.conflict),
    superseded[id].map((each) => inside.entry(each)).filter(Boolean).map((entry) => h("button.row", { type: "button", onclick: () => local.go(`entry/${entry.id}`) }, h("b", {}, entry.name), h("span", {}, summary(inside, entry)), h("small", {}, dayAndTime(entry.at, Date.now())), stateLine(inside, entry)))));
}
