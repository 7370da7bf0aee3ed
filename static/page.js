// Runs before the page is drawn, so that what only a script can serve is shown only with it.
"use strict";
document.documentElement.classList.add("js");
