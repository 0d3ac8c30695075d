// The pour as it runs: one big button, the next thing on it. Whatever was missed is left out,
// never made up; every pour is kept on the device before it is sent.
import { forget, log, newKey, slips } from "./outbox.js";

const BOUNCE_MS = 600;
const box = document.getElementById("pour-day");
const by = (id) => document.getElementById(id);

// A UUID of version 7: the time, then chance (RFC 9562, section 5.7).
function recordId() {
  const ms = BigInt(Date.now());
  const hex = newKey().replaceAll("-", "");
  const time = ms.toString(16).padStart(12, "0");
  return `${time.slice(0, 8)}-${time.slice(8)}-7${hex.slice(13, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
}

function begin() {
  const heat = box.dataset.heat;
  const each = Number(box.dataset.eachMg);
  const place = `pour-day-${heat}`;
  // What was tapped and not logged yet outlives a reload.
  const run = JSON.parse(sessionStorage.getItem(place) ?? "null") ?? { order: [], done: {}, open: {}, metal: false };
  const rows = new Map([...by("order").children].map((row) => [row.dataset.tag, row]));
  // What is poured all the same is poured all the same: it is taken into the order by hand.
  const others = new Map([...(by("others")?.children ?? [])].map((row) => [row.dataset.tag, row]));
  run.taken ??= [];
  for (const tag of run.taken) if (others.has(tag)) rows.set(tag, others.get(tag));
  run.order = run.order.filter((tag) => rows.has(tag));
  for (const tag of rows.keys()) if (!run.order.includes(tag)) run.order.push(tag);
  const remember = () => sessionStorage.setItem(place, JSON.stringify(run));

  let current = null;
  const waiting = () => run.order.filter((tag) => !run.done[tag]);
  const of = (tag) => (run.open[tag] ??= {});

  function left() {
    // What the server does not know of yet is taken off by its estimate.
    let mg = Number(box.dataset.leftMg);
    for (const tag of Object.keys(run.done)) mg -= Number(rows.get(tag)?.dataset.mg ?? 0);
    return mg;
  }

  function show() {
    const list = waiting();
    if (!list.includes(current)) current = list[0] ?? null;
    const step = by("step");
    by("now-tag").textContent = current ?? "";
    by("now-what").textContent = current ? rows.get(current).dataset.what : "Every shell in the order is logged.";
    for (const id of ["step", "short", "stopped", "later"]) by(id).disabled = !current;
    const state = current ? of(current) : {};
    step.textContent = !current ? "All poured" : state.metal ? "Full" : state.out ? "Metal in" : "Out of the kiln";
    by("left").textContent = (left() / each).toFixed(1);
    for (const [tag, row] of rows) draw(tag, row);
    tick();
    for (const tag of run.order) by("order").append(rows.get(tag));
    for (const [tag, row] of others) {
      if (rows.has(tag) || row.querySelector("button")) continue;
      const line = Object.assign(document.createElement("span"), { className: "row" });
      line.append(button("Pour it all the same", () => take(tag)));
      row.append(line);
    }
    by("leak").disabled = !current && !Object.keys(run.done).length;
    remember();
  }

  const minutesOut = (out) => String(Math.max(0, Math.floor((Date.now() - out) / 60_000)));

  // A plain figure for each shell that is out; it races nobody.
  function tick() {
    const out = current ? of(current).out : null;
    by("minutes").textContent = out ? minutesOut(out) : "–";
    for (const [tag, row] of rows) {
      const figure = row.querySelector(".out");
      if (figure) figure.textContent = `${minutesOut(run.open[tag]?.out ?? Date.now())} min out`;
    }
  }

  function button(words, act) {
    return Object.assign(document.createElement("button"), { type: "button", textContent: words, onclick: act });
  }

  function draw(tag, row) {
    row.querySelector(".row")?.remove();
    row.toggleAttribute("aria-current", tag === current);
    const line = Object.assign(document.createElement("span"), { className: "row" });
    const done = run.done[tag];
    if (done) {
      const at = new Date(done.at).toTimeString().slice(0, 5);
      line.append(`${done.words} ${at} `);
      line.append(button("Undo", () => undo(tag)));
    } else {
      if (run.open[tag]?.out) line.append(Object.assign(document.createElement("span"), { className: "out" }));
      if (tag !== current) line.append(button("This one", () => choose(tag)));
      const n = run.order.indexOf(tag);
      if (n > 0) line.append(button("Earlier", () => move(n, -1)));
    }
    row.append(line);
  }

  function take(tag) {
    run.taken.push(tag);
    run.order.push(tag);
    rows.set(tag, others.get(tag));
    show();
  }

  function choose(tag) {
    current = tag;
    run.order = [tag, ...run.order.filter((t) => t !== tag)].sort((a, b) => Boolean(run.done[b]) - Boolean(run.done[a]));
    show();
  }

  function move(n, by_) {
    const [tag] = run.order.splice(n, 1);
    run.order.splice(n + by_, 0, tag);
    show();
  }

  function press() {
    if (!current) return;
    const state = of(current);
    if (state.metal) return finish("full");
    if (state.out) state.metal = Date.now();
    else state.out = Date.now();
    show();
  }

  async function finish(filled) {
    const tag = current;
    if (!tag) return;
    const state = of(tag);
    const now = Date.now();
    const id = recordId();
    const to = `heats/${heat}/pours`;
    const entries = [
      ["_to", to],
      ["_from", `/heats/${heat}`],
      ["_back", `/pour-day?heat=${heat}`],
      ["_key", newKey()],
      ["id", id],
      ["shell_id", tag],
      ["filled", filled],
      ["support", box.dataset.support],
      ["_assumed.support", box.dataset.support],
      ["hands", box.dataset.hands],
      ["_assumed.hands", box.dataset.hands],
    ];
    (state.leaks ?? []).forEach((leak, n) => {
      entries.push([`leaks.${n}.where`, leak.where], [`leaks.${n}.response`, leak.response]);
    });
    const metal = by("metal").value.trim();
    if (metal && !run.metal) {
      entries.push(["metal_c", metal]);
      run.metal = tag;
    }
    if (state.metal) entries.push(["pour_seconds", String(Math.max(1, Math.round((now - state.metal) / 1000)))]);
    const times = state.out ? [["shell_out_at", state.out]] : [];
    const words = (state.leaks ?? []).length ? `${filled}, leaked` : filled;
    run.done[tag] = { id, at: now, words, n: null };
    delete run.open[tag];
    show();
    const answer = await log(`/log/${to}`, entries, {
      said: `${tag} ${words}`,
      times,
      tapped: state.metal ?? now,
      kept: (n) => {
        if (run.done[tag]) run.done[tag].n = n;
        remember();
      },
    });
    // A reading that was not taken goes with the next pour.
    if (answer && !answer.ok && run.metal === tag) run.metal = false;
    show();
  }

  async function undo(tag) {
    const done = run.done[tag];
    delete run.done[tag];
    if (run.metal === tag) run.metal = false;
    show();
    // What was sent and never answered may be in the book: it is voided there, after it.
    const slip = (await slips()).find((slip) => slip.n === done.n);
    if (slip && (slip.refused || !slip.tried)) {
      await forget(done.n);
    } else {
      const to = `pours/${done.id}/void`;
      const entries = [["_to", to], ["_key", newKey()], ["reason", "undone at once"]];
      await log(`/log/${to}`, entries, { said: `${tag} undone` });
    }
  }

  // Leaks: on the shell that is being poured, or on one that was.
  let where = null;
  let leaky = null;
  function leak() {
    const last = run.order.filter((tag) => run.done[tag]).sort((a, b) => run.done[b].at - run.done[a].at)[0];
    const choices = [current, last].filter(Boolean);
    leaky = current && (of(current).out || of(current).metal) ? current : (last ?? current);
    where = null;
    by("leaking").hidden = false;
    by("responses").hidden = true;
    by("leak-which").replaceChildren(
      ...choices.map((tag) => button(tag, () => ((leaky = tag), (by("leak-tag").textContent = tag)))),
    );
    by("leak-tag").textContent = leaky;
    for (const spot of document.querySelectorAll(".spot")) spot.setAttribute("aria-pressed", "false");
    by("leaking").scrollIntoView({ block: "nearest" });
  }
  function spot(event) {
    if (event.type === "keydown" && event.key !== "Enter" && event.key !== " ") return;
    event.preventDefault();
    const here = event.currentTarget;
    where = here.dataset.where;
    for (const other of document.querySelectorAll(".spot")) other.setAttribute("aria-pressed", String(other === here));
    by("responses").hidden = false;
  }
  async function respond(response) {
    by("leaking").hidden = true;
    const done = run.done[leaky];
    if (!done) {
      (of(leaky).leaks ??= []).push({ where, response });
      show();
      return;
    }
    done.words = `${done.words}, leaked`;
    show();
    const to = `pours/${done.id}/leaks`;
    const entries = [["_to", to], ["_key", newKey()], ["where", where], ["response", response]];
    await log(`/log/${to}`, entries, { said: `${leaky} leaked at the ${where}` });
  }

  let last = 0;
  const once = (act) => () => {
    // A pedal bounces; a glove taps twice.
    if (Date.now() - last < BOUNCE_MS) return;
    last = Date.now();
    act();
  };
  by("step").addEventListener("click", once(press));
  by("short").addEventListener("click", once(() => finish("short")));
  by("stopped").addEventListener("click", once(() => finish("stopped")));
  by("later").addEventListener("click", () => {
    run.order = [...run.order.filter((tag) => tag !== current), current];
    current = null;
    show();
  });
  by("leak").addEventListener("click", leak);
  by("no-leak").addEventListener("click", () => (by("leaking").hidden = true));
  for (const part of document.querySelectorAll(".spot")) {
    part.addEventListener("click", spot);
    part.addEventListener("keydown", spot);
  }
  for (const one of document.querySelectorAll("[data-response]")) {
    one.addEventListener("click", () => respond(one.dataset.response));
  }
  document.addEventListener("keydown", (event) => {
    const pressing = [" ", "Enter", "PageDown", "ArrowRight"].includes(event.key);
    const elsewhere = event.target.closest?.("input, select, textarea, summary, a, button, .spot");
    if (!pressing || event.repeat || (elsewhere && elsewhere !== by("step"))) return;
    event.preventDefault();
    by("step").click();
  });

  // Left out of the book, it was not poured as far as this page knows.
  document.addEventListener("forgotten", (event) => {
    for (const [tag, done] of Object.entries(run.done)) {
      if (done.n !== event.detail) continue;
      delete run.done[tag];
      if (run.metal === tag) run.metal = false;
      show();
    }
  });

  // What stands before the pour is read before it; then it gives way.
  const before = document.querySelector(".before");
  before.open = Object.keys(run.done).length + Object.keys(run.open).length === 0;
  by("step").addEventListener("click", () => (before.open = false));
  box.hidden = false;
  setInterval(tick, 5_000);
  show();
  by("step").focus({ preventScroll: true });
  awake();
}

// The screen stays on where the browser lets a page ask for it: on secure pages only.
async function awake() {
  const ask = async () => {
    try {
      await navigator.wakeLock.request("screen");
      by("awake").textContent = "The screen stays on while this page is open.";
    } catch {
      by("awake").textContent = "This browser does not let the page keep the screen on: set the device to stay on.";
    }
  };
  document.addEventListener("visibilitychange", () => document.hidden || ask());
  await ask();
}

if (box) begin();
