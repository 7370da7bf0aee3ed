// The watches of the sheet: one press starts, one stops, and the value lands in its cell, saved like
// anything that is typed there. What runs is kept beside the address in the session history, so that
// it survives a reload: which watch, how long, how many. Never who the patient is, never a recorded
// value. Within one life of the page a clock that nobody can set counts.
"use strict";
(() => {
  const sheet = document.getElementById("sheet");
  const all = [...(sheet?.querySelectorAll("[data-watch]") ?? [])];
  if (!window.htmx || !all.length) return;

  const TICK_MS = 100;
  const KEEP_MS = 1000;
  // Common practice, none of them published: no hand presses or taps twice on purpose so soon, and
  // an end that is noticed so late was not seen by anybody.
  const PRESS_MS = 300;
  const TAP_MS = 40;
  const LATE_MS = 1000;

  // What runs: one watch of the hand and the reminder beside it.
  // { watch, began, revision, count, tapped, due, noticed, asks }; due, noticed: reminders so far.
  const runs = { hand: null, standing: null };
  let ended = null; // the counting watch whose number has just landed and can be mended
  let pressedAt = -Infinity;
  let tappedByPointer = false;
  let ticking = 0;
  let keptAt = 0;

  const running = () => Object.values(runs).filter(Boolean);
  const runOf = (watch) => running().find((run) => run.watch === watch);
  const view = watchView({ runOf, ended: () => ended });
  const { byId, part, slotOf, secondsOf, elapsed, tell, refuse, notice } = view;
  const isOver = (run) =>
    run.watch.dataset.watch === "count" && elapsed(run) >= 1000 * secondsOf(run.watch)[0];
  const isLocked = () => document.querySelector("body > .lock-screen") !== null;
  const inTenths = (run) => (Math.round(elapsed(run) / 100) / 10).toFixed(1);

  // ---- start, stop, land

  function press(watch) {
    const now = performance.now();
    if (now - pressedAt < PRESS_MS) return;
    pressedAt = now;
    const slot = slotOf(watch);
    const run = runs[slot];
    if (!run) start(watch, slot);
    else if (run.watch !== watch) {
      refuse(
        words("One watch at a time: {named} runs already. Stop or discard it first.", {
          named: run.watch.dataset.named,
        }),
      );
    } else if (slot === "standing") {
      finish(run, words("Reminder ended: {named}.", { named: watch.dataset.named }));
    } else if (watch.dataset.watch === "stopwatch") land(run);
  }

  function start(watch, slot) {
    close();
    const now = performance.now();
    const revision = byId("revision").value;
    const run = { watch, began: now, revision, count: 0, tapped: now, noticed: 0, asks: false };
    runs[slot] = run;
    const { named } = watch.dataset;
    tell(slot === "standing" ? words("Reminder started: {named}.", { named }) : words("Watch started: {named}.", { named }));
    changed(run);
    part(watch, "count")?.focus({ preventScroll: true });
  }

  function land(run) {
    const { watch, count, revision } = run;
    const isCount = watch.dataset.watch === "count";
    const value = isCount ? String(count) : figures(inTenths(run));
    const unitOf = (number) => (number === 1 ? watch.dataset.counted : watch.dataset.countedMany);
    const unit = isCount ? unitOf(count) : "s";
    const hadFocus = watch.contains(document.activeElement);
    let says = `${watch.dataset.named}: ${value} ${unit}`;
    const isPut = put(byId(watch.dataset.cell), value, revision);
    if (watch.dataset.counts && count) {
      const counted = sheet.querySelector(`.cell[data-finding="${watch.dataset.counts}"]`);
      put(counted, String(count), revision);
      says += `, ${count} ${watch.dataset.countedMany}`;
    }
    if (isCount && isPut) ended = watch;
    finish(run, `${isCount ? words("Time is over") : words("Stopped")}. ${says}.`);
    if (!isPut) refuse(`${words("Not recorded, the cell takes no entry now.")} ${says}.`);
    if (hadFocus) part(watch, isCount ? "count" : "press").focus({ preventScroll: true });
  }

  // revision: what its author saw when the watch was started. What a colleague recorded since then
  // collides with it, as it does with anything typed.
  function put(cell, value, revision) {
    const field = cell?.querySelector("input[type=text][name^='value.']");
    if (!field || field.readOnly) return false;
    field.value = value;
    cell.dataset.seen ??= revision;
    // A describing row shows a side only where something is.
    cell.classList.add("is-filled");
    cell.closest(".details")?.classList.add("is-open");
    field.dispatchEvent(new Event("change", { bubbles: true }));
    return true;
  }

  function finish(run, says) {
    if (run === runs.standing) notice("");
    runs[slotOf(run.watch)] = null;
    tell(says);
    changed(run);
  }

  function discard(watch) {
    const run = runs[slotOf(watch)];
    if (run?.watch === watch) finish(run, words("Discarded: {named}.", { named: watch.dataset.named }));
    else close();
    part(watch, "press").focus({ preventScroll: true });
  }

  function close() {
    const watch = ended;
    ended = null;
    if (watch) view.paint(watch);
  }

  // ---- counting

  const isCounting = (run) => run && !run.asks && part(run.watch, "count") !== null;

  function count() {
    const run = runs.hand;
    const now = performance.now();
    if (!isCounting(run) || now - run.tapped < TAP_MS) return;
    run.tapped = now;
    if (isOver(run)) return tick();
    run.count += 1;
    changed(run);
  }

  // by: 1 or -1. Once the number has landed it is mended in its cell.
  function mend(watch, by) {
    const run = runs.hand;
    if (run?.watch === watch) {
      run.count = Math.max(0, run.count + by);
      changed(run);
    } else if (watch === ended) {
      const cell = byId(watch.dataset.cell);
      const field = cell.querySelector("input[type=text][name^='value.']");
      if (!/^\d+$/.test(field?.value ?? "")) return close();
      put(cell, String(Math.max(0, Number(field.value) + by)), byId("revision").value);
      tell(`${watch.dataset.named}: ${field.value}.`);
      view.paint(watch);
    }
  }

  // ---- time passes

  function tick() {
    if (document.hidden || isLocked()) return;
    for (const run of running()) {
      if (isOver(run) && !run.asks) over(run);
      else if (run === runs.standing) remind(run);
      view.paint(run.watch);
    }
    if (performance.now() - keptAt >= KEEP_MS) keep();
  }

  function over(run) {
    if (elapsed(run) - 1000 * secondsOf(run.watch)[0] <= LATE_MS) return land(run);
    run.asks = true;
    const { named } = run.watch.dataset;
    tell(words("The time ended unseen: {named}. Record {count} or discard.", { named, count: run.count }));
  }

  function remind(run) {
    const marks = secondsOf(run.watch);
    run.due = marks.filter((mark) => elapsed(run) >= 1000 * mark).length;
    if (run.due <= run.noticed) return;
    const minutes = marks[run.due - 1] / 60;
    notice(
      minutes === 1
        ? words("Standing for 1 minute: measure pressure and heart rate.")
        : words("Standing for {minutes} minutes: measure pressure and heart rate.", { minutes }),
    );
  }

  byId("watch-noticed").addEventListener("click", () => {
    const run = runs.standing;
    notice("");
    if (!run) return;
    run.noticed = run.due;
    if (run.noticed === secondsOf(run.watch).length) finish(run, words("Reminder ended."));
    else changed(run);
    part(run.watch, "press").focus({ preventScroll: true });
  });

  function changed(run) {
    view.paint(run.watch);
    view.follow(run.watch);
    clearInterval(ticking);
    if (running().length) ticking = setInterval(tick, TICK_MS);
    keep();
  }

  // ---- hands

  sheet.addEventListener("pointerdown", (event) => {
    if (!event.target.closest(".watch-count") || event.button !== 0) return;
    tappedByPointer = true;
    count();
  });

  sheet.addEventListener("click", (event) => {
    const button = event.target.closest(".watch button");
    if (!button) return;
    const watch = button.closest(".watch");
    const does = {
      "watch-press": () => press(watch),
      "watch-count": () => (tappedByPointer ? (tappedByPointer = false) : count()),
      "watch-back": () => mend(watch, -1),
      "watch-add": () => mend(watch, 1),
      "watch-record": () => land(runs.hand),
      "watch-discard": () => discard(watch),
    };
    does[[...button.classList].find((name) => name in does)]();
  });

  // Space counts where the focus is on the watch or nowhere; a key that is held counts once.
  const isForCount = (target, watch) =>
    target === document.body || (target.matches(".watch-count, .watch-press") && watch.contains(target));

  addEventListener("keydown", (event) => {
    const { key, target } = event;
    if (event.ctrlKey || event.altKey || event.metaKey || isLocked()) return;
    const run = runs.hand;
    const isCounted = isCounting(run) && isForCount(target, run.watch);
    const isHeld = event.repeat && target.closest?.(".watch") && /^( |Enter|Backspace)$/.test(key);
    if (!isHeld && !(isCounted && /^( |Enter|Backspace)$/.test(key))) return;
    event.preventDefault();
    event.stopPropagation();
    if (event.repeat) return;
    if (key === "Backspace") mend(run.watch, -1);
    else if (key === "Enter" && run.watch.dataset.watch === "stopwatch") press(run.watch);
    else count();
  }, { capture: true });
  // Elsewhere than in Chromium it is the key that goes up that presses a button.
  addEventListener("keyup", (event) => {
    const run = runs.hand;
    const isSpace = event.key === " " && event.target !== document.body;
    if (isSpace && isCounting(run) && isForCount(event.target, run.watch)) event.preventDefault();
  }, { capture: true });

  for (const slot of ["hand", "standing"]) {
    byId(`watch-${slot}`).addEventListener("click", () => {
      const { watch } = runs[slot] ?? {};
      const at = watch && (part(watch, "count") ?? part(watch, "press"));
      at?.scrollIntoView({ block: "center" });
      at?.focus({ preventScroll: true });
    });
  }

  // ---- it survives

  const me = byId("lock-template")?.content.querySelector("[name=sign_in_name]")?.value ?? "";

  function keep() {
    keptAt = performance.now();
    if (!running().length && !history.state?.watches) return;
    const kept = running().map((run) => ({
      id: run.watch.id,
      ms: elapsed(run),
      at: Date.now(),
      revision: run.revision,
      count: run.count,
      noticed: run.noticed,
    }));
    const watches = { me, exam: location.pathname, runs: kept };
    try {
      history.replaceState(kept.length ? { watches } : null, "");
    } catch {
      // Some browsers refuse it when it is done often; the next second tells it again.
    }
  }

  // A clock that was set back in between gives less time, never less than had passed.
  function resume({ id, ms, at, revision, count, noticed }) {
    const watch = byId(id);
    if (!all.includes(watch)) return;
    const now = performance.now();
    const began = now - ms - Math.max(0, Date.now() - at);
    const run = { watch, began, revision, count, tapped: now, noticed, asks: false };
    runs[slotOf(watch)] = run;
    tell(words("Still runs: {named}.", { named: watch.dataset.named }));
    changed(run);
  }

  const kept = history.state?.watches;
  if (kept?.me === me && kept.exam === location.pathname) kept.runs.forEach(resume);
  tick();

  addEventListener("popstate", keep); // a link within the page is another place in the history
  document.addEventListener("visibilitychange", () => (document.hidden ? keep() : tick()));
  document.addEventListener("unlocked", tick);
  addEventListener("beforeunload", (event) => {
    keep();
    if (running().length) event.preventDefault();
  });
  document.addEventListener("exam-closed", () => {
    ended = null;
    for (const run of running()) finish(run, "");
    for (const watch of all) view.paint(watch);
  });
})();
