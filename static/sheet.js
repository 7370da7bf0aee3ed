// Sends each entry of the sheet as it is made, one after the other, and loses none: what could not
// be sent is kept in the page, said loudly, and sent again in its order. Nothing is stored in the
// browser. Without this file the sheet is a plain form with a Save button.
"use strict";
(() => {
  if (!window.htmx) {
    document.documentElement.classList.remove("js");
    return;
  }

  const RETRY_MS = 3000;
  const WHERE = { cell: "cells", medicines: "medicines", normal: "normal", undo: "undo" }; // below the exam
  const SLOW_MS = 500; // an answer that takes longer is waited for in words
  const sheet = document.getElementById("sheet");
  const sender = document.getElementById("sender");
  const panel = document.querySelector(".panel");
  const undo = document.getElementById("undo");
  const waiting = []; // elements with an entry that is not saved, in the order of entry
  const made = []; // the revisions of what was entered here and can be taken back, the newest last
  let sending = null;
  let retry = 0;
  let slow = 0;
  let isLocked = false; // nobody is signed in, or the screen is locked
  let undos = 0; // how often undo was pressed and not done yet
  let undone = []; // the cells that the answer to an undo brought

  const revision = () => document.getElementById("revision").value;

  function say(says, isSaved = false) {
    const line = document.createElement("span");
    line.className = isSaved ? "saved" : "not-saved";
    line.textContent = says;
    document.getElementById("save-status").replaceChildren(line);
  }

  // ---- the line of entries

  // Seen at once and not heard: what is heard is that it takes long, or failed.
  function showBusy() {
    const isBusy = (sending !== null || waiting.length > 0) && !isLocked;
    document.getElementById("saving").hidden = !isBusy;
    undo.hidden = !isBusy && !made.length;
  }

  function enqueue(element) {
    element.dataset.seen ??= revision();
    element.dataset.state = "waiting";
    if (!waiting.includes(element)) waiting.push(element);
    pump();
  }

  function pump() {
    if (sending || !waiting.length) return;
    if (isLocked) return;
    clearTimeout(retry);
    sending = waiting.shift();
    showBusy();
    if (sending === undo && !made.length) {
      undos = 0;
      answered(200);
      return;
    }
    slow = setTimeout(() => {
      if (!document.querySelector("#save-status .not-saved")) say(words("saving …"), true);
    }, SLOW_MS);
    send(sending);
  }

  // The sender stands outside the form, because htmx goes through every field of one that it asks in.
  // What came of it is heard from the events of htmx, below.
  function send(element) {
    const { pathname, search } = new URL(sheet.action);
    const path = `${pathname}/${WHERE[element.dataset.save]}${search}`;
    sender.dataset.sends = element.id;
    htmx.ajax("POST", path, { source: sender, target: "#assessment", swap: "innerHTML" }).catch(() => {});
  }

  function failed() {
    clearTimeout(slow);
    if (!waiting.includes(sending)) waiting.unshift(sending);
    sending = null;
    showBusy();
    say(
      waiting.length === 1
        ? words("NOT SAVED. No answer; 1 entry kept and sent again.")
        : words("NOT SAVED. No answer; {number} entries kept and sent again.", { number: waiting.length }),
    );
    retry = setTimeout(pump, RETRY_MS);
  }

  // The lock screen covers the page; what waits is sent once it was opened again.
  function keptForLater() {
    clearTimeout(slow);
    isLocked = true;
    if (!waiting.includes(sending)) waiting.unshift(sending);
    sending = null;
    showBusy();
    say(
      waiting.length === 1
        ? words("NOT SAVED. 1 entry kept.")
        : words("NOT SAVED. {number} entries kept.", { number: waiting.length }),
    );
  }
  document.addEventListener("unlocked", () => {
    isLocked = false;
    pump();
  });

  function answered(status) {
    const element = sending;
    clearTimeout(slow);
    sending = null;
    if (element === undo) taken(status);
    else if (status < 400) remember();
    const isAgain = waiting.includes(element);
    // A refused entry still rests on what its author saw; any other answer has shown the newest.
    if (status < 400 || status === 409) delete element.dataset.seen;
    if (element === undo) delete undo.dataset.seen;
    else if (status >= 400) element.dataset.state = "refused";
    else if (!isAgain) settle(element);
    if (status >= 400 && status !== 409 && status !== 422) {
      say(words("NOT SAVED. The server refused this entry ({status}); load the page again.", { status }));
    }
    const left = document.querySelectorAll("[data-state=refused], [data-state=unfinished]").length;
    if (status < 400 && left) say(words("NOT SAVED: {left} marked below. The rest is saved.", { left }));
    pump();
    showBusy();
  }

  function remember() {
    const revision = Number(document.getElementById("revision").dataset.made);
    if (revision && !made.includes(revision)) made.push(revision);
  }

  // An entry that cannot be taken back any more makes room for the one before it.
  function taken(status) {
    if (undos) made.pop();
    undos = Math.max(0, undos - 1);
    delete undo.dataset.state;
    if (undos && made.length) enqueue(undo);
    const [first] = undone;
    undone = [];
    const place = first && document.getElementById(first);
    if (!place) return;
    unfold(place);
    answerOf(place)?.focus();
    if (status < 400) place.closest(".details")?.classList.add("is-open");
  }
  document.body.addEventListener("htmx:oobAfterSwap", ({ detail }) => {
    if (sending === undo && document.getElementById(detail.target.id)?.dataset.save) {
      undone.push(detail.target.id);
    }
  });

  const answerOf = (place) =>
    place.querySelector(".answers input:checked") ?? place.querySelector(".answers input, textarea");

  function unfold(place) {
    for (let fold = place.closest("details"); fold; fold = fold.parentElement.closest("details")) {
      fold.open = true;
    }
  }

  function settle(element) {
    delete element.dataset.state;
    if (element.dataset.save !== "cell") return;
    const clear = element.querySelector("input[value=not-examined]:checked");
    if (clear) clear.checked = false;
    // The fold says what is recorded in it, and closes once the hand has left it.
    const why = element.querySelector("[name^='why.']").value.trim();
    const fold = element.querySelector(".other");
    fold.querySelector(".other-word").textContent = why
      ? words("cannot be tested: {reason}", { reason: why })
      : words("other");
    if (!fold.contains(document.activeElement)) fold.open = false;
  }

  document.body.addEventListener("htmx:configRequest", (event) => {
    if (event.detail.elt !== sender) return;
    const elt = sending;
    const { parameters } = event.detail;
    for (const input of elt.querySelectorAll("input, textarea")) {
      const isChoice = input.type === "radio" || input.type === "checkbox";
      if (!isChoice || input.checked) parameters[input.name.split(".")[0]] = input.value;
    }
    for (const name of ["finding", "side", "station"]) {
      if (elt.dataset[name] !== undefined) parameters[name] = elt.dataset[name];
    }
    parameters.revision = revision();
    parameters.seen = elt.dataset.seen ?? parameters.revision;
    if (elt === undo) parameters.of = made.at(-1);
  });

  document.body.addEventListener("htmx:afterRequest", (event) => {
    if (event.detail.elt !== sender || !sending) return;
    const { status } = event.detail.xhr;
    if (status === 401) keptForLater();
    else if (status === 0 || status >= 500) failed();
    else answered(status);
  });
  document.body.addEventListener("htmx:onLoadError", () => sending && failed());
  addEventListener("online", pump);
  addEventListener("beforeunload", (event) => {
    if (sending || waiting.length || document.querySelector("[data-state]")) event.preventDefault();
  });

  // A signed exam takes nothing more; together.js shows what was left.
  document.addEventListener("exam-closed", () => {
    clearTimeout(slow);
    clearTimeout(retry);
    waiting.length = 0;
    made.length = 0;
    sending = null;
    showBusy();
  });

  // ---- entries

  sheet.addEventListener("change", (event) => {
    const element = event.target.closest("[data-save]");
    if (!element) return;
    if (element.dataset.save === "cell" && !isComplete(element, event.target)) return;
    enqueue(element);
  });

  // A reason means "cannot be tested", and "cannot be tested" waits for its reason.
  function isComplete(cell, changed) {
    const why = cell.querySelector("[name^='why.']");
    const untestable = cell.querySelector("input[value=untestable]");
    if (changed === why) {
      if (untestable && why.value.trim()) untestable.checked = true;
      const typed = cell.querySelector("input[type=text][name^='value.']");
      if (typed && why.value.trim()) typed.value = "";
    } else if (changed !== untestable) {
      why.value = "";
    }
    if (!untestable?.checked || why.value.trim()) return true;
    cell.dataset.state = "unfinished";
    say(words("NOT SAVED. “Cannot be tested” needs its reason."));
    why.focus();
    return false;
  }

  sheet.addEventListener("input", (event) => {
    const element = event.target.closest("[data-save]");
    if (!element || !event.target.matches("textarea, input[type=text]")) return;
    element.dataset.seen ??= revision();
    element.dataset.state ??= "typing";
  });
  sheet.addEventListener("focusout", (event) => {
    const element = event.target.closest("[data-save]");
    if (element?.dataset.state !== "typing") return;
    delete element.dataset.state;
    delete element.dataset.seen;
  });

  sheet.addEventListener("submit", (event) => event.preventDefault());
  document.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (button?.dataset.save === "normal") {
      event.preventDefault();
      enqueue(button);
    } else if (button === undo) {
      undos += 1;
      enqueue(undo);
    } else if (button?.dataset.take) {
      take(button);
    }
  });

  function take(button) {
    const cell = document.getElementById(button.dataset.cell);
    const { take, value, why } = button.dataset;
    // Both values were shown: whoever chooses has seen the newest.
    delete cell.dataset.seen;
    if (take === "theirs") {
      for (const input of cell.querySelectorAll("input, textarea")) {
        if (input.type === "radio") input.checked = input.value === value;
        else if (input.type === "checkbox") input.checked = why === "none";
        else if (input.name.startsWith("why.")) input.value = why;
        else input.value = value === "untestable" ? "" : value;
      }
      settle(cell);
      document.getElementById(`${cell.id}-message`).replaceChildren();
      if (!document.querySelector("[data-state]")) say(words("saved"), true);
    }
    // The button goes away, and the focus must not go with it.
    answerOf(cell).focus({ preventScroll: true });
    if (take === "mine") enqueue(cell);
  }

  // ---- what sticks below the head starts where the head ends

  const banner = document.querySelector(".banner");
  new ResizeObserver(() => {
    document.documentElement.style.setProperty("--banner", `${banner.offsetHeight}px`);
  }).observe(banner);

  // ---- the panel keeps what was opened in it

  let open = [];
  let scrolled = 0;
  let focused = "";
  let isKept = false; // htmx says once for each piece of an answer that it has arrived
  document.body.addEventListener("htmx:beforeSwap", ({ detail }) => {
    isKept = true;
    open = [...panel.querySelectorAll("details[open]")].map((each) => each.id);
    scrolled = panel.scrollTop;
    const active = panel.contains(document.activeElement) ? document.activeElement : null;
    if (active?.matches("summary")) focused = `#${CSS.escape(active.parentElement.id)} > summary`;
    else focused = active?.matches("a") ? `a[href="${active.getAttribute("href")}"]` : "";
    // Nothing in the panel is htmx's, which would look for it in each element that goes.
    if (detail.requestConfig.elt === sender && detail.shouldSwap) detail.target.replaceChildren();
  });
  document.body.addEventListener("htmx:afterSwap", () => {
    if (!isKept) return;
    isKept = false;
    for (const each of panel.querySelectorAll("details")) each.open = open.includes(each.id);
    if (focused) panel.querySelector(focused)?.focus({ preventScroll: true });
    panel.scrollTop = scrolled;
  });
  // Beside the sheet the panel is open; as a bar at the bottom it opens on request.
  const isBar = matchMedia("(max-width: 68rem)");
  const arrange = () => {
    document.getElementById("panel-fold").open = !isBar.matches;
  };
  arrange();
  isBar.addEventListener("change", arrange);

  // A link to a cell opens the folds around it and puts the focus into it.
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[href^='#c-']");
    const cell = link && document.getElementById(link.hash.slice(1));
    if (!cell) return;
    unfold(cell);
    event.preventDefault();
    cell.querySelector(".answers input").focus();
  });
})();
