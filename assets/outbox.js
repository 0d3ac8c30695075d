// The outbox: what is logged with no connection is kept in the browser, with its key and its
// age, and sent when the server answers again; in any order the server takes, never twice.
//
// Every slip is kept before it is sent, so that a page that is left, or dies, loses nothing. What
// the server refuses is sent again as a plain form, so that the page with what is wrong comes
// back from the server as without this script. A slip is sent as whoever filled it in, or waits.

const STORE = "slips";
const RETRY_MS = 15_000;
const PATIENCE_MS = 12_000;
// From when on a button says that it is sending.
const SLOW_MS = 400;

let opened;
function database() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open("pourbook", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "n", autoIncrement: true });
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  return opened;
}

async function at(mode, act) {
  const db = await database();
  return new Promise((resolve, reject) => {
    const turn = db.transaction(STORE, mode, { durability: "strict" });
    const asked = act(turn.objectStore(STORE));
    turn.oncomplete = () => resolve(asked.result);
    turn.onabort = () => reject(turn.error);
  });
}

// All that waits, oldest first.
export const slips = () => all();
const all = () => at("readonly", (store) => store.getAll());
const put = (slip) => at("readwrite", (store) => store.put(slip));
const drop = (n) => at("readwrite", (store) => store.delete(n));
// Writes a slip back, unless it was taken away meanwhile.
const update = (slip) =>
  at("readwrite", (store) => {
    const asked = store.get(slip.n);
    asked.onsuccess = () => asked.result && store.put(slip);
    return asked;
  });

// Who is signed in on this page; nobody on the one to sign in.
const who = () => document.body.dataset.who ?? "";
const mayGo = (slip) => !slip.who || slip.who === who();

// Every slip has a key before it leaves: what was tried and never answered is not made twice.
function pairs(form, button) {
  const data = new FormData(form, button);
  return [...data.entries()].map(([name, value]) => [name, String(value)]);
}

// Sends one slip. Answers { ok, status, told } or null where nothing answered.
async function send(slip) {
  const body = new URLSearchParams(slip.pairs);
  body.append("_script", "1");
  body.set("_clock_ms", String(Date.now()));
  body.set("_age_ms", String(Math.max(0, Date.now() - slip.tapped)));
  for (const [name, tapped] of slip.times ?? []) {
    body.set(`_age_of_${name}`, String(Math.max(0, Date.now() - tapped)));
  }
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), PATIENCE_MS);
  try {
    const answer = await fetch(slip.path, { method: "POST", body, signal: stop.signal, redirect: "error" });
    const json = (answer.headers.get("content-type") ?? "").includes("json");
    const told = json ? await answer.json() : {};
    // A server that is busy or going down has not taken it; nor has one that asks who it is.
    if (answer.status >= 500 || answer.status === 429) return null;
    return { ok: answer.ok, status: answer.status, told };
  } catch {
    return null;
  } finally {
    clearTimeout(timer);
  }
}

const listeners = new Set();
// Told of every change of what waits: a list of slips.
export function watch(listener) {
  listeners.add(listener);
  all().then(listener, () => listener([]));
}
async function changed() {
  const slips = await all();
  for (const listener of listeners) listener(slips);
}

// Keeps a slip and tries to send it. Answers what the server said, or null while it waits.
export async function log(path, entries, { said = "", times = [], tapped = Date.now(), kept = () => {} } = {}) {
  const slip = { path, pairs: entries, said, times, tapped, who: who() };
  slip.n = await put(slip);
  kept(slip.n);
  await changed();
  return sendAll(slip.n);
}

// One page at a time sends, so that the order is kept; where a browser has no locks (it has
// them only on secure pages) the key makes a second sending harmless.
const inTurn = (act) => (navigator.locks ? navigator.locks.request("pourbook-outbox", act) : act());
let sending = null;
async function sendAll(mine) {
  while (sending) await sending;
  sending = inTurn(() => round(mine));
  try {
    return await sending;
  } finally {
    sending = null;
  }
}

