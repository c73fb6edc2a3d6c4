// Sends what is entered once, keeps it while there is no line, and shows what others changed.
//
// A form with data-send="/api/v1/…" is sent as JSON. Each sending is a snapshot with a key of its
// own; it is held on this device until the program has answered, so a reload loses nothing and a
// repeated sending is carried out once. Several windows may send the same one: the key makes it one.

import { bodyOf, free, hold, isSure, restoreDraft, saveDraft, say, sayKept, unsay } from "/static/forms.js";
import { drafts, lasting, out, refused } from "/static/held.js";
import { _, ngettext } from "/static/words.js";

const PAUSES = [1, 2, 4, 8, 10]; // seconds between tries
const LOOK = 3000; // ms between looks at what others changed
const PATIENCE = 20000; // ms for an answer, unless the form's data-patience says more [s]
const ORPHAN = 10000; // ms after which another window's entry is sent from here too
const WIDE = matchMedia("(min-width: 60rem)"); // as in look.css
const DEFECTS = 3; // tries of what the program itself fails at

const line = document.getElementById("line");
const main = document.getElementById("main");
const mine = new Map(); // sent from this page: key -> item
const said = new Map(); // what the line says, by subject
let tries = 0;
let timer = 0;
let sending = false;
let count = 0;
let owed = false; // this page's own entry was kept, but the page could not be renewed yet

const LOAD = `${Date.now().toString(36)}${Math.random().toString(36).slice(2, 8)}`;
const TAB = "sagtrace.tab";
const RESULT = "sagtrace.result"; // the page that shows the result of what was just kept

const session = (name, value) => {
  try {
    if (value !== undefined) sessionStorage.setItem(name, value);
    return sessionStorage.getItem(name);
  } catch {
    return null;
  }
};

const tab = session(TAB) ?? session(TAB, LOAD) ?? "";

// One line at the top tells how things stand: a text a subject, an empty text takes it away.
export function tell(subject, text, bad = false) {
  if (text) said.set(subject, [text, bad]);
  else said.delete(subject);
  const texts = [...said.values()];
  const shown = texts.map(([each]) => each).join(" ");
  if (line.textContent !== shown) line.textContent = shown; // because it is read out at a change
  line.classList.toggle("bad", texts.some(([, each]) => each));
  line.hidden = !texts.length;
}

function tellHeld(why) {
  const n = waiting().length;
  const held = lasting
    ? ngettext(
        "%(num)s entry is held on this device and will be sent when it answers.",
        "%(num)s entries are held on this device and will be sent when it answers.", n)
    : ngettext(
        "%(num)s entry is held only as long as this page is open, because this browser keeps nothing (its storage is full or switched off). Leave the page open.",
        "%(num)s entries are held only as long as this page is open, because this browser keeps nothing (its storage is full or switched off). Leave the page open.", n);
  const kept = n ? held : _("What you type stays on this device.");
  tell("line", `${why} ${kept}`, true);
}

// --- sending

function waiting() {
  const others = out.all().filter(
    (item) => !mine.has(item.key) && (item.tab === tab || Date.now() - item.at > ORPHAN),
  );
  return [...mine.values(), ...others].sort((a, b) => a.at - b.at);
}

async function post(item) {
  const headers = { "Content-Type": "application/json", "Idempotency-Key": item.key };
  const signal = AbortSignal.timeout(item.patience ?? PATIENCE);
  const answer = await fetch(item.url, { method: "POST", headers, body: JSON.stringify(item.body), signal });
  const body = await answer.json().catch(() => null);
  if (answer.ok && body === null) throw new TypeError("the answer was cut off");
  return [answer, body ?? {}];
}

const later = (status) => [408, 425, 429, 502, 503, 504].includes(status);

