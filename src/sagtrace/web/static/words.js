// Texts of the scripts in the language of the page, which brings them; else they stay English.
//
// A text is a whole sentence with named places, as in the templates: tools/make_messages.py puts
// it into the catalogue.

const place = document.getElementById("words");
const held = place ? JSON.parse(place.textContent) : { texts: {}, plurals: {}, forms: [] };
const HUNDRED = 100; // beyond the forms that are held, the last two digits tell the form

const fill = (text, values) =>
  text.replace(/%\((\w+)\)s|%%/g, (_all, name) => (name === undefined ? "%" : String(values[name])));

export function _(text, values = {}) {
  return fill(held.texts[text] ?? text, values);
}

export function ngettext(one, many, n, values = {}) {
  const given = held.plurals[one];
  const form = held.forms[n < held.forms.length ? n : HUNDRED + (n % HUNDRED)];
  return fill(given?.[form] ?? (n === 1 ? one : many), { num: n, ...values });
}
