// A form as data, and data back into a form.

import { drafts } from "/static/held.js";

const OWN = ["key", "next", "item"]; // fields that are no part of the body
const BARE = /^[\s\d.,+\-−±/·'’]*\d[\s\d.,+\-−±/·]*$/; // a number that names no unit

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

export function saveDraft(form) {
  if (!form.id) return;
  const typed = [...form.elements]
    .filter(isTyped)
    .map((field) => [field.name, isTick(field) ? field.value : "", isTick(field) ? field.checked : field.value]);
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
    else field.value = value;
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

export function say(form, text) {
  let place = form.querySelector(":scope > .problem");
  if (!place) {
    place = document.createElement("p");
    place.className = "problem";
    place.setAttribute("role", "alert");
    place.tabIndex = -1;
    form.prepend(place);
  }
  place.textContent = text;
  place.focus({ preventScroll: true });
  place.scrollIntoView({ block: "center" });
}
