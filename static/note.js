// Copies the note. The clipboard's own interface exists only over https and on this machine.
"use strict";
document.getElementById("copy").addEventListener("click", async (event) => {
  const note = document.getElementById(event.target.dataset.copies);
  const says = document.getElementById("copied");
  let copied = false;
  try {
    await navigator.clipboard.writeText(note.textContent);
    copied = true;
  } catch {
    getSelection().selectAllChildren(note);
    copied = document.execCommand("copy");
  }
  says.textContent = copied
    ? words("Copied.")
    : words("The browser did not copy it: mark the text and copy it.");
});
