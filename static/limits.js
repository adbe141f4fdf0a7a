// Limits: a word finds one among the fifty; choosing one in the form brings its unit, its value in force and its reason.
"use strict";
(function () {
  const all = document.getElementById("all-limits"), find = document.getElementById("find-limit");
  if (all && find) {
    const parts = [...all.querySelectorAll("details.part")].map((part) => ({ part: part, open: part.open, rows: [...part.querySelectorAll("li")] }));
    find.parentElement.hidden = false;
    find.addEventListener("input", function () {
      const words = find.value.toLowerCase().split(/\s+/).filter(Boolean);
      let found = 0;
      parts.forEach(function (one) {
        let here = 0;
        one.rows.forEach(function (row) {
          const text = (one.part.firstElementChild.textContent + " " + row.textContent).toLowerCase();
          row.hidden = !words.every((word) => text.includes(word));
          here += !row.hidden;
        });
        one.part.hidden = !here;
        one.part.open = words.length ? true : one.open;
        found += here;
      });
      all.querySelector(".none").hidden = found > 0;
    });
  }

  const form = document.querySelector("main form.verb"), choose = form && form.elements.limit, field = (name) => form.elements[name].closest(".field");
  if (!choose || choose.tagName !== "SELECT") return;
  let last = 0;
  choose.addEventListener("change", function () {
    const mine = ++last;
    fetch("/do/set-limit?limit=" + encodeURIComponent(choose.value), { signal: AbortSignal.timeout(5000) }).then((answer) => answer.text()).then(function (page) {
      const there = new DOMParser().parseFromString(page, "text/html").querySelector("main form.verb");
      if (!there || mine !== last) return;
      const number = form.elements.to.value;
      field("to").replaceWith(there.elements.to.closest(".field"));
      form.elements.to.value = number;
      const why = there.elements.limit.closest(".field").querySelector(".hint"), before = field("limit").querySelector(".hint");
      if (why && before) before.replaceWith(why);
    }).catch(function () { /* no connection: the value is typed with its unit, as the field says */ });
  });
})();
