// Locks the screen when nobody used it for long: the page is covered and kept, and whoever locked it
// goes on with the password. Other windows of this browser hear of it. Nothing is stored.
"use strict";
(() => {
  const template = document.getElementById("lock-template");
  if (!template) return;

  const TOLD_MS = 30000; // the server hears at most so often that somebody is there
  const idleMs = template.dataset.idleSeconds * 1000;
  const warningMs = template.dataset.warningSeconds * 1000;
  // Not in the page until it is needed, so that nothing fills in or reads out its fields.
  const screen = document.importNode(template.content.firstElementChild, true);
  const warning = document.getElementById("lock-warning");
  const meta = document.querySelector("meta[name=form-token]");
  const form = screen.querySelector("#unlock-form");
  const password = screen.querySelector("#lock-password");
  const fault = screen.querySelector("#lock-fault");
  const title = document.title;
  const me = form.elements.sign_in_name.value;
  const windows = new BroadcastChannel("evenhand");
  let activeAt = Date.now();
  let toldAt = Date.now();
  let isTold = true;
  let covered = []; // [element, was hidden, was inert] of what the lock screen covers
  let focused = null;
  let scrolled = [0, 0];
  const isLocked = () => screen.isConnected;

  // ---- somebody is there

  function active() {
    if (isLocked()) return;
    seen();
    windows.postMessage({ me, says: "active" });
  }

  function seen() {
    activeAt = Date.now();
    isTold = false;
    warning.textContent = "";
  }

  for (const kind of ["keydown", "pointerdown", "wheel", "input"]) {
    addEventListener(kind, active, { capture: true, passive: true });
  }

  function post(path, fields = {}) {
    return fetch(path, {
      method: "POST",
      headers: { Accept: "application/json", "X-Form-Token": meta.content },
      body: new URLSearchParams(fields),
    });
  }

  async function tell() {
    isTold = true;
    toldAt = Date.now();
    try {
      if ((await post("/active")).status === 401) cover();
    } catch {
      // No answer: the sheet says so itself, and the server locks by its own clock.
    }
  }

  // Every second, also in a window that slept: what counts is the clock, not the ticks.
  setInterval(() => {
    if (isLocked()) return;
    const now = Date.now();
    const idle = now - activeAt;
    if (idle >= idleMs) {
      lock();
    } else if (idle >= idleMs - warningMs) {
      // One sentence that stays, so that it is heard once.
      warning.textContent ||= words("The screen locks in half a minute. Press any key to go on.");
    } else if (!isTold && now - toldAt >= TOLD_MS) {
      tell();
    }
  }, 1000);

  // ---- the lock

  async function lock() {
    cover();
    windows.postMessage({ me, says: "locked" });
    try {
      await post("/lock");
    } catch {
      // The server locks by its own clock.
    }
  }

  function cover() {
    if (isLocked()) return;
    focused = document.activeElement;
    scrolled = [scrollX, scrollY];
    covered = [...document.body.children].map((each) => [each, each.hidden, each.inert]);
    for (const [element] of covered) {
      element.hidden = true;
      element.inert = true;
    }
    warning.textContent = "";
    fault.textContent = "";
    password.value = "";
    document.body.append(screen);
    document.title = "Locked – Evenhand";
    // An entry that still waits would be lost with the page.
    const unsaved = document.querySelectorAll("[data-state]").length;
    screen.querySelector("#lock-unsaved").textContent = unsaved
      ? unsaved === 1
        ? words("1 entry is not saved yet and would be lost.")
        : words("{unsaved} entries are not saved yet and would be lost.", { unsaved })
      : "";
    (document.getElementById("lock-provider") ?? password).focus();
  }

  function uncover(token) {
    took(token);
    activeAt = toldAt = Date.now();
    isTold = true;
    if (!isLocked()) return;
    password.value = "";
    form.elements.code.value = "";
    screen.remove();
    for (const [element, wasHidden, wasInert] of covered) {
      element.hidden = wasHidden;
      element.inert = wasInert;
    }
    document.title = title;
    scrollTo(...scrolled);
    focused?.focus({ preventScroll: true });
    document.dispatchEvent(new Event("unlocked"));
  }

  function took(token) {
    meta.content = token;
    for (const within of [document, screen]) {
      for (const field of within.querySelectorAll("input[name=form_token]")) field.value = token;
    }
  }

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const button = form.querySelector("button");
    button.disabled = true;
    fault.textContent = "";
    try {
      const answer = await post("/unlock", {
        password: password.value,
        code: form.elements.code.value,
      });
      if (answer.status === 403) {
        fault.textContent = words("Somebody else has signed in in this browser. This page cannot go on.");
        return;
      }
      const said = await answer.json();
      if (answer.ok) {
        windows.postMessage({ me, says: "unlocked", token: said.form_token });
        uncover(said.form_token);
        return;
      }
      fault.textContent = said.says;
      if (said.asks_code) screen.querySelector("#lock-code-field").hidden = false;
    } catch {
      fault.textContent = words("No answer from the server. Try again.");
    } finally {
      button.disabled = false;
    }
    password.select();
  });

  // The button of the page locks without leaving it.
  for (const each of document.querySelectorAll("[data-lock-form]")) {
    each.addEventListener("submit", (event) => {
      event.preventDefault();
      lock();
    });
  }
  // ---- other windows

  windows.addEventListener("message", ({ data }) => {
    if (data.me !== me) {
      if (data.says === "here") cover();
      return;
    }
    if (data.says === "active" && !isLocked()) seen();
    else if (data.says === "locked") cover();
    else if (data.says === "unlocked" || data.says === "here") uncover(data.token);
  });
  // A page that was just loaded holds the newest token of this browser.
  windows.postMessage({ me, says: "here", token: meta.content });

  // A page out of the browser's own memory may be somebody else's by now.
  addEventListener("pageshow", (event) => event.persisted && location.reload());

  // What is refused for want of a sign-in is kept behind the lock screen.
  document.body.addEventListener("htmx:afterRequest", (event) => {
    if (event.detail.xhr.status === 401) cover();
  });
  // Every request of htmx carries the token that holds when it is sent.
  document.body.addEventListener("htmx:configRequest", (event) => {
    event.detail.headers["X-Form-Token"] = meta.content;
  });
})();
