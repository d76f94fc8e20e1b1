// Opens a page of `stillpage review --html` in Chromium and checks what a person would meet: no error, no request, nothing
// that moves before it is asked for, steps, looks, causes, filters and links that agree with each other, never more than
// three pictures a second, flashes only when asked, nothing wider than the window, print, and no serious fault of
// accessibility (axe-core's rules, which follow WCAG). A page named `compared...` has two plans beside each other, at one
// moment.
//
// Usage: node check.mjs CHROMIUM PAGE ...
import assert from "node:assert/strict";
import { createRequire } from "node:module";
import { basename } from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const axe = createRequire(import.meta.url).resolve("axe-core/axe.min.js");
const [executablePath, ...pages] = process.argv.slice(2);
assert.ok(pages.length > 0, "no pages to check");
const quiet = ["--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];
const browser = await chromium.launch({ executablePath, args: ["--no-sandbox", "--disable-gpu", ...quiet] });

await checkFunctions(pages[0]);
for (const file of pages) {
  await check(file);
  console.log(`ok ${file}`);
}
await browser.close();

async function opened(address, troubles) {
  const page = await browser.newPage({ viewport: { width: 1440, height: 900 } });
  page.on("console", (message) => { if (message.type() === "error") troubles.push(message.text()); });
  page.on("pageerror", (error) => troubles.push(error.message));
  page.on("request", (request) => {
    if (request.url().split("#")[0] !== address.split("#")[0] && !/^(data|blob):/.test(request.url())) troubles.push(`asks for ${request.url()}`);
  });
  await page.goto(address);
  await page.locator(".view[data-shown]").waitFor();
  return page;
}

async function check(file) {
  const troubles = [];
  const address = pathToFileURL(file).href;
  const page = await opened(address, troubles);
  const plans = await page.locator(".plan").count();
  if (basename(file).startsWith("several")) return void (await checkRoom(page, address, troubles));
  const isCompared = basename(file).startsWith("compared");
  const first = Number(/plan=(\d+)/.exec(page.url())?.[1] ?? 1);
  if (plans > 1) await checkFirst(page, isCompared);
  if (isCompared) await checkLocked(page);
  for (let plan = 1; plan <= plans; plan += 1) {
    if (plans > 1) await checkChange(page, plan);
    // What works alike for every plan of a page is tried with the one that is open at first.
    if (plan === first) await checkView(page, isCompared);
    await checkGhosts(page, isCompared);
    await checkCauses(page, troubles);
    await checkLater(page);
  }
  await checkCopies(page);
  await checkNarrow(page);
  if (isCompared) await checkCompared(page);
  await checkWidths(page);
  await checkAccess(page, "light");
  await page.emulateMedia({ colorScheme: "dark" });
  await checkAccess(page, "dark");
  await page.emulateMedia({ forcedColors: "active" });
  await checkWidths(page);
  await page.emulateMedia({ forcedColors: null, colorScheme: null });
  await checkPrint(page);
  assert.deepEqual(troubles, [], file);
  await page.close();
}

async function checkView(page, isCompared) {
  await checkPanel(page, isCompared);
  if (!isCompared) await checkEdge(page);
  await checkHere(page);
  await checkPointer(page);
  await checkSmall(page);
  await checkPace(page);
  await checkFlashes(page);
}

// Where there is no room for the pictures of all steps, a step without one stays empty and says so, a link to it stays there,
// and the slider says where pictures are.
async function checkRoom(page, address, troubles) {
  const cut = await page.evaluate(() => sections.map((section, at) => [at + 1, dataOf(section)]).filter(([, film]) => picturedWords(film)).map(([plan, { steps, pictured }]) => [plan, steps, pictured]));
  assert.ok(cut.length > 0, "a plan has more pictures than there is room for");
  for (const [plan, steps, pictured] of cut) {
    await checkChange(page, plan);
    await viewOf(page).locator(".pictured").filter({ hasText: /^pictures only of / }).waitFor();
    assert.equal(await viewOf(page).locator(".filmed").isVisible(), true);
    const has = (step) => pictured.some(([from, to]) => from <= step && step <= to);
    const all = Array.from({ length: steps }, (_, step) => step);
    const [without, withOne] = [all.find((step) => !has(step)), all.findLast(has)];
    // Steps with errors have the room first.
    const worst = await page.evaluate(() => open.causes.places.find(({ step }) => step !== null)?.step ?? 0);
    assert.ok(has(worst), `step ${worst} of the worst finding has a picture: ${JSON.stringify(pictured)}`);
    for (const beside of ["", "&beside=meant"]) {
      const other = await opened(`${address}#plan=${plan}&step=${without}&look=left${beside}`, troubles);
      await shown(other, without, "left");
      assert.match(other.url(), new RegExp(`step=${without}&`));
      for (const blank of await viewOf(other).locator("figure:not([hidden]) .blank").all()) {
        assert.equal(await blank.isVisible(), true);
        assert.equal(await blank.textContent(), "no picture of this step on this page: open a page of this plan alone");
      }
      await viewOf(other).getByRole("slider").fill(String(withOne + 1));
      await shown(other, withOne, "left");
      assert.equal(await viewOf(other).locator(".blank").first().isVisible(), false);
      await other.close();
    }
    // The worst finding that a picture shows is open at first.
    assert.equal(await viewOf(page).locator(".blank").first().isVisible(), false);
  }
  assert.deepEqual(troubles, []);
  await page.close();
}

// What the script works out without a page, compared with what is known from elsewhere.
async function checkFunctions(file) {
  const page = await opened(pathToFileURL(file).href, []);
  const of = (run, ...given) => page.evaluate(`(${run})(...${JSON.stringify(given)})`);
  for (const hash of ["#plan=2&step=12&look=left&beside=meant&finding=ab12", "#plan=1&step=begin&look=meant", "#plan=1&look=seen", "#plan=1&look=left&beside=edge", "#plan=1&step=2&look=seen&at=12,340", "#plan=1&step=2&look=left&beside=meant&closer=1&finding=ab12"]) {
    assert.equal(await of("(hash) => addressOf(readAddress(hash))", hash), hash);
  }
  const usual = { plan: null, step: null, look: "seen", beside: null, closer: false, finding: null, at: null };
  for (const hash of ["", "#", "#plan=x&step=-4&look=all", "#step=1e9", "#plan-3", "#beside=under"]) assert.deepEqual(await of("readAddress", hash), usual, hash);
  // CIE 1976 lightness to sRGB (IEC 61966-2-1): 0, 50 and 100 L* are the greys 0, 119 and 255 (Bruce Lindbloom's tables, from memory).
  assert.deepEqual(await of("(all) => all.map(greyOf)", [-1, 0, 50, 100, 101]), [0, 0, 119, 255, 255]);
  assert.deepEqual(await of("(all) => all.map(amplification)", [1, 4, 5, 31]), [20, 6, 6, 1]);
  // Two stretches of work with a pause between them; a time within the pause lies where the pause begins.
  const axis = [[0, 100, 0, 50], [1000, 1100, 80, 50]];
  assert.deepEqual(await of("(all, axis) => all.map((ms) => placeOf(ms, axis))", [-5, 0, 50, 100, 600, 1000, 1050, 9000], axis), [0, 0, 25, 50, 50, 80, 105, 130]);
  assert.deepEqual(await of("(all, film) => all.map((x) => frameAt(x, film))", [-1, 0, 79, 80, 200], { axis, frames: [{ at: 0 }, { at: 1000 }] }), [-1, 0, 0, 1, 1]);
  // At one moment another plan stands at the last step that it was asked for by then.
  const later = { frames: [{ at: 0 }, { at: 400 }, { at: 1000 }] };
  assert.deepEqual(await of("(all, film) => all.map((moment) => stepAt(film, moment))", [-1, 0, 399, 400, 5000], later), [-1, 0, 0, 1, 2]);
  assert.deepEqual(await of("(film) => [-1, 1, 7].map((step) => momentAt(film, step))", later), [-1, 400, -1]);
  await checkTime(of, axis);
  await checkFound(of);
  // Frames that would lie over each other are one; those apart stay, however many there are.
  assert.deepEqual(await of("(boxes) => joined(boxes, 4)", [[0, 0, 10, 10], [40, 0, 10, 10], [17, 2, 10, 10], [0, 60, 5, 5]]), [[40, 0, 10, 10], [0, 0, 27, 12], [0, 60, 5, 5]]);
  const film = { steps: 73, pictured: [[0, 4], [40, 40]] };
  assert.deepEqual(await of("(film) => [-1, 0, 4, 5, 39, 40, 41, 72].map((step) => hasPicture(film, step))", film), [true, true, true, false, false, true, false, false]);
  assert.deepEqual(await of("(films) => films.map(picturedWords)", [film, { steps: 5, pictured: [[0, 4]] }, { steps: 9, pictured: [] }, { steps: 9, pictured: [[0, 0], [2, 2], [4, 4], [6, 6]] }]),
    ["pictures only of steps 0 to 4, step 40", "", "pictures only of no step", "pictures only of 4 of 9 steps"]);
  await checkStory(of);
  // Of the corners around a box of 30 x 40 px at 10, 20, every line runs 4 px outside it.
  const points = [];
  let [x, y] = [0, 0];
  for (const [, letter, one, other] of (await of("corners", [10, 20, 30, 40], 4)).matchAll(/([MHV])(\S+?)(?: (\S+?))?(?=[MHV]|$)/g)) {
    [x, y] = { M: [Number(one), Number(other)], H: [Number(one), y], V: [x, Number(one)] }[letter];
    points.push([x, y]);
  }
  assert.equal(points.length, 12);
  for (const [x, y] of points) assert.ok(x === 6 || x === 44 || y === 16 || y === 64, `${x}, ${y}`);
  const filters = { levels: ["error"], rule: "", fresh: true, sure: true };
  const place = { level: "error", rule: "a", known: false, unsure: false };
  const passed = await of("(filters, places) => places.map((place) => passes(place, filters))", filters,
    [place, { ...place, level: "note" }, { ...place, known: true }, { ...place, unsure: true }]);
  assert.deepEqual(passed, [true, false, false, false]);
  await page.close();
}

// What is reported at a place: what applies at a step, apart from what the same place has at other steps.
async function checkFound(of) {
  const place = (rule, step, last, box = [10, 10, 20, 20]) => ({ rule, step, last, box });
  const places = [place("ended", 2, 4), place("lasts", 3, 9), place("lasts", 1, 9), place("later", 8, 8), place("elsewhere", 5, 5, [90, 90, 5, 5]), place("none", null, NaN)];
  const found = (at, step) => of("(...given) => foundAt(...given).map((all) => all.map(({ rule, step }) => `${rule} ${step}`))", places, at, step);
  assert.deepEqual(await found([12, 12], 6), [["lasts 3"], ["ended 2", "later 8"]]);
  assert.deepEqual(await found([12, 12], 4), [["lasts 3", "ended 2"], ["later 8"]]);
  assert.deepEqual(await found([91, 91], 6), [[], ["elsewhere 5"]]);
}

// The story of a pixel of a film made by hand: a white panel; black is drawn and not sent; two seconds later it is sent and
// leaves 3 L* of residue.
async function checkStory(of) {
  // As `explain` says them: the cases of its function of the same name.
  assert.deepEqual(await of("(all) => all.map(lasting)", [240, 2000, 9400, 126600, 3600000, 7260000, 90000000]),
    ["240 ms", "2 s", "9.4 s", "2 min 7 s", "1 h", "2 h 1 min", "1 day 1 h"]);
  const film = {
    limit: 2.3, residue_steps: 4, steps: 4, pictured: [[0, 3]], levels: [[0, "black"], [0xffffff, "white"]], modes: { quick: "It is quick." },
    frames: [
      { at: 0, title: "step 0", updates: [{ mode: "full", sent: [[0, 0, 8, 8]], times: [0, 0, 10, 10, 900], flashes: 2, cleans: true }] },
      { at: 1000, title: "step 1", meant: [[4, 4, 1]] },
      { at: 3000, title: 'step 2 "sent"', glass: [[4, 4, 1]], residue: [[4, 4, 2]], updates: [{ mode: "quick", sent: [[0, 0, 8, 8]], times: [3000, 3000, 3010, 3010, 3260] }] },
      { at: 4000, title: "step 3" },
    ],
  };
  const told = (step, at) => of(`async (film, step, at) => {
    const pictures = [[8, 8, 0xffffff], [2, 2, 0], [2, 2, 0x8c8c8c]];
    const pixelOf = (number, x, y) => (x >= 0 && y >= 0 && x < pictures[number][0] && y < pictures[number][1] ? pictures[number][2] : null);
    return storyOf(film, step, await factsOf(film, step, at, pixelOf));
  }`, film, step, at);
  assert.deepEqual(await told(1, [4, 5]), [
    ["What is meant here", ["Black: drawn with this step."]],
    ["What was driven here last", ["At the beginning, 1 s ago: step 0: `full` is complete after 900 ms, with 2 flashes."]],
    ["What is seen now", ["The pixel shows white: no update was sent to it since it changed, so it shows the older picture.", "Apart from that, nothing of older pictures is left here."]],
  ]);
  assert.deepEqual(await told(3, [4, 5]), [
    ["What is meant here", ["Black: drawn 3 s before, by step 1."]],
    ["What was driven here last", ['3 s after the beginning, 1 s ago: step 2 "sent": `quick` is complete after 260 ms, without a flash.', "The place was updated once since step 0 cleaned it."]],
    ["What is seen now", ['Older pictures make it 3.0 L* lighter, and most people notice 2.3 L*: a ghost where enough pixels around it are like this. It has been so for 1 s, since step 2 "sent".']],
    ["Why", ["It is quick."]],
  ]);
  assert.deepEqual((await told(3, [1, 1])).slice(0, 3).map(([, lines]) => lines[0]), [
    "White, as before the first step.",
    '3 s after the beginning, 1 s ago: step 2 "sent": `quick` is complete after 260 ms, without a flash.',
    "Nothing of older pictures is left here.",
  ]);
  assert.deepEqual((await of(`async (film) => storyOf(film, 3, await factsOf(film, 3, [4, 5], (number) => [0xffffff, 0, 0x8c8c8c][number]))`, { ...film, pictured: [[0, 1], [3, 3]] })).flatMap(([, lines]) => lines[0]).filter((line) => /since|appears|not known/.test(line)),
    ["Black; steps before have no picture on this page, so it is not known since when."]);
  const lost = { ...film, frames: film.frames.map((frame) => ({ ...frame, glass: undefined })) };
  assert.match((await of(`async (film) => storyOf(film, 3, await factsOf(film, 3, [4, 5], (number, x, y) => (number === 0 ? 0xffffff : x < 2 && y < 2 ? 0 : null)))`, lost))[2][1][0],
    /^The pixel shows white: the mode that was sent there cannot show the shade that was drawn\.$/);
}

// Residue stands below the line of its limit where it is below it, and energy adds up.
async function checkTime(of, axis) {
  const frame = (at, left, mj) => ({ at, left, mj, person: false, updates: [{ times: [at, at, at + 10, at + 10, at + 100], row: 0, flashes: 2 }] });
  const film = { axis, rows: 1, limit: 2, frames: [frame(0, 1, 10), frame(1000, 3, 30)] };
  const svg = await of("(film) => drawTime(film, 1, [{ step: 1, level: 'error', at: 7 }])", film);
  const heights = (path) => [...path.matchAll(/V([\d.]+)/g)].map((match) => Number(match[1]));
  const [residue, energy] = [...svg.matchAll(/class="course" d="([^"]+)"/g)].map((match) => match[1]);
  const limit = Number(/class="limit" d="M0 ([\d.]+)/.exec(svg)[1]);
  const bottom = (path) => Number(/^M0 ([\d.]+)/.exec(path)[1]);
  const share = (path, height, of) => (bottom(path) - height) / (bottom(path) - of);
  const [low, high] = heights(residue);
  assert.ok(Math.abs(share(residue, low, high) - 1 / 3) < 0.02 && Math.abs(share(residue, limit, high) - 2 / 3) < 0.02, residue);
  const [first, all] = heights(energy);
  assert.ok(Math.abs(share(energy, first, all) - 1 / 4) < 0.02, energy);
  assert.equal(svg.match(/class="flash"/g).length, 4);
  assert.match(svg, /data-mark="7" x="83.0"/);
}

function viewOf(page) {
  return page.locator(".view");
}

function button(page, name) {
  return viewOf(page).getByRole("button", { name, exact: typeof name === "string" });
}

async function shown(page, step, look = "seen") {
  await page.locator(`.view[data-shown="${step} ${look}"]`).waitFor();
}

async function shownNow(page) {
  const [step, look] = (await viewOf(page).getAttribute("data-shown")).split(" ");
  return { step: Number(step), look };
}

// What the panel shows, as a number: the same pixels give the same one.
function look(page) {
  return viewOf(page).locator("canvas").first().evaluate((canvas) => {
    const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
    let sum = 2166136261;
    for (const byte of data) sum = Math.imul(sum ^ byte, 16777619);
    return sum;
  });
}

// The darkest mean of the panel's red channel within some time, looked at as often as the page is drawn.
async function darkest(page, ms) {
  await watchDarkest(page);
  await page.waitForTimeout(ms);
  return viewOf(page).evaluate((view) => view.stopWatching());
}

// Looks at every picture that the page draws, from now until `stopWatching` gives the brightness of the darkest.
function watchDarkest(page) {
  return viewOf(page).evaluate((view) => {
    const canvas = view.querySelector("canvas");
    const brightness = () => {
      const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
      let sum = 0;
      for (let byte = 0; byte < data.length; byte += 4) sum += data[byte];
      return sum / (data.length / 4);
    };
    let least = brightness();
    let request = 0;
    const look = () => {
      least = Math.min(least, brightness());
      request = requestAnimationFrame(look);
    };
    request = requestAnimationFrame(look);
    view.stopWatching = () => {
      cancelAnimationFrame(request);
      return Math.min(least, brightness());
    };
  });
}

async function checkChange(page, plan) {
  const link = page.locator(`.contents a[href="#plan=${plan}"]`);
  await link.click();
  await page.locator(`.contents a[href="#plan=${plan}"][aria-current]`).waitFor();
  await page.locator(`.plan:nth-of-type(n):not([hidden]) .view[data-shown]`).waitFor();
  assert.equal(await viewOf(page).count(), 1, "one plan is open");
  await page.waitForFunction((plan) => location.hash.startsWith(`#plan=${plan}&`), plan);
  await page.waitForFunction(() => {
    const { top } = document.querySelector(".plan:not([hidden])").getBoundingClientRect();
    return Math.abs(top) < 2 || scrollY + innerHeight >= document.documentElement.scrollHeight - 2;
  });
}

// Of several plans the one with the worst verdict is open: the most errors, then warnings, then notes; of equal ones the first.
// A table has them in this order.
async function checkFirst(page, isCompared) {
  const worse = (one, other) => one.map((number, at) => other[at] - number).find((differs) => differs !== 0) ?? 0;
  const rows = await page.locator(".contents").locator("tbody tr, li").evaluateAll((items) => items.map((item) => {
    const numbers = item.matches("tr") ? [...item.querySelectorAll("td")].map((cell) => Number(cell.textContent))
      : ["error", "warning", "note"].map((level) => Number(new RegExp(`(\\d+) ${level}`).exec([...item.querySelectorAll(".level")].map((sign) => sign.textContent).join(" "))?.[1] ?? 0));
    return { plan: Number(/\d+/.exec(item.querySelector("a").hash)[0]), numbers };
  }));
  const sorted = rows.toSorted((one, other) => worse(one.numbers, other.numbers) || one.plan - other.plan);
  if (!isCompared) assert.deepEqual(rows, sorted, "the worst stands first");
  assert.match(page.url(), new RegExp(`#plan=${sorted[0].plan}&`), JSON.stringify(rows));
}

// Two plans that are compared stand side by side at one moment, the one before on the left, whichever is open; one cursor runs
// through the times of both.
async function checkLocked(page) {
  const films = await page.evaluate(() => sections.map((section) => dataOf(section).frames.map(({ at, title }) => ({ at, title }))));
  const slider = viewOf(page).getByRole("slider");
  for (const open of [1, 2]) {
    await checkChange(page, open);
    const [own, other] = [films[open - 1], films[2 - open]];
    for (const step of [own.length - 1, 0, Math.floor(own.length / 2)]) {
      await slider.fill(String(step + 1));
      await shown(page, step);
      const there = other.filter(({ at }) => at <= own[step].at + 0.5).at(-1)?.title ?? "before the first step";
      const figures = await viewOf(page).locator("figure").evaluateAll((all) => all.map((figure) => ({
        words: figure.querySelector("figcaption").textContent, left: figure.getBoundingClientRect().left,
      })));
      const [before, after] = figures.sort((one, other) => one.left - other.left).map(({ words }) => words);
      const expected = [`before: ${open === 1 ? own[step].title : there}, seen: `, `after: ${open === 2 ? own[step].title : there}, seen: `];
      assert.ok(before.startsWith(expected[0]) && after.startsWith(expected[1]), `${before} | ${after}, not ${expected}`);
      const cursors = await viewOf(page).locator(".scroll .cursor").evaluateAll((all) => all.map((cursor) => {
        const { left, width } = cursor.getBoundingClientRect();
        return `${left.toFixed(1)} ${width.toFixed(1)}`;
      }));
      assert.equal(cursors.length, 2);
      assert.equal(cursors[0], cursors[1], "one cursor");
    }
    // The other plan opens where this one stands.
    const stood = films[open - 1][Math.floor(own.length / 2)].at;
    await page.locator(`.contents a[href="#plan=${3 - open}"]`).click();
    await page.waitForFunction((plan) => location.hash.startsWith(`#plan=${plan}&`), 3 - open);
    const step = other.filter(({ at }) => at <= stood + 0.5).length - 1;
    await shown(page, step);
  }
  await page.keyboard.press("e");
  await viewOf(page).locator(".upper").waitFor({ state: "visible" });
  assert.deepEqual(await viewOf(page).locator(".edge span").allTextContents(), ["before", "after"]);
  await page.keyboard.press("e");
  await viewOf(page).locator("figure").nth(1).waitFor({ state: "visible" });
  await page.goto(page.url().split("#")[0]);
  await page.reload();
  await page.locator(".view[data-shown]").waitFor();
}

// What is meant lies over what is seen up to an edge that moves with keys and pointer, never faster than the panel may change.
async function checkEdge(page) {
  await page.keyboard.press("s");
  await page.keyboard.press("e");
  const edge = viewOf(page).getByRole("slider", { name: /^The edge: meant on its left, seen on its right/ });
  await edge.waitFor();
  assert.match(page.url(), /beside=edge/);
  assert.equal(await viewOf(page).locator("figure").nth(1).isVisible(), false);
  const stands = async (percent) => page.waitForFunction((percent) => parseFloat(document.querySelector(".view").style.getPropertyValue("--edge")) === percent, percent);
  await edge.fill("50");
  await stands(50);
  await edge.press("ArrowRight");
  await stands(51);
  const sheet = viewOf(page).locator(".sheet").first();
  await sheet.scrollIntoViewIfNeeded();
  const box = await sheet.boundingBox();
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 3);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width / 4, box.y + box.height / 3);
  await page.mouse.up();
  await stands(25);
  // As fast as it can, from one side to the other: not at once.
  const begun = Date.now();
  // Looked at within the page: on a busy machine the edge may have arrived before a question from outside comes through.
  const soon = await edge.evaluate((slider) => {
    slider.value = "100";
    slider.dispatchEvent(new Event("input", { bubbles: true }));
    return parseFloat(document.querySelector(".view").style.getPropertyValue("--edge"));
  });
  assert.ok(soon < 90, `the edge jumps to ${soon}`);
  await stands(100);
  assert.ok(Date.now() - begun >= 250, "the edge crosses the panel too fast");
  // All the way to the right, what is meant covers the panel.
  const [upper, meant] = await viewOf(page).evaluate(async (view) => {
    const [canvas, over] = [view.querySelector("canvas"), view.querySelector(".upper")];
    const meant = new OffscreenCanvas(canvas.width, canvas.height).getContext("2d");
    meant.imageSmoothingQuality = "high";
    meant.drawImage(await open.panel.at(state.step + 1, "meant"), 0, 0, canvas.width, canvas.height);
    const pixels = (of) => of.getImageData(0, 0, canvas.width, canvas.height).data.join();
    return [pixels(over.getContext("2d")), pixels(meant)];
  });
  assert.ok(upper === meant);
  await page.keyboard.press("Tab");
  await edge.fill("50");
  await stands(50);
  await viewOf(page).locator(".stage").focus();
  await page.keyboard.press("e");
  await edge.waitFor({ state: "hidden" });
}

