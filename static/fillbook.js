// Small comforts; every page works without them.
"use strict";
(function () {
  const scan = document.getElementById("scan");
  const writable = "input, textarea, select, [contenteditable]";

  // What a hand scanner types lands in the scan box, unless a field of a form is in use.
  document.addEventListener("keydown", function (event) {
    if (!scan || event.ctrlKey || event.metaKey || event.altKey || event.key.length !== 1) return;
    const there = document.activeElement;
    if (there && there !== document.body && there.matches(writable)) return;
    if (there && there.matches("summary, button, a") && event.key === " ") return;
    scan.focus();
  });

  // A form that is on its way is not sent again by a second touch; the book would answer it once anyhow.
  document.addEventListener("submit", function (event) {
    const form = event.target;
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "yes";
    setTimeout(function () { delete form.dataset.sent; }, 4000);
  });
  window.addEventListener("pageshow", function () {
    document.querySelectorAll("form[data-sent]").forEach(function (form) { delete form.dataset.sent; });
  });

  // An ID can be copied where the browser allows it.
  if (navigator.clipboard) {
    document.querySelectorAll("[data-copy]").forEach(function (place) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "copy";
      button.textContent = "copy";
      button.addEventListener("click", function () {
        navigator.clipboard.writeText(place.dataset.copy).then(function () {
          button.textContent = "copied";
          setTimeout(function () { button.textContent = "copy"; }, 1500);
        });
      });
      place.append(button);
    });
  }
})();
