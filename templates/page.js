// What a page can do beside being read: without it, all sections are open and no tick outlasts the page.

// Keeps the ticks in this browser.
for (const box of document.querySelectorAll("input.box")) {
  try { box.checked = localStorage.getItem(box.name) === "1"; } catch { /* not allowed here */ }
  box.addEventListener("change", () => {
    try { localStorage.setItem(box.name, box.checked ? "1" : "0"); } catch { /* not allowed here */ }
  });
}

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
