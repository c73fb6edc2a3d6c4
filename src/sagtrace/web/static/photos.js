// Sends a picture once, and keeps the chosen file on this device until the program has it.

import { free, hold, say, unsay } from "/static/forms.js";
import { placesOf, refresh, tell } from "/static/send.js";
import { _, ngettext } from "/static/words.js";

const AGAIN = 8000; // ms between tries

function store(mode) {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open("sagtrace", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("photos", { keyPath: "key" });
    asked.onerror = () => reject(asked.error);
    asked.onsuccess = () => resolve(asked.result.transaction("photos", mode).objectStore("photos"));
  });
}

async function ask(mode, what) {
  const place = await store(mode);
  return new Promise((resolve, reject) => {
    const asked = what(place);
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

const isOurs = (item) =>
  typeof item?.key === "string" && typeof item.url === "string" && item.url.startsWith("/api/v1/") &&
  item.file instanceof Blob && typeof item.fields === "object" && item.fields !== null;

const forget = (key) => ask("readwrite", (place) => place.delete(key)).catch(() => {});
const held = () => ask("readonly", (place) => place.getAll())
  .then((items) => items.filter(isOurs)).catch(() => []);

// Answers that say that the picture itself is refused. Whatever else went wrong, it stays here.
const REFUSED = [413, 415, 422];

// Return whether it is settled: kept or refused.
async function send(item) {
  const body = new FormData();
  for (const [name, value] of Object.entries(item.fields)) body.append(name, value);
  body.append("file", item.file, item.file.name || "picture.jpg");
  const headers = { "Idempotency-Key": item.key };
  let answer;
  try {
    answer = await fetch(item.url, { method: "POST", headers, body });
  } catch {
    item.why = "";
    return false;
  }
  const said = await answer.json().catch(() => ({}));
  if (!answer.ok && !REFUSED.includes(answer.status)) {
    item.why = said?.detail || "";
    return false;
  }
  const form = item.page === location.pathname ? document.getElementById(item.form) : null;
  await forget(item.key);
  tell("photo", "");
  if (answer.ok) {
    if (form) await refresh(true, placesOf(form)).catch(() => {});
  } else if (form) {
    free(form);
    say(form, said.said || said.detail || _("The picture was refused."));
  } else {
    const why = said.detail || _("it was refused");
    tell("photo", _("A picture was not kept: %(why)s", { why }), true);
  }
  return true;
}

const waiting = new Map(); // by key
let busy = false;
let again = 0; // the timer of the next try

async function work(items = []) {
  for (const item of items) waiting.set(item.key, item);
  if (busy) return;
  busy = true;
  clearTimeout(again);
  for (const item of [...waiting.values()]) if (await send(item)) waiting.delete(item.key);
  busy = false;
  showAnswered();
  const left = [...waiting.values()];
  if (!left.length) return;
  const n = left.length;
  const kept = left.every((item) => item.lasting);
  const how = kept
    ? ngettext(
        "%(num)s picture was not sent; held on this device, and sent when the program answers.",
        "%(num)s pictures were not sent; held on this device, and sent when the program answers.", n)
    : ngettext(
        "%(num)s picture was not sent; leave this page open until the program answers.",
        "%(num)s pictures were not sent; leave this page open until the program answers.", n);
  tell("photo", left[0].why ? `${how} ${left[0].why}` : how, true);
  again = setTimeout(work, AGAIN);
}

// Pictures that the program answered and did not keep, each with a way to give it up.
function showAnswered() {
  const place = document.getElementById("refused");
  for (const old of place.querySelectorAll(".picture")) old.remove();
  for (const item of waiting.values()) if (item.why) place.append(answered(item));
  place.hidden = !place.childElementCount;
}

function answered(item) {
  const row = document.getElementById("refused-row").content.firstElementChild.cloneNode(true);
  row.classList.add("picture");
  row.querySelector(".what").textContent = item.file.name || _("A picture");
  row.querySelector(".why").textContent = item.why;
  row.querySelector(".typed").textContent = item.fields.text ?? "";
  row.querySelector("a").href = item.page;
  row.querySelector(".again").addEventListener("click", () => work());
  row.querySelector(".forget").addEventListener("click", async () => {
    waiting.delete(item.key);
    await forget(item.key);
    tell("photo", "");
    const form = item.page === location.pathname ? document.getElementById(item.form) : null;
    if (form) free(form);
    work();
  });
  return row;
}

addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.dataset.photo) return;
  event.preventDefault();
  if (form.getAttribute("aria-busy") === "true") return;
  const file = form.querySelector("input[type=file]").files[0];
  if (!file) return;
  hold(form, event.submitter);
  unsay(form);
  const fields = Object.fromEntries([...new FormData(form)].filter(([n, v]) => typeof v === "string" && n !== "key"));
  const key = form.elements.namedItem("key").value;
  const item = { key, url: form.dataset.photo, form: form.id, page: location.pathname, fields, file, lasting: true };
  await ask("readwrite", (place) => place.put(item)).catch(() => {
    item.lasting = false;
  });
  work([item]);
});

held().then((items) => items.length && work(items));
