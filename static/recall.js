// What a recall still lacks is fetched when the page stands, and put in its place; without this the page's own link does the same.
"use strict";
(function () {
  const waits = document.querySelector("[data-work-out]");
  if (!waits || !window.fetch || !window.DOMParser) return;
  const told = document.createElement("p");
  told.className = "told";
  told.textContent = inWords("It is being worked out now and appears here by itself.");
  const byHand = waits.querySelector(".by-hand");
  byHand.hidden = true;
  byHand.before(told);

  function failed() {
    told.textContent = inWords("It could not be fetched. What stands here is not complete; ask for it again.");
    byHand.hidden = false;
  }

  fetch(waits.dataset.workOut, { credentials: "same-origin" }).then(function (answer) {
    if (!answer.ok) throw new Error(answer.status);
    return answer.text();
  }).then(function (text) {
    const page = new DOMParser().parseFromString(text, "text/html");
    const parts = ["list", "account"].map(function (id) { return [document.getElementById(id), page.getElementById(id)]; });
    // A page that lacks something still, or is another one, replaces nothing.
    if (page.querySelector("[data-work-out]") || parts.some(function (part) { return !part[0] || !part[1]; })) return failed();
    parts.forEach(function (part) {
      const before = part[0], after = part[1];
      before.querySelectorAll("details[data-tier]").forEach(function (tier) {
        const same = after.querySelector('details[data-tier="' + tier.dataset.tier + '"]');
        if (same) same.open = tier.open; // as it was left
      });
      before.replaceWith(after);
    });
    const said = document.createElement("p");
    said.className = "note go";
    said.setAttribute("role", "status");
    document.querySelector("#list h2").after(said);
    said.textContent = inWords("The list is complete now.");
  }).catch(failed);
})();
