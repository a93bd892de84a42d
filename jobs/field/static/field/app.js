// Starts the phone's page: draws from its own memory first, asks the office after.

import { callRight, told, watchClock } from "./clock.js";
import { h, key, put, say, state } from "./dom.js";
import { barWords, clockTime, dayAndTime } from "./outbox.js";
import * as store from "./store.js";
import * as sync from "./sync.js";

const BASE = "/field/";
const TOO_MANY_DAYS = 3;
const STALE_MS = 15 * 60 * 1000;
const place = document.getElementById("screen");
const bar = document.getElementById("bar");
const app = { person: null, pack: null, fetched_at: "", entries: [], drafts: [], photos: [], device: "", lost: null, persisted: null, last: "" };
let worker = null;
let newVersion = null;
let taking = false;
let undo = null;
// Imported when they are needed; the worker brings them all in one parcel, and keeps them.
const LATER = { visit: () => import("./visit.js"), sums: () => import("./sums.js"), incident: () => import("./incident.js"), phone: () => import("./here.js") };
const screens = {};
const PARCEL_MS = 8000;
const CLAIM_MS = 2000;
let withoutWorker = null;
const noWorker = new Promise((done) => (withoutWorker = done));

const linkTo = (attribute) => document.body.dataset[attribute];

const REFUSED = "This browser refuses to open its store: a private window, a full phone, or another window of this page in the way. Close the others and reload.";

function barrier() {
  if (!window.isSecureContext) return `This address is not secure (${location.protocol}//${location.host}), so the browser keeps nothing here. Open the https address of your office, or localhost.`;
  if (!("serviceWorker" in navigator)) return "This browser has no offline memory for pages. Private windows often have none. Use the phone's usual browser in a normal window.";
  if (!window.indexedDB || !crypto.subtle || !crypto.randomUUID) return "This browser has no safe store for readings. Use a newer browser in a normal window.";
  return "";
}

function cannotKeep(why) {
  document.title = "Readings cannot be kept here";
  put(place, h("section.alarm", { role: "alert" }, h("h1", {}, "Readings cannot be kept here"), h("p", {}, why), h("p", {}, "Nothing you enter on this page would be safe. Write readings down on paper until this is put right.")));
  put(bar);
}

async function load() {
  const [kept, entries, drafts, photos, last] = await Promise.all([store.get("pack", app.person.id), store.all("entries"), store.all("drafts"), store.all("photos"), store.get("meta", "last")]);
  Object.assign(app, { pack: kept?.pack || null, fetched_at: kept?.fetched_at || "", entries, photos, last: last || "" });
  app.drafts = drafts.filter((draft) => draft.author === app.person.id).sort((a, b) => (a.opened_at < b.opened_at ? 1 : -1));
}

function counts() {
  const mine = app.entries.filter((entry) => entry.author === app.person?.id);
  const waiting = mine.filter((entry) => entry.state === "waiting" || entry.state === "problem").length;
  const photos = app.photos.filter((each) => each.author === app.person?.id && each.state === "waiting").length;
  const others = app.entries.filter((entry) => entry.author !== app.person?.id && entry.state === "waiting");
  return { waiting, photos, others };
}

function drawBar() {
  if (!app.person) return put(bar);
  const { waiting, photos } = counts();
  const said = barWords({ waiting, photos, trouble: sync.status.trouble, sending: sync.status.sending, last: sync.status.last || app.last, now: Date.now() });
  const taken = undo && undo.until > Date.now() ? key("Take back", undo.act) : null;
  put(bar, told() && h("div.undo", {}, h("span", {}, state("warn", told())), key("It is right", () => (callRight(), drawBar()))),
    taken && h("div.undo", {}, h("span", {}, undo.words), taken),
    h("div.bars", {}, h("a.bar", { href: `${BASE}phone`, onclick: follow }, state(said.mark, said.text)),
      app.pack?.visits.length ? h("button.bar__incident", { type: "button", onclick: incident }, "Incident") : null));
  if (navigator.setAppBadge) navigator.setAppBadge(waiting).catch(() => {});
  return bar;
}

function follow(event) {
  event.preventDefault();
  go(event.currentTarget.getAttribute("href").slice(BASE.length));
}

