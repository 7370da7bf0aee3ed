// The sheet by keyboard: a digit answers and moves on, arrows move from cell to cell and change
// nothing, a letter does what a button does. A key means something only while the focus is in a
// cell, so that nothing is recorded from anywhere else.
"use strict";
(() => {
  const sheet = document.getElementById("sheet");
  if (!window.htmx || !sheet) return;

  // Two digits that go down together are a slip of the hand; common practice, no published figure.
  const TOGETHER_MS = 25;
  const CELL = "[data-save=cell]";
  let heldKey = "";
  let heldSince = 0;
  let column = "right"; // where arrows go on after a row without sides
  let lastReason = "";

  // ---- places

  const isVisible = (element) => element.checkVisibility({ visibilityProperty: true });
  // Whether a place is visible costs the browser much, so it is asked from place to place and of no more.
  const places = (within = sheet) => [...within.querySelectorAll(`${CELL}, [data-save=medicines]`)];
  const field = (place) =>
    place.querySelector(".answers input:checked") ?? place.querySelector(".answers input, textarea");
  const isAnswered = (cell) =>
    cell.querySelector("input:checked") !== null ||
    [...cell.querySelectorAll("input[type=text]")].some((input) => input.value.trim());

  function go(place) {
    if (place?.dataset.side) column = place.dataset.side;
    if (place) field(place).focus();
  }

  function moveOn(cell) {
    const all = places();
    go(all.slice(all.indexOf(cell) + 1).find(isVisible));
  }

  function moveBy(cell, key) {
    const { side } = cell.dataset;
    if (key === "ArrowLeft" || key === "ArrowRight") {
      const wanted = key === "ArrowLeft" ? "right" : "left"; // The patient's RIGHT stands first.
      const other = cell.parentElement.querySelector(`:scope > ${CELL}[data-side=${wanted}]`);
      if (side && side !== wanted && other && isVisible(other)) go(other);
      return;
    }
    const all = places();
    const rest = key === "ArrowDown" ? all.slice(all.indexOf(cell) + 1) : all.slice(0, all.indexOf(cell)).reverse();
    const isInLine = (each) => !each.dataset.side || each.dataset.side === (side || column);
    go(rest.find((each) => isInLine(each) && isVisible(each)));
  }

  function moveToStation(from, isDown) {
    const all = [...sheet.querySelectorAll(".station")];
    const station = all[all.indexOf(from) + (isDown ? 1 : -1)];
    if (station) enter(station);
  }

  // The first cell that is not answered, or the first, or the first fold.
  function enter(station) {
    const cells = places(station);
    const next = cells.find((each) => !isAnswered(each) && isVisible(each)) ?? cells.find(isVisible);
    if (next) go(next);
    else station.querySelector("summary")?.focus();
  }

  // ---- what a key does

  function tell(says) {
    document.getElementById("key-says").textContent = says;
  }

  function answer(cell, key) {
    const radio = cell.querySelector(
      /\d/.test(key) ? `[data-key="${key}"]` : `[value="${{ y: "yes", n: "no" }[key] ?? "not-examined"}"]`,
    );
    if (!radio) return;
    radio.checked = true;
    radio.dispatchEvent(new Event("change", { bubbles: true }));
    if (radio.value !== "not-examined") moveOn(cell);
  }

  function restNormal(cell) {
    const station = cell.closest(".station");
    const button = station.querySelector("[data-save=normal]");
    if (!button) {
      tell(words("This station has no “rest normal”."));
      return;
    }
    button.click();
    const asked = [...station.querySelectorAll("[data-asks]")].find((each) => !isAnswered(each) && isVisible(each));
    if (asked) go(asked);
    else moveToStation(station, true);
  }

  // Opens the place for the reason; the last one is offered and can be typed over.
  function cannotBeTested(cell) {
    const why = cell.querySelector("[name^='why.']");
    cell.querySelector(".other").open = true;
    if (!why.value) {
      why.value = lastReason;
      why.dataset.offered = lastReason;
    }
    why.focus();
    why.select();
  }

  function leaveReason(why) {
    if (why.value === why.dataset.offered) why.value = "";
    why.closest(".other").open = false;
    field(why.closest(CELL)).focus();
  }

  function enterReason(why) {
    lastReason = why.value.trim();
    // The browser says that a field changed only where somebody typed.
    if (why.value && why.value === why.dataset.offered) {
      why.dispatchEvent(new Event("change", { bubbles: true }));
    }
  }

  const isTogether = (event) =>
    heldKey && heldKey !== event.code && performance.now() - heldSince < TOGETHER_MS;

  sheet.addEventListener("keyup", (event) => {
    if (event.code === heldKey) heldKey = "";
  });

  sheet.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const { key, target } = event;
    const station = target.closest(".station");
    if ((key === "PageDown" || key === "PageUp") && station) {
      event.preventDefault();
      moveToStation(station, key === "PageDown");
      return;
    }
    const cell = target.closest(CELL);
    if (!cell || !target.matches("input")) return;
    const isReason = target.name.startsWith("why.");
    const isTyped = target.type === "text";
    const does = isReason ? ofReason : isTyped ? ofTyped : ofChoice;
    if (does(event, cell)) event.preventDefault();
  });

  function ofReason({ key, target }, cell) {
    if (key === "Enter") {
      enterReason(target);
      target.blur();
      moveOn(cell);
    } else if (key === "Escape") {
      leaveReason(target);
    }
    return key === "Enter" || key === "Escape";
  }

  function ofTyped(event, cell) {
    const { key, target } = event;
    if (key === "Enter") {
      // Leaving the field is what makes the browser say that it changed.
      target.blur();
      moveOn(cell);
      return true;
    }
    return /^(ArrowUp|ArrowDown|x|r)$/.test(key) && common(event, cell);
  }

  function ofChoice(event, cell) {
    const { key, code, repeat } = event;
    if (key === "Enter") {
      moveOn(cell);
      return true;
    }
    if (!/^([0-9yn]|Backspace|Delete)$/.test(key)) return common(event, cell);
    // A key that is stuck answers once.
    if (repeat) return true;
    if (isTogether(event)) {
      tell(words("Two keys at once: only the first was recorded."));
      return true;
    }
    heldKey = code;
    heldSince = performance.now();
    tell("");
    answer(cell, key);
    return true;
  }

  function common({ key, repeat }, cell) {
    if (key.startsWith("Arrow")) moveBy(cell, key);
    else if (repeat) return key === "x" || key === "r";
    else if (key === "x") cannotBeTested(cell);
    else if (key === "r") restNormal(cell);
    else return false;
    return true;
  }

  document.addEventListener("keydown", (event) => {
    const isUndo = event.key === "z" && (event.ctrlKey || event.metaKey) && !event.shiftKey && !event.altKey;
    // What is being typed is the browser's to take back.
    const isTyping = event.target.closest?.("[data-state=typing], textarea, [name^='why.']");
    const undo = document.getElementById("undo");
    if (!isUndo || isTyping) return;
    event.preventDefault();
    if (undo.hidden) {
      tell(words("Nothing entered since this page was loaded is left to take back. Change the answer itself; the history keeps both."));
      return;
    }
    tell("");
    if (!event.repeat) undo.click();
  });

  // The hand is at the first answer that is missing, unless the address or a fault says where.
  if (!location.hash && !document.querySelector(".faults")) {
    go(places().find((each) => !isAnswered(each) && isVisible(each)));
  }
})();
