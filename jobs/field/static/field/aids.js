// What the phone itself can lend: a screen that stays on, alarms in its calendar, a file to hand on.

import { h, key, put, say } from "./dom.js";

// The lock of the screen on which it was switched on. Browsers drop it when the page is hidden: it is asked for again.
let lock = null;
let wantedAt = "";
let isWatched = false;

export function wakeSwitch(words) {
  if (!navigator.wakeLock) return null;
  watch();
  const help = h("p.help", { role: "status" });
  const button = h("button.toggle", { type: "button", onclick: async () => {
    if (wantedAt) drop();
    else if (!(await take())) put(help, "The phone does not keep its screen on now: its battery may be low.");
    show();
  } }, h("b", {}, words));
  const show = () => button.setAttribute("aria-pressed", String(wantedAt === location.pathname));
  show();
  return h("div.wake", {}, button, help);
}

async function take() {
  wantedAt = location.pathname;
  try {
    lock = await navigator.wakeLock.request("screen");
    return true;
  } catch {
    wantedAt = "";
    return false;
  }
}

function drop() {
  wantedAt = "";
  lock?.release().catch(() => null);
  lock = null;
}

function watch() {
  if (isWatched) return;
  isWatched = true;
  document.addEventListener("visibilitychange", () => wantedAt && document.visibilityState === "visible" && take());
  new MutationObserver(() => wantedAt && !document.querySelector(".wake") && drop()).observe(document.getElementById("screen"), { childList: true });
}

const stamp = (at) => `${new Date(at).toISOString().slice(0, 19).replace(/[-:]/g, "")}Z`;
const escaped = (text) => text.replace(/[\\;,]/g, "\\$&").replace(/\r?\n/g, "\\n");

// A line of a calendar is at most 75 octets long; what follows begins with a space.
function folded(line) {
  const bytes = new TextEncoder();
  const parts = [];
  let part = "";
  for (const mark of line) {
    if (bytes.encode(part + mark).length > 74) {
      parts.push(part);
      part = "";
    }
    part += mark;
  }
  return [...parts, part].join("\r\n ");
}

// RFC 5545: one event with an alarm for each {at, words}; `at` and `now` in milliseconds.
export function calendar(events, now) {
  const lines = events.flatMap(({ at, words, id }) => [
    "BEGIN:VEVENT", `UID:${id}-${stamp(at)}@groundloop`, `DTSTAMP:${stamp(now)}`, `DTSTART:${stamp(at)}`, "DURATION:PT5M", `SUMMARY:${escaped(words)}`,
    "BEGIN:VALARM", "ACTION:DISPLAY", "TRIGGER:PT0S", `DESCRIPTION:${escaped(words)}`, "END:VALARM", "END:VEVENT",
  ]);
  return `${["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//groundloop//on site//EN", ...lines, "END:VCALENDAR"].map(folded).join("\r\n")}\r\n`;
}

// Through the phone's own sheet where it takes files, else as a download.
async function hand(name, type, text) {
  const file = new File([text], name, { type });
  if (navigator.canShare?.({ files: [file] })) {
    await navigator.share({ files: [file], title: name }).catch(() => null);
    return;
  }
  const address = URL.createObjectURL(file);
  h("a", { href: address, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(address), 60000);
  say(`${name} is in the downloads of this phone.`);
}

export function alarmKey(words, name, events) {
  const ahead = events.filter((each) => each.at > Date.now());
  return ahead.length ? key(words, () => hand(`${name}.ics`, "text/calendar", calendar(ahead, Date.now()))) : null;
}

// What waits on this phone, as it would have been sent; photos stay here.
export function shareWaiting(app) {
  const entries = app.entries.filter((entry) => entry.author === app.person.id && ["waiting", "problem"].includes(entry.state)).sort((a, b) => a.seq - b.seq);
  const whole = { device: app.device, author: app.person.id, schema: 1, sent_at: new Date().toISOString(), waiting: entries.length, entries: entries.map((entry) => entry.wire) };
  return hand(`waiting-${whole.sent_at.slice(0, 10)}.json`, "application/json", JSON.stringify(whole, null, 1));
}
