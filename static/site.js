// Small helps for pages that are complete without them. Each is found by a data- attribute.

/** The summary of what is wrong takes the focus, so that it is read first. */
function focusSummary() {
  document.querySelector("[data-focus]")?.focus();
}

/** Enter goes down a count sheet and Shift with Enter up; a pasted column fills downwards. */
function deskSheet(sheet) {
  const lines = () => [...sheet.querySelectorAll("tbody input[inputmode=numeric]")];
  sheet.addEventListener("keydown", (event) => {
    const at = lines().indexOf(event.target);
    if (at < 0 || event.key !== "Enter") return;
    event.preventDefault();
    const next = lines()[at + (event.shiftKey ? -1 : 1)];
    if (next) {
      next.focus();
      next.select();
    } else if (!event.shiftKey) {
      sheet.querySelector("button:not([type=button])")?.focus();
    }
  });
  sheet.addEventListener("paste", (event) => {
    const at = lines().indexOf(event.target);
    const column = event.clipboardData.getData("text").replace(/\r?\n$/, "").split(/\r?\n/);
    if (at < 0 || column.length < 2) return;
    event.preventDefault();
    const below = lines().slice(at);
    column.slice(0, below.length).forEach((text, n) => {
      below[n].value = text.trim();
    });
    sheet.dispatchEvent(new Event("input"));
  });
  const filled = sheet.ownerDocument.querySelectorAll("[data-filled]");
  sheet.addEventListener("input", () => {
    const all = lines();
    const done = all.filter((line) => !["", "."].includes(line.value.trim())).length;
    for (const place of filled) place.textContent = `Filled ${done} of ${all.length} lines`;
  });
}

/** Copies the text of the element named by `data-copy`; shown only where copying is possible. */
function copyButton(button) {
  if (!navigator.clipboard) return;
  const label = button.textContent;
  button.hidden = false;
  button.addEventListener("click", async () => {
    const from = document.getElementById(button.dataset.copy);
    try {
      await navigator.clipboard.writeText(from.value ?? from.textContent);
      button.textContent = "Copied";
    } catch {
      button.textContent = "Not copied: mark the text and copy it by hand";
    }
    setTimeout(() => {
      button.textContent = label;
    }, 3000);
  });
}

function printButton(button) {
  button.hidden = false;
  button.addEventListener("click", () => print());
}

focusSummary();
document.querySelectorAll("[data-desk-sheet]").forEach(deskSheet);
document.querySelectorAll("[data-copy]").forEach(copyButton);
document.querySelectorAll("[data-print]").forEach(printButton);
