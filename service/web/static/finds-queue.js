"use strict";
// What was noted on this phone and waits to be sent: shared by the page and its worker.
//
// A record keeps the id that it got here. It is taken from the queue only once the server has
// answered, in full, that it holds that id: sent again it is kept once.

self.findsQueue = (() => {
  const STORE = "records";
  const PATIENCE_MS = 60000;
  const FOR_GOOD = [400, 404, 409, 413, 415, 422]; // sent again, they would be refused again

  function open() {
    return new Promise((resolve, reject) => {
      const asked = indexedDB.open("digseason-finds", 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "record_id" });
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = () => reject(asked.error);
    });
  }

  async function run(mode, work) {
    const database = await open();
    try {
      return await new Promise((resolve, reject) => {
        const kept = database.transaction(STORE, mode, { durability: "strict" });
        const asked = work(kept.objectStore(STORE));
        kept.oncomplete = () => resolve(asked.result);
        kept.onabort = () => reject(kept.error);
      });
    } finally {
      database.close();
    }
  }

  const put = (item) => run("readwrite", (store) => store.put(item));
  const drop = (id) => run("readwrite", (store) => store.delete(id));
  const list = () => run("readonly", (store) => store.getAll());

  function ask(path, options) {
    const signal = AbortSignal.timeout(PATIENCE_MS);
    return fetch(path, { cache: "no-store", redirect: "error", signal, ...options });
  }

  async function post(item, photo, csrf) {
    const form = new FormData();
    for (const [name, value] of Object.entries(item.fields)) form.append(name, value);
    form.append("record_id", item.record_id);
    if (photo) form.append("photos", photo, "photo");
    const headers = { "X-CSRF-Token": csrf, Accept: "application/json" };
    const answer = await ask("/finds/new", { method: "POST", body: form, headers });
    return { status: answer.status, said: await answer.json() };
  }

  async function sendOne(item, csrf) {
    for (const photo of item.photos.length ? item.photos : [null]) {
      const { status, said } = await post(item, photo, csrf);
      if (FOR_GOOD.includes(status)) return put({ ...item, refused: said.detail });
      if (status !== 200 || said.record_id !== item.record_id) throw new Error(`answer ${status}`);
    }
    return drop(item.record_id);
  }

  async function sendAll(outcome = "nothing") {
    const waiting = (await list()).filter((one) => !one.refused);
    if (!waiting.length) return outcome;
    const reached = await sendThese(waiting);
    return reached === "sent" ? sendAll("sent") : reached; // what was noted meanwhile too
  }

  async function sendThese(waiting) {
    try {
      const answer = await ask("/finds/session", { headers: { Accept: "application/json" } });
      if (answer.status === 401) return "signed out";
      const session = await answer.json();
      const own = waiting.filter((one) => one.account === session.account);
      for (const item of own) await sendOne(item, session.csrf);
      return own.length === waiting.length ? "sent" : "of another";
    } catch {
      return "later"; // no connection, or it broke off: what was not confirmed waits on
    }
  }

  // The page and its worker take turns.
  function send() {
    if (!self.navigator.locks) return sendAll();
    return self.navigator.locks.request("digseason-finds", () => sendAll());
  }

  return { put, drop, list, send };
})();