async function round(mine) {
  let answer = null;
  for (let again = true; again; ) {
    again = false;
    for (const slip of await all()) {
      if ((slip.refused && slip.n !== mine) || !mayGo(slip)) continue;
      // From here on the server may have it, whether or not an answer comes.
      if (!slip.tried) await update(Object.assign(slip, { tried: true }));
      const told = await send(slip);
      if (told === null) {
        await changed();
        return answer;
      }
      if (slip.n === mine) answer = told;
      if (told.ok) {
        await drop(slip.n);
        if (told.told.clock_off_ms) sessionStorage.setItem("clock-off", String(told.told.clock_off_ms));
        // What waited for this one may be taken now.
        again ||= (await all()).some((s) => s.waits);
        continue;
      }
      const signedOut = told.status === 401 || (told.status === 403 && !told.told.type);
      const follows = told.told.type === "/problems/not-yet" || told.told.may_follow === true;
      const others = (await all()).some((s) => s.n !== slip.n && !s.refused && !s.waits);
      if (signedOut) {
        slip.signedOut = true;
      } else if (follows && others) {
        slip.waits = true;
        if (slip.n === mine) answer = null;
      } else {
        slip.refused = told.told;
      }
      await update(slip);
      if (signedOut) {
        await changed();
        return answer;
      }
    }
    if (again) {
      for (const slip of (await all()).filter((s) => s.waits)) await update({ ...slip, waits: false });
    }
  }
  await changed();
  return answer;
}

// Says it again with the word that has it taken.
export async function insist(n) {
  const slip = (await all()).find((s) => s.n === n);
  if (!slip) return;
  for (const code of slip.refused?.despite ?? []) slip.pairs.push(["_despite", code]);
  delete slip.refused;
  await update(slip);
  await sendAll();
}

export async function forget(n) {
  await drop(n);
  document.dispatchEvent(new CustomEvent("forgotten", { detail: n }));
  await changed();
}

// A time as a field of a form has it, by this device's clock as far as that is right.
function fieldTime(ms) {
  const at = new Date(ms - Number(sessionStorage.getItem("clock-off") ?? 0));
  return new Date(at.getTime() - at.getTimezoneOffset() * 60_000).toISOString().slice(0, 16);
}

// Brings a refused slip back to the page it is filled in on, with what was typed in it.
async function putRight(slip) {
  const form = element("form", "", { method: "post", action: slip.path, hidden: true });
  const has = (name) => slip.pairs.some(([n]) => n === name);
  const more = has("at") || has("_corrects") ? [] : [["at", fieldTime(slip.tapped)]];
  for (const [name, tapped] of slip.times ?? []) if (!has(name)) more.push([name, fieldTime(tapped)]);
  for (const [name, value] of [...slip.pairs, ...more]) form.append(element("input", "", { type: "hidden", name, value }));
  document.body.append(form);
  await forget(slip.n);
  form.submit();
}

function element(name, text, more = {}) {
  const made = Object.assign(document.createElement(name), more);
  if (text) made.textContent = text;
  return made;
}

const minutes = (ms) => Math.round(Math.abs(ms) / 60_000);

