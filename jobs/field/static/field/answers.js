// The pad for numbers: large keys, units as chips, sign where it may be needed. Nothing is ever filled in beforehand.

import { converted, parse } from "../sums/calc/number.js";
import { h, key, put } from "./dom.js";
import { signature } from "./lines.js";
import { ask, tidy } from "./parts.js";
import { last, of } from "./given.js";
import { clockTime, dayAndTime } from "./outbox.js";
import * as photo from "./picture.js";

const REASONS = ["No instrument for it here", "Could not be reached", "Was not seen", "Not part of this job"];

export const POINT = (1.1).toLocaleString().includes(",") ? "," : ".";

// "", "soft" or "hard": how far a value lies outside what is usual or possible.
export function outside(field, value, unit, units) {
  const own = field.units[0];
  const there = unit === own ? value : converted(value, unit, own, units);
  if (there === null) return "";
  if (field.hard && (there < field.hard[0] || there > field.hard[1])) return "hard";
  if (field.soft && (there < field.soft[0] || there > field.soft[1])) return "soft";
  return "";
}

function tooMuch(field, value, unit, units) {
  const there = unit === field.units[0] ? value : converted(value, unit, field.units[0], units);
  const [low] = field.hard && (there < field.hard[0] || there > field.hard[1]) ? field.hard : field.soft;
  return there < low ? "low" : "high";
}

async function sure(field, text, value, unit, units) {
  const how = outside(field, value, unit, units);
  if (!how) return true;
  const side = tooMuch(field, value, unit, units);
  const [low, high] = (how === "hard" ? field.hard : field.soft).map((edge) => tidy(edge));
  const detail =
    how === "hard"
      ? `Between ${low} and ${high} ${field.units[0]} is possible. It is kept as you read it, and the office will look at it.`
      : `Usual is ${low} to ${high} ${field.units[0]}.`;
  const doubt = how === "hard";
  return ask(`${text} ${unit} is very ${side}. Is that right?`, { yes: doubt ? "Yes, that is what it says" : `Yes, ${text} ${unit}`, no: "Change it", detail, doubt });
}

const decimals = (text) => (text.split(/[.,]/)[1] || "").length;

// What this phone knows of the same reading before it, and the step of the gauge it was read with.
export function before(app, { kind, subject, supersedes }, name) {
  const entry = supersedes || subject === null ? null : last(of(app, kind, subject).filter((each) => typeof each.payload[name]?.value === "number"));
  if (!entry) return null;
  const { value, unit, text: typed = "" } = entry.payload[name];
  const text = parse(typed) === null ? String(value) : typed.trim();
  const gauge = app.job.instruments.find((each) => each.id === entry.instrument);
  return { text, unit, at: entry.at, step: (gauge?.unit === unit && gauge.resolution) || 10 ** -decimals(text) };
}

// One step on from a number as typed, with the decimals of the finer of the two.
export function stepped(text, way, step) {
  const fine = Math.max(decimals(text), decimals(String(step)));
  return (Number((parse(text) + way * step).toFixed(fine)) || 0).toFixed(fine).replace(".", POINT);
}

// Three keys that start from the value before. None of them stands as the value until it is tapped: the gauge is read first.
function stepKeys({ text, step }, from, enter) {
  const made = (words, spoken, next) => h("button.pad__key.pad__key--step", { type: "button", "aria-label": spoken, onclick: () => enter(next()) }, words);
  return [made(`− ${step}`, `${step} less`, () => stepped(from(), -1, step)), made("Same", "same as last", () => text), made(`+ ${step}`, `${step} more`, () => stepped(from(), 1, step))];
}

