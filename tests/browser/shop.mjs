// A shop of its own for each test: the built server on a folder of its own, a browser, and what
// a test would do by hand.
import { chromium } from "playwright-core";
import { execFile, spawn } from "node:child_process";
import { mkdtemp, readFile, rm } from "node:fs/promises";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createServer } from "node:net";
import { promisify } from "node:util";

const run = promisify(execFile);
const BIN = process.env.POURBOOK_BIN ?? new URL("../../target/debug/pourbook", import.meta.url).pathname;
const AXE = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
export const PASSWORD = "six green otters";
export const PHONE = { width: 360, height: 740 };

async function freePort() {
  const server = createServer();
  await new Promise((resolve) => server.listen(0, "127.0.0.1", resolve));
  const { port } = server.address();
  await new Promise((resolve) => server.close(resolve));
  return port;
}

// The shops of this file, to be shut however a test ends.
const open = [];
export async function shutAll() {
  while (open.length) await open.pop()();
}

export async function openShop() {
  const dir = await mkdtemp(join(tmpdir(), "pourbook-browser-"));
  const token = (await run(BIN, ["token", "tools", "--role", "owner", "--data", dir])).stdout.trim().split("\n").at(-1);
  const port = await freePort();
  const server = spawn(BIN, ["serve", "--data", dir, "--listen", `127.0.0.1:${port}`]);
  let said = "";
  const listening = new Promise((resolve, reject) => {
    const hear = (chunk) => {
      said += chunk;
      // The code is printed once the server listens.
      if (/[a-z0-9]{4}(-[a-z0-9]{4}){4}/.test(said)) resolve();
    };
    server.stdout.on("data", hear);
    server.stderr.on("data", hear);
    server.on("exit", () => reject(new Error(`the server ended: ${said}`)));
  });
  await listening;
  const browser = await chromium.launch({
    executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
    chromiumSandbox: false,
    // The shop's own network: a name that is not this machine's, over plain http.
    args: ["--host-resolver-rules=MAP shop.test 127.0.0.1"],
  });
  const base = `http://127.0.0.1:${port}`;
  const shut = async () => {
    await browser.close();
    server.removeAllListeners("exit");
    server.kill();
    await rm(dir, { recursive: true, force: true });
  };
  open.push(shut);
  const code = said.match(/[a-z0-9]{4}(-[a-z0-9]{4}){4}/)[0];
  const api = async (method, path, body) => {
    const headers = { authorization: `Bearer ${token}`, "content-type": "application/json" };
    const answer = await fetch(base + path, { method, headers, body: body && JSON.stringify(body) });
    const told = await answer.json();
    if (!answer.ok) throw new Error(`${method} ${path}: ${JSON.stringify(told)}`);
    return told;
  };
  const shop = {
    base,
    lan: `http://shop.test:${port}`,
    dir,
    code,
    browser,
    get: (path) => api("GET", path),
    post: (path, body) => api("POST", path, body),
    account: (name, role) => run(BIN, ["account", name, "--role", role, "--data", dir]).then((r) => r.stdout.trim().split("\n").at(-1)),
    // A phone, watched for what no page may do.
    async phone(options = {}) {
      const context = await browser.newContext({ viewport: PHONE, hasTouch: true, baseURL: base, ...options });
      const page = await context.newPage();
      page.faults = [];
      page.on("pageerror", (e) => page.faults.push(`error ${e.message}`));
      page.on("console", (m) => {
        if (m.type() === "error" && !/Failed to load resource/.test(m.text())) page.faults.push(m.text());
      });
      page.on("request", (r) => r.url().startsWith(base) || r.url().startsWith("data:") || page.faults.push(`asks ${r.url()}`));
      return page;
    },
  };
  return shop;
}

// The owner's account, made at the first run.
export async function firstRun(shop, page, name = "Ada") {
  await page.goto("/setup");
  await page.fill("[name=code]", shop.code);
  await page.fill("[name=name]", name);
  await page.fill("[name=password]", PASSWORD);
  await page.click("main button");
  await page.waitForURL((url) => url.pathname === "/");
}

export async function signIn(page, name, password = PASSWORD) {
  await page.goto("/sign-in");
  await page.fill("#login", name);
  await page.fill("#password", password);
  await page.click("form:has(#password) button");
  await page.waitForURL((url) => url.pathname !== "/sign-in");
}

// Taps the button of the slip that goes to an address ending so (or that a selector finds), and
// waits to be sent on.
export async function tap(page, to, typed = {}) {
  const form = page.locator(to.startsWith("form") ? to : `form.slip[action$="${to}"]`).first();
  for (const [name, value] of Object.entries(typed)) {
    const field = form.locator(`[name="${name}"]`).first();
    const kind = await field.evaluate((e) => (e.tagName === "SELECT" ? "select" : e.type));
    const folded = form.locator("details.more:not([open])");
    if (!(await field.isVisible()) && (await folded.count())) await folded.locator("summary").click();
    if (kind === "select") await field.selectOption(value);
    else if (kind === "radio" || kind === "checkbox") await form.locator(`[name="${name}"][value="${value}"]`).check();
    else await field.fill(value);
  }
  const key = await form.locator("[name=_key]").inputValue();
  await form.locator("button").last().click();
  // The next page has a key of its own, or says what is wrong.
  const gone = (key) => document.readyState === "complete" && !document.querySelector(`[name=_key][value="${key}"]`);
  await Promise.race([page.waitForFunction(gone, key), page.waitForSelector(".faults").then(async (e) => {
    throw new Error(`${to}: ${await e.innerText()}`);
  })]);
}

