// Small things of the repair and paper pages: printing, counting how long a test has run, and
// telling moments by this device's clock.

function setUp() {
  for (const button of document.querySelectorAll("[data-print]")) {
    button.hidden = false;
    button.onclick = () => print();
  }
  for (const field of document.querySelectorAll("input[data-since]")) count(field);
  for (const time of document.querySelectorAll("main time[datetime]")) local(time);
}

// The time between the two readings is filled in when the second one is typed, because that is when
// it was read; what a person typed stays.
function count(field) {
  const form = field.form;
  form.addEventListener("input", (event) => {
    const other = event.target;
    if (field.value || other === field || !other.name?.endsWith("-end")) return;
    const seconds = (Date.now() - Date.parse(field.dataset.since)) / 1000;
    if (seconds > 0) field.value = (seconds / Number(field.dataset.seconds)).toPrecision(3);
  });
}

function local(time) {
  const at = new Date(time.dateTime);
  if (Number.isNaN(at.getTime())) return;
  const two = (n) => String(n).padStart(2, "0");
  const day = `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;
  time.textContent = `${day} ${two(at.getHours())}:${two(at.getMinutes())}`;
}

setUp();
document.addEventListener("sagtrace:shown", setUp);
