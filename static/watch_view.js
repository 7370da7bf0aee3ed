// What the watches show: their buttons and numbers, what is said of them, and what runs out of sight.
// Nothing is spoken with every tick; start, stop and the value that lands are, and the reminder.
"use strict";
(() => {
  const WORDS = {
    stopwatch: [words("Start the watch"), words("Stop")],
    count: [words("Start the watch"), words("Runs")],
    reminder: [words("Stands now"), words("End")],
  };
  const RUNS = {
    hand: (named) => words("Watch runs: {named}", { named }),
    standing: (named) => words("Reminder runs: {named}", { named }),
  };

  const byId = (id) => document.getElementById(id);
  const part = (watch, name) => watch.querySelector(`.watch-${name}`);
  const slotOf = (watch) => (watch.dataset.watch === "reminder" ? "standing" : "hand");
  const secondsOf = (watch) => watch.dataset.seconds.split(" ").filter(Boolean).map(Number);
  const elapsed = (run) => Math.max(0, performance.now() - run.began);

  // What stands there already is not said again.
  function say(element, says) {
    if (element && element.textContent !== says) element.textContent = says;
  }

  function tell(says) {
    refuse("");
    say(byId("watch-heard"), says);
  }

  function refuse(says) {
    say(byId("watch-refused"), says);
  }

  function notice(says) {
    say(byId("watch-alert"), says);
    byId("watch-noticed").hidden = !says;
  }

  function timeOf(run) {
    const seconds = elapsed(run) / 1000;
    const { watch: kind } = run.watch.dataset;
    if (kind === "stopwatch") return ` ${Math.floor(seconds)} s`;
    if (kind === "count") return ` ${Math.max(0, Math.ceil(secondsOf(run.watch)[0] - seconds))} s`;
    return ` ${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;
  }

  // runOf: what runs of a watch. ended: the watch whose count has landed and can be mended.
  window.watchView = ({ runOf, ended }) => {
    function paint(watch) {
      const { dataset } = watch;
      const run = runOf(watch);
      const isMended = watch === ended();
      const isOver = isMended || Boolean(run?.asks);
      const isCount = dataset.watch === "count";
      watch.classList.toggle("is-running", Boolean(run));
      watch.classList.toggle("is-open", Boolean(run) || isMended);
      part(watch, "more").hidden = !run && !isMended;
      part(watch, "press").ariaDisabled = run && isCount ? "true" : null;
      say(part(watch, "word"), WORDS[dataset.watch][run ? 1 : 0]);
      say(part(watch, "time"), run ? timeOf(run) : "");
      say(part(watch, "discard-word"), isMended ? words("Done") : words("Discard"));
      part(watch, "discard").hidden = slotOf(watch) === "standing";
      part(watch, "record").hidden = !run?.asks;
      say(part(watch, "record-word"), words("Record {count}", { count: run?.count }));
      const unseen = words("The time ended while nobody saw it; {count} were counted until then.", {
        count: run?.count,
      });
      say(part(watch, "note"), run?.asks ? unseen : "");
      if (part(watch, "count")) paintCount(watch, run, isMended, isOver);
    }

    function paintCount(watch, run, isMended, isOver) {
      const { cell, counted } = watch.dataset;
      part(watch, "count").ariaDisabled = isOver ? "true" : null;
      part(watch, "add").hidden = !isMended;
      const landed = () => byId(cell).querySelector("input[type=text]")?.value ?? "";
      say(part(watch, "number"), isMended ? landed() : String(run?.count ?? 0));
      say(part(watch, "count-word"), isOver ? words("Time is over") : words("Count one {counted}", { counted }));
    }

    // What runs out of sight is named below the head of the page.
    const sights = new IntersectionObserver((seen) => {
      for (const { target, isIntersecting } of seen) {
        const watch = target.closest(".watch");
        if (runOf(watch)) byId(`watch-${slotOf(watch)}`).hidden = isIntersecting;
      }
    }, { rootMargin: "-64px 0px" });

    function follow(watch) {
      const slot = slotOf(watch);
      const button = byId(`watch-${slot}`);
      if (runOf(watch)) {
        button.textContent = RUNS[slot](watch.dataset.named);
        sights.observe(part(watch, "press"));
      } else {
        sights.unobserve(part(watch, "press"));
        button.hidden = true;
      }
    }

    return { byId, part, slotOf, secondsOf, elapsed, tell, refuse, notice, paint, follow };
  };
})();