// A click on the panel tells the story of that place; it follows the step, keys move it, the address keeps it.
async function checkHere(page) {
  const here = page.locator(".plan:not([hidden]) .here");
  await viewOf(page).locator("canvas").first().scrollIntoViewIfNeeded();
  await viewOf(page).locator("canvas").first().click({ position: { x: 40, y: 30 } });
  await here.waitFor();
  const titles = await here.locator("h4").allTextContents();
  assert.deepEqual([titles[0], titles[1], titles[2], titles.filter((title) => title !== "At other times").at(-1)],
    ["What is meant here", "What was driven here last", "What is seen now", "What is reported here"]);
  const [x, y] = /at=(\d+),(\d+)/.exec(page.url()).slice(1).map(Number);
  assert.match(await here.locator("h3").textContent(), new RegExp(`^The place ${x}, ${y} at `));
  const size = await viewOf(page).locator("canvas").first().evaluate((canvas) => [open.film.width / canvas.clientWidth, open.film.width]);
  assert.ok(Math.abs(x - 40 * size[0]) <= 1 + size[0], `${x} for 40 points of ${size[0]} px`);
  await viewOf(page).locator(".stage").focus();
  await page.keyboard.press("Shift+ArrowRight");
  const moved = x + Math.max(1, Math.round(size[1] / 100));
  await page.waitForFunction((about) => document.querySelector(".plan:not([hidden]) .here")?.dataset.about.startsWith(about), `${moved},${y} `);
  const slider = viewOf(page).getByRole("slider", { name: /^Step/ });
  await slider.fill("1");
  await page.waitForFunction((about) => document.querySelector(".plan:not([hidden]) .here")?.dataset.about === about, `${moved},${y} 0`);
  assert.match(await here.locator("h3").textContent(), / at step 0/);
  await here.getByRole("button", { name: "Close" }).click();
  await here.waitFor({ state: "detached" });
  await viewOf(page).locator(".stage").focus();
  await page.keyboard.press("h");
  await here.waitFor();
  await page.keyboard.press("h");
  await here.waitFor({ state: "detached" });
}

