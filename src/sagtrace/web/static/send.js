// Sends what is entered once, keeps it while there is no line, and shows what others changed.
//
// A form with data-send="/api/v1/…" is sent as JSON. Each sending is a snapshot with a key of its
// own; it waits in the browser's storage until the program has answered, so a reload loses nothing
// and a repeated sending is carried out once.

const QUEUE = "sagtrace.queue";
const PAUSES = [1, 2, 4, 8, 10]; // seconds between tries
const LOOK = 4000; // ms between looks at what others changed

const line = document.getElementById("line");
let tries = 0;
let timer = 0;
let sending = false;
let count = 0;

const queue = () => JSON.parse(localStorage.getItem(QUEUE) || "[]");
const keep = (list) => localStorage.setItem(QUEUE, JSON.stringify(list));

function tell(text, bad = false) {
  line.textContent = text;
  line.classList.toggle("bad", bad);
  line.hidden = !text;
}

// --- from a form to a body: "values.time" is a part, a name with [] is a list

function bodyOf(form, button) {
  const body = {};
  const fields = [...new FormData(form, button)];
  for (const [name, value] of fields) {
    if (["key", "next", "item"].includes(name) || value instanceof File) continue;
    const [whole, part] = name.split(/\.(.*)/s);
    if (part !== undefined) (body[whole] ??= {})[part] = value;
    else if (form.dataset.lists?.split(" ").includes(name)) (body[name] ??= []).push(value);
    else body[name] = value;
  }
  for (const name of form.dataset.lists?.split(" ") ?? []) body[name] ??= [];
  return body;
}

// --- drafts: what is typed and not yet sent

const draftName = (form) => `sagtrace.draft.${location.pathname}.${form.id}`;

function saveDraft(form) {
  if (!form.id) return;
  const typed = [...new FormData(form)].filter(([n, v]) => n !== "key" && typeof v === "string");
  localStorage.setItem(draftName(form), JSON.stringify(typed));
}

function restoreDraft(form) {
  const held = form.id && localStorage.getItem(draftName(form));
  if (!held) return;
  for (const [name, value] of JSON.parse(held)) {
    const field = form.elements.namedItem(name);
    if (field instanceof HTMLInputElement && ["checkbox", "radio"].includes(field.type)) {
      field.checked = field.value === value;
    } else if (field && "value" in field && field.type !== "hidden") field.value = value;
  }
}

// --- sending

async function post(item) {
  const headers = { "Content-Type": "application/json", "Idempotency-Key": item.key };
  const answer = await fetch(item.url, { method: "POST", headers, body: JSON.stringify(item.body) });
  return [answer, await answer.json().catch(() => ({}))];
}

async function work() {
  if (sending) return;
  sending = true;
  clearTimeout(timer);
  try {
    for (let list = queue(); list.length; list = queue()) {
      const item = list[0];
      const [answer, said] = await post(item);
      if (answer.status >= 500) throw new Error(said.detail || answer.statusText);
      keep(queue().filter((other) => other.key !== item.key));
      tries = 0;
      tell("");
      await settled(item, answer.ok, said);
    }
  } catch (err) {
    const n = queue().length;
    const pause = PAUSES[Math.min(tries++, PAUSES.length - 1)];
    const why = err instanceof TypeError ? "No line to the program." : `Not kept yet: ${err.message}`;
    tell(`${why} ${n === 1 ? "1 entry is" : `${n} entries are`} held on this device and will be sent when it answers.`, true);
    timer = setTimeout(work, 1000 * pause);
  } finally {
    sending = false;
  }
}

async function settled(item, ok, said) {
  const form = document.getElementById(item.form);
  if (ok) {
    if (item.draft) localStorage.removeItem(item.draft);
    if (item.page !== location.pathname) return;
    document.dispatchEvent(new CustomEvent("sagtrace:kept", { detail: said }));
    const to = item.next?.replace("{job}", said.job ?? "");
    if (to && to !== location.pathname) location.assign(to);
    else await refresh(true);
  } else if (form) {
    free(form);
    say(form, said.detail || "It was refused.");
  } else {
    tell(`Not kept: ${said.detail || "it was refused"}`, true);
  }
}

function say(form, text) {
  let place = form.querySelector(".problem");
  if (!place) {
    place = document.createElement("p");
    place.className = "problem";
    place.setAttribute("role", "alert");
    form.append(place);
  }
  place.textContent = text;
  place.scrollIntoView({ block: "nearest" });
}

const free = (form) => {
  form.removeAttribute("aria-busy");
  for (const b of form.querySelectorAll("button")) b.removeAttribute("aria-busy");
};

addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.dataset.send) return;
  event.preventDefault();
  if (form.getAttribute("aria-busy") === "true") return; // a double tap is one entry
  const button = event.submitter;
  form.setAttribute("aria-busy", "true");
  button?.setAttribute("aria-busy", "true");
  form.querySelector(".problem")?.remove();
  saveDraft(form);
  const key = `${form.elements.namedItem("key")?.value ?? Date.now()}.${count++}`;
  const item = {
    key, url: form.dataset.send, body: bodyOf(form, button), form: form.id, page: location.pathname,
    next: form.dataset.next, draft: form.id ? draftName(form) : "",
  };
  keep([...queue(), item]);
  work();
});

addEventListener("input", (event) => {
  const form = event.target.form;
  if (form?.dataset.send) {
    form.dataset.typed = "yes";
    saveDraft(form);
  }
});
addEventListener("online", work);

// --- what others changed

export async function refresh(mine = false) {
  const answer = await fetch(location.href, { headers: { "X-Part": "main" } });
  if (!answer.ok) return;
  const main = document.getElementById("main");
  const held = document.activeElement?.id;
  main.innerHTML = await answer.text();
  main.dataset.revision = answer.headers.get("X-Revision") ?? main.dataset.revision;
  ready();
  document.dispatchEvent(new CustomEvent("sagtrace:shown"));
  if (mine) (main.querySelector("[data-focus]") ?? main).focus({ preventScroll: false });
  else if (held) document.getElementById(held)?.focus();
}

async function look() {
  const main = document.getElementById("main");
  if (document.hidden || sending) return;
  const job = main.dataset.job;
  try {
    const answer = await fetch(job ? `/api/v1/jobs/${job}/revision` : "/api/v1/alive");
    if (!answer.ok) return;
    if (queue().length) work();
    else tell("");
    const { revision } = await answer.json();
    if (!job || String(revision) === main.dataset.revision) return;
    if (main.querySelector("form[data-typed]")) {
      tell("This job was changed on another device. What you typed stays; send it or reload.");
    } else await refresh();
  } catch {
    if (!queue().length) tell("No line to the program. What you type stays on this device.", true);
  }
}

function ready() {
  for (const form of document.querySelectorAll("form[data-send]")) restoreDraft(form);
}

ready();
if (queue().length) work();
setInterval(look, LOOK);
