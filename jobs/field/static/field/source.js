// How an entry came into the phone: said of one entry, or of all that is logged in one sitting.

import { choice, toggles } from "./answers.js";
import { h, put, state } from "./dom.js";

const KEPT = "field.sitting";
export const TYPED = "typed";
const today = () => new Date().toLocaleDateString("sv");
const wordsOf = (app) => app.pack.words.sources;

// A sitting ends by itself at midnight: tomorrow's readings are not yesterday's paper.
export function sitting(app) {
  const { day, person, source } = JSON.parse(localStorage.getItem(KEPT) || "{}");
  return day === today() && person === app.person.id && source in wordsOf(app) ? source : TYPED;
}

export function sourceToggles(app, given, press) {
  return toggles("How this came in", Object.entries(wordsOf(app)).map(([value, words]) => choice(value, words)), (value) => value === given, press);
}

// On the page of a visit: one switch for everything that follows.
export function sittingBox(app, redraw) {
  const now = sitting(app);
  const set = (source) => {
    localStorage.setItem(KEPT, JSON.stringify({ day: today(), person: app.person.id, source }));
    redraw();
  };
  return [
    now === TYPED ? null : h("p.note", {}, state("warn", `Marked from now on: ${wordsOf(app)[now].toLowerCase()}`), h("button.quiet", { type: "button", onclick: () => set(TYPED) }, "Stop marking")),
    h("details", {}, h("summary", {}, "How entries come in"), h("p", {}, app.pack.words.said.sitting), sourceToggles(app, now, set)),
  ];
}

const local = (iso) => {
  const at = iso ? new Date(iso) : null;
  return at ? new Date(at - at.getTimezoneOffset() * 60000).toISOString().slice(0, 16) : "";
};

// On a form: how this one came in, and when it was seen if that is not now.
export function sourceBlock({ app, draft, changed }) {
  const node = h("section.field", { id: "field-source" });
  const write = (event) => {
    draft.seen_at = event.target.value ? new Date(event.target.value).toISOString() : "";
    changed();
  };
  const seen = () => (draft.source === TYPED ? null : h("label", {}, "When it was seen or written down", h("input.line", { id: "field-seen_at", type: "datetime-local", value: local(draft.seen_at), max: local(new Date().toISOString()), onchange: write })));
  const open = () => put(node, h("h2", {}, "How this came in"), sourceToggles(app, draft.source, (source) => {
    draft.source = source;
    if (source === TYPED) draft.seen_at = "";
    close();
    changed();
  }));
  const close = () => put(node, h("h2", {}, wordsOf(app)[draft.source]), h("button.quiet", { type: "button", onclick: open }, "It came in otherwise"), seen());
  close();
  return node;
}

// What the paper says was written at some time; without it the hour of typing would pass for the hour of reading.
export const unseen = (draft) => (draft.source === "transcribed" && !draft.seen_at && !draft.supersedes ? [{ name: "seen_at", words: "When it was written down" }] : []);
