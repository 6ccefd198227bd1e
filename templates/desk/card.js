"use strict";
// The job card: each text is kept on the phone as soon as it is typed, and sent when there is signal.

const form = document.getElementById("card");
const words = form.dataset;
let key = words.key;
let card = { number: Number(words.number), entries: {} };
let carried = {}; // what the last job said: it goes to the server with the first text of a new card

const fieldBox = (name) => form.querySelector(`[data-field="${CSS.escape(name)}"]`);
const inputsOf = (name) => [...form.elements].filter((each) => each.name === name && each.type !== "file");

function valueOf(name) {
  const inputs = inputsOf(name);
  if (inputs[0]?.type === "radio") return inputs.find((each) => each.checked)?.value ?? "";
  return inputs[0]?.value ?? "";
}

function show(name, text) {
  for (const each of inputsOf(name)) {
    if (each.type === "radio") each.checked = each.value === text;
    else each.value = text;
  }
  showHour(name);
  if (name === "slab.use") showWalk(text);
}

// The items of the walk-through that go with the use of the slab.
function showWalk(use) {
  for (const each of form.querySelectorAll("[data-uses]")) each.hidden = !each.dataset.uses.split(",").includes(use || "other");
}

// The clock of this phone, as the site's clock shows it: "2026-07-14T06:40".
function clock(when = new Date()) {
  return new Date(when.getTime() - when.getTimezoneOffset() * 60000).toISOString().slice(0, 16);
}

// ---- what is typed ---------------------------------------------------------------------------------

function phone() {
  const found = localStorage.getItem("handover-phone") ?? newKey();
  localStorage.setItem("handover-phone", found);
  return found;
}

async function enter(typed) {
  const texts = { ...carried, ...typed };
  carried = {};
  Object.assign(card.entries, texts);
  await storeCard(key, card);
  const at = new Date().toISOString();
  const body = JSON.stringify({ phone: phone(), base: card.number, at, entries: texts });
  await keep({ url: `/crew/card/${key}/changes`, type: "application/json", body, card: key, entries: texts });
}

// A bare number gets the unit that the firm uses; it is seen at once, and can be changed.
function withUnit(input) {
  const unit = input.dataset.unit;
  if (unit && /^\s*\d+([.,]\d+)?\s*$/.test(input.value)) input.value = `${input.value.trim()} ${unit}`;
  return input.value.trim();
}

form.addEventListener("change", (event) => {
  const input = event.target;
  if (input.type === "file") return void takePhotos(input);
  if (input.name.startsWith("choose:")) return choose(input.name.slice("choose:".length), input.value);
  if (!input.name || !fieldBox(input.name)) return;
  const text = input.type === "radio" ? input.value : withUnit(input);
  showHour(input.name);
  if (input.name === "slab.use") showWalk(text);
  enter({ [input.name]: text });
});

// A phone that is put away in the middle of a field keeps what stands there.
const leave = () => { if (document.hidden) document.activeElement?.blur(); };
document.addEventListener("visibilitychange", leave);
addEventListener("pagehide", () => document.activeElement?.blur());

function choose(name, text) {
  show(name, text);
  enter({ [name]: text });
}

for (const button of form.querySelectorAll("[data-fill]")) {
  button.addEventListener("click", () => choose(button.dataset.fill, button.value));
}

// Everything is kept already; the page before handing over needs what was kept to be with the server.
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  if (event.submitter?.dataset.online === undefined) return;
  if (card.number === 0 && Object.keys(card.entries).length === 0) await enter({});
  await flush();
  if ((await keptItems()).length === 0) location.href = `/crew/card/${key}/handover`;
});

// ---- hours -----------------------------------------------------------------------------------------

function showHour(name) {
  const button = form.querySelector(`button[value="${CSS.escape(name)}"]`);
  if (!button) return;
  const text = valueOf(name);
  button.classList.toggle("done", Boolean(text));
  button.querySelector(".at").textContent = text ? new Date(text).toLocaleTimeString(document.documentElement.lang, { hour: "numeric", minute: "2-digit" }) : "";
  fieldBox(name).querySelector(".correct").hidden = !text;
}

for (const button of form.querySelectorAll("button[name=now]")) {
  button.addEventListener("click", (event) => {
    event.preventDefault();
    const name = button.value;
    if (valueOf(name)) { // taken: a second tap corrects it, and does not overwrite it
      inputsOf(name)[0].focus();
      return;
    }
    show(name, clock());
    enter({ [name]: valueOf(name) });
  });
}

// ---- place -----------------------------------------------------------------------------------------

const here = document.getElementById("here");
if (here && "geolocation" in navigator) {
  here.hidden = false;
  here.addEventListener("click", () => {
    const said = document.getElementById("here-says");
    said.textContent = words.locating;
    navigator.geolocation.getCurrentPosition(
      ({ coords }) => {
        const text = `${coords.latitude.toFixed(5)}, ${coords.longitude.toFixed(5)}`;
        show("site.latitude", text);
        said.textContent = words.located;
        enter({ "site.latitude": text });
      },
      () => { said.textContent = words.unlocated; },
      { enableHighAccuracy: true, timeout: 20000, maximumAge: 60000 },
    );
  });
}

// ---- photos and signatures -------------------------------------------------------------------------

async function takePhotos(input) {
  const files = [...input.files];
  input.value = "";
  for (const file of files) {
    const { body, type } = await shrink(file);
    showPhoto(input, body, type);
    const about = input.dataset.about;
    await keep({ url: `/crew/card/${key}/photos?about=${encodeURIComponent(about)}`, type, body, card: key });
  }
}