function go(path) {
  history.pushState(null, "", BASE + path);
  window.scrollTo(0, 0);
  place.focus({ preventScroll: true });
  return render();
}

async function refresh() {
  await load();
  await render();
}

// What was saved can be taken back for ten seconds in passing, and at any time from its own page. What was saved along with
// something else has only that page: without `inside`.
function note(record, inside) {
  if (inside) undo = { until: Date.now() + 10000, words: `Saved on this phone ${clockTime(record.wire.recorded_at)}`, act: () => takeBack(record, inside) };
  app.entries = [...app.entries.filter((each) => each.id !== record.id), record];
  drawBar();
  setTimeout(drawBar, 10100);
  sync.sendSoon({ now: true });
}

const notYet = () => say("This part is not on this phone yet.");

// Over whatever stands on the screen; a form that is half typed stays as it is.
async function incident() {
  const [name, id] = pathParts();
  return part("incident").then((screen) => screen.tell(app, name === "visit" ? id : "", tools), notYet);
}

async function saved(record, inside) {
  note(record, inside);
  history.pushState(null, "", `${BASE}visit/${inside.visit.id}`);
  afterSave(record, inside);
  await refresh();
  window.scrollTo(0, 0);
}

function afterSave(record, inside) {
  const path = { pressure_test: `test/${record.wire.subject}`, pressure_end: `test/${record.wire.subject}` }[record.kind];
  if (path) history.replaceState(null, "", `${BASE}visit/${inside.visit.id}/${path}`);
}

async function takeBack(record, inside) {
  undo = null;
  await part("visit");
  const opened = screens.visit.open(app, inside.visit);
  await screens.visit.takeBack(opened, opened.entry(record.id), { refresh, back: () => render() });
  sync.sendSoon({ now: true });
}

const tools = { go, refresh, saved, note, counts, notices, steps, dayWords, isStored: () => Boolean(worker?.active) };

const pathParts = () => (location.pathname.startsWith(BASE) ? location.pathname.slice(BASE.length) : "").split("/").filter(Boolean);

async function render() {
  const parts = pathParts();
  delete place.dataset.live;
  drawBar();
  if (!app.person) return signedOut();
  if (parts[0] === "phone" || (["visit", "sums"].includes(parts[0]) && app.pack)) return laterPage(parts[0], parts.slice(1));
  return today();
}

async function part(name) {
  if (!screens[name]) {
    await parcel();
    screens[name] = await LATER[name]();
  }
  return screens[name];
}

// On the first visit, until the worker has the parcel and this page: else every module would cross the network twice.
// Where no worker comes, or not soon, they are fetched one by one.
function parcel() {
  const { serviceWorker } = navigator;
  if (serviceWorker.controller) return null;
  const claimed = new Promise((done) => serviceWorker.addEventListener("controllerchange", done, { once: true }));
  return Promise.race([claimed, noWorker, new Promise((done) => setTimeout(done, PARCEL_MS))]);
}

async function laterPage(name, parts) {
  try {
    await part(name);
  } catch {
    return put(place, h("h1", {}, "Not on this phone yet"), h("p", {}, "This part was not stored before the signal went. Go to where there is signal and open it once."), key("Try again", () => location.reload(), "main"));
  }
  return screens[name].route(app, place, parts, tools);
}

function signedOut() {
  const next = encodeURIComponent(BASE);
  put(place, h("h1", {}, "On site"), h("p.lead", {}, "Sign in once where there is signal. After that this page works without."),
    steps(), h("div.act", {}, h("a.key.key--main", { href: `${linkTo("signIn")}?next=${next}` }, "Sign in")));
}

function steps() {
  const alone = matchMedia("(display-mode: standalone)").matches || navigator.standalone;
  if (alone) return null;
  return h("details", {}, h("summary", {}, "How to put it on the home screen"), h("p", {}, "iPhone: tap Share, then Add to Home Screen. Android: tap the menu, then Add to Home screen. Then open it from there and sign in there: readings are kept for as long as the page stays on the home screen."));
}

function isReady(visit) {
  return Boolean(worker?.active && app.reserved && app.pack.jobs.some((job) => job.id === visit.job));
}

