// One entry: what it says, what became of it, taken back or corrected; and the forms that make one.

import { h, key, put, say, state } from "./dom.js";
import { ask, sheet } from "./parts.js";
import { form, newDraft, saveDraft } from "./form.js";
import { clockTime, dayAndTime } from "./outbox.js";
import { heldBecause, wordsOf } from "./standing.js";
import { TYPED } from "./source.js";

export function summary(inside, entry) {
  const kind = inside.kinds[entry.kind];
  const fields = kind?.fields || [];
  const words = [...fields.filter((field) => field.answer === "number"), ...fields.filter((field) => field.answer === "choice")].map((field) => {
    const given = entry.payload[field.name];
    if (!given || given.unknown) return "";
    if (field.answer === "number") return `${given.text ?? given.value} ${given.unit}`;
    if (field.answer === "choice" && field.choices) return field.choices.find(([value]) => value === given.value)?.[1] || "";
    return "";
  });
  return words.filter(Boolean).slice(0, 2).join(" · ");
}

export function stateLine(inside, entry) {
  const closed = inside.folded.held[entry.id];
  const { words } = inside.pack;
  if (entry.decision === "left_out") return state("held", "Received by office. The office left it out");
  const released = entry.record?.state === "held" && entry.record.why.startsWith("hold_point:") && !closed;
  if (entry.record && entry.record.state !== "received" && !released) {
    const said = wordsOf(words, entry.record);
    if (entry.record.state === "waiting" && closed) return state("held", `On this phone. Takes no effect: ${heldBecause(words, closed)}`);
    return state(said.mark, said.text);
  }
  if (closed) return state("held", `Received by office. Takes no effect: ${heldBecause(words, closed)}`);
  return entry.record ? state("received", wordsOf(words, { ...entry.record, state: "received" }).text) : state("received", "Received by office");
}

function answerWords(inside, field, entry) {
  const given = entry.payload[field.name];
  if (field.answer === "text") return entry.text[field.name] || "";
  if (field.answer === "strokes") return entry.text[field.name] ? "signed" : "";
  if (!given) return "";
  if (given.unknown) return `${given.unknown === "not_known" ? "not known" : "does not apply"}: ${entry.text[field.name] || ""}`;
  if (field.answer === "number") return `${given.text ?? given.value} ${given.unit}`;
  if (field.answer === "yes") return given.value ? "yes" : "no";
  if (field.answer === "time") return clockTime(given.value, inside.zone);
  if (field.answer === "photo") return given.value.length === 1 ? "one photo" : `${given.value.length} photos`;
  if (field.answer === "instrument") return inside.job.instruments.find((each) => each.id === given.value)?.name || "";
  if (field.answer === "person") return (inside.pack.people || []).find((each) => each.id === given.value)?.name || "";
  const label = (value) => (field.choices || []).find(([code]) => code === value)?.[1] || value;
  return Array.isArray(given.value) ? given.value.map(label).join(", ") : label(given.value);
}

export function entryPage(inside, place, id, local) {
  const entry = inside.entry(id);
  if (!entry) return local.back();
  const kind = inside.kinds[entry.kind];
  const struck = inside.folded.superseded[entry.id];
  const photos = inside.photos.filter((photo) => photo.entry === entry.id);
  return put(
    place,
    h("header.top", {}, h("button.back", { type: "button", onclick: local.back }, "‹ Back"), h("h1", {}, kind.label, entry.subject ? h("span.code", {}, entry.subject) : null)),
    h("p", {}, stateLine(inside, entry)),
    struck ? h("p", {}, state("held", "Corrected since. This first entry stays in the record.")) : null,
    h("p.lead", {}, `${dayAndTime(entry.at, Date.now())} · ${entry.name || ""} · ${inside.pack.words.sources[entry.source] || entry.source}`),
    h("dl.facts", {}, kind.fields.map((field) => [answerWords(inside, field, entry)].filter(Boolean).map((words) => [h("dt", {}, field.label), h("dd", {}, words)]))),
    photos.map((photo) => h("p", {}, photo.state === "received" ? state("received", "Photo received by office") : photo.state === "problem" ? state("fail", photo.why) : state("phone", photo.sent ? `Photo: ${Math.round((100 * photo.sent) / photo.size)} % sent` : "Photo on this phone"))),
    entry.verdicts.map((said) => h("section.says", {}, h("p.verdict", {}, state({ pass: "pass", warn: "warn", fail: "fail" }[said.outcome] || "unknown", said.reason)), said.way_out ? h("p.help", {}, said.way_out) : null)),
    struck ? null : h("div.act", {}, h("div.keys", {}, key("Take it back", () => takeBack(inside, entry, local)), key("Correct it", () => whyCorrect(inside, entry, local), "main"))),
  );
}

export async function takeBack(inside, entry, local) {
  if (!(await ask("Take this entry back?", { yes: "Take it back", no: "Leave it", detail: "Both stay in the record; the entry no longer counts." }))) return;
  const draft = newDraft(inside, { kind: entry.kind, subject: entry.subject, supersedes: entry.id, reason: "withdrawn" });
  draft.observed_at = entry.at;
  draft.source = TYPED;
  await saveDraft(inside, draft);
  say("Taken back. On this phone.");
  await local.refresh();
  local.back();
}

async function whyCorrect(inside, entry, local) {
  const reason = await sheet("What was wrong?", (close) => [h("p.over__question", {}, "What was wrong?"), h("p", {}, "Both entries stay in the record; the new one counts."),
    h("div.keys.keys--stack", {}, Object.entries(inside.pack.words.reasons).map(([code, words]) => key(words, () => close(code))), key("Close", () => close("")))]);
  if (reason) local.go(`correct/${entry.id}/-/${reason}`);
}

function shown(inside, place, draft, local) {
  form(inside, place, draft, { done: async (record) => local.saved(record, inside), leave: async () => (await local.refresh(), local.back()) });
}

export function log(inside, place, [kind, code = null, section = ""], local) {
  if (!inside.kinds[kind]) return local.back();
  const subject = code === "in" ? null : code;
  const open = inside.drafts.find((draft) => draft.job === inside.job.id && draft.kind === kind && !draft.supersedes && (subject === null || draft.subject === subject));
  return shown(inside, place, open || newDraft(inside, { kind, subject, payload: section ? { section: { value: section } } : {} }), local);
}

export function resume(inside, place, id, local) {
  const draft = inside.drafts.find((each) => each.id === id);
  return draft ? shown(inside, place, draft, local) : local.back();
}

export function correct(inside, place, [id, named = "-", why = "typo"], local) {
  const field = named === "-" ? "" : named;
  const entry = inside.entry(id);
  if (!entry) return local.back();
  const open = inside.drafts.find((draft) => draft.supersedes === id);
  if (open) return shown(inside, place, open, local);
  const [payload, text] = [structuredClone(entry.payload), structuredClone(entry.text)];
  if (field) {
    delete payload[field];
    delete text[field];
  }
  const draft = newDraft(inside, { kind: entry.kind, subject: entry.subject, supersedes: id, reason: field ? "asked" : why, payload, text, askedField: field });
  draft.observed_at = entry.at;
  draft.instrument = entry.instrument || draft.instrument;
  return shown(inside, place, draft, local);
}
