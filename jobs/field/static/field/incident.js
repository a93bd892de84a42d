// Incident or near-miss in two taps from any screen: the button, and what happened. Saved at once; words and photo follow.

import { h, key, put, say } from "./dom.js";
import { ask, sheet } from "./parts.js";
import { newDraft, saveDraft } from "./form.js";
import { whyNot } from "./store.js";
import { isOld, open } from "./visit.js";

const KIND = "incident";

// The visit on the screen, else the nearest day's; one for each job.
function candidates(app, id) {
  const far = (visit) => (visit.id === id ? -1 : Math.abs(Date.parse(visit.planned_date) - Date.now()));
  const sorted = [...app.pack.visits].sort((a, b) => far(a) - far(b));
  return sorted.filter((visit, at) => sorted.findIndex((each) => each.job === visit.job) === at && app.pack.jobs.some((job) => job.id === visit.job));
}

export async function tell(app, id, { go, note }) {
  if (isOld(app)) return say("Get the newest work first; write it down until then.");
  const kind = app.pack.kinds[KIND];
  const visits = candidates(app, id);
  let [visit] = visits;
  const job = (each) => app.pack.jobs.find((row) => row.id === each.job);
  const which = h("div.chips", { role: "group", "aria-label": "Job" });
  const draw = () => put(which, visits.map((each) => h("button.chip", { type: "button", "aria-pressed": String(each === visit), onclick: () => ((visit = each), draw()) }, `Job ${job(each).number}`)));
  draw();
  const [what] = kind.fields;
  const happened = await sheet(kind.label, (close) => [
    h("p.over__question", {}, `${kind.label}, ${visits.length > 1 ? "at" : `job ${job(visit).number}`}`), visits.length > 1 ? which : null, h("p", {}, kind.help),
    h("div.keys.keys--stack", {}, what.choices.map(([code, words]) => key(words, () => close(code))), key("Close", () => close("")))]);
  if (!happened) return null;
  const inside = open(app, visit);
  const draft = newDraft(inside, { kind: KIND, subject: "", payload: { [what.name]: { value: happened } } });
  Object.assign(draft, { observed_at: new Date().toISOString(), source: "typed" });
  try {
    const record = await saveDraft(inside, draft);
    note(record, inside);
    say("Saved. On this phone.");
    const more = await ask("It is told. On this phone.", { yes: "Add words or a photo", no: "Back to the work", detail: app.pack.words.said.told });
    return more ? go(`visit/${visit.id}/correct/${record.id}/-/added`) : null;
  } catch (error) {
    return ask(`NOT SAVED – write it down. ${whyNot(error)}`, { yes: "I have written it down", no: "Close" });
  }
}
