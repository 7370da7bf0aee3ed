// Saves the review while it is written: each decision at once, text when the hand rests. Without
// this file the page is a plain form with a Save button.
"use strict";
(() => {
  if (!window.htmx) {
    document.documentElement.classList.remove("js");
    return;
  }

  const REST_MS = 1200; // typing that rests this long is saved
  const RETRY_MS = 3000;
  const form = document.getElementById("review");
  const isSigning = (element) => ["password", "initials", "birth_year"].includes(element.name);
  let isDirty = false;
  let isSending = false;
  let rest = 0;

  function say(says, isSaved = false) {
    const line = document.createElement("span");
    line.className = isSaved ? "saved" : "not-saved";
    line.textContent = says;
    document.getElementById("save-status").replaceChildren(line);
  }

  function save() {
    clearTimeout(rest);
    if (isSending || !isDirty) return;
    isDirty = false;
    isSending = true;
    htmx.trigger(form, "save");
  }

  form.addEventListener("input", (event) => {
    if (isSigning(event.target)) return;
    isDirty = true;
    clearTimeout(rest);
    if (event.target.matches("textarea, [type=text]")) {
      say(words("not saved yet"));
      rest = setTimeout(save, REST_MS);
    }
  });
  form.addEventListener("change", (event) => {
    if (isSigning(event.target)) return;
    isDirty = true;
    save();
  });

  document.body.addEventListener("htmx:afterRequest", (event) => {
    if (event.detail.elt !== form) return;
    isSending = false;
    const { status } = event.detail.xhr;
    if (status === 0 || status >= 500 || status === 401) {
      isDirty = true;
      say(words("NOT SAVED. No answer; kept here and sent again."));
      if (status !== 401) rest = setTimeout(save, RETRY_MS);
    } else if (status >= 400 && status !== 422 && status !== 409) {
      say(words("NOT SAVED. The server refused it ({status}); load the review again.", { status }));
    } else if (isDirty) {
      save();
    }
  });
  document.addEventListener("unlocked", save);
  addEventListener("online", save);

  // A signature carries everything that stands in the form, so nothing is lost by leaving now.
  let isLeaving = false;
  form.addEventListener("submit", () => {
    isLeaving = true;
  });
  addEventListener("beforeunload", (event) => {
    if ((isDirty || isSending) && !isLeaving) event.preventDefault();
  });
})();
