// Runs `stillpage live` on a copy of the example plans, opens its page in Chromium, saves files and checks that the page shows
// what was saved, that somebody's place stays (plan, step, look, finding, filters, zoom, scrolling, focus), that a broken plan is
// told on top while the page stays, and that it asks nothing of anybody but this server. Prints how long it took from a save to
// the page that shows it.
//
// Usage: node live.mjs CHROMIUM STILLPAGE FIXTURES [RUNS]
import assert from "node:assert/strict";
import { execFileSync, spawn } from "node:child_process";
import { cpSync, mkdtempSync, readFileSync, renameSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { chromium } from "playwright-core";

const [executablePath, program, fixtures, runs = "5"] = process.argv.slice(2);
const folder = mkdtempSync(join(tmpdir(), "live-"));
cpSync(fixtures, folder, { recursive: true });
const quiet = ["--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];
const browser = await chromium.launch({ executablePath, args: ["--no-sandbox", "--disable-gpu", ...quiet] });
const server = spawn(program, ["live", "logbook"], { cwd: folder });
try {
  await checkAll(await addressOf(server));
  console.log("ok live");
} finally {
  server.kill("SIGINT");
  await browser.close();
  rmSync(folder, { recursive: true });
}

async function addressOf({ stdout, stderr }) {
  createInterface({ input: stderr }).on("line", (line) => { if (process.env.VERBOSE) console.log(line); });
  for await (const line of createInterface({ input: stdout })) if (line.startsWith("http://127.0.0.1:")) return line;
  throw new Error("no address is printed");
}

async function checkAll(address) {
  const troubles = [];
  const page = await browser.newPage({ viewport: { width: 1440, height: 900 } });
  page.on("console", (message) => { if (message.type() === "error") troubles.push(message.text()); });
  page.on("pageerror", (error) => troubles.push(error.message));
  page.on("request", (request) => {
    const [url] = request.url().split("#");
    if (url !== address && url !== `${address}news` && !/^(data|blob):/.test(url)) troubles.push(`asks for ${url}`);
  });
  await page.goto(address);
  await page.locator(".view[data-shown]").waitFor();
  await checkSaves(page);
  await checkBroken(page);
  await checkFollowed(page);
  await checkFiles(page);
  await checkStories(page);
  assert.deepEqual(troubles, []);
  server.kill("SIGINT");
  await page.locator(".live").filter({ hasText: "has ended" }).waitFor();
  await page.close();
}

function troubled() {
  return join(folder, "logbook", "troubled.plan.json");
}
function textOf() {
  return readFileSync(troubled(), "utf8");
}

// As editors save: whole, under the old name.
function save(file, text) {
  writeFileSync(`${file}.new`, text);
  renameSync(`${file}.new`, file);
}

async function number(page) {
  return page.evaluate(() => pageNumber);
}

// Waits until the page after this one is shown; gives the milliseconds since then.
async function newPage(page, before, begun) {
  await page.waitForFunction((before) => pageNumber > before && document.querySelector(".view[data-shown]"), before, { polling: 5 });
  return performance.now() - begun;
}

async function open(page, hash) {
  await page.evaluate((hash) => { location.hash = hash; }, hash);
}

// What somebody has before the eyes.
function placeOf(page) {
  return page.evaluate(() => ({
    hash: location.hash,
    shown: document.querySelector(".view").dataset.shown,
    scroll: Math.round(scrollY),
    time: [document.querySelector(".scroll").scrollLeft, Number(document.querySelector(".scroll svg").getAttribute("width"))],
    chosen: document.querySelector(".plan:not([hidden]) li.chosen")?.id,
    notes: document.querySelector('.plan:not([hidden]) [name="level"][value="note"]')?.checked,
    closer: document.querySelector(".view").classList.contains("closer"),
    focus: document.activeElement.name || document.activeElement.className || document.activeElement.textContent,
    screens: document.querySelector(".plan:not([hidden]) .screens").open,
  }));
}

async function checkSaves(page) {
  const at = await page.evaluate(() => [...document.querySelectorAll(".plan")].findIndex((plan) => plan.dataset.file.endsWith("troubled.plan.json")) + 1);
  assert.ok(at > 0, "the troubled plan is shown");
  await open(page, `#plan=${at}`);
  await page.waitForFunction((at) => location.hash.startsWith(`#plan=${at}&`), at);
  const place = page.locator(".plan:not([hidden]) .places > li[data-step][data-box]").nth(1);
  const [id, step] = await place.evaluate((item) => [item.id.split("-")[2], item.dataset.step]);
  await open(page, `#plan=${at}&step=${step}&look=left&finding=${id}`);
  await page.locator(`.view[data-shown="${step} left"]`).waitFor();
  await page.locator(".view").getByRole("button", { name: "Zoom in" }).click();
  await page.locator(".plan:not([hidden]) .screens summary").click();
  await page.locator('.plan:not([hidden]) [name="level"][value="note"]').uncheck();
  await page.evaluate(() => { scrollTo(0, 120); document.querySelector(".scroll").scrollLeft = 90; });
  await page.locator('.view [name="step"]').focus();
  const before = await placeOf(page);
  const times = [];
  for (let run = 0; run < Number(runs); run += 1) {
    const title = `"title": "Logbook, saved ${run} times"`;
    const [now, begun] = [await number(page), performance.now()];
    save(troubled(), textOf().replace(/"title": "[^"]*"/, title));
    times.push(await newPage(page, now, begun));
    await page.locator(".contents").filter({ hasText: `saved ${run} times` }).waitFor();
    await page.waitForTimeout(400);
    assert.deepEqual(await placeOf(page), before, "somebody's place stays");
  }
  times.sort((one, other) => one - other);
  const told = [times[0], times[Math.floor(times.length / 2)], times.at(-1)].map((ms) => ms.toFixed(0));
  console.log(`from a save to the page that shows it: ${told[0]} ms at least, ${told[1]} ms in the middle, ${told[2]} ms at most, of ${times.length}`);
}

async function checkBroken(page) {
  const sound = textOf();
  const before = await placeOf(page);
  save(troubled(), sound.replace('"steps": [', '"steps": [,,'));
  await page.locator(".live li").first().waitFor();
  // It covers nothing of what can be pressed.
  const [told, looks] = await page.evaluate(async () => {
    const was = scrollY;
    scrollTo(0, 400);
    await new Promise((resolve) => setTimeout(resolve, 300));
    const box = (selector) => document.querySelector(selector).getBoundingClientRect();
    const found = [box(".live").bottom, box(".view .looks").top];
    scrollTo(0, was);
    return found;
  });
  assert.ok(looks >= told - 1, `the looks begin at ${looks}, what is told ends at ${told}`);
  await page.waitForTimeout(200);
  assert.match(await page.locator(".live").textContent(), /cannot be read at present.*troubled\.plan\.json, line \d+: /s);
  await page.waitForTimeout(400);
  // What is told on top moves everything down by its own height.
  const high = await page.locator(".live").evaluate((banner) => banner.offsetHeight + parseFloat(getComputedStyle(banner).marginBottom));
  const now = await placeOf(page);
  assert.ok(Math.abs(now.scroll - before.scroll - high) <= 2 || now.scroll === before.scroll, `${now.scroll} with ${high} more`);
  assert.deepEqual({ ...now, scroll: before.scroll }, before, "a broken plan leaves the page as it was");
  save(troubled(), sound);
  await page.locator(".live:empty").waitFor({ state: "attached" });
  await page.waitForTimeout(400);
  assert.deepEqual(await placeOf(page), before, "and a plan that can be read again, too");
}

// Whoever looks at a finding goes with it: a step is put before it, it is mended, and it comes back.
async function checkFollowed(page) {
  const sound = textOf();
  const before = await placeOf(page);
  const [step, finding] = [Number(/step=(\d+)/.exec(before.hash)[1]), /finding=(\w+)/.exec(before.hash)[1]];
  const saved = async (text) => {
    const now = await number(page);
    save(troubled(), text);
    await newPage(page, now, performance.now());
    await page.waitForTimeout(500);
  };
  const second = sound.indexOf('    { "label": "06:10"');
  await saved(`${sound.slice(0, second)}    { "label": "a rest", "after_ms": 1000 },\n${sound.slice(second)}`);
  const { hash, shown } = await placeOf(page);
  assert.match(hash, new RegExp(`step=${step + 1}&.*finding=${finding}`), "a finding is followed to its new step");
  assert.match(shown, new RegExp(`^${step + 1} `));
  assert.ok((await page.locator(".view .over path.chosen").count()) > 0, "it is framed there");
  // Only the first step is left: nothing is found there.
  await saved(`${sound.slice(0, second)}  ]\n}\n`);
  assert.equal(await page.locator(".view .what").textContent(), "This finding is gone.");
  await saved(sound);
  assert.match((await placeOf(page)).hash, new RegExp(`step=${step}&.*finding=${finding}`), "a finding that comes back is shown again");
}

// Another file of the review: a screen that is drawn anew.
async function checkFiles(page) {
  const pixels = () => page.locator(".view canvas").first().evaluate((canvas) => canvas.toDataURL());
  await page.keyboard.press("m");
  await page.locator('.view[data-shown$=" meant"]').waitFor();
  const [was, now] = [await pixels(), await number(page)];
  const screen = join(folder, "logbook", "screens", "opening.svg");
  const drawn = readFileSync(screen, "utf8");
  await open(page, (await page.evaluate(() => location.hash)).replace(/step=[^&]*/, "step=0"));
  await page.locator('.view[data-shown="0 meant"]').waitFor();
  const opening = await pixels();
  save(screen, drawn.replace("</svg>", '<rect width="60" height="60"/></svg>'));
  await newPage(page, now, performance.now());
  await page.waitForTimeout(400);
  assert.notEqual(await pixels(), opening, "the screen is drawn anew");
  save(screen, drawn);
  await newPage(page, now + 1, performance.now());
  await page.waitForTimeout(400);
  assert.equal(await pixels(), opening);
  assert.ok(was);
}

// What the page tells of a pixel is what `explain` tells of it, which plays the plan anew.
async function checkStories(page) {
  const film = await page.evaluate(() => ({ width: open.film.width, height: open.film.height, last: open.film.pictured.at(-1)[1] }));
  const boxes = await page.locator(".plan:not([hidden]) li[data-step][data-box]").evaluateAll((items) => items.map(({ dataset }) => [Number(dataset.step), dataset.box.split(" ").map(Number)]));
  const asked = boxes.slice(0, 6).map(([step, [x, y, width, height]]) => [step, Math.floor(x + width / 2), Math.floor(y + height / 2)]);
  asked.push([0, 5, 5], [film.last, Math.floor(film.width / 2), Math.floor(film.height / 2)], [1, 120, 320]);
  for (const [step, x, y] of asked) {
    const run = [ "explain", troubled(), "--step", step, "--where", `${x},${y},1,1`, "--before", 100000, "--format", "json"];
    const story = JSON.parse(execFileSync(program, run.map(String), { cwd: folder, encoding: "utf8" }));
    const facts = await page.evaluate(([step, at]) => factsOf(open.film, step, at, open.panel.pixel), [step, [x, y]]);
    const sent = story.events.flatMap((event) => event.sent.filter(({ lost }) => !lost).map((update) => ({ step: event.step, ...update })));
    const where = `${x}, ${y} at step ${step}`;
    assert.equal(facts.driven.length, sent.length, where);
    const [own, other] = [facts.driven.at(-1), sent.at(-1)];
    assert.deepEqual([own?.step, own?.mode, own?.flashes ?? 0], [other?.step, other?.mode, other?.flashes ?? 0], where);
    if (own) assert.ok(Math.abs(own.times[4] - own.times[0] - other.ends_after_ms) < 0.02, where);
    const drawn = story.events.filter((event) => event.drawn_px > 0).at(-1)?.step ?? -1;
    assert.equal(facts.meant.step, drawn, where);
    assert.equal(facts.meant.value !== facts.glass.value, story.older_px + story.unreached_px + story.inked_px > 0, where);
  }
  console.log(`${asked.length} stories agree`);
}
