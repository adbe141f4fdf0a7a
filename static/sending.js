// What was typed is never lost: it is kept on this device until the book has it, and a form that could not be sent says so in
// words. Sent again, it carries the same request, which the book does once.
"use strict";
(function () {
  const TOO_LONG = 20000; // ms without an answer
  const LARGEST = 24 * 1024 * 1024; // bytes the server takes at once
  const SLOW = 60; // seconds from the first touch of the button to an answer that are nothing to speak of
  const SHIFT = 12 * 3600 * 1000; // ms after which what was kept is nobody's any more
  const UNKEPT = ["csrf_token", "saw", "about", "pin", "shop"];
  const OURS = "main form.verb[method=post]";
  const forms = [...document.querySelectorAll(OURS)];
  const alive = document.querySelector("link[rel=icon]");
  const gone = new WeakSet(); // forms on their way: what was typed in them is kept as sent, or the book has it
  let connected = navigator.onLine !== false;

  const key = (form) => "typed:" + new URL(form.getAttribute("action"), location).pathname;
  function load(name) {
    try { return JSON.parse(localStorage.getItem(name)); } catch (_) { return null; }
  }
  function store(name, value) {
    try { localStorage.setItem(name, JSON.stringify(value)); } catch (_) { /* no room: the page still holds it */ }
  }
  function typed(form) {
    const found = {};
    for (const one of form.elements) {
      if (!one.name || UNKEPT.includes(one.name) || one.disabled || ["hidden", "password", "file", "submit", "button"].includes(one.type)) continue;
      if ((one.type === "radio" || one.type === "checkbox") && !one.checked) continue;
      if (one.tagName === "BUTTON") continue;
      (found[one.name] = found[one.name] || []).push(one.dataset.before ?? one.value); // scan.js: a label is being scanned into a number
    }
    return found;
  }
  function read(form) { // what labels said (dock.js), which no field shows
    return [...form.querySelectorAll("input[type=hidden][data-keep]")].map((one) => [one.name, one.value]);
  }
  function put(form, said) {
    const at = {};
    for (const one of form.elements) {
      if (!one.name || !(one.name in said) || ["hidden", "password", "file"].includes(one.type) || one.tagName === "BUTTON") continue;
      if (one.type === "radio" || one.type === "checkbox") one.checked = said[one.name].includes(one.value);
      else one.value = said[one.name][at[one.name] = (at[one.name] ?? -1) + 1] ?? one.value;
      const more = one.closest("details");
      if (more && one.value && one.type !== "radio" && one.tagName !== "SELECT") more.open = true;
    }
  }
  function note(form, look, words) {
    let place = form.querySelector(".kept");
    if (!place) {
      place = document.createElement("div");
      form.prepend(place);
    }
    place.className = "kept note " + look;
    place.setAttribute("role", look === "hold" ? "alert" : "status");
    place.replaceChildren(Object.assign(document.createElement("span"), { textContent: words }));
    return place;
  }
  function button(place, words, does) {
    const made = Object.assign(document.createElement("button"), { type: "button", textContent: words });
    made.addEventListener("click", does);
    place.append(made);
    return made;
  }

  // -- keeping ---------------------------------------------------------------------------------------------------------------
  const asDrawn = new Map();
  function save(form, sent) {
    const said = typed(form), codes = read(form), untouched = !sent && !codes.length && JSON.stringify(said) === asDrawn.get(form);
    form.dispatchEvent(new CustomEvent("typed", { detail: { said: untouched ? null : said, sent: !!sent } })); // drafts.js keeps it for other devices
    if (untouched) return localStorage.removeItem(key(form));
    const who = document.querySelector("[data-who]");
    store(key(form), { said: said, read: codes, request: form.elements.request && form.elements.request.value, sent: !!sent, at: Date.now(), pressed: sent && form.dataset.pressed, who: who ? who.dataset.who : "", opened: form.elements.opened_by && form.elements.opened_by.value });
  }
  const arrived = sessionStorage.getItem("sent"), sentTo = sessionStorage.getItem("sent to");
  sessionStorage.removeItem("sent");
  const went = performance.getEntriesByType("navigation")[0];
  const answers = !(went && went.type === "back_forward") && document.getElementById("page").dataset.answered; // the address of the form it answers
  const wrong = (form) => form.querySelector(".trouble, .error") || document.querySelector("main > .trouble");
  if (arrived) { // a form went the browser's own way; a page that answers it says so, a page gone back to does not
    const same = forms.find((form) => key(form) === arrived);
    if ((answers && answers === sentTo) || (same ? wrong(same) : document.querySelector("main > .trouble")) || document.querySelector("main > .note[role=status]")) localStorage.removeItem(arrived);
  }
  forms.forEach(function (form) {
    watch(form);
    const before = load(key(form));
    if (before && Date.now() - before.at > SHIFT) localStorage.removeItem(key(form));
    else if (before && !wrong(form) && (before.sent || (before.read || []).length || JSON.stringify(before.said) !== asDrawn.get(form))) restore(form, before);
    else if (read(form).length) save(form);
  });
  document.addEventListener("redrawn", function () { // rush.js: the page's forms are others now
    forms.splice(0, forms.length, ...document.querySelectorAll(OURS));
    forms.forEach(watch);
  });
  function watch(form) {
    if (form.dataset.waited) form.dataset.pressed = Date.now() - form.dataset.waited * 1000; // it came late, and was asked about
    asDrawn.set(form, JSON.stringify(typed(form)));
    form.addEventListener("take", function (event) { // what was typed on another device
      const stood = typed(form);
      put(form, event.detail.said);
      save(form);
      const place = note(form, "look", inWords("Taken over from {name}: look it over before you send it.", { name: event.detail.name }));
      if (JSON.stringify(stood) === asDrawn.get(form)) return;
      button(place, inWords("Put back what stood here"), function () {
        put(form, stood);
        place.remove();
        event.detail.back();
        save(form);
      });
    });
    form.addEventListener("drawn", function () { asDrawn.set(form, JSON.stringify(typed(form))); }); // anew, by what its label said (dock.js)
    form.addEventListener("forget", function () { forget(form); });
    let waiting;
    ["input", "change"].forEach((kind) => form.addEventListener(kind, function () {
      clearTimeout(waiting);
      gone.delete(form);
      waiting = setTimeout(function () { if (!gone.has(form)) save(form); }, 100);
    }));
  }
  function forget(form) {
    gone.add(form);
    localStorage.removeItem(key(form));
  }
  addEventListener("pagehide", () => forms.forEach((form) => { if (!gone.has(form)) save(form); }));

  function clock(at) { // as every other time of the pages: the shop's zone, 24 hours
    const how = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" }, zone = document.getElementById("page").dataset.zone;
    try {
      return new Date(at).toLocaleTimeString("en-GB", { ...how, timeZone: zone || undefined });
    } catch (_) { // a zone this browser does not know
      return new Date(at).toLocaleTimeString("en-GB", how);
    }
  }
  function restore(form, before) {
    put(form, before.said);
    form.dataset.read = JSON.stringify(before.read || []); // for dock.js, which runs after this
    if (before.sent && before.request && form.elements.request) form.elements.request.value = before.request;
    if (before.sent && before.opened && form.elements.opened_by) form.elements.opened_by.value = before.opened; // whoever sends it again is asked who did it
    if (!before.sent) form.dataset.restored = "typed";
    else if (before.pressed) form.dataset.pressed = before.pressed;
    const when = clock(before.at), whose = when + (before.who ? " (" + before.who + ")" : "");
    const place = note(form, "look", before.sent
      ? inWords("This was sent at {when} and no answer came. Send it again: it is written down only once.", { when })
      : ((before.read || []).length ? inWords("Kept from {when}: scanned or typed on this device and not booked in.", { when: whose }) : inWords("Kept from {when}: typed on this device and not sent.", { when: whose })));
    asOf(form, place);
    button(place, inWords("Clear it"), function () {
      forget(form);
      const cleared = { said: null, sent: false };
      form.dispatchEvent(new CustomEvent("typed", { detail: cleared }));
      Promise.race([cleared.until, new Promise(function (over) { setTimeout(over, cleared.until ? 2000 : 0); })]).then(function () { location.reload(); });
    });
  }

  // What is over once its button is touched is written down as of then, however long it takes until the book hears of it.
  function waited(form) { return Math.max(0, Math.round((Date.now() - (form.dataset.pressed || Date.now())) / 1000)); }
  function asOf(form, place) {
    if (form.hasAttribute("data-as-of") && form.dataset.pressed && !(form.elements.at && form.elements.at.value))
      place.firstChild.textContent += " " + inWords("It is written down as of {when}.", { when: clock(Number(form.dataset.pressed)) });
  }
  function carry(form) {
    const now = waited(form), old = form.querySelector("input[name=waited]");
    if (old) old.remove();
    if (!form.hasAttribute("data-as-of") || now < SLOW) return;
    form.append(Object.assign(document.createElement("input"), { type: "hidden", name: "waited", value: now }));
  }

  // -- the connection ----------------------------------------------------------------------------------------------------------
  function isConnected(yes) {
    connected = yes;
    document.documentElement.classList.toggle("cut-off", !yes);
    document.querySelectorAll(".kept.unsent > span").forEach(function (place) {
      if (!yes) return;
      place.textContent = inWords("The connection is back. Send it now: it is written down only once.");
      asOf(place.closest("form"), place.parentElement);
    });
  }
  addEventListener("offline", () => isConnected(false));
  addEventListener("online", look);
  function look() {
    if (document.visibilityState !== "visible") return;
    fetch(alive.href, { method: "HEAD", cache: "no-store", signal: AbortSignal.timeout(5000) })
      .then(() => isConnected(true), () => isConnected(false));
  }
  const looking = forms.length ? setInterval(look, 10000) : 0;

  // -- sending -----------------------------------------------------------------------------------------------------------------
  document.addEventListener("submit", function (event) {
    const form = event.target;
    if (event.defaultPrevented || !forms.includes(form)) return;
    const files = [...form.elements].filter((one) => one.type === "file" && one.files).flatMap((one) => [...one.files]);
    if (files.reduce((sum, one) => sum + one.size, 0) > LARGEST) { // said before minutes of sending, not after
      event.preventDefault();
      delete form.dataset.sent;
      note(form, "hold", inWords("What was chosen is larger than 24 MB, more than is taken at once. Choose a smaller file, or split it and send its parts.")).scrollIntoView({ block: "center" });
      return;
    }
    // A button that goes elsewhere (to read a supplier's label, to show a face) asks for the page again and does not do the form.
    const elsewhere = event.submitter && event.submitter.hasAttribute("formaction");
    if (!elsewhere) {
      form.dataset.pressed = form.dataset.pressed || Date.now();
      carry(form);
    }
    save(form, !elsewhere);
    gone.add(form);
    if (elsewhere || (connected && !form.hasAttribute("data-stay"))) {
      sessionStorage.setItem("sent", key(form));
      sessionStorage.setItem("sent to", new URL(elsewhere ? event.submitter.formAction : form.action).pathname);
      return; // the browser's own way
    }
    event.preventDefault();
    send(form, event.submitter);
  });

  async function send(form, submitter) {
    const said = new FormData(form);
    if (submitter && submitter.name) said.append(submitter.name, submitter.value);
    const main = submitter || form.querySelector("button.main");
    const words = main && main.innerHTML;
    const slow = setTimeout(function () { if (main) main.textContent = inWords("Sending …"); }, 400);
    form.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(form.action, { method: "POST", body: said, headers: { "X-Stay": "yes" }, signal: AbortSignal.timeout(TOO_LONG) });
      const where = answer.headers.get("X-Go-To");
      if (where) {
        localStorage.removeItem(key(form));
        location.assign(new URL(where, location));
        return;
      }
      const page = await answer.text();
      if (!page.includes("<main")) throw new Error("not one of our pages");
      localStorage.removeItem(key(form));
      clearInterval(looking);
      document.open();
      document.write(page);
      document.close();
    } catch (_) {
      clearTimeout(slow);
      if (main) main.innerHTML = words;
      form.removeAttribute("aria-busy");
      delete form.dataset.sent;
      unsent(form, submitter);
    }
  }
  function unsent(form, submitter) {
    const place = note(form, "hold", navigator.onLine === false
      ? inWords("Not sent: this device has no connection. What you typed is kept on it, also when this page is closed. Send it again when the connection is back: it is written down only once.")
      : inWords("No answer came from the book. What you typed is kept on this device, also when this page is closed. Send it again: it is written down only once, even if it had arrived."));
    place.classList.add("unsent");
    asOf(form, place);
    form.dispatchEvent(new CustomEvent("typed", { detail: { said: typed(form), sent: false } })); // for other devices, should this one end here
    document.dispatchEvent(new CustomEvent("heard", { detail: "stop" }));
    const again = button(place, inWords("Send again"), () => {});
    again.type = "submit";
    if (submitter && submitter.name) Object.assign(again, { name: submitter.name, value: submitter.value });
    again.focus();
    place.scrollIntoView({ block: "center" });
  }
})();
