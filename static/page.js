// Runs before the page is drawn, so that what only a script can serve is shown only with it.
"use strict";
document.documentElement.classList.add("js");

// What is shown once would be lost with the answer to the first of two presses.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.matches("[data-once]")) return;
  if (form.dataset.once) event.preventDefault();
  form.dataset.once = "sent";
});
addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("[data-once]")) form.dataset.once = "";
});
