// The scan box: keeps the focus, knows a hand scanner by its speed, and says by word, colour, sound and vibration what came of it.
"use strict";
(function () {
  const header = document.getElementById("scan");
  const box = document.querySelector("[data-scan-here]") || header;
  const writable = "input, textarea, select, [contenteditable]";
  const inUse = "a, button, summary, label, option, [tabindex]," + writable;
  const LEAST = 6, PAUSE = 150, FAST = 55; // characters; ms between two; ms a character on average: no hand types like that
  const STALL = 2000; // ms a scanner on a poor radio may stop in the middle of a label
  const NO_NUMBER = /[\p{L}:(\/]/u, WITH_UNIT = /^\s*[\d.,]+\s*\p{L}{1,3}\s*$/u; // no number holds these, but a hand may type "148 kg"
  const BEGINS = /^(https?:|\p{L}{2}-?\p{L}-?\d|\(\d)/iu; // a whole label's beginning
  const OURS = /(?:^|[^\p{L}\d])\p{L}{2}-?([LGFCZUP])-?\d\d-?\d{5}-?[\p{L}\d](?:\?.*)?$/iu; // one of our labels, and its kind
  const PRINTED = new RegExp("^https?\\P{L}.*" + OURS.source, "iu"); // as our labels say it, in any keyboard's layout: no hand types an address
  const FITS = 18; // characters of the words in the box of a phone
  const LARGEST = 20e6; // bytes of a photograph that the server looks at
  const TWICE = 2000; // ms in which the same scan again is the scanner's echo

  let usual = "", until = 0; // what the box says, but for the moment after a scan
  function invite(words) {
    usual = words.length > FITS && matchMedia("(max-width: 26rem)").matches ? header.dataset.short : words;
    if (!header.classList.contains("heard")) header.placeholder = usual;
  }
  if (header) invite(header.placeholder);
  document.addEventListener("redrawn", function (event) { if (header && event.detail) invite(event.detail); }); // rush.js

  function kept(store, name) {
    try { return JSON.parse(store.getItem(name)); } catch (_) { return null; }
  }
  function keep(store, name, value) {
    try { store.setItem(name, JSON.stringify(value)); } catch (_) { /* full or forbidden: a comfort less */ }
  }
  function focusBox() {
    if (!box) return;
    box.focus({ preventScroll: true });
    if (box === header && header.value) header.select(); // what was read wrong is replaced by the next scan, not added to
  }

  if (header && header.value) { // a browser puts the focus there before or after this script runs
    if (document.activeElement === header) header.select();
    else header.addEventListener("focus", function () { header.select(); }, { once: true });
  }

  // -- the focus -------------------------------------------------------------------------------------------------------------
  if (box && box === header && matchMedia("(pointer: coarse)").matches) {
    // The box waits for a scanner without the keyboard on the screen; a finger on the box brings the keyboard.
    box.inputMode = "none";
    box.addEventListener("pointerdown", function () { box.inputMode = "text"; });
    box.addEventListener("blur", function () { box.inputMode = "none"; });
  }
  document.addEventListener("click", function (event) {
    if (event.target.closest(inUse) || String(getSelection())) return;
    focusBox();
  });

  // -- a hand scanner types fast and ends with Enter or Tab ---------------------------------------------------------------
  let run = null;
  document.addEventListener("keydown", function (event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    let field = document.activeElement;
    if (event.key.length === 1) {
      if (!field || !(field.matches(writable) || (field.matches("button") && event.key !== " " && hasPlaces(field.form)))) {
        if (!box || (field && field.matches("summary, button, a") && event.key === " ")) return;
        focusBox();
        field = box;
      }
      const since = run && event.timeStamp - run.last;
      if (!run || run.field !== field || !(since <= PAUSE || run.foreign || (since <= STALL && isFast(run))))
        run = { field: field, before: field.dataset.before ?? field.value, text: "", took: 0, late: 0 };
      else if (since > STALL) run.late = run.text.length;
      else if (since <= PAUSE) run.took += since;
      run.text += event.key;
      run.last = event.timeStamp;
      if (isMute(field)) run.foreign = true; // no hand types there: a scan however slowly it comes
      if (isNumber(field) && NO_NUMBER.test(event.key)) {
        run.foreign = true;
        field.dataset.before = run.before; // sending.js keeps this, not the half of a label
      }
      return;
    }
    if (event.key !== "Enter" && event.key !== "Tab") {
      if (event.key !== "Shift" && event.key !== "CapsLock" && event.key !== "Dead") run = null;
      return;
    }
    const ended = run && run.field === field ? run : null;
    run = null;
    if (field && isNumber(field) && NO_NUMBER.test(field.value)) { // a scan however slowly it came, and never sent with the form
      if ((WITH_UNIT.test(field.value) && !(ended && isFast(ended))) || (event.key === "Tab" && !(ended && ended.foreign))) return;
      const before = field.dataset.before || "", value = field.value;
      let code = ended && ended.foreign ? ended.text : value.startsWith(before) ? value.slice(before.length) : value;
      if (ended && ended.late && BEGINS.test(code.slice(ended.late))) code = code.slice(ended.late); // scanned once more from its beginning
      scanned(event, { field: field, before: before, text: code });
    } else if (ended && isMute(field)) {
      if (ended.text.length >= LEAST && event.timeStamp - ended.last <= STALL) {
        if (ended.late && BEGINS.test(ended.text.slice(ended.late))) ended.text = ended.text.slice(ended.late);
        scanned(event, ended);
      }
    } else if (ended && event.timeStamp - ended.last <= PAUSE && isFast(ended)) scanned(event, ended);
    else if (ended && field === header && event.key === "Tab" && PRINTED.test(field.value)) scanned(event, ended); // a radio far from its base: the next label would lie over this one
  }, true);
  function isMute(field) { // what takes no letters, so that a scan there would vanish
    return field.matches("button, input[type=radio], input[type=checkbox], input[type=file]");
  }
  function isNumber(field) { // a PIN is none: what was typed there is shown nowhere
    return field.type !== "password" && (field.inputMode === "decimal" || field.inputMode === "numeric");
  }
  function isFast(one) {
    return one.text.length >= LEAST && one.took / (one.text.length - 1) <= FAST;
  }
  document.addEventListener("input", function (event) {
    if (!NO_NUMBER.test(event.target.value)) delete event.target.dataset.before;
  });

  function scanned(event, ended) {
    const field = ended.field;
    if (field === header) {
      byScanner();
      if (event.key === "Tab") {
        event.preventDefault();
        header.form.requestSubmit();
      }
    } else if (field.hasAttribute("data-scan-here")) {
      if (!field.dispatchEvent(new CustomEvent("scanned", { detail: field.value, cancelable: true }))) event.preventDefault(); // the page took it
    } else if (field.matches("textarea")) {
      if (event.key === "Tab") {
        event.preventDefault();
        field.setRangeText("\n", field.selectionStart, field.selectionEnd, "end");
      }
    } else if (!takesWords(field) || (box && box !== header && field.form === box.form && OURS.test(ended.text))) {
      // The focus stood in a weight, a choice or a date: what was scanned is meant for another field or the scan box, and what stood there stays.
      event.preventDefault();
      if (!header) return;
      if (!isMute(field)) {
        field.value = ended.before;
        for (const changed of ["input", "change"]) field.dispatchEvent(new Event(changed, { bubbles: true }));
      }
      if (box !== header && !box.dispatchEvent(new CustomEvent("scanned", { detail: ended.text, cancelable: true }))) return; // the page took it
      if (!header.form.elements.from && putInto(field.form, ended.text, field)) return; // a page with a use of its own for scans says where it is
      header.value = ended.text;
      byScanner();
      header.form.requestSubmit();
    } else if (field.form && field.form !== (header && header.form)) {
      // A code scanned into its field does not send the form that is still being filled in.
      event.preventDefault();
      goOnAfter(field);
    }
  }
  function takesWords(field) {
    return field.matches("input, textarea") && !isMute(field) && !isNumber(field) && !/^(password|date|time|month|week)/.test(field.type);
  }

  // -- a label that was scanned elsewhere in a form goes to the field that takes its kind -------------------------------------
  function places(form) {
    return form && (!header || form !== header.form) ? [...form.querySelectorAll("[data-kinds]")].filter(isSeen) : [];
  }
  function hasPlaces(form) { return places(form).length > 0; }
  function isSeen(one) { return one.checkVisibility ? one.checkVisibility() : one.offsetParent; }
  function putInto(form, code, from) {
    const all = places(form), ours = OURS.exec(code), kind = ours ? ours[1].toUpperCase() : "";
    const fits = kind ? all.filter((one) => one.dataset.kinds.includes(kind)) : [];
    const choice = "UZ".includes(kind || "-") && chosenBy(form, ours[0]);
    const empty = (one) => !one.value.trim() || one.matches("textarea");
    const place = fits.find(empty) || fits[0] || choice || (kind !== "P" && all.find(empty));
    if (!place) return false;
    if (place === choice) {
      if (place.matches("option")) place.selected = true;
      else place.checked = true;
    } else if (place.matches("textarea")) place.value = (place.value.trim() ? place.value.trimEnd() + "\n" : "") + code + "\n";
    else place.value = code;
    for (const changed of ["input", "change"]) place.dispatchEvent(new Event(changed, { bubbles: true }));
    place.scrollIntoView({ block: "nearest" });
    const row = place.closest(".group");
    if (row && row !== from.closest(".group")) goOnAfter(place); // what is typed next is of what was scanned, not of the row before
    say("go", told("go", short(code)));
    return true;
  }
  function goOnAfter(field) {
    const fields = [...field.form.elements].filter((one) => one.offsetParent && one.matches(writable + ", button.main"));
    const next = fields[fields.indexOf(field) + 1];
    if (next) next.focus();
  }
  function chosenBy(form, label) { // a line or a zone that is picked, not typed
    const item = label.replace(/\?.*$/, "").replace(/[^\p{L}\d]/gu, "").toUpperCase();
    return [...form.querySelectorAll("input[type=radio], option")].find((one) => one.value === item && isSeen(one.closest("select, label")));
  }
  function byScanner() {
    let by = header.form.elements.by;
    if (!by) {
      by = document.createElement("input");
      by.type = "hidden";
      by.name = "by";
      header.form.append(by);
    }
    by.value = "scanner";
  }

  // -- the same once more is ignored, unless something else was done in between --------------------------------------------
  if (header) {
    header.form.addEventListener("submit", function (event) {
      const photo = header.form.querySelector("[type=file]");
      if (photo && photo.value) return;
      const code = header.value.trim(), before = kept(sessionStorage, "scan"), now = Date.now();
      if (code && before && before.code === code && now - before.at < TWICE) {
        event.preventDefault();
        header.value = "";
        say("look", inWords("The same again: ignored"));
        return;
      }
      keep(sessionStorage, "scan", { code: code, at: now });
      keep(sessionStorage, "asked", { words: short(code), at: now });
    });
    const photo = header.form.querySelector("[type=file]");
    if (photo) photo.addEventListener("change", function () {
      const page = document.getElementById("page"), old = page.querySelector(":scope > .too-large");
      if (old) old.remove();
      if (!photo.files.length) return;
      if (photo.files[0].size > LARGEST) { // said here, where the next scan is read as before, and before it travels
        const words = document.createElement("p");
        words.className = "note hold too-large";
        words.setAttribute("role", "alert");
        words.textContent = inWords("This photograph has {size} MB; at most {most} MB are taken. Take it at a lower resolution, or type the ID below the code.", { size: (photo.files[0].size / 1e6).toFixed(1), most: LARGEST / 1e6 });
        page.prepend(words);
        words.scrollIntoView({ block: "nearest" });
        photo.value = "";
        say("stop", "");
        return;
      }
      keep(sessionStorage, "asked", { words: inWords("the photograph"), at: Date.now() });
      header.placeholder = inWords("Reading the photograph …");
      header.value = "";
      header.form.requestSubmit();
    });
  }
  document.addEventListener("pointerdown", function () { sessionStorage.removeItem("scan"); });
  document.addEventListener("submit", function (event) {
    shake(30);
    if (!header || event.target !== header.form) keep(sessionStorage, "asked", { words: "", at: Date.now() });
  });
  function short(code) {
    return code.replace(/^.*[\/]/, "").slice(0, 24);
  }

  // -- what came of it: word, colour, sound, vibration -----------------------------------------------------------------------
  const TONES = { // hertz, seconds; up for go, level for look, low and long for stop
    go: [[880, .07], [1320, .1]], look: [[660, .1], [660, .1]], stop: [[196, .28], [147, .4]],
  };
  const SHAKES = { go: 50, look: [60, 60, 60], stop: [250, 80, 250] };

  function say(look, words) {
    if (header && words) {
      clearTimeout(until);
      header.placeholder = words;
      header.classList.remove("go", "look", "stop");
      header.classList.add("heard", look);
      until = setTimeout(function () {
        header.placeholder = usual;
        header.classList.remove("heard", look);
      }, 3000);
    }
    shake(SHAKES[look]);
    document.documentElement.dataset.heard = look;
    if (kept(localStorage, "sound") !== false) sound(look);
  }
  function shake(how) { // a browser shakes only after a touch on this very page
    if (navigator.vibrate && navigator.userActivation && navigator.userActivation.hasBeenActive) navigator.vibrate(how);
  }
  function told(look, code) {
    return { go: inWords("Read:"), look: inWords("Look:"), stop: inWords("Stop:") }[look] + " " + code;
  }
  document.addEventListener("heard", function (event) { // a page's own script: a look, or a look and the code
    const look = event.detail.look || event.detail, code = event.detail.code;
    say(look, code ? told(look, short(code)) : "");
  });
  function sound(look) {
    const Audio = window.AudioContext || window.webkitAudioContext;
    if (!Audio) return;
    try {
      const audio = new Audio();
      let at = audio.currentTime + .02;
      TONES[look].forEach(function (tone) {
        const wave = audio.createOscillator(), loud = audio.createGain();
        wave.type = look === "stop" ? "square" : "sine";
        wave.frequency.value = tone[0];
        loud.gain.setValueAtTime(look === "stop" ? .12 : .25, at);
        loud.gain.setTargetAtTime(0, at + tone[1] - .02, .01);
        wave.connect(loud).connect(audio.destination);
        wave.start(at);
        wave.stop(at + tone[1] + .05);
        at += tone[1] + .05;
      });
      setTimeout(function () { audio.close(); }, 1500);
    } catch (_) { /* no loudspeaker: word and colour have said it */ }
  }

  const asked = kept(sessionStorage, "asked");
  sessionStorage.removeItem("asked");
  if (asked && Date.now() - asked.at < 30000) {
    const stop = document.querySelector("main .trouble[role=alert], main .fill .trouble, main .error, main .note.hold, main .verdict.stop, main .verdict.hold");
    const look = stop ? "stop" : document.querySelector("main > .note.look, main .trouble, main .choose") ? "look" : "go";
    say(look, asked.words && told(look, asked.words));
  }

  // -- scans that wait for their own page (rush.js) are said on every other ----------------------------------------------------
  let left = [];
  try { left = Object.keys(localStorage).filter((name) => name.startsWith("scans:") && name !== "scans:" + location.pathname + location.search); } catch (_) { /* forbidden: none is kept */ }
  left.forEach(function (name) {
    const one = kept(localStorage, name) || { queue: [] };
    if (!one.queue.length) return;
    const place = document.createElement("p"), words = document.createElement("span"), link = document.createElement("a");
    place.className = "note look left-behind";
    words.textContent = inWords("Scanned on another page and not written down yet: {codes}", { codes: one.queue.map((scan) => short(scan.code)).join(", ") });
    link.className = "button";
    link.href = name.slice("scans:".length);
    link.textContent = inWords("Go there");
    place.append(words, link);
    document.getElementById("page").prepend(place);
  });

  // -- the switch for the sound ------------------------------------------------------------------------------------------------
  const foot = document.querySelector("body > footer");
  if (foot && header && (window.AudioContext || window.webkitAudioContext)) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet sound";
    const show = function () {
      button.textContent = kept(localStorage, "sound") === false ? inWords("Sound is off") : inWords("Sound is on");
    };
    button.addEventListener("click", function () {
      keep(localStorage, "sound", kept(localStorage, "sound") === false);
      show();
      if (kept(localStorage, "sound")) sound("go");
    });
    show();
    foot.append(button);
  }
})();
