"use strict";
// What was typed, photographed and signed stays on this phone until the server has it, and is sent once.
// An item is a POST: address, type, body (text or ArrayBuffer: WebKit loses files), and a key that is the same
// each time it is sent.

const KEPT = "handover-crew";
const STORES = ["queue", "cards"];
let opened;

function database() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(KEPT, 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore("queue", { autoIncrement: true });
      request.result.createObjectStore("cards");
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error("blocked"));
  });
  return opened;
}

// Runs work(store) in one transaction; its result is there once the data are on the disk.
async function transact(name, mode, work) {
  const transaction = (await database()).transaction(name, mode);
  const request = work(transaction.objectStore(name));
  return new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve(request?.result);
    transaction.onabort = transaction.onerror = () => reject(transaction.error);
  });
}

const storedCard = (key) => transact("cards", "readonly", (store) => store.get(key));
const storeCard = (key, card) => transact("cards", "readwrite", (store) => store.put(card, key));

// Whether this browser keeps what it is told: a private window may refuse, or lose it.
async function keepsData() {
  try {
    const bytes = new Uint8Array([1, 2, 3]).buffer;
    await transact("cards", "readwrite", (store) => store.put({ probe: bytes }, ""));
    const found = await storedCard("");
    await transact("cards", "readwrite", (store) => store.delete(""));
    return found?.probe?.byteLength === 3;
  } catch {
    return false;
  }
}

function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return Array.from(bytes, (each) => (each % 36).toString(36)).join("");
}

async function keep(item) {
  await transact("queue", "readwrite", (store) => store.add({ key: newKey(), ...item }));
  await showKept();
  flush();
}

// All that is kept, oldest first, as [number, item].
async function keptItems() {
  const transaction = (await database()).transaction("queue");
  const store = transaction.objectStore("queue");
  const [numbers, items] = [store.getAllKeys(), store.getAll()];
  return new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve(numbers.result.map((each, at) => [each, items.result[at]]));
    transaction.onerror = () => reject(transaction.error);
  });
}

async function showKept(problem = "") {
  const bar = document.getElementById("kept");
  if (!bar) return;
  const count = (await keptItems()).length;
  const words = bar.dataset;
  bar.textContent = [
    count === 0 ? words.none : count === 1 ? words.one : words.many.replace("{count}", count),
    problem && words[problem],
  ].filter(Boolean).join(" ");
  bar.classList.toggle("waiting", count > 0);
}

let flushing = null;

// Sends what is kept, in order. What the server cannot take is shown and dropped; else it stays until it is sent.
function flush() {
  flushing ??= flushOnce().finally(() => { flushing = null; });
  return flushing;
}

async function flushOnce() {
  const send = async () => {
    for (let items = await keptItems(); items.length; items = await keptItems()) {
      const [number, item] = items[0];
      const problem = await post(number, item);
      if (problem) return problem;
    }
    return "";
  };
  let problem;
  try {
    problem = navigator.locks ? await navigator.locks.request(KEPT, send) : await send();
  } catch {
    problem = "failed";
  }
  await showKept(problem);
}

// Sends one item; returns why it stays, or "" once it is off the phone.
async function post(number, item) {
  let response;
  try {
    response = await fetch(item.url, {
      method: "POST", body: item.body, redirect: "manual",
      headers: { "Content-Type": item.type, "Idempotency-Key": item.key, Accept: "application/json", ...item.headers },
    });
  } catch {
    return "offline";
  }
  if (response.type === "opaqueredirect" || response.status === 401 || response.status === 403) return "signedout";
  if (response.status >= 500 || response.status === 429) return "failed";
  const result = await response.json().catch(() => ({}));
  await transact("queue", "readwrite", (store) => store.delete(number));
  await showKept();
  dispatchEvent(new CustomEvent("sent", { detail: { item, ok: response.ok, result } }));
  return "";
}

// A form that is kept like everything else: it is done for who taps it, and sent when there is signal.
for (const form of document.querySelectorAll("[data-keep]")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const body = new URLSearchParams(new FormData(form)).toString();
    await keep({ url: form.getAttribute("action"), type: "application/x-www-form-urlencoded", body });
    form.closest(".visit").classList.add("done");
    form.replaceChildren(form.dataset.done);
  });
}

const COPIES = "crew-pages";

// The cards in the list are on the phone, to be opened without signal.
async function copyCards() {
  const links = [...document.querySelectorAll("[data-cards] a")].map((each) => each.pathname);
  const copies = links.length && "caches" in self && (await caches.open(COPIES));
  for (const path of links) {
    const response = await fetch(path).catch(() => null);
    if (response?.ok && !response.redirected) await copies.put(path, response);
  }
}

// Who signs out leaves no copies on the phone; what is not sent yet has to be sent first.
document.querySelector("[data-sign-out]")?.addEventListener("submit", async (event) => {
  event.preventDefault();
  await flush();
  if ((await keptItems()).length) return;
  if ("caches" in self) await caches.delete(COPIES);
  await transact("cards", "readwrite", (store) => store.clear());
  event.target.submit();
});

addEventListener("online", flush);
addEventListener("pageshow", flush);
document.addEventListener("visibilitychange", () => { if (!document.hidden) flush(); });
setInterval(() => { if (!document.hidden) flush(); }, 20000);

(async () => {
  document.documentElement.classList.add("scripted");
  if (!(await keepsData())) {
    const refused = document.getElementById("refused");
    if (refused) refused.hidden = false;
    return;
  }
  await showKept();
  flush();
  if (navigator.onLine) copyCards();
  if ("serviceWorker" in navigator) {
    navigator.serviceWorker.register("/crew/worker.js", { scope: "/crew" }).catch(() => {}); // no signal: next time
  }
})();
