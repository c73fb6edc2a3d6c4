// Fingers, keys and wheel of the plots.

const LEAST = 8; // px that a finger must go to mark a stretch

// One finger marks a stretch, two stretch and move. The library knows the mouse only.
export function fingers(u, plots) {
  const down = new Map();
  let held = null;
  const at = (event) => event.clientX - u.over.getBoundingClientRect().left;

  const begin = () => {
    const xs = [...down.values()];
    held = xs.length === 2 ? { values: xs.map((x) => u.posToVal(x, "x")) } : { start: xs[0] };
  };

  u.over.addEventListener("pointerdown", (event) => {
    if (event.pointerType === "mouse") return;
    if (down.size < 2) down.set(event.pointerId, at(event));
    try {
      u.over.setPointerCapture(event.pointerId);
    } catch {
      // a finger that is up again already
    }
    begin();
  });
  u.over.addEventListener("pointermove", (event) => {
    if (!down.has(event.pointerId)) return;
    down.set(event.pointerId, at(event));
    const xs = [...down.values()];
    if (held.values && xs.length === 2) stretch(u, plots, held.values, xs);
    else if (held.start !== undefined) mark(u, held.start, xs[0]);
  });
  const end = (event) => {
    if (!down.delete(event.pointerId)) return;
    if (held?.start !== undefined && event.type === "pointerup") plots.select(u);
    if (event.type === "pointercancel") mark(u, 0, 0);
    held = {};
  };
  u.over.addEventListener("pointerup", end);
  u.over.addEventListener("pointercancel", end);
}

function mark(u, a, b) {
  const left = Math.max(0, Math.min(a, b));
  const width = Math.min(Math.abs(b - a), u.over.clientWidth - left);
  const wide = width < LEAST ? 0 : width;
  u.setSelect({ left, top: 0, width: wide, height: u.over.clientHeight }, false);
}

// What was under each finger stays under it.
function stretch(u, plots, values, xs) {
  const [a, b] = xs;
  if (Math.abs(b - a) < LEAST) return;
  const scale = (values[1] - values[0]) / (b - a);
  if (!(scale > 0)) return;
  const from = values[0] - a * scale;
  plots.show(from, from + scale * u.over.clientWidth);
}

export function wheel(u, plots) {
  u.over.addEventListener(
    "wheel",
    (event) => {
      const sideways = Math.abs(event.deltaX) > Math.abs(event.deltaY);
      if (!event.ctrlKey && !sideways) return; // the page scrolls
      event.preventDefault();
      const x = event.clientX - u.over.getBoundingClientRect().left;
      if (event.ctrlKey) plots.zoom(Math.exp(event.deltaY / 300), u.posToVal(x, "x"));
      else plots.move(event.deltaX / u.over.clientWidth);
    },
    { passive: false },
  );
}

export function keys(place, plots) {
  const acts = {
    ArrowLeft: () => plots.move(-0.2),
    ArrowRight: () => plots.move(0.2),
    "+": () => plots.zoom(0.5),
    "=": () => plots.zoom(0.5),
    "-": () => plots.zoom(2),
    "−": () => plots.zoom(2),
    Home: plots.toStart,
    End: plots.toEnd,
    Escape: plots.whole,
  };
  place.addEventListener("keydown", (event) => {
    if (event.target !== place || event.ctrlKey || event.metaKey || event.altKey) return;
    const aside = event.shiftKey && { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    const act = aside ? () => plots.step(aside) : acts[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  });
}