function dayWords(date) {
  const at = new Date(`${date}T12:00:00`);
  return at.toLocaleDateString("en-GB", { weekday: "short", day: "numeric", month: "short" });
}

function visitCard(visit) {
  const job = app.pack.jobs.find((each) => each.id === visit.job);
  const asks = (job?.asks || []).length;
  const today = visit.planned_date === localDay(0);
  return h("li", {}, h(`a.visit${today ? ".visit--today" : ""}`, { href: `${BASE}visit/${visit.id}`, onclick: follow },
    h("b", {}, visit.kind_label), h("span.visit__job", {}, job ? `Job ${job.number} · ${job.site.name}` : ""),
    visit.note ? h("small", {}, visit.note) : null,
    asks ? state("warn", asks === 1 ? "The office asks for one thing" : `The office asks for ${asks} things`) : null,
    isReady(visit) ? state("done", "Ready for no signal") : state("open", app.reserved === false ? "Not ready: this phone is full, free some space" : "Not ready: stay where there is signal")));
}

const localDay = (ahead) => new Date(Date.now() + ahead * 86400000).toLocaleDateString("sv");

function dayHead(date) {
  const near = { [localDay(0)]: "Today", [localDay(1)]: "Tomorrow" }[date];
  return h("h2.day", {}, near ? `${near}, ${dayWords(date)}` : dayWords(date));
}

function byDay(visits) {
  return [...new Set(visits.map((visit) => visit.planned_date))].map((date) => [dayHead(date), h("ul.visits", {}, visits.filter((visit) => visit.planned_date === date).map(visitCard))]);
}

function today() {
  place.dataset.live = "1";
  document.title = "On site";
  const visits = app.pack ? [...app.pack.visits].sort((a, b) => (a.planned_date < b.planned_date ? -1 : 1)) : [];
  const past = visits.filter((visit) => visit.planned_date < localDay(0));
  const ahead = visits.filter((visit) => visit.planned_date >= localDay(0));
  put(
    place,
    h("h1", {}, "Your visits"),
    notices(),
    app.drafts.length ? h("section.rows", {}, h("h2", {}, "Not finished"), app.drafts.slice(0, 4).map((draft) => draftKey(draft, visits))) : null,
    app.pack ? null : h("p", {}, sync.status.trouble ? "Your work is not on this phone yet. Go where there is signal." : "Getting your work…"),
    byDay(ahead),
    app.pack && !visits.length ? h("p.empty", {}, "No visit is booked for you. The office books them; they appear here.") : null,
    past.length ? h("details", { open: !ahead.length }, h("summary", {}, `Earlier visits (${past.length})`), byDay(past.reverse())) : null,
    app.pack ? h("a.key", { href: `${BASE}sums`, onclick: follow }, "Quick sums") : null,
    h("p.source", {}, app.fetched_at ? `Work stored on this phone ${dayAndTime(app.fetched_at, Date.now())}` : ""),
    h("button.quiet", { type: "button", onclick: () => fetchWork(true) }, "Get the newest work"),
  );
}

function draftKey(draft, visits) {
  const label = app.pack?.kinds[draft.kind]?.label || draft.kind;
  const visit = visits.find((each) => each.id === draft.visit);
  const fill = draft.kind === "loop_fill" && draft.payload.started;
  return visit ? key(`${label} ${draft.subject || ""}`, () => go(`visit/${visit.id}/${fill ? `fill/${draft.subject}` : `draft/${draft.id}`}`), fill ? "run" : "") : null;
}

function notices() {
  const list = [];
  if (app.lost) list.push(h("p.alarm", { role: "alert" }, `This phone's browser deleted ${app.lost.count} ${app.lost.count === 1 ? "reading" : "readings"}${app.lost.after ? ` taken after ${clockTime(app.lost.after)}` : ""}. Enter them again.`));
  if (sync.status.signedOut) list.push(h("p.note", {}, "You are signed out. You can go on working; ", h("a", { href: signInLink() }, "sign in"), " to send what is on this phone."));
  const until = sync.status.session?.signed_in_until;
  if (until && Date.parse(until) - Date.now() < TOO_MANY_DAYS * 86400000) list.push(h("p.note", {}, `You are signed in until ${dayWords(until.slice(0, 10))}. Sign in again before you go where there is no signal.`));
  if (sync.status.trouble === "old") list.push(h("p.note", {}, "This app is older than the office's system. What you log is kept there for a person to look at. Reload where there is signal to get the new version."));
  if (newVersion && !app.drafts.length) list.push(h("p.note", {}, "A new version is ready. ", key("Update", update)));
  return list;
}