async function checkPanel(page, isCompared) {
  const slider = viewOf(page).getByRole("slider");
  const last = Number(await slider.getAttribute("max")) - 1;
  const begin = await shownNow(page);
  // Whoever comes without an address sees the worst finding's moment.
  const worst = await page.evaluate(() => [...document.querySelectorAll(".plan:not([hidden]) .cause li[id]")]
    .map((item) => item.dataset.step ?? item.closest(".cause").dataset.step).find((step) => step !== undefined && step !== ""));
  if (!isCompared) assert.deepEqual(begin, { step: Math.min(Number(worst ?? 0), last), look: "seen" });
  const before = await look(page);
  await page.waitForTimeout(700);
  assert.equal(await look(page), before, "something moves before it is asked for");

  const there = async (step) => {
    await slider.fill(String(step + 1));
    await shown(page, step);
    return look(page);
  };
  if (last >= 1) {
    const middle = Math.ceil(last / 2);
    const forwards = await there(middle);
    await there(0);
    await button(page, "Forward a step").click();
    await shown(page, 1);
    await button(page, "Back a step").click();
    await shown(page, 0);
    await there(last);
    assert.equal(await there(middle), forwards, "the same step looks otherwise when it is reached from behind");
    await viewOf(page).locator(".stage").focus();
    await page.keyboard.press("ArrowLeft");
    await shown(page, middle - 1);
    await page.keyboard.press("ArrowRight");
    await shown(page, middle);
  }
  await there(-1);
  assert.match(await viewOf(page).locator(".said").textContent(), /Before the first step/);
  const end = await there(last);

  for (const [key, name] of [["m", "meant"], ["l", "left"], ["s", "seen"]]) {
    await page.keyboard.press(key);
    await shown(page, last, name);
    assert.equal(await button(page, new RegExp(`^${name}`, "i")).first().getAttribute("aria-pressed"), "true");
    assert.match(await viewOf(page).locator("figcaption").first().textContent(), new RegExp(`, ${name}: `));
    assert.match(page.url(), new RegExp(`step=${last}&look=${name}`));
  }
  assert.equal(await look(page), end);
  if (!isCompared) await page.keyboard.press("b");
  await viewOf(page).locator("figure").nth(1).waitFor({ state: "visible" });
  const small = await widthOfPanel(page);
  if (!isCompared) await page.keyboard.press("b");
  if (!isCompared) await viewOf(page).locator("figure").nth(1).waitFor({ state: "hidden" });
  await page.keyboard.press("c");
  await page.locator(".view.closer").waitFor();
  assert.ok(await widthOfPanel(page) > 1.2 * small, "closer is larger");
  await page.keyboard.press("c");
  await page.locator(".view:not(.closer)").waitFor();
  await viewOf(page).locator(".help summary").click();
  await viewOf(page).getByLabel("keys are on").uncheck();
  await page.keyboard.press("l");
  await page.waitForTimeout(500);
  assert.equal((await shownNow(page)).look, "seen", "keys can be switched off");
  await viewOf(page).getByLabel("keys are on").check();
  await viewOf(page).locator(".help summary").click();
  await there(Math.min(0, last));
}