// What axe finds wrong with a page, in words.
export async function axe(page) {
  await page.evaluate(AXE);
  const found = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ["violations"] }));
  return found.violations.map((v) => `${v.id}: ${v.nodes[0].html.slice(0, 160)}`);
}

// Records that make every page show something: stock, a job, shells at every stage, heats.
export async function fill(shop) {
  const hours = (n) => new Date(Date.now() - n * 3_600_000).toISOString();
  const client = await shop.post("/v1/clients", { name: "Wren Hollis", email: "wren@hollis.example" });
  const job = await shop.post("/v1/commissions", { title: "Herons", client_id: client.id, due_on: "2099-04-01" });
  const mould = await shop.post("/v1/moulds", { name: "Heron, rubber", shelf: "B 3" });
  const pattern = await shop.post("/v1/patterns", {
    name: "Heron", material: "wax_casting", mass_kg: 0.7, section_mm: 5, kind: "mould", mould_id: mould.id,
  });
  const unique = await shop.post("/v1/patterns", { name: "Pear branch", material: "wax_casting", mass_kg: 0.3, section_mm: 4, kind: "unique" });
  const recipe = await shop.post("/v1/recipes", {
    name: "Three coats", at: hours(2000),
    coats: [
      { kind: "prime", slurry: "prime", stucco: "zircon", dry_hours: 3, viscosity_s: { low: 20, high: 30 } },
      { kind: "backup", slurry: "backup", stucco: "fused silica", dry_hours: 3 },
      { kind: "seal", slurry: "backup", dry_hours: 6 },
    ],
  });
  const batch = await shop.post("/v1/slurry-batches", { name: "Tank 1", at: hours(900) });
  await shop.post(`/v1/slurry-batches/${batch.id}/checks`, { at: hours(100), viscosity_s: 24 });
  const lot = await shop.post("/v1/metal-lots", { alloy: "C87300", kind: "ingot", mass_kg: 90, cost_minor: 99000, at: hours(1000) });
  await shop.post("/v1/metal-lots", { alloy: "C87300", kind: "ingot", mass_kg: 5, cost_minor: 0, at: hours(999), owner_client_id: client.id });
  const castings = [];
  for (let n = 0; n < 8; n++) {
    const piece = n === 7 ? { pattern_id: unique.id } : { pattern_id: pattern.id, edition_mark: `${n + 1}/8` };
    castings.push((await shop.post(`/v1/commissions/${job.id}/pieces`, { ...piece, alloy: "C87300" })).castings[0]);
  }
  await shop.post(`/v1/castings/${castings[0].id}/waxes`, { at: hours(500), wax_kg: 0.7 });
  const shells = [];
  for (const casting of castings.slice(0, 7)) {
    shells.push(await shop.post("/v1/shells", { recipe_id: recipe.id, casting_ids: [casting.id], gating_kg: 0.1, at: hours(400) }));
  }
  const coat = (ids, kind, slurry, at) => shop.post("/v1/coats", { shell_ids: ids, kind, slurry, at });
  const ids = shells.map((s) => s.id);
  await coat(ids, "prime", "prime", hours(390));
  await coat(ids.slice(0, 6), "backup", "backup", hours(380));
  await coat(ids.slice(0, 5), "seal", "backup", hours(370));
  const fired = ids.slice(0, 4).map((shell_id, n) => ({ shell_id, result: n === 3 ? "cracked" : "sound" }));
  await shop.post("/v1/burnouts", { kiln: "Big kiln", at: hours(300), peak_c: 850, out_at: hours(296), shells: fired });
  const heat = await shop.post("/v1/heats", {
    alloy: "C87300", furnace: "Tilting furnace", crucible: "Pot 1", at: hours(200), charge: [{ lot_id: lot.id, mass_kg: 20 }],
  });
  const pour = (shell_id, at, more = {}) =>
    shop.post(`/v1/heats/${heat.id}/pours`, { shell_id, at, support: "open_rack", filled: "full", poured_kg: 7, ...more });
  await pour(ids[0], hours(199));
  await pour(ids[1], hours(198.9), { leaks: [{ where: "gate", response: "plugged", lost_kg: 0.1 }] });
  await shop.post(`/v1/heats/${heat.id}/closings`, { at: hours(198), pigged_kg: 5.8, dross_kg: 0.1 });
  await shop.post(`/v1/shells/${ids[0]}/breakout`, {
    at: hours(190), gross_kg: 6.95,
    castings: [{ casting_id: castings[0].id, verdict: "accepted", findings: [{ code: "A221", where: "beak" }] }],
  });
  await shop.post(`/v1/castings/${castings[0].id}/cut-off`, { at: hours(180), net_kg: 5.9 });
  await shop.post(`/v1/castings/${castings[0].id}/work`, { at: hours(170), operation: "chase", minutes: 40 });
  const open = await shop.post("/v1/heats", {
    alloy: "C87300", furnace: "Tilting furnace", crucible: "Pot 2", at: hours(1), charge: [{ lot_id: lot.id, mass_kg: 20 }],
  });
  return { client, job, pattern, recipe, lot, castings, shells, heat, open };
}
