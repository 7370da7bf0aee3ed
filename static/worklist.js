// Keeps the worklist as the clinic is: asks every few seconds what is new, as an open sheet does.
// The line that has the focus keeps it, and stays where it is on the screen.
"use strict";
(() => {
  const groups = document.getElementById("groups");
  if (!window.htmx || !groups) return;

  const alerts = document.getElementById("alerts");
  let place = null; // [id of a line, where it stood] before an answer is put in

  const { later, isLocked } = keepAsking({
    element: groups,
    everyMs: 5000,
    lost: words("No answer: what stands here may have changed."),
    ended: words("What is new is no longer shown: load the page again."),
  });

  document.body.addEventListener("htmx:configRequest", (event) => {
    const { parameters } = event.detail;
    parameters.alerts = document.querySelector("[data-alerts]").dataset.alerts;
    parameters.groups = document.querySelector("[data-groups]").dataset.groups;
  });

  // ---- an answer

  // The line that has the focus, else the first that is in sight below the alerts.
  function held() {
    const focused = document.activeElement.closest?.("#groups a, #alerts a");
    if (focused) return focused;
    const top = Math.max(0, alerts.getBoundingClientRect().bottom);
    return [...groups.querySelectorAll("a")].find((each) => each.getBoundingClientRect().top >= top);
  }

  document.body.addEventListener("htmx:beforeSwap", (event) => {
    // A press would fall between two lines, and behind the lock screen nobody can tell what had
    // the focus; the next answer brings the same.
    if (isLocked() || groups.matches(":active") || alerts.matches(":active")) {
      event.detail.shouldSwap = false;
      return;
    }
    const line = held();
    place = line && { id: line.id, top: line.getBoundingClientRect().top };
    if (place) place.hadFocus = line === document.activeElement;
  });
  document.body.addEventListener("htmx:afterSettle", () => {
    if (!place) return;
    const { id, top, hadFocus } = place;
    place = null;
    const line = document.getElementById(id) ?? document.getElementById(id.replace("alert-", "exam-"));
    // At the very top the emergencies come into sight instead.
    if (line && scrollY > 0) scrollBy(0, line.getBoundingClientRect().top - top);
    if (!hadFocus || document.activeElement === line) return;
    (line ?? document.getElementById("exams-title")).focus({ preventScroll: true });
  });

  // htmx listens from then on.
  document.addEventListener("DOMContentLoaded", later);
})();