// The pixel that is named under the pointer is the one that a click chooses, wherever the pointer is between two points.
async function checkPointer(page) {
  const canvas = viewOf(page).locator("canvas").first();
  await canvas.scrollIntoViewIfNeeded();
  const box = await canvas.boundingBox();
  for (const [across, down] of [[31.5, 22.5], [77.7, 40.3], [101, 33.9]]) {
    await page.mouse.move(box.x + across, box.y + down);
    const named = /^(\d+), (\d+): /;
    await viewOf(page).locator(".reading").filter({ hasText: named }).waitFor();
    await page.waitForTimeout(120);
    const [, x, y] = named.exec(await viewOf(page).locator(".reading").textContent());
    await page.mouse.click(box.x + across, box.y + down);
    await page.waitForFunction((at) => location.hash.endsWith(`&at=${at}`), `${x},${y}`, { timeout: 30000 }).catch(() => assert.fail(`${x}, ${y} is named, and ${page.url()} chosen`));
  }
  await page.locator(".plan:not([hidden]) .here").getByRole("button", { name: "Close" }).click();
  await page.locator(".plan:not([hidden]) .here").waitFor({ state: "detached" });
}

// The figure of the strongest ghost leads to it and to its finding; closer, it is in the middle of two pictures that lie at the
// same height and are scrolled as one; what frames mean is said.
async function checkGhosts(page, isCompared) {
  const before = await shownNow(page);
  const link = page.locator(".plan:not([hidden]) .figures a");
  if ((await link.count()) === 0) return;
  assert.equal(await page.locator(".plan:not([hidden]) .figures dt").filter({ hasText: "strongest single ghost pixel" }).count(), 1);
  await link.click();
  const { step } = /step=(?<step>\d+)/.exec(await link.getAttribute("href")).groups;
  await shown(page, step, "left");
  await viewOf(page).locator(".legend").filter({ hasText: /Solid: ghosts\.|Dashed: outlines beside driven ink\./ }).waitFor();
  assert.match(await viewOf(page).locator(".said").textContent(), /the strongest pixel/);
  if (isCompared) {
    const [one, other] = await viewOf(page).locator("figcaption").evaluateAll((all) => all.map((words) => /left: .*$/.exec(words.textContent)[0]));
    assert.equal(one, other, "both pictures are as strong");
    assert.match(one, /times as strong in both pictures$/);
    assert.equal(await page.evaluate(() => reel(sections.map(dataOf)[0], sections.map(dataOf)[1]).times === reel(sections.map(dataOf)[1], sections.map(dataOf)[0]).times), true);
  }
  const hasFinding = /finding=/.test(await link.getAttribute("href"));
  if (hasFinding) {
    assert.doesNotMatch(await viewOf(page).locator(".what").textContent(), /No finding|gone|not at this step/);
    assert.ok((await viewOf(page).locator(".over path.chosen").count()) > 0, "the strongest ghost is framed");
  }
  for (const isChosen of hasFinding ? [true, false] : [false]) {
    if (!isChosen && hasFinding) {
      await page.evaluate(() => choose({ finding: null }));
      await viewOf(page).locator(".what").filter({ hasText: "No finding is chosen." }).waitFor();
    }
    await page.keyboard.press("c");
    await page.waitForFunction(() => /closer=1/.test(location.hash));
    const [main, second] = await viewOf(page).locator(".pane").evaluateAll((panes) => panes.map((pane) => {
      const { top, width, height } = pane.getBoundingClientRect();
      return { top, width, height, at: [pane.scrollLeft, pane.scrollTop], inside: [pane.scrollWidth, pane.scrollHeight], room: [pane.clientWidth, pane.clientHeight] };
    }));
    if (await viewOf(page).locator("figure").nth(1).isVisible()) {
      assert.ok(Math.abs(main.top - second.top) < 1 && Math.abs(main.width - second.width) < 1, "both pictures stand at one height");
      assert.ok(Math.abs(main.at[0] - second.at[0]) <= 2 || isCompared, "both are scrolled alike");
      const to = await viewOf(page).locator(".pane").evaluateAll(async ([one, other]) => {
        // A scrolling is told with the next frame, which comes late on a busy machine; what follows it is told with another one.
        const frame = () => new Promise((resolve) => requestAnimationFrame(resolve));
        const followed = async (holds) => {
          for (let frames = 0; frames < 3; frames += 1) await frame();
          for (let tries = 0; tries < 100 && !holds(); tries += 1) await new Promise((resolve) => setTimeout(resolve, 50));
        };
        const share = (pane, left) => left / Math.max(1, pane.scrollWidth - pane.clientWidth);
        one.scrollTo(20, 10);
        await followed(() => Math.abs(share(other, other.scrollLeft) - share(one, 20)) < 0.02);
        const first = [share(other, other.scrollLeft), share(one, 20)];
        other.scrollTo(0, 0);
        await followed(() => one.scrollLeft <= 2);
        return [...first, one.scrollLeft];
      });
      assert.ok(Math.abs(to[0] - to[1]) < 0.02 && to[2] <= 2, `scrolled as one: ${to}`);
    }
    // As far as the edges of the panel allow.
    const middle = await page.evaluate(async (isChosen) => {
      const { ghosts = [], outlines = [] } = open.film.frames[state.step];
      const [x, y, width, height] = (isChosen && open.causes.placeOfId(state.finding)?.box) || [...(await open.panel.strongestOf(state.step + 1, [...ghosts, ...outlines])), 0, 0];
      return [(x + width / 2) / open.film.width, (y + height / 2) / open.film.height];
    }, isChosen);
    for (const axis of [0, 1]) {
      const want = Math.max(0, Math.min(main.inside[axis] - main.room[axis], middle[axis] * main.inside[axis] - main.room[axis] / 2));
      assert.ok(Math.abs(main.at[axis] - want) <= 2, `scrolled to ${main.at}, not ${want} on axis ${axis}`);
    }
    await page.keyboard.press("c");
    await page.waitForFunction(() => !/closer/.test(location.hash));
  }
  if (!isCompared) await page.keyboard.press("b");
  await page.keyboard.press("s");
  await shown(page, step);
  await viewOf(page).getByRole("slider").fill(String(before.step + 1));
  await shown(page, before.step);
}

