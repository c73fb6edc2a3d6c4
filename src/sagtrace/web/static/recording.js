// The page of a recording: loads what is drawn and ties sentences to their places in the plots.

import { Plots } from "./plots.js";
import { _ } from "/static/words.js";

let shown = null;

async function setUp() {
  const part = document.getElementById("plots");
  if (!part || part.dataset.ready) return;
  part.dataset.ready = "yes";
  const said = part.querySelector(".plots-said");
  const place = part.querySelector(".plots-panels");
  const width = Math.max(240, place.clientWidth - 56);
  const root = part.dataset.from;
  const read = part.dataset.read; // units and decimal sign
  try {
    // Both at once, because the second does not need the first.
    const first = fetchSamples(root, read, null, null, width);
    const answer = await fetch(`${root}/channels?${read}`);
    const scheme = await answer.json();
    if (!answer.ok) throw new Error(scheme.detail);
    if (!scheme.rows.length) throw new Error(_("The recording has no channel with values."));
    let early = first;
    const load = (from, to, wide, signal) => {
      const given = early ?? fetchSamples(root, read, from, to, wide, signal);
      early = null;
      return given;
    };
    const bar = part.querySelector(".plots-window");
    shown = new Plots(place, scheme, {
      load,
      tell: (window, cursor) => {
        const text = cursor ? _("%(window)s; read at %(cursor)s", { window, cursor }) : window;
        if (bar.textContent !== text) bar.textContent = text;
      },
      point: (mark) => goTo(mark.target),
      fail: (err) => say(said, _("Finer samples did not come (%(why)s); what is drawn stays.", { why: err.message })),
    });
    await shown.start();
    say(said, "");
    part.dataset.drawn = "yes";
    tie(part, scheme);
  } catch (err) {
    const why = err instanceof TypeError ? _("There is no line to the program; load the page again.") : err.message;
    say(said, _("The plots cannot be drawn. %(why)s", { why }));
    said.classList.add("problem");
  }
}

function say(place, text) {
  place.textContent = text;
  place.hidden = !text;
}

async function fetchSamples(root, read, from, to, width, signal) {
  const asked = new URLSearchParams(read);
  asked.set("width", String(Math.min(4000, Math.max(10, width))));
  if (from !== null) asked.set("from", String(from));
  if (to !== null) asked.set("to", String(to));
  const answer = await fetch(`${root}/samples?${asked}`, { signal });
  if (!answer.ok) throw new Error((await answer.json()).detail);
  const held = new Float32Array(await answer.arrayBuffer());
  const n = Number(answer.headers.get("X-Samples"));
  const rows = Array.from({ length: held.length / n - 1 }, (_, i) => held.subarray((i + 1) * n, (i + 2) * n));
  return { start: Number(answer.headers.get("X-Start")), x: held.subarray(0, n), rows, width };
}

function goTo(id) {
  const target = document.getElementById(id);
  if (!target) return;
  target.closest("details")?.setAttribute("open", "");
  for (const old of document.querySelectorAll(".pointed")) old.classList.remove("pointed");
  target.classList.add("pointed");
  target.focus({ preventScroll: true });
  target.scrollIntoView({ block: "center" });
}

function tie(part, scheme) {
  const place = part.querySelector(".plots-panels");
  for (const button of document.querySelectorAll("button.show")) {
    button.addEventListener("click", () => {
      const { target, start, end } = button.dataset;
      const mark = target && scheme.marks.find((one) => one.target === target);
      if (mark) shown.showMark(mark);
      else if (start !== undefined) shown.showMark({ spans: [[Number(start), Number(end)]] });
      else return;
      part.scrollIntoView({ block: "start" });
      place.focus({ preventScroll: true });
    });
  }
  const acts = {
    back: () => shown.move(-0.5),
    on: () => shown.move(0.5),
    closer: () => shown.zoom(0.5),
    wider: () => shown.zoom(2),
    whole: () => shown.whole(),
  };
  for (const button of part.querySelectorAll("[data-act]")) {
    button.addEventListener("click", acts[button.dataset.act]);
  }
}

setUp();
document.addEventListener("sagtrace:shown", setUp);