// Opens over the page; hands back {text, value, unit}, {later: true} or null when it was closed. `past`: the value before.
export function pad(field, { value = null, units = {}, next = field.strict ? "Use" : "Keep", target = "", unit: first = "", past = null } = {}) {
  return new Promise((answer) => {
    const offered = field.units.length ? field.units : [""];
    let unit = value?.unit || first || offered[0];
    const line = h("input.pad__line", {
      type: "text",
      inputmode: "none",
      autocomplete: "off",
      spellcheck: "false",
      "aria-label": field.label,
      value: value?.text || "",
      oninput: () => fit(),
    });
    const fit = () => line.style.setProperty("--figures", Math.max(1, line.value.length));
    const error = h("p.pad__error", { role: "alert" });
    const chips = h("div.chips", { role: "group", "aria-label": "Unit" });
    const close = (result) => {
      sheet.remove();
      answer(result);
    };
    const drawChips = () =>
      put(chips, offered.map((each) => h("button.chip", { type: "button", "aria-pressed": String(each === unit), onclick: () => choose(each) }, each)));
    const choose = (each) => {
      unit = each;
      drawChips();
    };
    const type = (mark) => {
      const text = line.value;
      if (mark === "back") line.value = text.slice(0, -1);
      else if (mark === "sign") line.value = text.startsWith("-") ? text.slice(1) : `-${text}`;
      else if (mark === POINT && /[.,]/.test(text)) return;
      else line.value = text + mark;
      fit();
      put(error);
    };
    // A figure in another unit is no start for a step.
    const from = () => (unit === past.unit && parse(line.value) !== null ? line.value : past.text);
    const step = (text) => {
      line.value = text;
      choose(past.unit);
      fit();
      put(error);
    };
    const keep = async () => {
      const number = parse(line.value);
      if (number === null) {
        put(error, `Enter ${field.label.toLowerCase()} in ${unit || "figures"}, like ${POINT === "," ? "4,2" : "4.2"}.`);
        return;
      }
      const text = line.value.trim();
      // A sum of something impossible is no sum; a reading is kept, however odd.
      if (field.strict && outside(field, number, unit, units) === "hard") {
        put(error, `Enter ${field.label.toLowerCase()} between ${field.hard.map((edge) => tidy(edge)).join(" and ")} ${field.units[0]}.`);
        return;
      }
      if (await sure(field, text, number, unit, units)) close({ text, value: number, unit });
      else line.focus();
    };
    const digit = (mark) => h("button.pad__key", { type: "button", onclick: () => type(mark) }, mark);
    const mayBeNegative = field.hard ? field.hard[0] < 0 : false;
    const sheet = h(
      "div.over",
      { role: "dialog", "aria-modal": "true", "aria-label": field.label, onkeydown: (event) => keyed(event, keep, close) },
      h(
        "div.over__sheet.pad",
        {},
        h("div.pad__head", {}, h("h2", {}, field.label), h("button.pad__close", { type: "button", onclick: () => close(null) }, "Close")),
        target && h("p.pad__target", {}, target),
        past && h("p.pad__target", {}, `Last: ${past.text} ${past.unit}, ${dayAndTime(past.at, Date.now())}`),
        h("div.pad__row", {}, line, offered.length === 1 ? h("span.pad__unit", {}, unit) : null),
        offered.length > 1 ? chips : null,
        error,
        h(
          "div.pad__keys",
          {},
          past && offered.includes(past.unit) && stepKeys(past, from, step),
          ["1", "2", "3", "4", "5", "6", "7", "8", "9"].map(digit),
          mayBeNegative ? h("button.pad__key", { type: "button", "aria-label": "plus or minus", onclick: () => type("sign") }, "±") : h("span"),
          digit("0"),
          digit(POINT),
        ),
        h("div.pad__foot", {},
          h("button.pad__key", { type: "button", "aria-label": "delete the last figure", onclick: () => type("back") }, "⌫"),
          key(next, keep, "main")),
      ),
    );
    drawChips();
    fit();
    document.body.append(sheet);
    line.focus();
  });
}

function keyed(event, keep, close) {
  if (event.key === "Enter" && event.target.tagName === "INPUT") {
    event.preventDefault(); // else the same key answers the question that may follow
    keep();
  }
  if (event.key === "Escape") close(null);
}

export const choice = (value, label = value, note = "") => ({ value, label, note });
export const codes = (list) => (list || []).map((each) => choice(each.code, each.code, each.title || ""));

function fieldChoices(app, field) {
  if (field.answer === "person") return (app.pack.people || []).map((each) => choice(each.id, each.name));
  if (field.answer === "instrument") return app.job.instruments.filter((each) => each.kind === field.instrument).map((each) => choice(each.id, each.name, each.suitable_for_flammable ? "fit for a fluid that burns" : each.serial));
  const fixed = (field.choices || []).map(([value, label]) => choice(value, label));
  const { job } = app;
  const lists = { sections: codes(job.sections), loops: codes(job.loops), header: job.header ? [choice("H", "Main header")] : [], boreholes: codes(job.boreholes) };
  return fixed.concat((field.choices_from || []).flatMap((from) => lists[from] || []));
}

export function toggles(label, choices, isOn, press) {
  const long = choices.some((each) => each.label.length > 12 || (each.note || "").length > 16);
  return h(`div.toggles${long ? ".toggles--long" : ""}`, { role: "group", "aria-label": label },
    choices.map((each) => h("button.toggle", { type: "button", "aria-pressed": String(isOn(each.value)), onclick: () => press(each.value) }, h("b", {}, each.label), each.note ? h("small", {}, each.note) : null)));
}

