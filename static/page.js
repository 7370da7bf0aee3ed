// Runs before the page is drawn, so that what only a script can serve is shown only with it.
"use strict";
document.documentElement.classList.add("js");

// What scripts say, in the language of the page. Another than English comes with its words.
const spoken = JSON.parse(document.querySelector("meta[name=words]")?.content ?? "{}");
window.words = (text, values = {}) =>
  (spoken[text] ?? text).replace(/\{(\w+)\}/g, (_, name) => values[name]);
// A number that is written with a point, as people of the language write it.
window.figures = (digits) =>
  String(digits).replace(".", (0.1).toLocaleString(document.documentElement.lang)[1]);

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
