// A form as data, and data back into a form.

import { drafts } from "/static/held.js";
import { _ } from "/static/words.js";

const OWN = ["key", "next", "item"]; // fields that are no part of the body
// A number that names no unit, in all the ways in which one may be typed; people.py has the same.
const BARE =
  /^(?:[\s\d.,+\-−–‒‐‑±/·'’½¼¾⅛⅜⅝⅞]|\d[eE][+\-]?(?=\d))*[\d½¼¾⅛⅜⅝⅞][\s\d.,+\-−–‒‐‑±/·½¼¾⅛⅜⅝⅞]*$/;

function fieldsOf(form, button) {
  const fields = [...new FormData(form)];
  if (button?.name) fields.push([button.name, button.value]);
  return fields;
}

// "values.time" is a part; a name in data-lists may repeat; "unit:values.time" is the unit that
// stands beside a field, taken where the number names none.
export function bodyOf(form, button) {
  const fields = fieldsOf(form, button);
  const units = new Map(fields.filter(([n]) => n.startsWith("unit:")).map(([n, v]) => [n.slice(5), v]));
  const lists = form.dataset.lists?.split(" ") ?? [];
  const body = Object.fromEntries(lists.map((name) => [name, []]));
  for (const [name, value] of fields) {
    if (OWN.includes(name) || name.startsWith("unit:") || value instanceof File) continue;
    const unit = units.get(name);
    const said = unit && BARE.test(value) ? `${value.trim()} ${unit}` : value;
    const [whole, part] = name.split(/\.(.*)/s);
    if (part !== undefined) (body[whole] ??= {})[part] = said;
    else if (lists.includes(name)) body[name].push(said);
    else body[name] = said;
  }
  return body;
}

const isTyped = (field) =>
  field.name && !["hidden", "submit", "button", "file"].includes(field.type) && field.tagName !== "FIELDSET";
const isTick = (field) => ["checkbox", "radio"].includes(field.type);
const unitOf = (form, field) => form.elements.namedItem(`unit:${field.name}`)?.value ?? "";

// A field is kept with its choice, or with the unit that stood beside it.
export function saveDraft(form) {
  if (!form.id) return;
  const typed = [...form.elements]
    .filter(isTyped)
    .map((field) => (isTick(field) ? [field.name, field.value, field.checked] : [field.name, unitOf(form, field), field.value]));
  drafts.put(drafts.name(form), typed);
}

// Return whether the draft differs from what the form came with.
export function restoreDraft(form) {
  const held = form.id && drafts.take(drafts.name(form));
  if (!Array.isArray(held)) return false;
  let differs = false;
  for (const [name, choice, value] of held) {
    const field = [...form.elements].find(
      (each) => isTyped(each) && each.name === name && (!isTick(each) || each.value === choice),
    );
    if (!field) continue;
    const now = isTick(field) ? field.checked : field.value;
    if (now === value) continue;
    differs = true;
    if (isTick(field)) field.checked = value;
    // The settings may have changed since: a number stays in the unit it was typed in.
    else field.value = choice && choice !== unitOf(form, field) && BARE.test(value) ? `${value.trim()} ${choice}` : value;
  }
  const folded = differs && form.closest("details");
  if (folded) folded.open = true;
  return differs;
}

// A form that waits for its answer takes no second sending and no typing, so that what is shown
// is what was sent.
export function hold(form, button) {
  form.setAttribute("aria-busy", "true");
  button?.setAttribute("aria-busy", "true");
  tellBusy(form, true);
  for (const field of form.elements) if (isTyped(field) && !isTick(field)) field.readOnly = true;
}

export function free(form) {
  form.removeAttribute("aria-busy");
  tellBusy(form, false);
  for (const field of form.elements) {
    field.removeAttribute("aria-busy");
    if (isTyped(field) && !isTick(field)) field.readOnly = false;
  }
}

// What takes long says so in words beside its button.
function tellBusy(form, busy) {
  const place = form.querySelector("[data-busy]");
  if (place) place.textContent = busy ? place.dataset.busy : "";
}

function note(kind, role, text) {
  const place = document.createElement("p");
  place.className = kind;
  place.setAttribute("role", role);
  place.tabIndex = -1;
  place.textContent = text;
  return place;
}

function show(place) {
  place.focus({ preventScroll: true });
  place.scrollIntoView({ block: "center" });
}

// Say what is wrong with a form: at the field of that name, or else at its head.
export function say(form, text, name = "") {
  unsay(form);
  const place = note("problem", "alert", text);
  const field = name && form.elements.namedItem(name);
  if (field instanceof Element && field.type !== "hidden") {
    place.id = `${form.id}-problem`;
    field.setAttribute("aria-invalid", "true");
    field.setAttribute("aria-errormessage", place.id);
    (field.closest(".field") ?? field).before(place);
  } else form.prepend(place);
  show(place);
}

export function unsay(form) {
  for (const place of form.querySelectorAll(".problem[role=alert]")) place.remove();
  for (const field of form.querySelectorAll("[aria-invalid]")) {
    field.removeAttribute("aria-invalid");
    field.removeAttribute("aria-errormessage");
  }
}

// Say that something was kept, at the first of these places that is still there.
export function sayKept(ids) {
  const found = ids.map((id) => document.getElementById(id)).find(Boolean);
  if (!found) return false;
  let place = found;
  for (let at = found; at; at = at.parentElement) if (at.matches("details:not([open])")) place = at;
  place.before(note("kept", "status", _("Kept.")));
  show(place.previousElementSibling);
  return true;
}

const SECONDS = { s: 1, min: 60, h: 3600, d: 86400 };
const NEAR = 0.1; // chosen: a typed time this far from the elapsed one is as good as it

function spoken(seconds) {
  if (seconds < 120) return `${seconds.toFixed(0)} s`;
  const hours = () => (seconds / 3600).toFixed(1).replace(".", document.documentElement.dataset.decimal ?? ".");
  return seconds < 7200 ? `${(seconds / 60).toFixed(0)} min` : `${hours()} h`;
}

// Return whether the form may go: a time that does not fit the clock is asked about once.
export function isSure(form) {
  const field = form.querySelector("[data-elapsed]");
  const asked = form.querySelector(".doubt");
  if (!field || asked?.querySelector("input").checked) return true;
  asked?.remove();
  const unit = unitOf(form, field);
  const [, number, own] = field.value.trim().match(/^(\d+(?:[.,]\d+)?)\s*(s|min|h|d)?$/) ?? [];
  const typed = Number(number?.replace(",", ".")) * SECONDS[own ?? unit];
  const passed = Number(field.dataset.elapsed) + (performance.now() - Number(field.dataset.shown ?? 0)) / 1000;
  if (!(Math.abs(typed - passed) > NEAR * passed)) return true;
  const said = own ? field.value.trim() : `${field.value.trim()} ${unit}`;
  const tick = document.createElement("label");
  tick.className = "tick doubt warned";
  tick.append(Object.assign(document.createElement("input"), { type: "checkbox" }));
  tick.append(" ", _(
    "You began %(time)s ago and typed %(said)s. Enter it all the same? Tick here, then send it again.",
    { time: spoken(passed), said },
  ));
  field.closest(".field").after(tick);
  field.addEventListener("input", () => tick.remove(), { once: true });
  tick.firstChild.focus({ preventScroll: true });
  tick.scrollIntoView({ block: "center" });
  return false;
}
