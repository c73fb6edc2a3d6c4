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
  try {
    return text === null ? null : JSON.parse(text);
  } catch {
    return null; // half-written by a browser that died
  }
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
