// Shows what colleagues do at the same exam: who is here, their entries, and whether it was signed.
// Nothing changes under a hand: a cell that has the focus, or something typed in it, keeps what it
// shows; what a colleague recorded there stands beside it until a person chooses or leaves the cell.
"use strict";
(() => {
  const asking = document.getElementById("together");
  if (!window.htmx || !asking) return;

  const MARKED_MS = 15000; // how long a colleague's entry is marked
  const sheet = document.getElementById("sheet");
  const sender = document.getElementById("sender");
  const held = new Map(); // by the id of a cell: what it will be once no hand is in it
  let station = "";
  let since = "0"; // the revision that the page showed when the last request was sent

  const revision = () => document.getElementById("revision").value;
  const isSaving = () => sender.matches(".htmx-request");
  const { ask, isLocked, goOnIfStopped } = keepAsking({
    element: asking,
    everyMs: 2000,
    isFree: () => !isSaving(), // The answer to an entry brings the same.
    lost: words("No answer: what colleagues do is not shown."),
    ended: words("What colleagues do is no longer shown: load the page again."),
  });

  document.body.addEventListener("htmx:configRequest", (event) => {
    since = revision();
    if (event.detail.elt !== asking) return;
    const { parameters } = event.detail;
    parameters.since = since;
    parameters.station = station;
    parameters.state = document.querySelector("[data-exam]").dataset.exam;
    parameters.here = document.querySelector("[data-here]")?.dataset.here ?? "";
  });
  document.body.addEventListener("htmx:beforeSwap", (event) => {
    // An answer that was overtaken by an entry would set the page back, and behind the lock screen
    // nobody can tell which cell had the focus.
    const isOvertaken = isSaving() || revision() !== since || isLocked();
    if (event.detail.requestConfig.elt === asking && isOvertaken) event.detail.shouldSwap = false;
  });
  document.body.addEventListener("htmx:afterRequest", (event) => {
    const { elt, xhr } = event.detail;
    if (elt === sender && xhr.status < 400 && xhr.status) saved(sender.dataset.sends);
  });

  document.addEventListener("focusin", (event) => {
    const place = event.target.closest?.(".station")?.id.replace("station-", "");
    if (!place || place === station) return;
    station = place;
    ask();
  });

  // ---- a colleague's entry

  document.body.addEventListener("htmx:oobBeforeSwap", (event) => {
    const { target, fragment } = event.detail;
    if (!target.dataset?.save) return;
    if (isFree(target)) {
      held.delete(target.id);
      return;
    }
    event.preventDefault();
    // What is entered now rests on what the page showed before, or on what was just taken back.
    if (isUndoing()) delete target.dataset.seen;
    else target.dataset.seen ??= since;
    const newer = fragment.firstElementChild;
    held.set(target.id, newer);
    if (target.dataset.state !== "waiting") announce(target, newer);
  });
  document.body.addEventListener("htmx:oobAfterSwap", (event) => {
    const arrived = document.getElementById(event.detail.target.id);
    if (arrived?.matches(".cell, .medicines")) mark(arrived);
  });

  // What a person takes back changes under their own hand.
  const isUndoing = () => isSaving() && sender.dataset.sends === "undo";
  const isFree = (cell) =>
    !cell.dataset.state && (isUndoing() || !cell.contains(document.activeElement));

  function announce(cell, newer) {
    const says = newer.querySelector(".news > .message");
    if (!says) return;
    document.getElementById(`${cell.id}-message`).replaceChildren(says.cloneNode(true));
    const named = cell.querySelector("legend, label").textContent;
    document.getElementById("heard").textContent = `${named}: ${says.firstChild.textContent}`;
  }

  sheet.addEventListener("focusout", (event) => {
    const cell = event.target.closest("[data-save]");
    if (cell && held.has(cell.id)) setTimeout(release, 0, cell);
  });

  function release(cell) {
    const newer = held.get(cell.id);
    if (!newer || !cell.isConnected || !isFree(cell) || isLocked()) return;
    held.delete(cell.id);
    cell.replaceWith(newer);
    mark(newer);
  }

  function mark(cell) {
    // A describing row that holds something is seen, whatever the row above it says.
    if (cell.matches(".is-filled")) cell.closest(".details")?.classList.add("is-open");
    const news = cell.querySelector(".news");
    if (!news) return;
    const by = document.createElement("span");
    by.className = "by";
    by.textContent = news.dataset.by;
    news.replaceWith(by);
    setTimeout(() => by.remove(), MARKED_MS);
  }

  function saved(id) {
    held.delete(id);
    goOnIfStopped();
  }
  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-take]");
    if (button) held.delete(button.dataset.cell);
  });

  // ---- signed meanwhile

  function closeIfSigned() {
    if (!document.querySelector("[data-exam][data-closed]") || "closed" in sheet.dataset) return;
    const had = sheet.contains(document.activeElement);
    const unsaved = [...document.querySelectorAll("[data-save][data-state]")].map(inWords);
    document.dispatchEvent(new Event("exam-closed"));
    sheet.dataset.closed = "";
    for (const field of sheet.querySelectorAll("input, textarea, button")) {
      if (field.matches("textarea, input[type=text]")) field.readOnly = true;
      else field.disabled = true;
    }
    if (unsaved.length) {
      document.getElementById("unsaved-text").textContent = unsaved.join("\n");
      document.getElementById("unsaved").hidden = false;
    }
    if (had && !sheet.contains(document.activeElement)) document.getElementById("closed").focus();
  }

  // What stands in a cell and is not recorded, in a line.
  function inWords(element) {
    if (element.matches("button")) return element.textContent.trim();
    const named = element.querySelector("legend, label").textContent;
    const typed = [...element.querySelectorAll("input, textarea")]
      .filter((input) => (/^(radio|checkbox)$/.test(input.type) ? input.checked : input.value.trim()))
      .map((input) => (/^(radio|checkbox)$/.test(input.type) ? input.closest("label").textContent : input.value))
      .map((each) => each.replace(/\s+/g, " ").trim());
    return `${named}: ${typed.join("; ") || words("not examined")}`;
  }

  document.body.addEventListener("htmx:afterSettle", closeIfSigned);
  document.getElementById("copy").addEventListener("click", () => {
    for (const each of document.querySelectorAll("[data-state]")) delete each.dataset.state;
  });

  closeIfSigned();
  // htmx listens from then on.
  document.addEventListener("DOMContentLoaded", ask);
})();
