// Works out, one after the other, what the jobs of the list wait for, once the list is there.

async function workOut() {
  for (const row of document.querySelectorAll("[data-line]")) {
    const at = row.dataset.line;
    delete row.dataset.line;
    try {
      const answer = await fetch(at, { headers: { "X-Part": "main" } });
      if (answer.ok) row.outerHTML = await answer.text();
    } catch {
      return; // no line; the list says so itself
    }
  }
}

workOut();
document.addEventListener("sagtrace:shown", workOut);