// A panel that is smaller on the screen than it is keeps its thin lines: every pixel has its share in what is drawn.
async function checkSmall(page) {
  await page.setViewportSize({ width: 390, height: 844 });
  await page.keyboard.press("m");
  await page.locator('.view[data-shown$=" meant"]').waitFor();
  await page.waitForFunction(() => {
    const canvas = document.querySelector(".view canvas");
    return canvas.width === Math.min(open.film.width, Math.round(canvas.clientWidth * devicePixelRatio));
  }, undefined, { timeout: 30000 });
  const [small, whole] = await page.evaluate(async () => {
    const mean = (canvas) => {
      const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
      let sum = 0;
      for (let byte = 0; byte < data.length; byte += 4) sum += data[byte];
      return sum / (data.length / 4);
    };
    return [mean(document.querySelector(".view canvas")), mean(await open.panel.at(state.step + 1, "meant"))];
  });
  assert.ok(Math.abs(small - whole) < 1.5, `a mean of ${small} where the panel has ${whole}`);
  await page.setViewportSize({ width: 1440, height: 900 });
  await page.keyboard.press("s");
  await page.locator('.view[data-shown$=" seen"]').waitFor();
}

// A chosen finding stays framed at every step to which it applies, dashed after its first, and at no other; a step that its text
// names is a way there.
async function checkLater(page) {
  const section = page.locator(".plan:not([hidden])");
  const lasting = await section.locator(".places > li[data-last][data-box]").evaluateAll((items) => items.map(({ id, dataset }) => [id.split("-")[2], Number(dataset.step ?? 0), Number(dataset.last)]));
  const frames = await page.evaluate(() => open.film.frames.length);
  for (const [id, first, last] of lasting.filter(([, step, last]) => step > 0 && last < frames - 1).slice(0, 2)) {
    for (const step of [first, first + 1, last, last + 1, first - 1]) {
      await page.evaluate(([finding, step]) => choose({ finding, step, look: "seen" }), [id, step]);
      await shown(page, step);
      const applies = first <= step && step <= last;
      assert.equal((await viewOf(page).locator(".over path.chosen:not(.halo)").count()) > 0, applies, `step ${step} of ${first} to ${last}`);
      assert.equal((await viewOf(page).locator(".over path.later").count()) > 0, applies && step !== first);
      assert.equal(/not at this step$/.test(await viewOf(page).locator(".what").textContent()), !applies);
    }
  }
  const named = await section.locator(".places > li").evaluateAll((items) => items.map((item) => [item.id.split("-")[2], /\(step (\d+)\)/.exec(item.querySelector("div > p")?.textContent)?.[1]]).find(([, step]) => step));
  if (!named) return;
  await page.evaluate((finding) => choose({ finding }), named[0]);
  const way = section.locator(`li[id$="${named[0]}"] p a`).first();
  await way.click();
  await shown(page, named[1]);
  assert.match(page.url(), new RegExp(`step=${named[1]}&.*finding=${named[0]}`));
}

