// What the plots draw beside their lines, and how lines differ without their colours.

const NAMES = ["ink", "quiet", "rule", "act", "suspect", "good", "notice", "danger", "paper"];
const LINES = [
  { colour: "act", dash: [] },
  { colour: "suspect", dash: [10, 4] },
  { colour: "good", dash: [3, 3] },
  { colour: "notice", dash: [12, 4, 2, 4] },
];
const FITTED = [{ colour: "ink", dash: [5, 3] }, { colour: "ink", dash: [2, 3] }];
const HATCHED = { fill: 1, vent: -1, load: 2 }; // how a shade differs without its tone
const SVG = "http://www.w3.org/2000/svg";
const FONT = "13px system-ui, sans-serif";

export function colours() {
  const style = getComputedStyle(document.documentElement);
  return Object.fromEntries(NAMES.map((name) => [name, style.getPropertyValue(`--${name}`).trim()]));
}

// Return colour and dash of a row, by its place among those of its panel.
export function lineOf(panel, rows, r) {
  const alike = panel.rows.filter((other) => (rows[other].what === "fitted") === (rows[r].what === "fitted"));
  const kinds = rows[r].what === "fitted" ? FITTED : LINES;
  const found = kinds[alike.indexOf(r) % kinds.length];
  const command = rows[r].what === "command";
  return { ...found, dash: command ? [] : found.dash, colour: command ? "ink" : found.colour };
}

export function swatch({ colour, dash }) {
  const svg = document.createElementNS(SVG, "svg");
  const line = document.createElementNS(SVG, "line");
  const said = { x1: 1, y1: 6, x2: 35, y2: 6, "stroke-width": 2.5, "stroke-dasharray": dash.join(" ") };
  for (const [name, value] of Object.entries(said)) line.setAttribute(name, value);
  for (const [name, value] of Object.entries({ width: 36, height: 12, "aria-hidden": "true" })) svg.setAttribute(name, value);
  line.classList.add(`line-${colour}`);
  svg.append(line);
  return svg;
}

// A command in its lane of the panel.
export const lane = (values, n) => values.map((v) => (v == null ? v : n + 0.7 * v));

function clipped(u, paint) {
  const { ctx, bbox } = u;
  ctx.save();
  ctx.beginPath();
  ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
  ctx.clip();
  paint(ctx, bbox);
  ctx.restore();
}

export function paintShades(u, plots) {
  const ratio = uPlot.pxRatio;
  clipped(u, (ctx, { top, height, left, width }) => {
    for (const { kind, label, start, end } of plots.scheme.shades) {
      if (end < plots.from || start > plots.to) continue;
      const a = Math.max(u.valToPos(start, "x", true), left);
      const b = Math.min(u.valToPos(end, "x", true), left + width);
      const wide = Math.max(b - a, ratio);
      tone(ctx, plots.colours, kind, [a, top, wide, height], ratio);
      if (u === plots.panels?.[0]?.u) name(ctx, plots.colours, label, a, top, wide, ratio);
    }
    if (plots.active) outline(u, ctx, plots, top, height, ratio);
  });
}

function tone(ctx, tones, kind, [a, top, wide, height], ratio) {
  ctx.fillStyle = ctx.strokeStyle = kind === "hold" ? tones.rule : tones.notice;
  ctx.lineWidth = ratio;
  if (kind === "engine" || kind === "pause") {
    ctx.setLineDash([2 * ratio, 4 * ratio]);
    ctx.strokeRect(a, top - ratio, wide, height + 2 * ratio);
    ctx.setLineDash([]);
    return;
  }
  ctx.globalAlpha = kind === "hold" ? 0.16 : 0.2;
  ctx.fillRect(a, top, wide, height);
  const lean = HATCHED[kind];
  if (lean) {
    ctx.globalAlpha = 0.45;
    ctx.save();
    ctx.beginPath();
    ctx.rect(a, top, wide, height);
    ctx.clip();
    ctx.beginPath();
    const step = 9 * ratio;
    const slant = Math.abs(lean) === 2 ? 0 : height;
    for (let x = a - height; x < a + wide + height; x += step) {
      ctx.moveTo(x, lean > 0 ? top + height : top);
      ctx.lineTo(x + slant, lean > 0 ? top : top + height);
    }
    ctx.stroke();
    ctx.restore();
  }
  ctx.globalAlpha = 1;
}

