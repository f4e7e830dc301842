//! How things are found on a page: by the words a person reads there.

/// `(kind, words, near)` → the element, `null` while it is not there, or a text that says what is wrong.
///
/// Words are those on the screen (text made capital by a style sheet included), or the name given to
/// those who cannot see it. `near` tells equal ones apart: the one whose surroundings say it first.
pub const FIND: &str = r##"
const [kind, words, near] = arguments;
const clean = (text) => (text ?? "").replace(/\s+/g, " ").trim();
const kinds = {
  button: "button, input[type=submit], [role=button], summary",
  link: "a[href]",
  label: "label",
};
const says = (e) => [e.innerText, e.textContent, e.value, e.getAttribute("aria-label")].map(clean);
const seen = (e) => e.checkVisibility({ visibilityProperty: true });
let found = [...document.querySelectorAll(kinds[kind])].filter((e) => seen(e) && says(e).includes(words));
if (near !== null) {
  const far = (e) => {
    let steps = 0;
    for (let above = e; above; above = above.parentElement, steps += 1) {
      if (clean(above.textContent).includes(near) || clean(above.innerText).includes(near)) return steps;
    }
    return Infinity;
  };
  const steps = found.map(far);
  const least = Math.min(...steps);
  found = found.filter((_, n) => steps[n] === least && least !== Infinity);
}
if (found.length > 1) return `${found.length} of them say “${words}”: tell which`;
return found[0] ?? null;
"##;

/// `(label)` → the field with this label, `null`, or a text. Labels may go on after a colon or bracket
/// only if they are given whole.
pub const FIELD: &str = r#"
const [words] = arguments;
const clean = (text) => (text ?? "").replace(/\s+/g, " ").trim();
const fields = [...document.querySelectorAll("input:not([type=hidden]), select, textarea")];
const names = (e) => [
  ...[...(e.labels ?? [])].flatMap((label) => [label.innerText, label.textContent]),
  e.getAttribute("aria-label"),
  ...(e.getAttribute("aria-labelledby") ?? "").split(" ").map((id) => document.getElementById(id)?.textContent),
].map(clean);
const found = fields.filter((e) => names(e).includes(words));
if (found.length > 1) return `${found.length} fields are labelled “${words}”`;
return found[0] ?? null;
"#;

/// `(legend, label)` → the box or knob with this label in the group with this legend, or `null`.
pub const IN_GROUP: &str = r#"
const [legend, words] = arguments;
const clean = (text) => (text ?? "").replace(/\s+/g, " ").trim();
for (const group of document.querySelectorAll("fieldset")) {
  if (clean(group.querySelector("legend")?.textContent) !== legend) continue;
  for (const label of group.querySelectorAll("label")) {
    if (clean(label.textContent) === words) return label;
  }
}
return null;
"#;

/// Fields for which typed keys depend on the machine's language get their value as a whole.
pub const SET_VALUE: &str = r#"
const [field, value] = arguments;
field.value = value;
field.dispatchEvent(new Event("input", { bubbles: true }));
field.dispatchEvent(new Event("change", { bubbles: true }));
"#;

/// Everything that can be read, with single spaces: as shown, then as written.
pub const READ: &str = r#"
const clean = (text) => (text ?? "").replace(/\s+/g, " ").trim();
return [clean(document.body?.innerText), clean(document.body?.textContent)];
"#;
