// The page of this very phone: what still waits on it, whether it is safe here, and signing out without leaving anything behind.

import { shareWaiting } from "./aids.js";
import { h, key, put, state } from "./dom.js";
import { dayAndTime } from "./outbox.js";
import * as store from "./store.js";
import * as sync from "./sync.js";

export function route(app, place, _parts, tools) {
  place.dataset.live = "1";
  const { waiting, photos, others } = tools.counts();
  const mine = app.entries.filter((entry) => entry.author === app.person.id && entry.state !== "received").sort((a, b) => b.seq - a.seq);
  const label = (entry) => `${app.pack?.kinds[entry.kind]?.label || entry.kind} ${entry.wire.subject}`;
  const { session } = sync.status;
  put(
    place,
    h("header.top", {}, h("button.back", { type: "button", onclick: () => tools.go("") }, "‹ Visits"), h("h1", {}, "This phone")),
    h("p.lead", {}, `${app.person.name}, ${app.person.firmName}`),
    tools.notices(),
    h("section.rows", {}, h("h2", {}, "Not received yet"), mine.length || photos ? null : h("p", {}, state("done", "Nothing. All is with the office.")),
      h("ul", {}, mine.slice(0, 60).map((entry) => h("li.row", {}, h("b", {}, label(entry)), h("small", {}, dayAndTime(entry.wire.recorded_at, Date.now())), entry.state === "held" ? state("held", "Office will check") : state("phone", "On this phone")))),
      mine.length > 60 ? h("p", {}, `and ${mine.length - 60} more`) : null,
      photos ? h("p", {}, state("phone", photos === 1 ? "One photo on this phone" : `${photos} photos on this phone`)) : null),
    others.length ? otherPeople(others) : null,
    h("section.rows", {}, h("h2", {}, "Is it safe here?"),
      h("p", {}, tools.isStored() ? state("done", "This page opens without signal") : state("warn", "This page is not stored yet: stay where there is signal")),
      h("p", {}, app.persisted ? state("done", "The browser promises to keep what is here") : state("open", "Put this page on the home screen: the browser then keeps it longer")),
      tools.steps(), h("p.source", {}, `${session ? `Signed in until ${tools.dayWords(session.signed_in_until.slice(0, 10))}. ` : ""}Version ${sync.buildName()}.`)),
    mine.some((entry) => entry.state === "problem") ? key("Send the stuck ones again", () => again(app)) : null,
    waiting ? h("button.quiet", { type: "button", onclick: () => shareWaiting(app) }, "Share as a file, when nothing else works") : null,
    h("button.quiet", { type: "button", onclick: async () => (await signOut(app, waiting + photos)) && tools.go("") }, "Sign out"),
    h("p.errors", { id: "refused", role: "alert" }),
    h("div.act", {}, key("Send now", () => sync.sendSoon({ tapped: true }), "main")),
  );
}

async function again(app) {
  const stuck = app.entries.filter((entry) => entry.state === "problem" && entry.author === app.person.id);
  await store.setStates(stuck.map((entry) => ({ id: entry.id, state: "waiting", why: "" })));
  sync.sendSoon({ now: true });
}

function otherPeople(others) {
  const words = others.length === 1 ? "One reading of another person waits here." : `${others.length} readings of another person wait here.`;
  const authors = [...new Set(others.map((entry) => entry.author))];
  return h("section.rows", {}, h("h2", {}, "Somebody else's"), h("p", {}, words, " They are sent when that person signs in on this phone. If they have left, you can send them; your name is recorded beside theirs."),
    key("Send for the other person", () => authors.forEach((author) => sync.sendFor(author))));
}

// Whether this person is signed out. Others may use this phone: nothing unsent is left behind without a word.
async function signOut(app, left) {
  const refused = document.getElementById("refused");
  const stay = (why) => put(refused, why) && false;
  if (left) return stay(`${left === 1 ? "One reading is" : `${left} readings are`} still on this phone. Send them first, or leave them here for your next sign-in.`);
  try {
    const { csrf } = await sync.session();
    await fetch(document.body.dataset.signOut, { method: "POST", headers: { "X-CSRFToken": csrf }, redirect: "manual", credentials: "same-origin" });
  } catch (error) {
    if (error.kind !== "sign_in") return stay("Signing out needs signal. Try again where there is some.");
  }
  await store.setWho(null);
  app.person = null;
  sync.status.session = null;
  return true;
}