// A button copies the whole address, another one the line of the file; also where the page is kept from the clipboard.
async function checkCopies(page) {
  const link = button(page, "Copy link to this view");
  const line = page.locator(".plan:not([hidden]) .chosen .copy").first();
  const paste = async () => {
    await page.evaluate(() => document.body.append(Object.assign(document.createElement("textarea"), { className: "pasted" })));
    await page.locator(".pasted").focus();
    await page.keyboard.press("Control+V");
    const text = await page.locator(".pasted").inputValue();
    await page.locator(".pasted").evaluate((area) => area.remove());
    return text;
  };
  for (const isKept of [false, true]) {
    if (isKept) await page.evaluate(() => Object.defineProperty(navigator, "clipboard", { value: undefined }));
    await link.click();
    await viewOf(page).getByRole("button", { name: "Copied" }).waitFor();
    assert.equal(await paste(), page.url());
    await link.waitFor();
    if (!(await line.isVisible())) continue;
    assert.equal(await line.textContent(), "Copy file:line");
    await line.click();
    await line.filter({ hasText: "Copied" }).waitFor();
    assert.match(await paste(), /\.json:\d+$/);
    await line.filter({ hasText: "Copy file:line" }).waitFor();
  }
}

// On a narrow page the step is named, the chosen finding ends with dots where it is cut, and of two pressed looks each has its
// own line. In the dark, what marks the panel stays apart from its white.
async function checkNarrow(page) {
  await page.setViewportSize({ width: 390, height: 844 });
  const { step } = await shownNow(page);
  assert.match(await viewOf(page).locator(".count").textContent(), new RegExp(`^${step < 0 ? "begin" : `${step} of \\d+`}$`));
  assert.equal(await viewOf(page).locator(".count").isVisible(), true);
  assert.equal(await viewOf(page).locator("figcaption").first().isVisible(), true);
  assert.equal(await viewOf(page).locator(".what").evaluate((what) => getComputedStyle(what).webkitLineClamp), "2");
  await page.setViewportSize({ width: 1440, height: 900 });
  await page.emulateMedia({ colorScheme: "dark" });
  const halo = await viewOf(page).evaluate((view) => {
    const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
    path.setAttribute("class", "chosen halo");
    view.querySelector(".over").append(path);
    const { stroke } = getComputedStyle(path);
    path.remove();
    return stroke;
  });
  assert.equal(halo, "rgb(255, 255, 255)");
  await page.emulateMedia({ colorScheme: null });
  // What is told before the first picture is there.
  assert.equal(await page.evaluate(() => viewPart.content.querySelector(".blank").textContent), "Unpacking the pictures.");
  const off = await page.locator(".plan:not([hidden]) .filters label:has(:disabled)").allTextContents();
  for (const words of off) assert.match(words, /only (new \(none is known from before\)|sure \(none is unsure\))$/);
}

