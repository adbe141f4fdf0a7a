// The racks stay fresh while somebody looks: what changes is fetched again, and nothing moves under a finger.
"use strict";
(function () {
  const EVERY = 30000, PATIENCE = 10000; // ms
  let fresh, live, shown, waiting = false, timer = 0;
  function begin() {
    fresh = document.getElementById("fresh");
    live = document.getElementById("live");
    shown = live && live.innerHTML;
  }
  begin();
  if (!fresh || !live) return;
  document.addEventListener("redrawn", begin); // rush.js

  function key(element) {
    const row = element.closest("[data-row]");
    return row && { row: row.dataset.row, at: Array.from(row.querySelectorAll("a, summary")).indexOf(element) };
  }
  function put(html) {
    if (html === shown) return;
    shown = html;
    const focus = live.contains(document.activeElement) ? document.activeElement : null;
    const kept = focus && key(focus), href = focus && focus.getAttribute("href");
    const open = Array.from(live.querySelectorAll("details[open][data-key]"), function (one) { return one.dataset.key; });
    // the row at the top of the screen stays where it is, whatever comes or goes above it
    const rows = Array.from(live.querySelectorAll("[data-row]"));
    const top = rows.find(function (row) { return row.getBoundingClientRect().bottom > 0; });
    const before = top && top.getBoundingClientRect().top, name = top && top.dataset.row;
    live.innerHTML = html;
    live.querySelectorAll("details[data-key]").forEach(function (one) { one.open = open.includes(one.dataset.key); });
    if (focus) {
      const row = kept && live.querySelector('[data-row="' + kept.row + '"]');
      const again = row ? row.querySelectorAll("a, summary")[kept.at] : href && live.querySelector('[href="' + href + '"]');
      if (again) again.focus({ preventScroll: true });
    }
    const same = name && live.querySelector('[data-row="' + name + '"]');
    if (same) scrollBy(0, same.getBoundingClientRect().top - before);
  }
  function say(late) {
    fresh.classList.toggle("late", Boolean(late));
    fresh.querySelectorAll(".silent").forEach(function (one) { one.remove(); });
    if (!late) return;
    const words = document.createElement("strong");
    words.className = "silent";
    words.textContent = late;
    fresh.append(words);
  }
  function ask() {
    clearTimeout(timer);
    timer = setTimeout(ask, EVERY);
    if (document.hidden || waiting) return;
    waiting = true;
    const stop = new AbortController(), patience = setTimeout(function () { stop.abort(); }, PATIENCE);
    const asked = fresh;
    fetch(asked.dataset.from, { signal: stop.signal, credentials: "same-origin", cache: "no-store" }).then(function (answer) {
      const at = Number(answer.headers.get("X-As-Of"));
      if (answer.redirected || !answer.ok || !at) {
        say(inWords("The server answers, but not with the racks: open the page again."));
        return null;
      }
      return answer.text().then(function (html) {
        if (asked !== fresh) return; // drawn anew meanwhile
        const from = new DOMParser().parseFromString(html, "text/html").body;
        const clock = answer.headers.get("X-Clock");
        put(from.innerHTML);
        if (clock) fresh.querySelector(".as-of").textContent = fresh.dataset.words.replace("{}", clock);
        say("");
      });
    }).catch(function () {
      say(inWords("The shop's server does not answer. What stands here is old."));
    }).finally(function () {
      clearTimeout(patience);
      waiting = false;
    });
  }
  timer = setTimeout(ask, EVERY);
  document.addEventListener("visibilitychange", function () { if (!document.hidden) ask(); });
  window.addEventListener("online", ask);
})();
