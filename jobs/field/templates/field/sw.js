const BUILD = "{{ build|escapejs }}";
const SHELL = "{{ shell|escapejs }}";
const ASSETS = {{ assets|safe }};
const STORE = `field-${BUILD}`;

const KINDS = { css: "text/css", js: "javascript", svg: "image/svg" };

async function fetched(url, accept) {
  const answer = await fetch(url, { cache: "no-cache", redirect: "error", credentials: "same-origin" });
  const kind = answer.headers.get("Content-Type") || "";
  if (!answer.ok || !kind.includes(accept)) throw new Error(`not what was asked for: ${url}`);
  return answer;
}

async function keep() {
  const store = await caches.open(STORE);
  const shell = await fetched(SHELL, "text/html");
  const text = await shell.clone().text();
  if (!text.includes(`name="groundloop-shell" content="${BUILD}"`)) throw new Error("not our shell");
  const parts = await Promise.all(ASSETS.map((url) => fetched(url, KINDS[url.split(".").pop()] || "/")));
  await Promise.all(ASSETS.map((url, at) => store.put(url, parts[at])));
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
  } else if (ASSETS.includes(url.pathname)) {
    event.respondWith(kept(request, url.pathname));
  }
});
