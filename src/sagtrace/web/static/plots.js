// Linked plots over one time axis: panels that zoom and move together, by mouse, finger and keys.
//
// The plotting library is behind this module. Times are seconds inside and minutes on the screen.
// What is drawn is thinned to the screen's width by the program; on zoom the coarse samples stay
// until the finer ones are there.

import { fingers, keys, wheel } from "./plots-hands.js";
import { Marks } from "./plots-marks.js";
import { colours, lane, lineOf, paintLanes, paintLimits, paintShades, swatch } from "./plots-paint.js";
import { _ } from "/static/words.js";

const PADDING = [8, 16, 0, 0]; // fixed, so that all panels are equally wide
const SIDE = 56; // px of the vertical axis
const DEBOUNCE = 30; // ms, while a window keeps changing
const MARGIN = 0.25; // of a window, loaded on either side
const JOINED = 20; // of a channel's own steps that a line goes over
const LEAST = { mm: 4, in: 0.16, V: 0.5, A: 1, "°C": 1, "°F": 2, bar: 0.2, psi: 3, "km/h": 5, mph: 3 }; // that a vertical axis spans
const TICKS = [0.006, 0.012, 0.03, 0.06, 0.12, 0.3, 0.6, 1.2, 3, 6, 12, 30, 60, 120, 300, 600, 1200, 3000, 6000, 12000, 30000, 60000];
const TALL = 130; // px, about
const BUSY = 8; // widths of the panel that a line goes up and down
const FINE = { bar: 2, V: 2, in: 3 }; // digits after the decimal sign, if not one
let groups = 0;

const decimals = (step) => Math.max(0, Math.ceil(-Math.log10(step / 60) - 1e-9));
const told = (text) => text.replace("-", "−").replace(".", document.documentElement.dataset.decimal ?? ".");
const minutes = (s, step) => told((s / 60).toFixed(decimals(step)));

