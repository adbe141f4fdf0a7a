// Scans taken in the page, one after the other: no page loads between two, so none is lost however fast they come. What waits is kept
// on this device under its page's address until the book has it; sent again, it carries the same request, which the book does once.
"use strict";
(function () {
  const box = document.getElementById("scan"), main = document.getElementById("page");
  if (!box) return;
  const PATIENCE = 20000, AGAIN = 3000, SLOW = 700; // ms: for an answer; until asked again; until what is on its way is shown
  const QUIET = 250, LONGEST = 2000; // ms: no key for so long, or so long in all, before the page is drawn anew
  const ALONE = 5000; // ms since the scan before: no rush, so one that leads to another page is followed
  const SHIFT = 12 * 3600 * 1000, SHOWN = 3;
  const from = box.form.elements.from, panel = made("section", "scans");
  let queue = [], at = here(), busy = false, late = false, leaving = false, halt = null, last = 0, keyed = 0, timer = 0, taken = 0, drawn = 0; // the last two: how many were taken, and how many of them the page shows

  function here() { return location.pathname + location.search; }
  function who() {
    const named = document.querySelector("[data-who]");
    return named ? named.dataset.who : "";
  }
  function made(tag, look, words) {
    const one = document.createElement(tag);
    one.className = look || "";
    if (words) one.textContent = words;
    return one;
  }
  function button(words, does, look) {
    const one = made("button", look, words);
    one.type = "button";
    one.addEventListener("click", does);
    return one;
  }
  function heard(look, code) { document.dispatchEvent(new CustomEvent("heard", { detail: { look: look, code: code } })); }

  // -- what waits ------------------------------------------------------------------------------------------------------------
  function kept(address) {
    try { return JSON.parse(localStorage.getItem("scans:" + address)) || { queue: [] }; } catch (_) { return { queue: [] }; }
  }
  function keep(address, more, gone) { // another window of the same page may keep its own there
    const all = kept(address).queue.filter((one) => !(gone || queue).some((other) => other.request === one.request)).concat(more);
    try {
      if (all.length) localStorage.setItem("scans:" + address, JSON.stringify({ from: from.value, who: who(), queue: all }));
      else localStorage.removeItem("scans:" + address);
    } catch (_) { /* full or forbidden: the page still holds them */ }
  }
  function save() { keep(at, queue); }
  function forget(one) {
    const before = queue;
    queue = queue.filter((other) => other !== one);
    keep(at, queue, before);
  }
  function move(address) { // what is scanned from here on belongs to this address, also after the page is loaded again
    if (!address || address === at) return save();
    keep(at, []);
    const same = address.split("?")[0] === location.pathname;
    at = address;
    history[same ? "replaceState" : "pushState"](null, "", address);
    save();
  }

  // -- taking ----------------------------------------------------------------------------------------------------------------
  document.addEventListener("keydown", function () { keyed = performance.now(); }, true);
  box.form.addEventListener("submit", function (event) {
    const photo = box.form.querySelector("[type=file]"), by = box.form.elements.by;
    if (event.defaultPrevented || (photo && photo.value)) return;
    event.preventDefault();
    const code = box.value.trim(), now = Date.now();
    box.value = "";
    if (by) by.remove();
    sessionStorage.removeItem("asked"); // no page comes that would answer it
    if (!code) return; // a scanner that ends with two keys
    const request = [...crypto.getRandomValues(new Uint8Array(16))].map((one) => one.toString(16).padStart(2, "0")).join("");
    queue.push({ code: code, by: by ? "scanner" : "", request: request, when: now, alone: now - last > ALONE });
    last = now;
    save();
    if (halt || late) heard("look", code);
    if (halt && halt.badge && /(^|\/)\p{L}{2}-?P-?\d/iu.test(code)) { // who works here was asked, and this says it
      queue.unshift(queue.pop());
      halt = null;
    }
    next();
  });
  document.addEventListener("submit", function (event) {
    if (!main.contains(event.target) || !queue.length) return;
    event.preventDefault();
    show(inWords("Scans still wait here. Let them be read first, then send this."));
    heard("look", "");
    panel.scrollIntoView({ block: "center" });
  }, true);

  async function next() {
    show();
    if (busy || halt || leaving) return;
    if (!queue.length) return draw();
    busy = true;
    clearTimeout(timer);
    const one = queue[0], slow = setTimeout(show, SLOW);
    const before = from.value.split(":")[0];
    let kind, where, notes;
    try {
      const waited = Math.max(0, Math.round((Date.now() - one.when) / 1000));
      const body = new URLSearchParams({ csrf_token: box.form.elements.csrf_token.value, from: from.value, code: one.code, by: one.by, request: one.request, waited: waited });
      const answer = await fetch("/scan/take", { method: "POST", body: body, credentials: "same-origin", signal: AbortSignal.timeout(PATIENCE) });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      kind = answer.headers.get("X-Scan");
      where = answer.headers.get("X-Go-To");
      notes = [...(kind ? page.body.children : page.querySelectorAll("main .trouble"))];
      if (!kind && !page.querySelector("main")) throw new Error("not one of our answers");
      if (kind === "taken") from.value = answer.headers.get("X-From");
    } catch (_) { // no connection: what was scanned waits
      if (!late) heard("look", one.code);
      late = true;
      timer = setTimeout(next, AGAIN);
    }
    clearTimeout(slow);
    busy = false;
    if (notes) answered(one, kind, where, notes, before);
    else show();
  }
  function answered(one, kind, where, notes, before) {
    late = false;
    const alone = kind === "elsewhere" && queue.length === 1 && (one.alone || !one.by);
    if (kind !== "taken" && !alone) {
      halt = { notes: notes, where: where, badge: where === "/who", again: kind ? next : () => location.reload() };
      if (!notes.length) halt.notes = [made("p", "", inWords("The server answers, but not as it should: open the page again."))];
      show();
      heard("stop", one.code);
      return draw();
    }
    forget(one);
    if (alone) {
      leaving = true;
      location.assign(where);
      return;
    }
    move(where);
    taken++;
    const stop = notes.some((note) => note.matches(".hold")), look = notes.some((note) => note.matches(".look"));
    heard(stop ? "stop" : look ? "look" : "go", one.code);
    if (before !== from.value.split(":")[0]) came.splice(0, came.length, ...came.filter((note) => !note.matches(".go"))); // what they said to do next is done
    came.unshift(...notes);
    came.length = Math.min(came.length, SHOWN);
    next();
  }

  // -- what is shown: what asks for a touch, what waits, what came of the last ones ---------------------------------------------
  const came = [];
  function codes(all) {
    return all.map((one) => one.code.replace(/^.*\//, "").slice(0, 24).replace(/^([A-Z]{2})([A-Z]\d\d)(\d{5})(\w)$/i, "$1-$2-$3-$4").toUpperCase()).join(", ");
  }
  function show(words) {
    const parts = [], waiting = halt && !halt.all ? queue.slice(1) : queue;
    if (halt) {
      const place = made("div", "note hold stopped"), glyph = halt.notes.map((note) => note.querySelector(".glyph.stop")).find(Boolean), inside = made("div"), actions = made("p", "actions");
      place.setAttribute("role", "alert");
      if (!halt.all) inside.append(made("p", "which", inWords("Stopped at {code}", { code: codes(queue.slice(0, 1)) })));
      inside.append(...halt.notes.map((note) => note.querySelector("p, span") && !note.matches(".held") ? made("p", "", note.textContent.trim()) : note));
      if (!halt.all) actions.append(button(inWords("Leave it out and go on"), function () { goOn(true); }, "main"), button(inWords("Try it again"), function () { goOn(false); }));
      else actions.append(button(inWords("Send them now"), function () { goOn(false); }, "main"), button(inWords("Leave them out"), function () { queue.slice().forEach(forget); goOn(false); }));
      if (halt.where) actions.append(Object.assign(made("a", "button", halt.badge ? inWords("Who works here?") : inWords("Open it")), { href: halt.where }));
      inside.append(actions);
      if (glyph) place.append(glyph.cloneNode(true));
      place.append(inside);
      parts.push(place);
    }
    if (words) parts.push(made("p", "note look", words));
    if (waiting.length) {
      const said = halt && halt.all ? "{codes}" : halt ? inWords("Waiting until this is settled: {codes}") : late
        ? inWords("No connection. Kept here and sent as soon as there is one: {codes}") : inWords("Being sent: {codes}");
      if (halt || late || busy) {
        const place = made("p", "note look waiting"), inside = made("span"), [before, after] = said.split("{codes}");
        inside.append(before, ...waiting.flatMap((one, n) => [n ? ", " : "", made("b", "whole", codes([one]))]), after);
        place.append(inside);
        parts.push(place);
      }
    }
    panel.replaceChildren(...parts, ...came);
    if (panel.firstChild && !panel.isConnected) main.prepend(panel);
  }
  function goOn(without) {
    const again = halt.again;
    halt = null;
    if (without) forget(queue[0]);
    if (!without && again) again();
    else next();
  }

  // -- the page, drawn anew where it stands ---------------------------------------------------------------------------------------
  async function draw() {
    if (drawn === taken || busy || (queue.length && !halt)) return;
    const where = at, shows = taken;
    try {
      const answer = await fetch(where, { credentials: "same-origin", cache: "no-store", signal: AbortSignal.timeout(PATIENCE) });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (!answer.ok || answer.redirected || !page.getElementById("page")) throw new Error("not this page");
      const since = performance.now();
      while (performance.now() - keyed < QUIET && performance.now() - since < LONGEST) await new Promise((over) => setTimeout(over, 50));
      if (shows !== taken || drawn === taken || busy || (queue.length && !halt)) return; // another was taken meanwhile: drawn after it
      put(page);
      drawn = shows;
    } catch (_) {
      setTimeout(draw, AGAIN);
    }
  }
  function fields() { // each field of the page under a name of its own
    const seen = {};
    return [...main.querySelectorAll("input, textarea, select")].filter((one) => one.name && !["hidden", "file"].includes(one.type)).map(function (one) {
      const picked = one.type === "radio" || one.type === "checkbox", name = [one.form && one.form.getAttribute("action"), one.name, picked && one.value].join(" ");
      return [name + " " + (seen[name] = (seen[name] || 0) + 1), one, picked ? "checked" : "value"];
    });
  }
  function asDrawn(one, what) {
    if (what === "checked") return one.defaultChecked;
    return one.options ? ([...one.options].find((option) => option.defaultSelected) || one.options[0] || {}).value : one.defaultValue;
  }
  function put(page) {
    const typed = new Map(fields().filter(([, one, what]) => one[what] !== asDrawn(one, what)).map(([name, one, what]) => [name, one[what]]));
    const focus = main.contains(document.activeElement) && !panel.contains(document.activeElement) && document.activeElement.id;
    const open = [...main.querySelectorAll("details")].map((one) => one.open), anew = page.getElementById("page"), top = scrollY;
    const words = page.getElementById("scan"), person = page.querySelector(".top .who"), stood = document.querySelector(".top .who");
    main.replaceChildren(...main.querySelectorAll(":scope > .left-behind"), ...(panel.firstChild ? [panel] : []), ...anew.childNodes);
    main.className = anew.className;
    document.title = page.title;
    if (person && stood) stood.replaceWith(person);
    if (words) box.dataset.short = words.dataset.short;
    document.dispatchEvent(new CustomEvent("redrawn", { detail: words ? words.placeholder : "" }));
    fields().forEach(function ([name, one, what]) { if (typed.has(name)) one[what] = typed.get(name); }); // what was typed meanwhile stays
    const folded = main.querySelectorAll("details");
    if (folded.length === open.length) folded.forEach((one, n) => { one.open = one.open || open[n]; });
    if (focus && document.getElementById(focus)) document.getElementById(focus).focus({ preventScroll: true });
    scrollTo(0, top);
  }

  // -- once more ------------------------------------------------------------------------------------------------------------------
  addEventListener("online", function () { if (late) next(); });
  addEventListener("popstate", () => location.reload());
  addEventListener("pageshow", function (event) { if (event.persisted) location.reload(); });
  const before = kept(at);
  if (before.queue.length) {
    queue = before.queue;
    from.value = before.from;
    if ((before.who && before.who !== who()) || Date.now() - queue[0].when > SHIFT) {
      const when = new Date(queue[0].when).toLocaleString(document.documentElement.lang, { dateStyle: "medium", timeStyle: "short", hourCycle: "h23", timeZone: main.dataset.zone || undefined });
      halt = { all: true, notes: [made("p", "", inWords("Scanned here and not sent, since {when}: {who}", { when: when, who: before.who || "–" }))] };
    }
    taken++;
    next();
  }
})();