export function block(context, field) {
  const node = h("section.field", { id: `field-${field.name}` });
  const makers = { number, choice: pick, person: pick, instrument: pick, yes, many, time, photo: pictures, code: line, text: line, strokes };
  const asked = context.draft.askedField === field.name;
  const draw = () => {
    const { draft } = context;
    const unknown = draft.payload[field.name]?.unknown;
    put(
      node,
      h("h2", {}, field.label, field.required === false ? h("small", {}, " if you have it") : null),
      asked ? h("p.note", {}, "The office asks for this one.") : null,
      field.help ? h("p.help", {}, field.help) : null,
      unknown ? h("p.unknown", {}, unknown === "not_known" ? "Not known" : "Does not apply", `: ${draft.text[field.name] || ""}`) : makers[field.answer](context, field, draw),
      field.strict || field.required === false || ["text", "strokes"].includes(field.answer) || (context.draft.payload[field.name] && !unknown) ? null : notKnown(context, field, draw, unknown),
    );
  };
  draw();
  return { node, draw };
}

function notKnown({ draft, changed }, field, draw, unknown) {
  if (unknown) {
    return h("button.quiet", { type: "button", onclick: () => {
      delete draft.payload[field.name];
      delete draft.text[field.name];
      changed(field.name);
    } }, "Answer it after all");
  }
  return h("button.quiet", { type: "button", onclick: async () => {
    const reason = await why(field);
    if (!reason) return;
    draft.payload[field.name] = { unknown: reason.unknown };
    draft.text[field.name] = reason.text;
    changed(field.name);
  } }, "Not known…");
}

function why(field) {
  return new Promise((answer) => {
    let unknown = "not_known";
    const own = h("input.line", { type: "text", autocomplete: "off", });
    const close = (text) => {
      sheet.remove();
      answer(text ? { unknown, text } : null);
    };
    const which = h("div");
    const draw = () => put(which, toggles("Which", [choice("not_known", "Not known"), choice("not_applicable", "Does not apply")], (value) => value === unknown, (value) => {
      unknown = value;
      draw();
    }));
    draw();
    const sheet = h("div.over", { role: "dialog", "aria-modal": "true", "aria-label": `Why: ${field.label}` },
      h("div.over__sheet", {}, h("h2", {}, field.label), which, h("h3", {}, "Why?"),
        h("div.keys.keys--stack", {}, REASONS.map((reason) => key(reason, () => close(reason)))), h("label", {}, "Another reason", own),
        h("div.keys", {}, key("Close", () => close("")), key("Use this reason", () => own.value.trim() && close(own.value.trim()), "main"))));
    document.body.append(sheet);
  });
}

function targetWords(app, draft, field) {
  const found = (app.job.targets?.[draft.kind]?.[draft.subject || ""] || []).find((each) => each.field === field.name);
  if (!found) return "";
  const values = [found.low, found.high].filter((value) => value !== undefined && value !== null);
  return `Wanted: ${found.words}${values.length ? ` ${values.join(" to ")} ${found.unit || ""}` : ""}`;
}

function number({ app, draft, changed }, field) {
  const given = draft.payload[field.name];
  const target = targetWords(app, draft, field);
  const open = async () => {
    const value = await pad(field, { value: given, units: app.pack.units || {}, target, unit: lastUnit(field), past: app.current ? before(app, draft, field.name) : null });
    if (!value) return;
    localStorage.setItem(`field.unit.${field.units[0]}`, value.unit);
    draft.payload[field.name] = value;
    changed(field.name);
  };
  return [
    h("button.reading", { type: "button", onclick: open, "aria-label": `${field.label}: ${given ? `${given.text} ${given.unit}` : "enter"}` },
      given ? [h("b", {}, given.text), h("small", {}, given.unit)] : h("span", {}, field.units[0] === "pcs" ? "Enter the number" : `Enter in ${field.units[0]}`)),
    target ? h("p.help", {}, target) : null,
  ];
}

function lastUnit(field) {
  const used = localStorage.getItem(`field.unit.${field.units[0]}`);
  return field.units.includes(used) ? used : field.units[0];
}

function pick({ app, draft, changed }, field) {
  return toggles(field.label, fieldChoices(app, field), (value) => draft.payload[field.name]?.value === value, (value) => {
    draft.payload[field.name] = { value };
    changed(field.name);
  });
}