function showPhoto(input, body, type) {
  const picture = document.createElement("img");
  picture.alt = input.dataset.alt;
  picture.className = "thumb";
  const address = URL.createObjectURL(new Blob([body], { type }));
  picture.onload = () => URL.revokeObjectURL(address);
  picture.src = address;
  input.closest("[data-photos]").querySelector(".thumbs").append(picture);
}

for (const pad of form.querySelectorAll("[data-sign]")) {
  pad.hidden = false;
  signaturePad(pad, (strokes) => {
    const body = JSON.stringify({ strokes });
    keep({ url: `/crew/card/${key}/signature/${pad.dataset.sign}`, type: "application/json", body, card: key });
    if (pad.dataset.sign === "owner") acknowledge(strokes.length > 0);
  });
}

// The owner's signature acknowledges, with the name that stands there, at this hour.
function acknowledge(signed) {
  const texts = { "acknowledgement.time": signed ? clock() : "" };
  if (signed && !valueOf("acknowledgement.name")) {
    texts["acknowledgement.name"] = valueOf("owner.name");
    show("acknowledgement.name", texts["acknowledgement.name"]);
  }
  enter(texts);
}

form.addEventListener("change", (event) => {
  if (event.target.name === "acknowledgement.name") enter({ "acknowledgement.time": event.target.value ? clock() : "" });
});

// ---- what the server says --------------------------------------------------------------------------

function paragraph(text, kind) {
  const made = document.createElement("p");
  made.className = `finding ${kind}`;
  made.textContent = text;
  return made;
}

function showFindings({ findings = {}, conflicts = {} }) {
  for (const box of form.querySelectorAll("[data-field]")) {
    const name = box.dataset.field;
    const said = box.querySelector(".says");
    said.replaceChildren(...(findings[name] ?? []).map((each) => paragraph(each.text, each.severity)));
    if (conflicts[name]) said.append(choice(name, conflicts[name]));
    for (const each of inputsOf(name)) each.setAttribute("aria-invalid", String((findings[name] ?? []).some((one) => one.severity === "fault")));
    if (said.childElementCount) box.closest("details")?.setAttribute("open", "");
  }
}

// Nothing moves under a finger: what is to be shown waits until it is lifted.
let pressed = false;
let delayed = null;
addEventListener("pointerdown", () => { pressed = true; }, true);
for (const lifted of ["pointerup", "pointercancel"]) {
  addEventListener(lifted, () => setTimeout(() => {
    pressed = false;
    if (delayed) showFindings(delayed);
    delayed = null;
  }, 150), true);
}

// Two phones differ: both texts are there, and a person chooses.
function choice(name, texts) {
  const box = document.createElement("div");
  box.className = "choice";
  box.append(paragraph(words.differs, "caution"));
  for (const text of texts) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = text || words.blank;
    button.addEventListener("click", () => { box.remove(); choose(name, text); });
    box.append(button);
  }
  return box;
}

addEventListener("sent", async ({ detail: { item, ok, result } }) => {
  if (item.card !== key) return;
  if (!ok) {
    const problem = result.findings?.map((each) => each.text).join(" ") || words.refused;
    document.getElementById("refusals").append(paragraph(problem, "fault"));
    return;
  }
  if (!("number" in result)) return;
  card.number = result.number;
  words.number = card.number;
  await storeCard(key, card);
  if ((await keptItems()).every(([, each]) => each.card !== key)) {
    if (pressed) delayed = result;
    else showFindings(result);
  }
  const title = document.getElementById("job-name");
  if (result.name) title.textContent = result.name;
});

// ---- begin -----------------------------------------------------------------------------------------

// A page from the cache may be older than what this phone knows, and one of a new card knows nothing.
async function begin() {
  const inAddress = location.pathname.match(/^\/crew\/card\/([a-z0-9]{8,40})$/)?.[1];
  if (inAddress && inAddress !== key) {
    [key, card] = [inAddress, { number: 0, entries: {} }];
  } else if (!inAddress) {
    key = newKey();
    history.replaceState(null, "", `/crew/card/${key}`);
  }
  const stored = await storedCard(key);
  if (stored && stored.number >= card.number) {
    card = stored;
    for (const [name, text] of Object.entries(card.entries)) show(name, text);
  }
  for (const [, item] of await keptItems()) {
    if (item.card !== key) continue;
    const about = new URLSearchParams(item.url.split("?")[1]).get("about");
    const input = about && form.querySelector(`input[data-about="${CSS.escape(about)}"]`);
    if (input) showPhoto(input, item.body, item.type);
    if (!item.entries) continue;
    Object.assign(card.entries, item.entries);
    for (const [name, text] of Object.entries(item.entries)) show(name, text);
  }
  for (const link of document.querySelectorAll("a[data-of-card]")) link.href = `/crew/card/${key}/${link.dataset.ofCard}`;
  for (const button of form.querySelectorAll("button[name=now]")) showHour(button.value);
  if (!inAddress && Object.keys(stored?.entries ?? {}).length === 0) carryOver();
  form.classList.add("ready");
}

function carryOver() {
  const boxes = form.querySelectorAll("[data-carried]");
  carried = Object.fromEntries([...boxes].map(({ dataset }) => [dataset.field, valueOf(dataset.field)]));
}

begin();
