// Asks the server again and again what is new, for an open sheet and for the worklist: not where
// nobody looks or the screen is locked, and less often where there is no answer.
"use strict";
(() => {
  const LONGEST_MS = 30000; // between two questions to a server that does not answer

  const isLocked = () => document.querySelector("body > .lock-screen") !== null;

  // element: htmx asks by it on "look". isFree: whether nothing else brings the answer already.
  // lost: what is said where there is no answer; ended: where there will be none.
  window.keepAsking = ({ element, everyMs, isFree = () => true, lost, ended }) => {
    let wait = everyMs;
    let next = 0;
    let isStopped = false;

    const isWatched = () => !document.hidden && !isStopped && !isLocked();

    function later() {
      clearTimeout(next);
      if (isWatched()) next = setTimeout(ask, wait);
    }

    function ask() {
      later();
      if (isWatched() && isFree() && !element.matches(".htmx-request")) {
        htmx.trigger(element, "look");
      }
    }

    function goOn() {
      isStopped = false;
      wait = everyMs;
      ask();
    }

    function tell(says) {
      const line = document.getElementById("no-updates");
      if (line.textContent !== says) line.textContent = says;
    }

    document.body.addEventListener("htmx:afterRequest", (event) => {
      if (event.detail.elt !== element) return;
      const { status } = event.detail.xhr;
      const isAnswered = status > 0 && status < 400;
      isStopped = status >= 400 && status < 500;
      wait = isAnswered ? everyMs : Math.min(2 * wait, LONGEST_MS);
      if (isAnswered) tell("");
      else if (!isStopped) tell(lost);
      // Where nobody is signed in the page says so itself, and goes on when somebody is.
      else if (status !== 401) tell(ended);
      later();
    });
    document.addEventListener("visibilitychange", () => isWatched() && ask());
    document.addEventListener("unlocked", goOn);
    addEventListener("online", goOn);

    return { ask, later, isLocked, goOnIfStopped: () => isStopped && goOn() };
  };
})();
