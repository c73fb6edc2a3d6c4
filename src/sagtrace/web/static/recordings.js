// Sends a recording with its progress, and waits for what reads it.

import { arriveAt } from "/static/send.js";
import { _ } from "/static/words.js";

const PAUSE = 700; // ms between looks at a task
const MB = 1e6;

function setUp() {
  const form = document.getElementById("send");
  if (form && !form.dataset.ready) prepare(form);
  for (const part of document.querySelectorAll("[data-task]")) {
    if (!part.dataset.ready) watch(part);
  }
}

function prepare(form) {
  form.dataset.ready = "yes";
  const drop = form.querySelector(".drop");
  const field = form.elements.recording;
  field.addEventListener("change", () => field.files.length && send(form, field.files[0]));
  for (const name of ["dragenter", "dragover"]) {
    drop.addEventListener(name, (event) => {
      event.preventDefault();
      drop.classList.add("over");
    });
  }
  for (const name of ["dragleave", "drop"]) {
    drop.addEventListener(name, () => drop.classList.remove("over"));
  }
  drop.addEventListener("drop", (event) => {
    event.preventDefault();
    const [file] = event.dataTransfer.files;
    if (file) send(form, file);
  });
}

function refuse(form, text) {
  let place = form.querySelector(".problem");
  if (!place) {
    place = document.createElement("p");
    place.className = "problem";
    place.setAttribute("role", "alert");
    form.prepend(place);
  }
  place.textContent = text;
  place.scrollIntoView({ block: "nearest" });
}

function send(form, file) {
  if (form.dataset.typed) return; // one at a time
  form.querySelector(".problem")?.remove();
  const largest = Number(form.dataset.largest);
  if (file.size > largest) {
    refuse(form, _(
      "%(file)s has %(size)s MB; up to %(most)s MB are read. Export a shorter stretch, or fewer channels.",
      { file: file.name, size: Math.round(file.size / MB), most: largest / MB },
    ));
    return;
  }
  form.dataset.typed = "yes"; // so that a change made elsewhere does not replace the page
  const way = form.querySelector(".way");
  const said = form.querySelector(".way-said");
  const bar = form.querySelector("progress");
  const whole = `${(file.size / MB).toFixed(1)} MB`;
  way.hidden = false;
  said.textContent = _("Sending %(file)s, %(whole)s.", { file: file.name, whole });
  const request = new XMLHttpRequest();
  request.open("POST", `${form.dataset.inspect}?file=${encodeURIComponent(file.name)}`);
  request.setRequestHeader("Content-Type", "application/octet-stream");
  request.responseType = "json";
  request.upload.addEventListener("progress", (event) => {
    if (!event.lengthComputable) return;
    bar.value = event.loaded / event.total;
    said.textContent = _("Sending %(file)s: %(sent)s of %(whole)s.", {
      file: file.name, sent: (event.loaded / MB).toFixed(1), whole,
    });
  });
  request.upload.addEventListener("load", () => {
    bar.removeAttribute("value");
    said.textContent = _("Sent. Reading %(file)s …", { file: file.name });
  });
  const over = (problem) => {
    delete form.dataset.typed;
    way.hidden = true;
    bar.value = 0;
    form.elements.recording.value = "";
    if (problem) refuse(form, problem);
  };
  request.addEventListener("load", () => {
    const answer = request.response ?? {};
    if (request.status === 200) {
      said.textContent = _("Read. These are the columns …");
      arriveAt(`${form.dataset.next}?file=${answer.sha256}`);
    } else over(answer.detail || _("It was refused."));
  });
  request.addEventListener("error", () => over(_("No line to the program; nothing was kept. Send the file again when it answers.")));
  request.addEventListener("abort", () => over(_("Stopped; nothing was kept.")));
  form.querySelector(".way-stop").onclick = () => request.abort();
  request.send(file);
}

async function watch(part) {
  part.dataset.ready = "yes";
  const said = part.querySelector(".task-said");
  while (part.isConnected) {
    try {
      const answer = await fetch(part.dataset.task);
      const task = await answer.json();
      if (answer.status === 404) return void location.reload();
      if (task.state === "done") return void arriveAt(part.dataset.done + task.result.recording);
      if (task.state === "failed") return void location.assign(part.dataset.otherwise);
      if (task.said && said.textContent !== task.said) said.textContent = task.said;
    } catch {
      said.textContent = _("No line to the program; looking again.");
    }
    await new Promise((on) => setTimeout(on, PAUSE));
  }
}

setUp();
document.addEventListener("sagtrace:shown", setUp);