const signInLink = () => `${linkTo("signIn")}?next=${encodeURIComponent(location.pathname)}`;

function update() {
  taking = true;
  newVersion.postMessage("take over");
}

async function startWorker() {
  navigator.serviceWorker.addEventListener("controllerchange", () => taking && location.reload());
  try {
    const registration = await navigator.serviceWorker.register(linkTo("worker"), { scope: BASE, updateViaCache: "none" });
    const look = (event) => {
      if (event?.target.state === "redundant") withoutWorker();
      worker = registration;
      newVersion = registration.waiting && registration.active ? registration.waiting : null;
      redraw();
    };
    registration.addEventListener("updatefound", () => registration.installing?.addEventListener("statechange", look));
    await navigator.serviceWorker.ready.then(() => look());
    setTimeout(withoutWorker, CLAIM_MS);
  } catch {
    withoutWorker();
    // Offline, or the office is being changed: what is stored goes on working.
    worker = (await navigator.serviceWorker.getRegistration(BASE)) || null;
    redraw();
  }
}

// Only screens that hold no half-typed answer are drawn again by themselves.
async function redraw() {
  if (!app.person) return;
  await load();
  drawBar();
  if (place.dataset.live && !document.querySelector(".over")) render();
}

async function become(session) {
  const person = { ...session.person, firm: session.firm.id, firmName: session.firm.name };
  if (app.person?.id === person.id) return;
  await enter(person);
  await store.setWho(person);
  await render();
}

async function enter(person) {
  const { device, lost } = await store.open(person.firm);
  app.person = person;
  app.device = device;
  app.lost = lost || (await store.get("meta", "lost")) || null;
  const released = new Set((await store.all("entries")).map((entry) => entry.id));
  for (const each of await store.all("photos")) if (each.state === "draft" && released.has(each.entry)) await sync.releasePhotos(each.entry);
  app.reserve = store.keepReserve().then((kept) => (app.reserved = kept));
  await load();
}

async function fetchWork(asked = false) {
  try {
    await become(await sync.session());
    await app.reserve;
    if (await sync.fetchPack(app.person)) await store.prune((job) => !app.pack?.jobs.some((each) => each.id === job), Date.now());
    await tell();
    if (asked) say("The newest work is on this phone.");
  } catch (error) {
    if (!app.person && !error.kind) return cannotKeep(REFUSED);
    sync.status.trouble = error.kind || "store";
    sync.status.signedOut = error.kind === "sign_in";
    if (asked) say("No answer from the office.");
  }
  await (app.person ? redraw() : render());
}

const isStale = () => app.person && Date.now() - Date.parse(app.fetched_at || 0) > STALE_MS;

async function tell() {
  const lost = app.lost ? { lost: app.lost.count, lost_after: app.lost.after } : {};
  await sync.tellOffice({ persisted: Boolean(app.persisted), ...lost });
  if (app.lost) await store.remove("meta", "lost");
}

async function start() {
  const why = barrier();
  if (why) return cannotKeep(why);
  try {
    const person = await store.who();
    if (person) await enter(person);
  } catch {
    return cannotKeep(REFUSED);
  }
  await render();
  document.documentElement.dataset.usable = "1";
  new ResizeObserver(() => document.documentElement.style.setProperty("--bar", `${bar.offsetHeight}px`)).observe(bar);
  window.addEventListener("popstate", render);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && isStale() && fetchWork());
  watchClock(() => (say(told()), drawBar()));
  sync.onChange(redraw);
  sync.watch();
  const registered = startWorker();
  app.persisted = navigator.storage?.persist ? await navigator.storage.persist().catch(() => false) : false;
  await fetchWork();
  if (app.person) sync.sendSoon({ now: true });
  await registered;
  return Promise.all(["visit", "incident"].map(part)).catch(() => null);
}

start();