async function work() {
  if (sending) return;
  sending = true;
  clearTimeout(timer);
  let again = "";
  try {
    for (const item of waiting()) {
      const sent = await post(item).catch(() => null);
      if (!sent) {
        again = _("No line to the program.");
        continue; // because it may be this one alone
      }
      const [answer, body] = sent;
      tell("line", "");
      const defect = answer.status === 500 && (item.defects = (item.defects ?? 0) + 1) < DEFECTS;
      if (later(answer.status) || defect) {
        again = _("Not kept yet: %(why)s", { why: body.detail || answer.statusText });
        continue; // because the others may fare better
      }
      mine.delete(item.key);
      out.drop(item.key);
      try {
        await settled(item, answer.ok, body);
      } catch {
        tell("line", _("Answered, but this page could not show it. Load the page again."), true);
      }
    }
  } finally {
    sending = false;
  }
  if (again) tellHeld(again);
  else tries = 0;
  if (again || waiting().length) {
    timer = setTimeout(work, 1000 * PAUSES[again ? Math.min(tries++, PAUSES.length - 1) : 0]);
  }
}

const formOf = (item) => (item.page === location.pathname ? document.getElementById(item.form) : null);

async function settled(item, ok, body) {
  const form = formOf(item);
  if (!ok) {
    const problem = body.said || body.detail || _("It was refused, without a reason.");
    if (form) {
      free(form);
      say(form, problem, body.field);
    } else {
      refused.put({ ...item, problem });
      showRefused();
    }
    return;
  }
  for (const old of refused.all()) {
    if (old.key === item.key || (old.page === item.page && old.form === item.form)) refused.drop(old.key);
  }
  showRefused();
  if (item.draft) drafts.drop(item.draft);
  if (!form) {
    tell("sent", _("What was held on this device was sent and is kept."));
    setTimeout(() => tell("sent", ""), 8000);
    return;
  }
  delete form.dataset.typed;
  await keepName(form);
  document.dispatchEvent(new CustomEvent("sagtrace:kept", { detail: body }));
  const to = item.next?.replace("{job}", body.job ?? "");
  if (to && to !== location.pathname) arriveAt(to);
  else await renewed(form);
}

// Opens a page that shows the result of what was just done, which gets the focus there.
export function arriveAt(to) {
  session(RESULT, to.split("?")[0]);
  location.assign(to);
}

// Whoever was asked for a name once is not asked again on this device.
async function keepName(form) {
  const field = form.elements.namedItem("by");
  if (field?.type !== "text" || !field.value.trim()) return;
  const body = new URLSearchParams({ by: field.value });
  await fetch("/settings/name", { method: "POST", body }).catch(() => {});
}

async function renewed(form) {
  owed = true;
  try {
    await refresh(true, placesOf(form));
  } catch {
    tell("line", _("Kept. The page will be renewed when the program answers."), true);
  }
}

addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.dataset.send) return;
  event.preventDefault();
  if (form.getAttribute("aria-busy") === "true") return; // a double tap is one entry
  const button = event.submitter;
  unsay(form);
  saveDraft(form);
  if (!isSure(form)) return;
  const item = {
    // LOAD, because a browser may fill in the key of an earlier page when it loads a page again.
    key: `${form.elements.namedItem("key")?.value ?? ""}.${LOAD}.${count++}`,
    url: form.dataset.send, body: bodyOf(form, button), form: form.id, page: location.pathname,
    next: form.dataset.next, draft: drafts.name(form), at: Date.now() + count / 1000, tab,
    patience: form.dataset.patience ? 1000 * Number(form.dataset.patience) : PATIENCE,
    what: form.dataset.what || button?.textContent.trim() || "",
  };
  hold(form, button);
  mine.set(item.key, item);
  out.put(item);
  work();
});

addEventListener("input", (event) => {
  const form = event.target.form;
  if (!form?.dataset.send) return;
  form.dataset.typed = "yes";
  saveDraft(form);
  tell("storage", lasting ? "" : _("This browser keeps nothing (its storage is full or switched off): what you type is lost if you leave the page before it is sent."));
});
addEventListener("online", work);
addEventListener("pageshow", (event) => event.persisted && look());
addEventListener("visibilitychange", () => document.hidden || look());

// --- what was refused and has no form on this page

function showRefused() {
  const place = document.getElementById("refused");
  const items = refused.all();
  place.replaceChildren(...items.map(refusedRow), ...place.querySelectorAll(".picture"));
  place.hidden = !place.childElementCount;
}

