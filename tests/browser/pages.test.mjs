// Every page there is to go to, at three widths, light and dark: axe, reach, weight, and no
// word to anyone but this server. The pages are found by following every link.
import assert from "node:assert/strict";
import { mkdir } from "node:fs/promises";
import { after, test } from "node:test";
import { axe, fill, firstRun, openShop, PHONE, shutAll } from "./shop.mjs";

after(shutAll);
const WIDTHS = [360, 820, 1440];
const SHOTS = process.env.POURBOOK_SHOTS;

// Pages that differ only in whose they are count as one.
const shape = (path) =>
  path
    .replace(/[0-9a-f]{8}-[0-9a-f-]{27}/g, "{id}")
    .replace(/\/[0-9A-HJKMNP-TV-Z]{5}(?=\/|$)/g, "/{tag}")
    .replace(/H?\d\d-\d{3}/g, "{number}")
    .replace(/=[^&]*/g, "=");

// Targets too small for a glove, and what lies beyond the edge.
function reach(least) {
  const seen = (e) => e.getClientRects().length > 0 && !e.closest(".skip");
  const out = [];
  const over = document.scrollingElement.scrollWidth - document.scrollingElement.clientWidth;
  if (over > 0) out.push(`${over} px wider than the screen`);
  for (const e of document.querySelectorAll("button, input:not([type=hidden]), select, textarea, summary, .hit, nav a, a.button, .choice")) {
    if (!seen(e)) continue;
    const box = (e.matches("[type=radio], [type=checkbox]") ? e.closest("label") : e).getBoundingClientRect();
    const need = e.matches(".main") ? 64 : least;
    if (box.height < need - 0.5 || box.width < least - 0.5) {
      out.push(`${e.outerHTML.slice(0, 90)} is ${Math.round(box.width)} by ${Math.round(box.height)}`);
    }
  }
  return out;
}

async function look(page, path, wrong) {
  const answer = await page.goto(path);
  if (!(answer.headers()["content-type"] ?? "").includes("text/html")) return [];
  const weight = (await answer.body()).length;
  if (weight > 100_000) wrong.push(`${path} weighs ${weight}`);
  for (const width of WIDTHS) {
    await page.setViewportSize({ width, height: 800 });
    for (const said of await page.evaluate(reach, 48)) wrong.push(`${path} at ${width}: ${said}`);
    if (SHOTS) {
      await mkdir(SHOTS, { recursive: true });
      for (const colorScheme of ["light", "dark"]) {
        await page.emulateMedia({ colorScheme });
        await page.screenshot({ path: `${SHOTS}/${shape(path).replace(/\W+/g, "_")}-${width}-${colorScheme}.png`, fullPage: true });
      }
    }
  }
  await page.setViewportSize(PHONE);
  for (const colorScheme of ["light", "dark"]) {
    await page.emulateMedia({ colorScheme });
    for (const said of await axe(page)) wrong.push(`${path} ${colorScheme}: ${said}`);
  }
  await page.emulateMedia({ colorScheme: "light" });
  const links = await page.$$eval("a[href]", (as) => as.map((a) => a.getAttribute("href")));
  // Files are no pages, and the reader of the API document is not ours.
  return links.filter((href) => href.startsWith("/") && !href.includes(".csv") && href !== "/api");
}

test("every page can be read and reached", async () => {
  const shop = await openShop();
  const page = await shop.phone({ bypassCSP: true });
  const wrong = [];
  await look(page, "/setup", wrong);
  await firstRun(shop, page);
  // An empty shop has pages too.
  for (const path of ["/", "/pour-day", "/dip", "/kiln", "/heats", "/metal", "/jobs", "/reports/leaks"]) await look(page, path, wrong);
  await fill(shop);
  const queue = ["/"];
  const seen = new Set();
  while (queue.length) {
    const path = queue.shift();
    if (seen.has(shape(path))) continue;
    seen.add(shape(path));
    queue.push(...(await look(page, path, wrong)));
  }
  // What is wrong is said on the page: an empty slip of each page that has one.
  for (const [path, to] of [["/clients", "/clients"], ["/jobs", "/commissions"], ["/heats", "/heats"], ["/patterns", "/patterns"], ["/metal", "/metal-lots"]]) {
    await page.goto(path);
    await page.locator(`form.slip[action$="${to}"] button`).last().click();
    await page.waitForSelector(".faults");
    for (const said of await axe(page)) wrong.push(`${path} with faults: ${said}`);
    const focus = await page.evaluate(() => document.activeElement.className);
    if (!focus.includes("faults")) wrong.push(`${path}: what is wrong is not in focus`);
  }
  await page.goto("/castings/00000");
  for (const said of await axe(page)) wrong.push(`not found: ${said}`);
  await page.context().clearCookies();
  await look(page, "/sign-in", wrong);
  assert.deepEqual(wrong, []);
  assert.deepEqual(page.faults, []);
  assert.ok(seen.size > 45, `only ${seen.size} pages were found: ${[...seen].join(" ")}`);
  console.log(`${seen.size} kinds of pages`);
});

test("no page breaks its own policy of what may run", async () => {
  const shop = await openShop();
  const page = await shop.phone();
  await firstRun(shop, page);
  await fill(shop);
  for (const path of ["/", "/pour-day", "/reports/leaks?by=recipe", "/reports/metal", "/dip", "/me", "/people"]) await page.goto(path);
  assert.deepEqual(page.faults, []);
});
