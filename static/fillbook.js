// Small comforts; every page works without them.
"use strict";
// What a script says: in the page's language where /static/words.js brought it, else as it stands here. Places stand in braces.
function inWords(text, places) {
  const said = (window.ourWords && window.ourWords[text]) || text;
  return places ? said.replace(/\{(\w+)\}/g, function (all, name) { return name in places ? places[name] : all; }) : said;
}
(function () {
  // A form that is on its way is not sent again by a second touch; the book would answer it once anyhow.
  document.addEventListener("submit", function (event) {
    const form = event.target;
    if (event.defaultPrevented) return;
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

  // A new book's time zone: this device's own, rather than one that shifts every hour unnoticed.
  const zone = document.querySelector('form[action="/setup"] [name="timezone"]');
  const ours = Intl.DateTimeFormat().resolvedOptions().timeZone;
  if (zone && zone.value === "UTC" && ours && !document.querySelector(".trouble")) zone.value = ours;

  // An ID can be copied where the browser allows it.
  if (navigator.clipboard) {
    document.querySelectorAll("[data-copy]").forEach(function (place) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "copy";
      button.textContent = inWords("copy");
      button.addEventListener("click", function () {
        navigator.clipboard.writeText(place.dataset.copy).then(function () {
          button.textContent = inWords("copied");
          setTimeout(function () { button.textContent = inWords("copy"); }, 1500);
        });
      });
      place.append(button);
    });
  }
})();
