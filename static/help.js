// Opens the help of a row by one key, and takes it out of the way: the focus stays in the cell, no
// row moves, and going on to another row closes it. Without this file a click opens and closes it.
"use strict";
(() => {
  const sheet = document.getElementById("sheet");
  const isOpen = () => sheet.querySelector(".help[open]");

  // The focus stays in the cell, so that what opened must be said.
  const heard = document.createElement("span");
  heard.className = "spoken";
  heard.setAttribute("role", "status");
  sheet.append(heard);

  // From a cell the key opens it; a row of words alone has no cell, and keeps its stop for Tab.
  for (const summary of sheet.querySelectorAll(".row:has(.cell input) > .help > summary")) {
    summary.tabIndex = -1;
  }

  function close() {
    const open = isOpen();
    if (open) open.open = false;
    heard.textContent = "";
  }

  // Above the row where there is no room below it.
  function place(help) {
    const row = help.closest(".row").getBoundingClientRect();
    const { height } = help.querySelector(".help-text").getBoundingClientRect();
    const root = getComputedStyle(document.documentElement);
    const bottom = innerHeight - (parseFloat(root.scrollPaddingBottom) || 0);
    const top = parseFloat(root.scrollPaddingTop) || 0;
    help.classList.toggle("is-above", row.bottom + height > bottom && row.top - height >= top);
  }
  sheet.addEventListener(
    "toggle",
    (event) => event.target.matches(".help[open]") && place(event.target),
    true,
  );

  sheet.addEventListener("keydown", (event) => {
    // Escape in a reason leaves the reason first: static/keys.js.
    if (event.defaultPrevented || event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.key === "Escape" && isOpen()) {
      event.preventDefault();
      close();
      return;
    }
    if (event.key !== "?" || event.target.matches("textarea, [name^='why.']")) return;
    const help = event.target.closest(".row")?.querySelector(":scope > .help");
    if (!help) return;
    event.preventDefault();
    if (help.open) {
      close();
    } else {
      help.open = true;
      place(help);
      heard.textContent = help.querySelector(".help-words").textContent;
    }
  });

  sheet.addEventListener("focusin", (event) => {
    const open = isOpen();
    if (open && !open.closest(".row").contains(event.target)) close();
  });
})();
