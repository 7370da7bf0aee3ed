// Says at once when the chosen files are too large, instead of sending them to be refused.
"use strict";

const chosen = document.getElementById("files");
chosen.addEventListener("change", () => {
  const size = [...chosen.files].reduce((sum, file) => sum + file.size, 0);
  const fault =
    size > Number(chosen.dataset.mostBytes)
      ? words("These files are larger than {most} MB together.", { most: chosen.dataset.mostMb })
      : "";
  chosen.setCustomValidity(fault);
  document.getElementById("files-fault").textContent = fault;
});