function widthOfPanel(page) {
  return viewOf(page).locator("canvas").first().evaluate((canvas) => canvas.clientWidth);
}

// A held key and a dragged slider bring no more than three pictures in any second.
async function checkPace(page) {
  const slider = viewOf(page).getByRole("slider");
  const last = Number(await slider.getAttribute("max")) - 1;
  if (last < 8) return;
  await viewOf(page).evaluate((view) => {
    view.pictures = [];
    new MutationObserver(() => view.pictures.push(performance.now())).observe(view, { attributeFilter: ["data-shown"] });
  });
  await viewOf(page).locator(".stage").focus();
  for (let times = 0; times < 60; times += 1) {
    await page.keyboard.down("ArrowRight");
    await page.waitForTimeout(30);
  }
  await page.keyboard.up("ArrowRight");
  for (let times = 0; times < 40; times += 1) {
    await slider.fill(String(1 + (times % last)));
    await page.waitForTimeout(30);
  }
  await slider.fill("1");
  await shown(page, 0);
  const pictures = await viewOf(page).evaluate((view) => view.pictures);
  assert.ok(pictures.length >= 4, `${pictures.length} pictures`);
  for (const [at, time] of pictures.entries()) {
    const within = pictures.slice(at).filter((other) => other < time + 1000).length;
    assert.ok(within <= 3, `${within} pictures within a second`);
  }
}

// While it plays, an update that flashes is marked and never makes the panel dark. Asked for, its flashes are shown once.
async function checkFlashes(page) {
  const slider = viewOf(page).getByRole("slider");
  const last = Number(await slider.getAttribute("max")) - 1;
  let step = 0;
  const flash = button(page, "Show its flashes, once");
  for (; step <= Math.min(last, 3); step += 1) {
    await slider.fill(String(step + 1));
    await shown(page, step);
    if (await flash.isEnabled()) break;
  }
  if (!(await flash.isEnabled())) return;
  const after = await darkest(page, 0);
  await slider.fill(String(step));
  await shown(page, step - 1);
  const least = Math.min(after, await darkest(page, 0));
  await button(page, "Play").click();
  const seen = await darkest(page, 2000);
  assert.ok(seen > least - 25, `the panel goes dark while it plays: ${seen}, at rest no less than ${least}`);
  await button(page, "Stop").click();
  await button(page, "Play").waitFor();

  await slider.fill(String(step + 1));
  await shown(page, step);
  page.once("dialog", (dialog) => dialog.dismiss());
  await flash.click();
  assert.ok(await darkest(page, 600) > least - 25, "a flash is shown although somebody declined");
  page.once("dialog", (dialog) => {
    assert.match(dialog.message(), /photosensitive epilepsy/);
    dialog.accept();
  });
  await watchDarkest(page);
  await flash.click();
  await viewOf(page).locator("figcaption").first().filter({ hasText: ", as fast as it is" }).waitFor({ timeout: 90000 });
  await viewOf(page).locator("figcaption").first().filter({ hasText: ", seen: " }).waitFor({ timeout: 90000 });
  const flashing = await viewOf(page).evaluate((view) => view.stopWatching());
  assert.ok(flashing < after, `no flash is shown: ${flashing}, at rest ${after}`);
  assert.ok(await darkest(page, 1500) > least - 25, "the flash is shown again");
  await page.emulateMedia({ reducedMotion: "reduce" });
  await slider.fill(String(step));
  await shown(page, step - 1);
  await slider.fill(String(step + 1));
  await shown(page, step);
  assert.equal(await flash.isDisabled(), true, "no flash where motion is to be reduced");
  await page.emulateMedia({ reducedMotion: null });
  await slider.fill("1");
  await shown(page, 0);
}

