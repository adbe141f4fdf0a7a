// The dock: the supplier's codes are read in the page, one after the other. No page loads between two, so no scan loses its beginning.
// What was read, and what waits to be, lies on the device with what was typed (sending.js) until the lot is booked in.
"use strict";
(function () {
  const box = document.getElementById("supplier-code");
  if (!box) return;
  const form = box.form, header = document.getElementById("scan");
  const PATIENCE = 20000, AGAIN = 3000, QUIET = 200, LONGEST = 2000; // ms: for an answer; until asked again; no key for so long, or so long in all, before the form is drawn anew
  const READ = ["codes", "refused"]; // hidden fields: what was read, and what lacks its beginning
  const queue = []; // what is to be read: a code, a photograph, a code to leave out ({ without }), or (null) once more what was read before this page was opened
  let busy = false, keyed = 0, missed = [];

  document.addEventListener("keydown", function () { keyed = performance.now(); }, true);
  function take(one) {
    queue.push(one);
    waits();
    next();
  }
  function hide(name, value) {
    form.append(Object.assign(document.createElement("input"), { type: "hidden", name: name, value: value }));
    form.lastChild.dataset.keep = "";
  }
  function hidden(name) { return [...form.querySelectorAll("input[type=hidden][data-keep]")].filter(function (one) { return !name || one.name === name; }); }
  function waits() { // what is not read yet is kept, too; of a photograph only that there was one
    hidden("waiting").concat(hidden("photographed")).forEach(function (one) { one.remove(); });
    queue.forEach(function (one) {
      if (typeof one === "string") hide("waiting", one);
      else if (one instanceof File) hide("photographed", one.name);
    });
    form.dispatchEvent(new Event("input"));
  }
  box.addEventListener("scanned", function (event) { // scan.js says so, wherever the scanner typed it
    event.preventDefault();
    box.value = "";
    if (event.detail.trim()) take(event.detail.trim());
  });
  form.addEventListener("submit", function (event) {
    if (event.submitter && event.submitter.id === "read-it") {
      const photo = form.elements.photo;
      event.preventDefault();
      take(photo.files[0] || box.value.trim());
      photo.value = box.value = "";
    } else if (event.submitter && event.submitter.name === "without") {
      event.preventDefault();
      take({ without: event.submitter.value });
    } else if (queue.length) {
      event.preventDefault();
      say("look", inWords("A code of this label is still being read. Look over what it fills in, then book it in."));
    }
  });
  if (header) header.form.addEventListener("submit", function (event) {
    const by = header.form.elements.by;
    if (event.defaultPrevented || !by || by.value !== "scanner") return;
    event.preventDefault();
    by.remove();
    take(header.value.trim());
    header.value = "";
  });

  async function next() {
    if (busy || !queue.length) return;
    busy = true;
    const one = queue[0], again = one === null, body = again ? new FormData() : new FormData(form), before = again ? new Map() : stands();
    if (again) { // the codes alone: what stood in the fields is put over what they say
      for (const input of form.querySelectorAll("input[type=hidden]")) if (!/^(from-|was-)/.test(input.name)) body.append(input.name, input.value);
    }
    for (const name of ["photo", "waiting", "photographed"]) body.delete(name);
    body.set("code", typeof one === "string" ? one : "");
    if (one instanceof File) body.set("photo", one);
    if (one && one.without) body.set("without", one.without);
    try {
      const answer = await fetch("/dock/read", { method: "POST", body: body, credentials: "same-origin", signal: AbortSignal.timeout(PATIENCE) });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html"), trouble = page.querySelector("main .trouble p");
      if (!page.querySelector("main")) throw new Error("not one of our pages");
      await quiet();
      queue.shift();
      waits();
      if (page.getElementById("supplier-label")) put(page, before);
      else say("stop", trouble ? trouble.textContent : page.querySelector("main").textContent);
    } catch (_) { // no connection: what was scanned waits
      say("look", inWords("No answer came yet. Kept here, and read as soon as one comes: {codes}", { codes: hidden("codes").filter(function () { return again; }).map(function (all) { return all.value; }).concat(queue.filter(Boolean).map(function (all) { return all.name || all.without || all; })).join(", ") }));
      setTimeout(function () { busy = false; next(); }, AGAIN);
      return;
    }
    busy = false;
    next();
  }
  async function quiet() {
    const since = performance.now();
    while (performance.now() - keyed < QUIET && performance.now() - since < LONGEST) await new Promise(function (over) { setTimeout(over, 50); });
  }

  // What stands in each field; of one that is picked, whether it is.
  function fields(of) {
    const seen = {};
    return [...of.elements].filter(function (one) { return one.name && one !== box && !["hidden", "file", "submit", "button"].includes(one.type); }).map(function (one) {
      const picked = one.type === "radio" || one.type === "checkbox", name = one.name + (picked ? "=" + one.value : "");
      return [name + " " + (seen[name] = (seen[name] || 0) + 1), one, picked ? "checked" : "value"];
    });
  }
  function stands() {
    return new Map(fields(form).map(function (one) { return [one[0], one[1][one[2]]]; }));
  }
  function put(page, before) {
    const now = stands(), focus = document.activeElement, inside = form.contains(focus), caret = inside && focus !== box && focus.selectionEnd;
    const open = [...form.querySelectorAll("details")].map(function (one) { return one.open; });
    const scanning = inside && focus.dataset.before, made = page.querySelector("main form.verb");
    const kept = form.querySelector(".kept"), old = document.getElementById("codes-read"), read = page.getElementById("codes-read");
    if (old) old.remove();
    if (read) document.querySelector("main h1").after(read);
    form.replaceChildren(...made.childNodes);
    document.getElementById("supplier-code").replaceWith(box);
    if (kept) form.prepend(kept);
    form.querySelectorAll("details").forEach(function (one, n) { one.open = one.open || open[n]; });
    form.dispatchEvent(new CustomEvent("drawn")); // sending.js: what stands here now was not typed
    fields(form).forEach(function (one) { // what was typed meanwhile stays
      if (now.has(one[0]) && now.get(one[0]) !== before.get(one[0])) one[1][one[2]] = now.get(one[0]);
    });
    waits();
    if (inside) {
      const again = focus.id && focus.id !== "read-it" && document.getElementById(focus.id) || box;
      again.focus({ preventScroll: true });
      if (again !== box && scanning !== undefined) again.dataset.before = scanning;
      if (again !== box && typeof caret === "number" && again.setSelectionRange) again.setSelectionRange(caret, caret);
    }
    const label = document.getElementById("supplier-label");
    const look = label.querySelector(".error, .note.hold") ? "stop" : label.querySelector(".note.look") ? "look" : "go";
    document.dispatchEvent(new CustomEvent("heard", { detail: look }));
    const wrong = label.querySelector(".error");
    if (wrong && queue.length) missed.push(wrong.textContent);
    if (!wrong && missed.length) say("", missed.join(" ")); // the next scan of the same rush does not wipe it off
    if (!queue.length) missed = [];
  }
  function say(look, words) {
    const label = document.getElementById("supplier-label"), place = label.querySelector("#read-trouble") || document.createElement("p");
    place.id = "read-trouble";
    place.className = "error";
    place.setAttribute("role", "alert");
    place.textContent = words;
    label.querySelector(".field").append(place);
    if (look) document.dispatchEvent(new CustomEvent("heard", { detail: look }));
  }

  // -- what was read before this page was closed ---------------------------------------------------------------------------------
  form.addEventListener("click", function (event) {
    if (event.target.closest("#supplier-label a[href='/dock']")) form.dispatchEvent(new CustomEvent("forget")); // begin anew
  });
  const before = JSON.parse(form.dataset.read || "[]");
  if (before.length) {
    const own = hidden("codes").map(function (one) { return one.value; }), photographs = before.filter(function (one) { return one[0] === "photographed"; });
    hidden().forEach(function (one) { one.remove(); });
    before.forEach(function (one) { if (!["waiting", "photographed"].includes(one[0])) hide(one[0], one[1]); });
    if (before.some(function (one) { return READ.includes(one[0]); })) queue.push(null);
    queue.push(...before.filter(function (one) { return one[0] === "waiting"; }).map(function (one) { return one[1]; }));
    queue.push(...own.filter(function (code) { return !before.some(function (one) { return one[1] === code; }); })); // photographed at the top of another page
    if (photographs.length) missed.push(inWords("A photograph was not read before the page was closed, and is not kept: take it again."));
    waits();
    next();
    if (missed.length && !queue.length) say("look", missed.join(" "));
  }
})();
