"use strict";
// What the owner's page can do with a script: ticks without a button, "now" that moves, folded sections.

// Sends the ticks; the page stays. What it was shown with is what they are compared with.
const ticks = document.querySelector("form.ticks");
if (ticks) {
  const saved = ticks.querySelector(".saved");
  ticks.classList.add("quick");
  let sending = Promise.resolve();
  const send = async () => {
    const form = new FormData(ticks);
    const chosen = form.getAll("tick");
    try {
      const answer = await fetch(ticks.action, { method: "POST", body: new URLSearchParams(form) });
      if (!answer.ok) throw new Error(String(answer.status));
      ticks.elements.before.value = chosen.join("\n");
      saved.textContent = saved.dataset.saved;
      moveNow();
    } catch {
      saved.textContent = saved.dataset.failed;
      ticks.classList.remove("quick");
    }
  };
  ticks.addEventListener("change", () => { sending = sending.then(send); });
}

// Shows what is to be done now, once that is something else.
let timer;
async function moveNow() {
  const now = document.getElementById("now");
  try {
    const text = await (await fetch(location.href)).text();
    const fresh = new DOMParser().parseFromString(text, "text/html").getElementById("now");
    if (fresh) now.replaceWith(fresh);
  } catch { /* no signal: it stays as it is until the next time */ }
  planNext();
}
function planNext() {
  clearTimeout(timer);
  const at = Date.parse(document.getElementById("now")?.dataset.changes ?? "");
  if (Number.isNaN(at)) return;
  timer = setTimeout(moveNow, Math.min(Math.max(at - Date.now(), 30_000), 3_600_000));
}
planNext();
document.addEventListener("visibilitychange", () => { if (!document.hidden) moveNow(); });

// Marks the row of today, by the calendar of the site, wherever the reader is.
const table = document.querySelector("table.watering");
if (table) {
  const today = new Intl.DateTimeFormat("en-CA", { timeZone: table.dataset.zone }).format(new Date());
  for (const row of table.querySelectorAll("tr[data-from]")) {
    if (today < row.dataset.from || today > row.dataset.until) continue;
    if (row.dataset.days && !row.dataset.days.split(" ").includes(today)) continue;
    row.classList.add("is-today");
    const mark = document.createElement("strong");
    mark.className = "today";
    mark.textContent = table.dataset.today;
    row.querySelector("th").prepend(mark, " ");
  }
}

// Folds, on a phone, the sections that are not of today; paper has them all.
const folds = [];
if (matchMedia("(max-width: 47.99rem)").matches) {
  for (const section of document.querySelectorAll("section.fold")) {
    const heading = section.querySelector("h2");
    if (!heading) continue;
    const fold = document.createElement("details");
    const summary = document.createElement("summary");
    fold.append(summary, ...section.childNodes);
    summary.append(heading);
    section.append(fold);
    folds.push(fold);
  }
  addEventListener("beforeprint", () => { for (const fold of folds) fold.open = true; });
}