export class Plots {
  // `scheme` says rows, panels, shades and marks; `load(from, to, width, signal)` gives samples;
  // `tell(window, cursor)` shows where one is; `point(mark)` follows a mark to its sentence.
  constructor(place, scheme, { load, tell, point, fail }) {
    Object.assign(this, { place, scheme, load, tell, fail });
    this.from = scheme.start;
    this.to = scheme.end;
    this.least = Math.max(0.05, 4 * Math.min(...scheme.rows.map((r) => r.step).filter((s) => s > 0)));
    this.colours = colours();
    this.coarse = this.fine = null;
    this.asked = 0;
    this.active = null;
    this.cursor = null;
    this.group = `plots-${groups++}`;
    place.replaceChildren();
    this.marks = new Marks(place, scheme.marks, point);
    this.panels = scheme.panels.map((panel) => this.#panel(panel));
    this.#listen();
  }

  get width() {
    return Math.max(240, Math.floor(this.place.clientWidth));
  }

  async start() {
    this.coarse = this.#rows(await this.load(this.from, this.to, this.width - SIDE));
    this.place.dataset.wanted = `${this.from} ${this.to}`;
    const whole = new Promise((on) => this.place.addEventListener("plots:whole", on, { once: true }));
    this.#draw();
    await whole;
  }

  // --- the window

  show(from, to) {
    const { start, end } = this.scheme;
    const span = Math.min(Math.max(to - from, this.least), end - start);
    const first = Math.min(Math.max(from + (to - from - span) / 2, start), end - span);
    [this.from, this.to] = [first, first + span];
    this.place.dataset.wanted = `${this.from} ${this.to}`;
    this.#draw();
    this.#refine();
  }

  whole = () => this.show(this.scheme.start, this.scheme.end);
  move = (share) => this.show(this.from + share * (this.to - this.from), this.to + share * (this.to - this.from));
  toStart = () => this.show(this.scheme.start, this.scheme.start + this.to - this.from);
  toEnd = () => this.show(this.scheme.end - this.to + this.from, this.scheme.end);

  zoom(factor, at = (this.from + this.to) / 2) {
    this.show(at - (at - this.from) * factor, at + (this.to - at) * factor);
  }

  showMark(mark, [from, to] = mark.spans[0]) {
    this.active = { from, to };
    const room = Math.max(0.3 * (to - from), 15);
    this.show(from - room, to + room);
  }

  step(by) {
    const xs = this.#data().x;
    const middle = (this.from + this.to) / 2;
    let i = xs.findIndex((x) => x >= (this.cursor ?? middle));
    i = Math.min(Math.max((i < 0 ? xs.length - 1 : i) + by, 0), xs.length - 1);
    const at = Math.min(Math.max(xs[i], this.from), this.to);
    for (const { u } of this.panels) u.setCursor({ left: u.valToPos(at, "x"), top: 8 });
  }

  // --- samples

  #refine() {
    clearTimeout(this.timer);
    this.wanted?.abort();
    const { start, end } = this.scheme;
    const number = ++this.asked;
    if (this.from <= start && this.to >= end) return this.#settle();
    if (this.fine && this.#covers(this.fine) && this.fine.span <= 1.7 * (this.to - this.from)) return this.#settle();
    const now = performance.now();
    const pause = now - (this.changed ?? 0) < 3 * DEBOUNCE ? DEBOUNCE : 0;
    this.changed = now;
    this.timer = setTimeout(async () => {
      const span = this.to - this.from;
      const room = MARGIN * span;
      const [from, to] = [Math.max(start, this.from - room), Math.min(end, this.to + room)];
      this.wanted = new AbortController();
      try {
        const width = Math.round(((this.width - SIDE) * (to - from)) / span);
        const found = await this.load(from, to, width, this.wanted.signal);
        if (number !== this.asked) return; // a newer window is on its way
        this.fine = this.#rows(found, from, to);
        this.#draw();
        this.#settle();
      } catch (err) {
        if (err.name !== "AbortError") this.fail(err);
      }
    }, pause);
  }

  #settle() {
    // After the frame in which it is drawn.
    requestAnimationFrame(() => {
      this.place.dataset.settled = String(this.asked);
      this.#say("plots:settled");
    });
  }

  #covers = (data) => data.from <= this.from + 1e-9 && data.to >= this.to - 1e-9;
  #data = () => (this.fine && this.#covers(this.fine) ? this.fine : this.coarse);

