// Signing out on a phone that others may use: nothing unsent is left behind without a word.

import { put } from "./dom.js";
import * as store from "./store.js";
import * as sync from "./sync.js";

// Whether this person is signed out.
export async function signOut(app, left) {
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
