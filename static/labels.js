// Pages of labels: how far a job is, and what a form would give, shown while one types. Every page works without it.
"use strict";
(function () {
  // A part of the page that is asked for again every second, as long as it says so.
  function again() {
    const part = document.querySelector("[data-again]");
    if (!part) return;
    setTimeout(function () {
      fetch(part.dataset.again, { credentials: "same-origin" })
        .then(function (answer) { return answer.ok ? answer.text() : Promise.reject(); })
        .then(function (text) {
          const made = new DOMParser().parseFromString(text, "text/html").body.firstElementChild;
          if (made) part.replaceWith(made);
          again();
        })
        .catch(function () { setTimeout(again, 3000); });
    }, 800);
  }
  again();

  // A form with data-look is sent there, a moment after something changed; the answer stands in the place data-shows names.
  document.querySelectorAll("form[data-look]").forEach(function (form) {
    const place = document.getElementById(form.dataset.shows);
    let waiting = 0, asked = 0;
    function look() {
      const mine = ++asked;
      place.setAttribute("aria-busy", "true");
      fetch(form.dataset.look, { method: "POST", body: new FormData(form), credentials: "same-origin" })
        .then(function (answer) { return answer.text(); })
        .then(function (text) {
          if (mine !== asked) return;
          const made = new DOMParser().parseFromString(text, "text/html").getElementById(form.dataset.shows);
          if (!made) return;
          place.replaceChildren.apply(place, Array.from(made.childNodes));
          place.removeAttribute("aria-busy");
          // A file that was sent once is kept for this form; it is not sent again with every letter typed.
          const kept = place.querySelector("[data-keeps]");
          if (kept) {
            form.elements[kept.dataset.keeps].value = kept.dataset.kept;
            form.querySelectorAll("input[type=file]").forEach(function (file) { file.value = ""; });
          }
        })
        .catch(function () { place.removeAttribute("aria-busy"); });
    }
    function later() { clearTimeout(waiting); waiting = setTimeout(look, 350); }
    if (form.querySelector(".kept")) look(); // what was typed here before is back
    form.addEventListener("input", later);
    form.addEventListener("change", later);
  });
})();
(function () {
  // A photograph is sent as soon as it is taken; a file that is too large is said before it travels.
  document.addEventListener("change", function (event) {
    const file = event.target;
    if (file.type !== "file" || !file.files.length) return;
    const most = Number(file.dataset.most || 24 * 1024 * 1024);
    const size = file.files[0].size;
    const old = file.parentNode.querySelector(".error");
    if (old) old.remove();
    if (size > most) {
      const words = document.createElement("p");
      words.className = "error";
      words.setAttribute("role", "alert");
      words.textContent = inWords("This file is {size} MB; at most {most} MB are taken. Save it smaller, then choose it again.", { size: (size / 1e6).toFixed(1), most: Math.floor(most / 1e6) });
      file.after(words);
      file.value = "";
      event.stopImmediatePropagation();
      return;
    }
    if (file.dataset.sends) {
      file.form.requestSubmit(document.getElementById(file.dataset.sends));
    }
  }, true);
})();
