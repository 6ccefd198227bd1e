// Keeps the ticks of the page in this browser; without it, boxes are ticked until the page is closed.
for (const box of document.querySelectorAll("input.box")) {
  try { box.checked = localStorage.getItem(box.name) === "1"; } catch { /* not allowed here */ }
  box.addEventListener("change", () => {
    try { localStorage.setItem(box.name, box.checked ? "1" : "0"); } catch { /* not allowed here */ }
  });
}