// Choosing a place moves panel and address, a link leads back, and filters hide what they name.
async function checkCauses(page, troubles) {
  const section = page.locator(".plan:not([hidden])");
  const causes = section.locator(".cause");
  const number = await causes.count();
  if (number === 0) return;
  const boxed = section.locator(".places > li[data-step][data-box]");
  if ((await boxed.count()) > 0) {
    const [id, step] = await boxed.first().evaluate((item) => [item.id.split("-")[2], item.dataset.step]);
    const cause = boxed.first().locator("xpath=ancestor::details[1]");
    if (!(await cause.evaluate((details) => details.open))) await cause.locator("summary").first().click();
    const link = boxed.first().locator("a");
    await link.waitFor();
    await link.click();
    await section.locator(`.chosen[id$="${id}"]`).waitFor({ state: "attached" });
    await shown(page, Number(step));
    assert.match(page.url(), new RegExp(`finding=${id}`));
    assert.equal(await boxed.first().locator("a").getAttribute("aria-current"), "true");
    assert.equal(await viewOf(page).locator(".over path.chosen").count() > 0, true, "the box is framed");
    await page.keyboard.press("l");
    await shown(page, Number(step), "left");
    const other = await opened(page.url(), troubles);
    await shown(other, Number(step), "left");
    assert.equal(await look(other), await look(page), "a link leads to the same picture");
    await other.locator(`.chosen[id$="${id}"]`).waitFor({ state: "attached" });
    await other.close();
    await page.keyboard.press("s");
    await shown(page, Number(step));
  }
  await page.keyboard.press("n");
  await page.keyboard.press("p");
  const marks = viewOf(page).locator("[data-mark]");
  if ((await marks.count()) > 0) {
    await marks.last().dispatchEvent("click");
    const step = await section.locator(".cause li[data-step]").first().getAttribute("data-step");
    await shown(page, Number(step));
  }
  const time = viewOf(page).locator(".scroll svg").first();
  const widthOf = async () => Number(await time.getAttribute("width"));
  const narrow = await widthOf();
  await button(page, "Zoom in").click();
  assert.ok(await widthOf() > 1.8 * narrow - 40, "a nearer time is wider");
  await button(page, "Zoom out").click();
  assert.equal(await widthOf(), narrow);
  const times = await viewOf(page).locator(".scroll svg").first().evaluate((svg) => {
    const bottom = Number(svg.getAttribute("height")) - 3;
    const boxes = [...svg.querySelectorAll("text.faint")].filter((text) => Number(text.getAttribute("y")) === bottom).map((text) => text.getBoundingClientRect());
    const { right } = svg.getBoundingClientRect();
    return { number: boxes.length, fits: boxes.every((box, at) => box.right <= (boxes[at + 1]?.left ?? right + 1)) };
  });
  assert.ok(times.number > 0 && times.fits, `times below the time: ${JSON.stringify(times)}`);
  const energy = /energy (\d+) mJ/.exec((await section.locator(".figures").allTextContents()).join(" "))?.[1];
  if (energy) assert.ok((await viewOf(page).locator(".lanes").textContent()).includes(`${energy} mJ in all`), `${energy} mJ above`);
  const filters = section.locator(".filters");
  for (const level of await filters.locator('[name="level"]').all()) await level.uncheck();
  assert.equal(await causes.locator("visible=true").count(), 0);
  assert.match(await filters.locator(".shown").textContent(), new RegExp(`^0 of ${number} causes`));
  for (const level of await filters.locator('[name="level"]').all()) await level.check();
  const rule = await causes.first().getAttribute("data-rule");
  await filters.locator("select").selectOption(rule);
  assert.ok(await causes.locator("visible=true").count() >= 1);
  await filters.locator("select").selectOption("");
  assert.equal(await causes.evaluateAll((all) => all.filter((cause) => !cause.hidden).length), number);
}

// Sentence, figures, and causes with their pictures; no panel to be worked with.
async function checkPrint(page) {
  await page.emulateMedia({ media: "print" });
  await page.evaluate(() => dispatchEvent(new Event("beforeprint")));
  const section = page.locator(".plan:not([hidden])");
  assert.equal(await section.locator(".view").isVisible(), false);
  assert.equal(await section.locator(".verdict").isVisible(), true);
  const texts = await section.locator(".places > li > div").evaluateAll((all) => all.map((one) => one.getBoundingClientRect().height));
  assert.ok(texts.every((height) => height > 0), "every place stands in the print");
  const pictures = await section.locator(".places > li:first-child[data-step][data-box]").count();
  await page.waitForFunction(([selector, number]) => document.querySelectorAll(selector).length === number, [".plan:not([hidden]) .shot", pictures]);
  await page.evaluate(() => dispatchEvent(new Event("afterprint")));
  await page.emulateMedia({ media: null });
}

// Charts of two plans: side by side where there is room and else one under the other, of one size, their texts large
// enough, inside, and apart from each other; each told with its figures to those who do not see it.
async function checkCompared(page) {
  const section = page.locator("section.compared");
  const rows = await section.locator(".course").all();
  assert.equal(rows.length, 4);
  for (const row of rows) {
    const title = await row.getByRole("heading").textContent();
    assert.match(await row.textContent(), /better|worse|the same|not comparable/, title);
    for (const side of ["before", "after"]) {
      const named = row.getByRole("img", { name: new RegExp(`^${title} ${side} .*(\\d|no |nobody)`) });
      assert.equal(await named.count(), 1, `${title}: one chart of the plan ${side} that says what it shows`);
    }
  }
  for (const width of [360, 480, 700, 701, 900, 1000, 1600]) {
    await page.setViewportSize({ width, height: 1000 });
    for (const row of rows) await checkPair(row, width);
  }
}

async function checkPair(row, width) {
  const [before, after] = await row.locator("svg").evaluateAll((charts) => charts.map((chart) => {
    const box = ({ left, right, top, bottom, width, height }) => ({ left, right, top, bottom, width, height });
    return {
      ...box(chart.getBoundingClientRect()),
      texts: [...chart.querySelectorAll("text")].map((text) => ({
        said: text.textContent, size: parseFloat(getComputedStyle(text).fontSize) * chart.getScreenCTM().a, ...box(text.getBoundingClientRect()),
      })),
    };
  }));
  const at = `in a window of ${width} px`;
  assert.ok(Math.abs(before.width - after.width) < 1 && Math.abs(before.height - after.height) < 1, `charts of two sizes ${at}`);
  if (width > 700) assert.ok(Math.abs(before.top - after.top) < 1 && after.left >= before.right, `not side by side ${at}`);
  else assert.ok(after.top >= before.bottom && before.width > Math.min(0.8 * width, 500), `not one under the other ${at}`);
  for (const chart of [before, after]) {
    for (const [number, text] of chart.texts.entries()) {
      assert.ok(text.size >= 9.5, `"${text.said}" is ${text.size.toFixed(1)} px high ${at}`);
      assert.ok(text.left >= chart.left - 0.5 && text.right <= chart.right + 0.5 && text.bottom <= chart.bottom + 0.5, `"${text.said}" leaves its chart ${at}`);
      for (const other of chart.texts.slice(number + 1)) {
        const apart = text.right <= other.left || other.right <= text.left || text.bottom <= other.top + 3 || other.bottom <= text.top + 3;
        assert.ok(apart, `"${text.said}" and "${other.said}" lie over each other ${at}`);
      }
    }
  }
}

async function checkWidths(page) {
  for (const width of [360, 390, 900, 1600]) {
    await page.setViewportSize({ width, height: 1000 });
    const wide = await page.evaluate(() => document.documentElement.scrollWidth);
    assert.ok(wide <= width, `${wide} px wide in a window of ${width} px`);
  }
}

async function checkAccess(page, scheme) {
  await page.addScriptTag({ path: axe });
  const { violations } = await page.evaluate(() => globalThis.axe.run());
  const serious = violations.filter((violation) => ["serious", "critical"].includes(violation.impact));
  const told = serious.map((violation) => `${violation.id}: ${violation.nodes.map((node) => node.target.join(" ")).slice(0, 5).join(", ")}`);
  assert.deepEqual(told, [], `in the ${scheme} scheme`);
}