  #rows({ start, x, rows, width }, from = this.scheme.start, to = this.scheme.end) {
    const times = Array.from(x, (t) => start + t);
    const column = (to - from) / Math.max(1, width);
    const lines = rows.map((values, i) => {
      const row = this.scheme.rows[i];
      return joined(times, values, Math.max(JOINED * row.step, 4 * column));
    });
    return { x: times, rows: lines, from, to, span: to - from };
  }

  // --- drawing

  // What is on the screen first, then the rest, a panel a frame.
  #draw() {
    cancelAnimationFrame(this.frame);
    this.frame = requestAnimationFrame(() => {
      const data = this.#data();
      if (!data) return;
      const waiting = this.panels.filter((panel) => !onScreen(panel.box) || this.#drawPanel(panel, data));
      this.#told();
      this.#say("plots:drawn");
      this.#drawRest(waiting, data);
    });
  }

  #drawRest(waiting, data) {
    const panel = waiting.shift();
    if (!panel) {
      this.place.dataset.shown = `${this.from} ${this.to}`;
      return this.#say("plots:whole");
    }
    this.frame = requestAnimationFrame(() => {
      this.#drawPanel(panel, data);
      this.#drawRest(waiting, data);
    });
  }

  #drawPanel(panel, data) {
    const { u, scheme } = panel;
    u.batch(() => {
      if (panel.drawn !== data) {
        panel.drawn = data;
        const last = scheme.rows.length - 1;
        const lines = scheme.rows.map((r, k) => (scheme.unit ? data.rows[r] : lane(data.rows[r], last - k)));
        widthsOf(lines, this.width).forEach((width, k) => (u.series[k + 1].width = width));
        u.setData([data.x, ...lines], false);
      }
      u.setScale("x", { min: this.from, max: this.to });
    });
  }

  #say = (name) => this.place.dispatchEvent(new CustomEvent(name, { bubbles: true }));

  #told() {
    const { u } = this.panels[0];
    this.marks.place(u.over.offsetLeft + u.over.parentElement.offsetLeft, u.over.clientWidth, this.from, this.to);
    const step = (this.to - this.from) / 100;
    const at = this.cursor === null ? "" : `${minutes(this.cursor, step / 10)} min`;
    this.tell(_("%(from)s to %(to)s min", { from: minutes(this.from, step), to: minutes(this.to, step) }), at);
  }

  #panel(scheme) {
    const box = document.createElement("section");
    box.className = "panel";
    const head = document.createElement("h3");
    head.textContent = scheme.unit ? `${scheme.title} [${scheme.unit}]` : scheme.title;
    const names = document.createElement("ul");
    const outs = scheme.rows.map((r) => this.#name(names, scheme, r));
    box.append(head, names);
    this.place.append(box);
    const panel = { scheme, box, outs, u: null, drawn: null };
    panel.u = new uPlot(this.#options(panel), [[], ...scheme.rows.map(() => [])], box);
    fingers(panel.u, this);
    wheel(panel.u, this);
    return panel;
  }

  #name(names, scheme, r) {
    const row = this.scheme.rows[r];
    const item = document.createElement("li");
    const out = document.createElement("output");
    const label = document.createElement("span");
    label.textContent = row.label;
    item.append(swatch(lineOf(scheme, this.scheme.rows, r)), label, out);
    names.append(item);
    return out;
  }

  #height({ unit, rows, limit }) {
    if (!unit) return 34 + 26 * rows.length;
    return limit ? 120 : 168;
  }

  #options(panel) {
    const { scheme } = panel;
    const ink = () => this.colours.quiet;
    const axis = { stroke: ink, grid: { stroke: () => this.colours.rule, width: 1 }, ticks: { show: false }, font: "14px system-ui, sans-serif" };
    return {
      width: this.width,
      height: this.#height(scheme),
      padding: PADDING,
      legend: { show: false },
      cursor: {
        y: false,
        points: { show: false },
        sync: { key: this.group, setSeries: false, scales: ["x", null] },
        drag: { x: true, y: false, setScale: false, dist: 8 },
      },
      scales: {
        x: { time: false, range: () => [this.from, this.to] },
        y: { range: (_, low, high) => spanOf(scheme, low, high) },
      },
      axes: [
        { ...axis, size: 26, gap: 2, incrs: TICKS, space: 64, values: (_, at, __, ___, step) => at.map((s) => minutes(s, step)) },
        // A low panel has closer ticks, so that it shows more of its scale than the zero.
        { ...axis, size: SIDE, gap: 4, space: scheme.limit ? 20 : 30, values: (_, at) => at.map((v) => (scheme.unit ? told(String(+v.toFixed(6))) : "")), grid: { ...axis.grid, show: Boolean(scheme.unit) } },
      ],
      series: [{}, ...scheme.rows.map((r) => this.#series(scheme, r))],
      hooks: {
        drawClear: [(u) => paintShades(u, this)],
        draw: [
          (u) => paintLimits(u, scheme, this),
          (u) => paintLanes(u, scheme, this),
          (u) => Object.assign(panel.box.dataset, { from: u.scales.x.min, to: u.scales.x.max }),
        ],
        setCursor: [(u) => this.#read(panel, u)],
        setSelect: [(u) => this.select(u)],
      },
    };
  }

  #series(scheme, r) {
    const row = this.scheme.rows[r];
    const { colour, dash } = lineOf(scheme, this.scheme.rows, r);
    const paths = row.what === "command" ? uPlot.paths.stepped({ align: 1 }) : undefined;
    return { stroke: () => this.colours[colour], dash, width: 2, points: { show: false }, paths, spanGaps: false };
  }

  #read(panel, u) {
    const data = panel.drawn;
    const i = u.cursor.idx;
    const inside = data && i != null && u.cursor.left >= 0;
    if (panel === this.panels[0]) {
      this.cursor = inside ? data.x[i] : null;
      if (data) this.#told();
    }
    panel.scheme.rows.forEach((r, k) => {
      const value = inside ? nearest(data.rows[r], i) : undefined;
      panel.outs[k].textContent = inside ? shown(value, this.scheme.rows[r].unit) : "";
    });
  }

  select(u) {
    const { left, width } = u.select;
    if (width < 8) return;
    const [from, to] = [u.posToVal(left, "x"), u.posToVal(left + width, "x")];
    u.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
    this.show(from, to);
  }

  // --- hands, screen and light

  #listen() {
    keys(this.place, this);
    const again = () => {
      this.colours = colours();
      for (const { u } of this.panels) u.redraw(false);
    };
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", again);
    new MutationObserver(again).observe(document.documentElement, { attributeFilter: ["data-theme"] });
    let before = this.width;
    new ResizeObserver(() => {
      if (!this.place.isConnected || this.width === before) return;
      before = this.width;
      for (const { u, scheme } of this.panels) u.setSize({ width: before, height: this.#height(scheme) });
      this.#draw();
    }).observe(this.place);
  }
}

