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

let busy = false;

async function work(items) {
  if (busy) return;
  busy = true;
  const left = [];
  for (const item of items) if (!(await send(item))) left.push(item);
  busy = false;
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
  setTimeout(() => work(left), AGAIN);
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
