const BUILD = "{{ build|escapejs }}";
const SHELL = "{{ shell|escapejs }}";
const ASSETS = {{ assets|safe }};
const PARCEL = "{{ parcel|escapejs }}";
const STORE = `field-${BUILD}`;

const KINDS = { css: "text/css", js: "javascript", svg: "image/svg" };

async function fetched(url, accept) {
  const answer = await fetch(url, { cache: "no-cache", redirect: "error", credentials: "same-origin" });
  const kind = answer.headers.get("Content-Type") || "";
  if (!answer.ok || !kind.includes(accept)) throw new Error(`not what was asked for: ${url}`);
  return answer;
}

{# The later modules in one answer. Its address ends with the hash of its bytes, and none but these are taken: half of it, or another's words in its place, leaves everything as it was. #}
async function unpacked() {
  const answer = await fetched(PARCEL, "text/plain");
  const bytes = await answer.arrayBuffer();
  const sum = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  const seal = [...sum].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  if (!PARCEL.endsWith(seal)) throw new Error("not our parcel");
  return new TextDecoder().decode(bytes).split("\f").map((part) => {
    const at = part.indexOf("\n");
    return [part.slice(0, at), new Response(part.slice(at + 1), { headers: { "Content-Type": "text/javascript; charset=utf-8" } })];
  });
}

async function keep() {
  const store = await caches.open(STORE);
  const shell = await fetched(SHELL, "text/html");
  const text = await shell.clone().text();
  if (!text.includes(`name="groundloop-shell" content="${BUILD}"`)) throw new Error("not our shell");
  const single = async (url) => [url, await fetched(url, KINDS[url.split(".").pop()] || "/")];
  const [later, ...singles] = await Promise.all([unpacked(), ...ASSETS.map(single)]);
  await Promise.all([...later, ...singles].map(([url, answer]) => store.put(url, answer)));
  await store.put(SHELL, shell);
}

async function tidy() {
  const names = await caches.keys();
  const old = names.filter((name) => name.startsWith("field-") && name !== STORE);
  await Promise.all(old.map((name) => caches.delete(name)));
  await self.clients.claim();
}

async function kept(request, key) {
  const store = await caches.open(STORE);
  return (await store.match(key)) || fetch(request);
}

self.addEventListener("install", (event) => event.waitUntil(keep()));
self.addEventListener("activate", (event) => event.waitUntil(tidy()));
self.addEventListener("message", (event) => {
  if (event.data === "take over") self.skipWaiting();
});
self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.method !== "GET") return;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.mode === "navigate") {
    const inside = url.pathname.startsWith(SHELL) && !url.pathname.startsWith(`${SHELL}api/`);
    if (inside) event.respondWith(kept(request, SHELL));
  } else if (ASSETS.includes(url.pathname) || request.destination === "script") {
    event.respondWith(kept(request, url.pathname));
  }
});