function yes({ draft, changed }, field) {
  const given = draft.payload[field.name]?.value;
  const wrong = field.good !== undefined && given !== undefined && given !== field.good;
  return [
    h("div.toggles.toggles--two", { role: "group", "aria-label": field.label },
      [["Yes", true], ["No", false]].map(([words, value]) => h("button.toggle", { type: "button", "aria-pressed": String(given === value), onclick: () => {
        draft.payload[field.name] = { value };
        changed(field.name);
      } }, h("b", {}, words)))),
    wrong ? h("p.help", {}, h("span.state.state--warn", {}, "Put this right before you go on.")) : null,
  ];
}

function many({ app, draft, changed }, field) {
  const given = draft.payload[field.name]?.value || [];
  const all = fieldChoices(app, field).map((each) => each.value);
  const every = () => {
    draft.payload[field.name] = { value: all };
    changed(field.name);
  };
  const whole = all.length > 3 && given.length < all.length ? h("button.quiet", { type: "button", onclick: every }, "All of them") : null;
  return [whole, toggles(field.label, fieldChoices(app, field), (value) => given.includes(value), (value) => {
    const now = given.includes(value) ? given.filter((each) => each !== value) : [...given, value];
    draft.payload[field.name] = { value: now };
    changed(field.name);
  })];
}

function time({ app, draft, changed }, field) {
  const given = draft.payload[field.name]?.value;
  const set = (at) => {
    draft.payload[field.name] = { value: at.toISOString() };
    changed(field.name);
  };
  if (!given) return key("Now", () => set(new Date()), "wide");
  const move = (minutes) => set(new Date(Date.parse(given) + minutes * 60000));
  return h("div.time", {}, h("b", {}, clockTime(given, app.zone)), h("small", {}, new Date(given).toLocaleDateString("en-GB", { day: "numeric", month: "short" })),
    h("div.keys", {}, key("– 5", () => move(-5)), key("– 1", () => move(-1)), key("+ 1", () => move(1)), key("Now", () => set(new Date()))));
}

function line({ draft, changed, keep }, field) {
  const isCode = field.answer === "code";
  const write = (event) => {
    const { value } = event.target;
    if (isCode && value.trim()) draft.payload[field.name] = { value: value.trim() };
    else if (isCode) delete draft.payload[field.name];
    else draft.text[field.name] = value;
    changed("");
  };
  const attributes = { autocomplete: "off", spellcheck: "false", "aria-label": field.label, oninput: write, onblur: keep, value: (isCode ? draft.payload[field.name]?.value : draft.text[field.name]) || "" };
  return isCode ? h("input.line", { type: "text", ...attributes }) : h("textarea.line", { rows: "3", ...attributes, spellcheck: "true" });
}

function strokes({ draft, changed }, field) {
  draft.text[field.name] = draft.text[field.name] || [];
  const { canvas, clear } = signature(draft.text[field.name], () => changed(""));
  return [canvas, h("button.quiet", { type: "button", onclick: clear }, "Sign again")];
}

function pictures({ app, draft, changed, keep }, field, draw) {
  const given = draft.photos[field.name] || [];
  const hint = h("p.help", { role: "status" });
  const take = async (event) => {
    const [file] = event.target.files;
    if (!file) return;
    put(hint, "Making the photo small…");
    try {
      const prepared = await photo.prepare(file);
      await photo.keep(prepared, draft);
      draft.photos[field.name] = [...given, { id: prepared.id, sha256: prepared.sha256, type: prepared.type }];
      draft.payload[field.name] = { value: [...(draft.payload[field.name]?.value || []), prepared.sha256] };
      changed(field.name);
      await keep();
    } catch (error) {
      put(hint, error instanceof photo.PhotoNotSaved ? error.message : "This photo is not saved. Take it again.");
      event.target.value = "";
    }
  };
  const source = (words, capture) => h("label.key", {}, words, h("input.unseen", { type: "file", accept: "image/*", capture: capture ? "environment" : null, onclick: keep, onchange: take }));
  const count = draft.payload[field.name]?.value?.length || 0;
  return [
    count ? h("p.unknown", {}, h("span.state.state--done", {}, count === 1 ? "One photo, on this phone" : `${count} photos, on this phone`)) : null,
    given.some((each) => each.type === photo.HEIC) ? h("p.help", {}, "This phone cannot open it; the office turns it into a JPEG. It takes longer to send.") : null,
    h("div.keys", {}, source(count ? "One more" : "Take photo", true), source("Choose", false)),
    count ? h("button.quiet", { type: "button", onclick: async () => {
      if (!(await ask("Leave this photo out?", { yes: "Leave it out", no: "Keep it" }))) return;
      await photo.discard(draft.id);
      delete draft.photos[field.name];
      delete draft.payload[field.name];
      changed(field.name);
      draw();
    } }, "Leave it out") : null,
    hint,
  ];
}
