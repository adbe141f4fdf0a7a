// While there is a connection, what was typed at a tire and not sent is kept on the server too, so that another device can take it
// over; and what others typed is said here. Nothing is filled in unseen. Without a connection the device keeps it alone.
"use strict";
(function () {
  const form = document.querySelector("main form.verb[data-draft]"), place = document.getElementById("drafts");
  if (!form || !place) return;
  const AFTER = 700, AGAIN = 10000, PATIENCE = 8000; // ms: after the last key; when it did not get there; for an answer
  let unkept, timer = 0; // unkept: what the server does not have yet; undefined where it has all
  const taken = "took:" + form.dataset.draft;
  let took = JSON.parse(sessionStorage.getItem(taken) || "[]"); // the drafts taken over here: they are not offered any more
  let flight = Promise.resolve(); // one after the other: what was typed first never arrives last

  form.addEventListener("typed", function (event) { // sending.js says so
    clearTimeout(timer);
    if (!event.detail.said) keepTook([]);
    if (event.detail.sent) {
      unkept = undefined; // it is on its way into the book, which forgets the draft
      return;
    }
    unkept = event.detail.said ? JSON.stringify(took.length ? { ...event.detail.said, took: took } : event.detail.said) : "";
    if (event.detail.said) timer = setTimeout(tell, AFTER);
    else event.detail.until = tell(); // cleared
  });
  setInterval(function () { if (!document.hidden) tell(); }, AGAIN);
  addEventListener("pagehide", function () { keep(true); });
  document.addEventListener("visibilitychange", function () {
    if (document.hidden) keep(true); // at once: the page may be gone in a moment
    else flight = flight.then(function () { return send(false); }); // others may have typed meanwhile
  });

  function keepTook(marks) {
    took = marks;
    try { sessionStorage.setItem(taken, JSON.stringify(took)); } catch (_) { /* full: offered once more, no worse */ }
  }
  function tell() {
    clearTimeout(timer);
    flight = flight.then(function () { return keep(false); });
    return flight;
  }
  function keep(last) {
    return unkept === undefined ? null : send(last);
  }
  function send(last) { // what was typed, if anything new was; the answer says what others typed
    const said = unkept, body = new FormData();
    body.append("csrf_token", form.elements.csrf_token.value);
    if (said !== undefined) body.append("said", said);
    return fetch(form.dataset.draft, { method: "POST", body: body, keepalive: last, signal: AbortSignal.timeout(PATIENCE) }).then(function (answer) {
      if (answer.status < 500 && unkept === said) unkept = undefined; // kept, or refused: then the device alone keeps it
      return answer.ok && !answer.redirected ? answer.text() : null;
    }).then(function (html) {
      if (html !== null) show(html);
    }).catch(function () { /* no connection: again in a while */ });
  }
  function show(html) {
    const anchor = form.contains(document.activeElement) ? document.activeElement : form;
    const before = anchor.getBoundingClientRect().top;
    if (place.innerHTML.trim() !== html.trim()) place.innerHTML = html;
    ready();
    scrollBy(0, anchor.getBoundingClientRect().top - before); // nothing moves under a finger
  }
  function ready() {
    place.querySelectorAll("button[data-said]").forEach(function (button) {
      button.hidden = false;
      button.onclick = function () {
        const said = JSON.parse(button.dataset.said), before = took;
        keepTook([button.dataset.mark].concat(said.took || [], took).slice(0, 12));
        form.dispatchEvent(new CustomEvent("take", { detail: { said: said, name: button.dataset.name, back: function () { keepTook(before); } } }));
      };
    });
  }
  ready();
  if (form.dataset.restored) form.dispatchEvent(new Event("input")); // typed here before, perhaps without a connection
})();