function name(ctx, tones, label, a, top, wide, ratio) {
  ctx.font = FONT.replace("13", String(13 * ratio));
  const room = ctx.measureText(label).width + 8 * ratio;
  if (wide < room) return;
  ctx.fillStyle = tones.ink;
  ctx.textBaseline = "top";
  ctx.textAlign = "left";
  ctx.fillText(label, a + 4 * ratio, top + 2 * ratio);
}

function outline(u, ctx, plots, top, height, ratio) {
  const a = u.valToPos(plots.active.from, "x", true);
  const b = u.valToPos(plots.active.to, "x", true);
  ctx.strokeStyle = plots.colours.danger;
  ctx.lineWidth = 2 * ratio;
  ctx.setLineDash([8 * ratio, 3 * ratio]);
  ctx.strokeRect(a, top - 4 * ratio, Math.max(b - a, ratio), height + 8 * ratio);
  ctx.setLineDash([]);
}

export function paintLimits(u, panel, plots) {
  const ratio = uPlot.pxRatio;
  clipped(u, (ctx, { left, width, top, height }) => {
    if (panel.limit) {
      ctx.strokeStyle = plots.colours.quiet;
      ctx.lineWidth = ratio;
      ctx.setLineDash([4 * ratio, 4 * ratio]);
      for (const limit of [-panel.limit, panel.limit]) {
        const y = u.valToPos(limit, "y", true);
        ctx.beginPath();
        ctx.moveTo(left, y);
        ctx.lineTo(left + width, y);
        ctx.stroke();
      }
    }
    ctx.setLineDash([]);
    for (const mark of plots.scheme.marks) {
      if (mark.row < 0 || !panel.rows.includes(mark.row)) continue;
      for (const [from, to] of mark.spans) spanned(u, ctx, plots, mark.label, from, to, top, height, ratio);
    }
  });
}

function spanned(u, ctx, plots, label, from, to, top, height, ratio) {
  if (to < plots.from || from > plots.to) return;
  const a = u.valToPos(from, "x", true);
  const b = u.valToPos(to, "x", true);
  ctx.strokeStyle = ctx.fillStyle = plots.colours.danger;
  ctx.lineWidth = 1.5 * ratio;
  const y = top + height - 3 * ratio;
  ctx.beginPath();
  ctx.moveTo(a, y - 8 * ratio);
  ctx.lineTo(a, y);
  ctx.lineTo(Math.max(b, a + ratio), y);
  ctx.lineTo(Math.max(b, a + ratio), y - 8 * ratio);
  ctx.stroke();
  ctx.font = FONT.replace("13", String(13 * ratio));
  ctx.textBaseline = "bottom";
  ctx.fillText(label, a + 3 * ratio, y - 2 * ratio);
}

export function paintLanes(u, panel, plots) {
  if (panel.unit) return;
  const ratio = uPlot.pxRatio;
  clipped(u, (ctx, { left }) => {
    ctx.font = FONT.replace("13", String(13 * ratio));
    ctx.textBaseline = "bottom";
    ctx.textAlign = "left";
    panel.rows.forEach((r, k) => {
      const label = plots.scheme.rows[r].label;
      const y = u.valToPos(panel.rows.length - 1 - k, "y", true) - 2 * ratio;
      const wide = ctx.measureText(label).width + 6 * ratio;
      ctx.globalAlpha = 0.75;
      ctx.fillStyle = plots.colours.paper;
      ctx.fillRect(left + ratio, y - 15 * ratio, wide, 16 * ratio);
      ctx.globalAlpha = 1;
      ctx.fillStyle = plots.colours.ink;
      ctx.fillText(label, left + 4 * ratio, y);
    });
  });
}