// Shows what waits at the top of the page.
function show(slips) {
  const box = document.getElementById("waiting");
  if (!box) return;
  box.replaceChildren();
  const off = Number(sessionStorage.getItem("clock-off"));
  box.hidden = slips.length === 0 && !off;
  if (off) {
    const way = off > 0 ? "fast" : "slow";
    box.append(element("p", `This device's clock is ${minutes(off)} min ${way}. Times were put right by the server's.`));
  }
  if (slips.length === 0) return;
  const refused = slips.filter((s) => s.refused);
  const waiting = slips.filter((s) => !s.refused);
  const mine = waiting.filter(mayGo);
  const say = (words) => {
    const line = element("p", words);
    line.setAttribute("role", "status");
    box.append(line);
  };
  if (mine.length > 0) {
    const signedOut = mine.some((s) => s.signedOut);
    const why = signedOut ? "You are signed out: sign in and they are sent." : "They are sent when the server answers.";
    say(`${mine.length} kept on this device, not yet in the book. ${why}`);
    if (signedOut) box.append(element("a", "Sign in", { href: "/sign-in", className: "button" }));
  }
  for (const name of new Set(waiting.filter((s) => !mayGo(s)).map((s) => s.who))) {
    const count = waiting.filter((s) => s.who === name).length;
    say(`${count} of ${name} kept on this device, not yet in the book: sent when ${name} signs in.`);
  }
  const list = element("ul");
  for (const slip of slips) {
    const item = element("li");
    const when = new Date(slip.tapped).toTimeString().slice(0, 5);
    item.append(element("strong", `${when} ${slip.said || slip.path.replace("/log/", "")}`));
    if (slip.refused) {
      const said = [slip.refused.detail, ...(slip.refused.errors ?? []).map((e) => e.message)];
      item.append(element("p", `Not taken: ${[...new Set(said.filter(Boolean))].join(" ")}`));
      const row = element("p", "", { className: "row" });
      if (slip.refused.despite?.length) {
        row.append(element("button", slip.refused.words, { type: "button", onclick: () => insist(slip.n) }));
      }
      if (slip.pairs.some(([name]) => name === "_from")) {
        row.append(element("button", "Put it right", { type: "button", onclick: () => putRight(slip) }));
      }
      row.append(element("button", "Leave it out of the book", { type: "button", onclick: () => forget(slip.n) }));
      item.append(row);
    }
    list.append(item);
  }
  box.append(list);
}

function sent(form, button) {
  const entries = pairs(form, button);
  const words = form.dataset.said || form.querySelector("h2, h3, legend")?.textContent || "";
  const main = button?.textContent ?? form.dataset.button ?? "";
  return { entries, said: `${main} ${words}`.trim() };
}

// Takes over the slips of this page.
export function keep() {
  watch(show);
  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!form.matches("form.slip") || form.dataset.plain) return;
    event.preventDefault();
    if (form.dataset.busy) return;
    form.dataset.busy = "1";
    const button = event.submitter ?? form.querySelector("p.send button");
    const words = button?.textContent;
    const slow = setTimeout(() => button && (button.textContent = "Sending…"), SLOW_MS);
    let n = null;
    try {
      const { entries, said } = sent(form, event.submitter);
      const path = new URL(form.action).pathname;
      let answer;
      try {
        answer = await log(path, entries, { said, kept: (of) => (n = of) });
      } catch {
        // This browser keeps nothing: the form goes as it would without this script.
        answer = { ok: false };
      }
      if (answer?.ok) {
        form.dispatchEvent(new CustomEvent("recorded", { bubbles: true, detail: answer.told }));
        location.assign(answer.told.to);
      } else if (answer) {
        // The server's own page says what is wrong, with what was typed still there.
        if (n !== null) await forget(n);
        clearTimeout(slow);
        if (button) button.textContent = words;
        form.dataset.plain = "1";
        if (event.submitter) form.requestSubmit(event.submitter);
        else form.submit();
      } else {
        form.dispatchEvent(new CustomEvent("kept", { bubbles: true }));
        form.reset();
        const key = form.elements.namedItem("_key");
        if (key) key.value = newKey();
        document.getElementById("waiting")?.scrollIntoView({ block: "nearest" });
      }
    } finally {
      clearTimeout(slow);
      if (button && words) button.textContent = words;
      delete form.dataset.busy;
    }
  });
  const again = () => sendAll().catch(() => {});
  window.addEventListener("online", again);
  document.addEventListener("visibilitychange", () => document.hidden || again());
  setInterval(again, RETRY_MS);
  again();
}

// A key of 122 random bits (RFC 9562, version 4); crypto.randomUUID is there on secure pages only.
export function newKey() {
  const b = crypto.getRandomValues(new Uint8Array(16));
  b[6] = (b[6] & 0x0f) | 0x40;
  b[8] = (b[8] & 0x3f) | 0x80;
  const hex = [...b].map((n) => n.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}
