"use strict";
// The page on which finds are noted: what is noted goes into the queue first, then to the server.

(() => {
  const form = document.getElementById("find");
  const words = form.dataset;
  const status = document.getElementById("status");
  const refused = document.getElementById("refused");
  const KEPT = ["block", "row", "person", "dug_on", "depth_cm", "by_lot"]; // the next vine is near
  const AGAIN_MS = 10000;
  const LARGEST_BYTES = Number(words.largest);
  let correcting = null;
  let sending = false;

  function makeId() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 0x0f) | 0x40; // version 4 [RFC-9562]
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = [...bytes].map((one) => one.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  }

  function say(text) {
    status.textContent = text;
    status.hidden = !text;
  }

  async function show(outcome) {
    const every = await findsQueue.list();
    const waiting = every.filter((one) => !one.refused).length;
    const because = { "signed out": words.signIn, "of another": words.ofAnother }[outcome] || "";
    const count = waiting === 1 ? words.one : words.several.replace("{count}", waiting);
    const waited = Number(document.body.dataset.waiting); // the worker may have sent them
    if (waiting) say(`${count} ${because}`.trim());
    else if (outcome === "sent" || waited) say(every.length ? "" : words.sent);
    refused.replaceChildren(...every.filter((one) => one.refused).map(describe));
    refused.hidden = !refused.children.length;
    document.body.dataset.waiting = waiting;
  }

  function describe(item) {
    const line = document.createElement("li");
    const told = document.createElement("span");
    told.textContent = item.refused;
    line.append(told, button(words.correct, () => correct(item)));
    line.append(button(words.drop, () => findsQueue.drop(item.record_id).then(() => show(""))));
    return line;
  }

  function button(text, act) {
    const made = document.createElement("button");
    made.type = "button";
    made.className = "quiet";
    made.textContent = text;
    made.addEventListener("click", act);
    return made;
  }

  function correct(item) {
    form.reset();
    for (const [name, value] of Object.entries(item.fields)) {
      const field = form.elements.namedItem(name);
      if (!field) continue;
      if (field.type === "checkbox") field.checked = Boolean(value);
      else field.value = value;
    }
    correcting = item;
    form.scrollIntoView();
  }

  function read() {
    const fields = {};
    const photos = [];
    for (const [name, value] of new FormData(form)) {
      if (value instanceof File) {
        if (value.size) photos.push(value);
      } else if (name !== "csrf" && name !== "record_id") fields[name] = value;
    }
    const record_id = correcting ? correcting.record_id : makeId();
    const kept = correcting ? correcting.photos : [];
    return { record_id, account: words.account, fields, photos: [...kept, ...photos] };
  }

  function beginAnew(fields) {
    correcting = null;
    form.reset();
    for (const name of KEPT) {
      const field = form.elements.namedItem(name);
      if (field.type === "checkbox") field.checked = name in fields;
      else field.value = fields[name] || "";
    }
    form.elements.namedItem("vine").focus();
  }

  function advise(fields) {
    const seen = ["swellings", "insects"].some((name) => fields[name] !== "none");
    const told = { suspicion: seen || ["sent", "confirmed"].includes(fields.specimen) };
    told["no-roots"] = !told.suspicion && fields.roots === "none";
    for (const [id, is_told] of Object.entries(told)) document.getElementById(id).hidden = !is_told;
  }

  async function note(event) {
    event.preventDefault();
    const item = read();
    if (item.photos.some((one) => one.size > LARGEST_BYTES)) return say(words.large);
    try {
      await findsQueue.put(item);
    } catch {
      return form.submit(); // no room on this phone: it goes to the server, or the page says why not
    }
    beginAnew(item.fields);
    advise(item.fields);
    await show("");
    return send();
  }

  async function send() {
    if (sending) return;
    sending = true;
    await show(await findsQueue.send().finally(() => (sending = false)));
    const worker = navigator.serviceWorker && (await navigator.serviceWorker.getRegistration());
    const waits = Number(document.body.dataset.waiting);
    if (waits && worker && worker.sync) worker.sync.register("finds").catch(() => {});
  }

  function locate() {
    say(words.locating);
    navigator.geolocation.getCurrentPosition(
      ({ coords }) => {
        form.elements.namedItem("latitude").value = coords.latitude.toFixed(6);
        form.elements.namedItem("longitude").value = coords.longitude.toFixed(6);
        say(words.located.replace("{metres}", Math.round(coords.accuracy)));
      },
      () => say(words.unlocated),
      { enableHighAccuracy: true, timeout: 30000 },
    );
  }

  function today() {
    const field = form.elements.namedItem("dug_on");
    const now = new Date();
    const day = new Date(now - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
    if (field.value === field.defaultValue) field.value = day; // a page that was kept is of a day past
  }

  // What the page needs is kept, so that it opens without a connection.
  async function keepPage() {
    if (!navigator.serviceWorker || !self.caches) return;
    await navigator.serviceWorker.register(words.worker);
    const sheets = [...document.querySelectorAll("link[href], script[src]")];
    const needed = sheets.map((one) => one.href || one.src);
    const page = await fetch(words.page, { redirect: "error" });
    if (!page.ok) return;
    const cache = await caches.open("finds");
    await cache.addAll(needed);
    await cache.put(words.page, page);
    for (const old of await cache.keys()) {
      if (![...needed, page.url].includes(old.url)) await cache.delete(old);
    }
    document.body.dataset.kept = "yes";
  }

  form.addEventListener("submit", note);
  self.addEventListener("online", send);
  document.addEventListener("visibilitychange", send);
  setInterval(send, AGAIN_MS); // not every phone says when it has a connection again
  if (navigator.serviceWorker) navigator.serviceWorker.addEventListener("message", send);
  if (navigator.geolocation && self.isSecureContext) {
    const here = document.getElementById("here");
    here.hidden = false;
    here.addEventListener("click", locate);
  }
  if (navigator.storage && navigator.storage.persist) navigator.storage.persist();
  today();
  keepPage().catch(() => {}); // without a connection it is kept already
  send();
})();
