// A calculation: printing, and the two signs that a telephone's number keys lack.
for (const button of document.querySelectorAll("[data-print]")) button.addEventListener("click", () => print());

const SIGNS = ["−", "±"];
for (const box of document.querySelectorAll(".with-unit")) {
  const input = box.querySelector("input");
  const keys = document.createElement("span");
  keys.className = "signs";
  for (const sign of SIGNS) {
    const key = document.createElement("button");
    key.type = "button";
    key.tabIndex = -1; // a keyboard has these signs
    key.setAttribute("aria-hidden", "true");
    key.textContent = sign;
    key.addEventListener("pointerdown", (event) => event.preventDefault()); // the input keeps the focus
    key.addEventListener("click", () => {
      const text = sign === "±" ? " ± " : "-";
      input.setRangeText(text, input.selectionStart, input.selectionEnd, "end");
    });
    keys.append(key);
  }
  box.after(keys);
}

// A blank field does not belong into the address.
document.querySelector("form.ask")?.addEventListener("submit", (event) => {
  for (const input of event.target.elements)
    if (input.name && !input.name.startsWith("u.") && !input.value) {
      input.disabled = true;
      const unit = event.target.elements[`u.${input.name}`];
      if (unit) unit.disabled = true;
    }
});
addEventListener("pageshow", () => {
  for (const input of document.querySelectorAll("form.ask :disabled")) input.disabled = false;
});
