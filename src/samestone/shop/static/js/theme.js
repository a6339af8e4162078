// Runs before the page is drawn: the chosen light, and whether the counter is covered.
"use strict";
(() => {
  const root = document.documentElement;
  root.dataset.theme = localStorage.getItem("theme") || "light";
  if (sessionStorage.getItem("covered")) root.classList.add("covered");
})();
