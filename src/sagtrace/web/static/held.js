// What this device holds until the program has it: drafts, entries to be sent, refused entries.
//
// Each lies under a name of its own, so that two windows never write over each other's. Where the
// browser keeps nothing (full, or switched off) it is held in memory, and the page says so.

const OUT = "sagtrace.out.";
const REFUSED = "sagtrace.refused.";
const DRAFT = "sagtrace.draft.";
const OLD = 14 * 24 * 3600 * 1000; // ms after which a draft is forgotten

const memory = new Map();
export let lasting = true; // whether what is held outlives this page

const isRecord = (value) => typeof value === "object" && value !== null && !Array.isArray(value);
const isPath = (value) => typeof value === "string" && /^\/(?![/\\])[^\x00-\x1f\\]*$/.test(value); // of this site
const isText = (value) => value === undefined || value === null || typeof value === "string";

// What another program or an older page left under our names may be anything: only what has the
// shape of ours counts.
const isItem = (prefix) => (value, name) =>
  typeof value.key === "string" && name === prefix + value.key && Number.isFinite(value.at) &&
  isPath(value.url) && value.url.startsWith("/api/v1/") && isRecord(value.body) && isPath(value.page) &&
  (!value.next || isPath(value.next)) && [value.form, value.what, value.problem].every(isText) &&
  (value.draft === undefined || value.draft === "" || (typeof value.draft === "string" && value.draft.startsWith(DRAFT))) &&
  (value.patience === undefined || (value.patience > 0 && value.patience <= 600000));

const isPair = (value) => Array.isArray(value) && value.length === 3 && typeof value[0] === "string" &&
  typeof value[1] === "string" && ["string", "boolean"].includes(typeof value[2]);
const isDraft = (value, name) =>
  value.name === name && Number.isFinite(value.at) && Array.isArray(value.typed) && value.typed.every(isPair);

const SHAPES = [[OUT, isItem(OUT)], [REFUSED, isItem(REFUSED)], [DRAFT, isDraft]];
const fits = (name, value) =>
  isRecord(value) && SHAPES.some(([prefix, shape]) => name.startsWith(prefix) && shape(value, name));

function put(name, value) {
  const text = JSON.stringify(value);
  try {
    localStorage.setItem(name, text);
    memory.delete(name);
    lasting = true;
  } catch {
    memory.set(name, text);
    lasting = false;
  }
}

function take(name) {
  let text = memory.get(name) ?? null;
  try {
    text ??= localStorage.getItem(name);
  } catch {
    lasting = false;
  }
  if (text === null) return null;
  try {
    const value = JSON.parse(text);
    if (fits(name, value)) return value;
  } catch {
    // half-written by a browser that died
  }
  drop(name);
  return null;
}

function drop(name) {
  memory.delete(name);
  try {
    localStorage.removeItem(name);
  } catch {
    lasting = false;
  }
}

function all(prefix) {
  const names = new Set([...memory.keys()]);
  try {
    for (let i = 0; i < localStorage.length; i++) names.add(localStorage.key(i));
  } catch {
    lasting = false;
  }
  const found = [...names].filter((name) => name.startsWith(prefix)).map(take);
  return found.filter((item) => item !== null).sort((a, b) => a.at - b.at);
}

export const out = {
  put: (item) => put(OUT + item.key, item),
  drop: (key) => drop(OUT + key),
  all: () => all(OUT),
};

export const refused = {
  put: (item) => put(REFUSED + item.key, item),
  drop: (key) => drop(REFUSED + key),
  all: () => all(REFUSED),
};

export const drafts = {
  name: (form) => (form.id ? `${DRAFT}${location.pathname}.${form.id}` : ""),
  put: (name, typed) => put(name, { at: Date.now(), name, typed }),
  take: (name) => take(name)?.typed ?? null,
  drop,
  tidy() {
    for (const draft of all(DRAFT)) if (!(Date.now() - draft.at < OLD)) drop(draft.name);
  },
};
