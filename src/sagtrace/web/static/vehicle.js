// Shows the panel of a tapped part without loading the page again. Without this script the same
// links load the page.

import { _ } from "/static/words.js";

async function choose(href, part) {
  const answer = await fetch(href, { headers: { "X-Part": "main" } });
  if (!answer.ok) throw new Error(answer.statusText);
  const shown = new DOMParser().parseFromString(await answer.text(), "text/html");
  const panel = document.getElementById("panel");
  const fresh = shown.getElementById("panel");
  panel.innerHTML = fresh.innerHTML;
  panel.setAttribute("aria-label", fresh.getAttribute("aria-label"));
  panel.scrollTop = 0;
  document.querySelector(".bay").classList.toggle("chosen", part !== "");
  for (const link of document.querySelectorAll("[data-part]")) {
    if (part && link.dataset.part === part) link.setAttribute("aria-current", "true");
    else link.removeAttribute("aria-current");
  }
}

function noLine() {
  const said = document.createElement("p");
  said.className = "problem";
  said.textContent = _("No line to the program. Tap the part again when it answers.");
  document.getElementById("panel").replaceChildren(said);
  document.querySelector(".bay").classList.add("chosen");
}

// The panel covers the lower part of a phone: keep what was tapped above it.
function keepInSight(part) {
  const panel = document.getElementById("panel");
  if (getComputedStyle(panel).position !== "sticky") return;
  const links = [...document.querySelectorAll(`svg [data-part="${CSS.escape(part)}"]`)];
  const link = links.find((l) => l.getBoundingClientRect().width > 0);
  if (!link) return;
  const room = panel.getBoundingClientRect().top;
  const { top, bottom } = link.getBoundingClientRect();
  if (bottom > room - 16) scrollBy({ top: bottom - room + 16, behavior: "instant" });
  else if (top < 16) scrollBy({ top: top - 16, behavior: "instant" });
}

addEventListener("click", async (event) => {
  const link = event.target.closest?.("[data-part]");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey || event.button) return;
  const href = link.getAttribute("href");
  const part = link.dataset.part;
  event.preventDefault();
  try {
    await choose(href, part);
  } catch (err) {
    if (err instanceof TypeError) noLine(); // leaving the page would lose the drawing too
    else location.assign(href);
    return;
  }
  history.replaceState(null, "", href.replace("#panel", ""));
  if (part) keepInSight(part);
  else document.querySelector(".drawing a")?.focus({ preventScroll: true });
});

const current = document.querySelector("svg [aria-current]")?.dataset.part;
if (current) keepInSight(current);

addEventListener("keydown", (event) => {
  if (event.key === "Escape") document.querySelector("#panel .close")?.click();
});
