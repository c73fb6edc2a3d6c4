// Marks above the plots: each belongs to a sentence of the page.

const SIZE = 46; // px of a mark, and of a row of them

export class Marks {
  constructor(place, marks, point) {
    this.box = document.createElement("div");
    this.box.className = "plots-marks";
    this.rows = 1;
    this.marks = marks.map((mark) => {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "mark";
      button.textContent = mark.label;
      button.title = mark.title;
      button.setAttribute("aria-label", `${mark.label}: ${mark.title}`);
      button.dataset.to = mark.target;
      button.addEventListener("click", () => point(mark));
      this.box.append(button);
      return { mark, button };
    });
    this.box.hidden = !marks.length;
    place.append(this.box);
  }

  // Marks that would lie over each other go into further rows.
  place(left, width, from, to) {
    const rows = [];
    const seen = this.marks
      .map(({ mark, button }) => {
        const span = mark.spans.find(([a, b]) => b >= from && a <= to);
        button.hidden = !span;
        const at = span && (Math.max(span[0], from) + Math.min(span[1], to)) / 2;
        return { button, x: span && left + ((at - from) / (to - from)) * width };
      })
      .filter((one) => one.x !== undefined)
      .sort((one, other) => one.x - other.x);
    for (const { button, x } of seen) {
      const start = Math.min(Math.max(x - SIZE / 2, 0), this.box.clientWidth - SIZE);
      let row = rows.findIndex((end) => end <= start);
      if (row < 0) row = rows.push(0) - 1;
      rows[row] = start + SIZE;
      button.style.left = `${start}px`;
      button.style.top = `${row * SIZE}px`;
    }
    // Never lower again, because what jumps under a finger is hit wrongly.
    this.rows = Math.max(this.rows, rows.length);
    this.box.style.height = `${this.rows * SIZE}px`;
  }
}