// A line that goes up and down all the time is drawn a pixel wide: seven times faster to draw, and
// it fills its band all the same.
function widthsOf(lines, wide) {
  let [low, high] = [Infinity, -Infinity];
  const ways = lines.map((line) => {
    let [way, last] = [0, null];
    for (const v of line) {
      if (v == null) continue;
      if (last !== null) way += Math.abs(v - last);
      if (v < low) low = v;
      if (v > high) high = v;
      last = v;
    }
    return way;
  });
  return ways.map((way) => ((way / (high - low)) * TALL > BUSY * wide ? 1 / devicePixelRatio : 2));
}

function onScreen(box) {
  const { top, bottom } = box.getBoundingClientRect();
  return bottom > 0 && top < innerHeight;
}

// A value that is not there is drawn over if its neighbours are close, and breaks the line if not.
function joined(times, values, reach) {
  const line = Array.from(values);
  let last = -1;
  for (let i = 0; i <= line.length; i++) {
    if (i < line.length && Number.isNaN(line[i])) continue;
    if (i - last > 1) {
      const far = last < 0 || i === line.length || times[i] - times[last] > reach;
      line.fill(far ? null : undefined, last + 1, i);
    }
    last = i;
  }
  return line;
}

function spanOf(scheme, low, high) {
  if (!scheme.unit) return [-0.15, scheme.rows.length - 0.05];
  if (low == null) return [0, LEAST[scheme.unit] ?? 1];
  if (scheme.limit) [low, high] = [Math.min(low, -scheme.limit), Math.max(high, scheme.limit)];
  const span = Math.max(1.16 * (high - low), LEAST[scheme.unit] ?? 1);
  const middle = (low + high) / 2;
  return [middle - span / 2, middle + span / 2];
}

function nearest(line, i) {
  for (let d = 0; d < 40; d++) {
    if (line[i - d] != null) return line[i - d];
    if (line[i + d] != null) return line[i + d];
  }
  return undefined;
}

function shown(value, unit) {
  if (value == null) return _("no value");
  if (!unit) return value > 0.5 ? _("on") : _("off");
  return `${told(value.toFixed(FINE[unit] ?? 1))} ${unit}`;
}