function refusedRow(item) {
  const row = document.getElementById("refused-row").content.firstElementChild.cloneNode(true);
  row.querySelector(".what").textContent = item.what || _("An entry");
  row.querySelector(".why").textContent = item.problem;
  const typed = { ...item.body.values, ...item.body.vehicle };
  const texts = [item.body.outcome, ...Object.values(typed), item.body.note, item.body.text];
  row.querySelector(".typed").textContent = texts.filter(Boolean).join("; ");
  row.querySelector("a").href = item.page;
  row.querySelector(".again").addEventListener("click", () => {
    refused.drop(item.key);
    const { problem, ...again } = item;
    const anew = { ...again, key: `${item.key}.again`, at: Date.now(), tab, defects: 0 };
    mine.set(anew.key, anew);
    out.put(anew);
    showRefused();
    work();
  });
  row.querySelector(".forget").addEventListener("click", () => {
    refused.drop(item.key);
    showRefused();
  });
  return row;
}

// --- what others changed

// Where a form is: its id and those around it, the nearest first.
export function placesOf(form) {
  const ids = [];
  for (let at = form; at && at !== main; at = at.parentElement) if (at.id) ids.push(at.id);
  return ids;
}

// `own`: because of what was sent from here; `places`: where that was.
export async function refresh(own = false, places = []) {
  const signal = AbortSignal.timeout(PATIENCE);
  const answer = await fetch(location.href, { headers: { "X-Part": "main" }, signal });
  if (!answer.ok) throw new TypeError(answer.statusText);
  const text = await answer.text();
  const held = document.activeElement?.id;
  const open = [...main.querySelectorAll("details[id][open]")].map((each) => each.id);
  main.innerHTML = text;
  main.dataset.revision = answer.headers.get("X-Revision") ?? main.dataset.revision;
  if (!own) for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  owed = false;
  ready();
  document.dispatchEvent(new CustomEvent("sagtrace:shown"));
  if (own) toResult(places);
  else if (held) document.getElementById(held)?.focus({ preventScroll: true });
}

function toResult(places = []) {
  const marked = main.querySelector("[data-focus]");
  if (!marked && sayKept(places)) return;
  const result = marked ?? main;
  result.focus({ preventScroll: true });
  result.scrollIntoView({ block: "start" });
}

let looking = false;

async function look() {
  if (document.hidden || sending || looking) return;
  looking = true;
  const job = main.dataset.job;
  try {
    const signal = AbortSignal.timeout(PATIENCE);
    const answer = await fetch(job ? `/api/v1/jobs/${job}/revision` : "/api/v1/alive", { signal });
    if (!answer.ok) return;
    if (waiting().length) {
      work();
      return;
    }
    tell("line", "");
    const { revision } = await answer.json();
    if (!job || String(revision) === main.dataset.revision) tell("changed", "");
    else if (main.querySelector("form[data-typed], form[aria-busy=true]") && !owed) {
      tell("changed", _("This job was changed on another device. What you typed stays; send it, or load the page again."));
    } else {
      await refresh(owed);
      tell("changed", "");
    }
  } catch {
    tellHeld(_("No line to the program."));
  } finally {
    looking = false;
  }
}

function ready() {
  for (const field of main.querySelectorAll("[data-elapsed]")) field.dataset.shown = performance.now();
  if (WIDE.matches) for (const fold of main.querySelectorAll("details[data-wide]")) fold.open = true;
  const here = waiting().filter((item) => item.page === location.pathname);
  for (const form of document.querySelectorAll("form[data-send]")) {
    if (restoreDraft(form)) form.dataset.typed = "yes";
    const held = here.find((item) => form.id && item.form === form.id);
    if (!held) continue;
    mine.set(held.key, held); // from before a reload; its answer is shown at the form
    hold(form);
  }
}

drafts.tidy();
ready();
if (session(RESULT) === location.pathname) toResult();
session(RESULT, "");
showRefused();
if (waiting().length) work();
setInterval(look, LOOK);
