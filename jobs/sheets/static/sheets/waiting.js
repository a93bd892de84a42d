// Looks every two seconds how far the PDF is, and shows the page anew when it is ready.
const panel = document.querySelector("[data-progress]");
const EVERY_MS = 2000;

async function look() {
  try {
    const answer = await fetch(panel.dataset.progress, { headers: { Accept: "application/json" } });
    const state = answer.ok ? await answer.json() : null;
    if (state?.ready) {
      location.reload();
      return;
    }
    if (state) {
      panel.querySelector("[data-words]").textContent = state.words;
      panel.querySelector("[data-bar]").value = state.progress;
    }
    if (state?.failed) return;
  } catch {
    // No signal for a moment: it looks again.
  }
  setTimeout(look, EVERY_MS);
}

if (panel?.querySelector("[data-words]")) setTimeout(look, EVERY_MS);
