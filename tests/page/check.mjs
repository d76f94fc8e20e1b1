// Opens a page of `stillpage review --html` in Chromium and checks what a person would meet: no error, no request, steps
// by button and key, nothing that flashes before it is asked for, nothing wider than the window, no serious fault of
// accessibility (axe-core's rules, which follow WCAG). A page named `compared...` has two plans beside each other.
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

for (const file of pages) {
  await check(file);
  console.log(`ok ${file}`);
}
await browser.close();

async function check(file) {
  const troubles = [];
  const page = await browser.newPage({ viewport: { width: 900, height: 1000 } });
  page.on("console", (message) => { if (message.type() === "error") troubles.push(message.text()); });
  page.on("pageerror", (error) => troubles.push(error.message));
  const address = pathToFileURL(file).href;
  page.on("request", (request) => {
    if (request.url() !== address && !request.url().startsWith("data:")) troubles.push(`asks for ${request.url()}`);
  });
  await page.goto(address);
  for (const player of await page.locator(".player").all()) await checkPlayer(page, player);
  if (basename(file).startsWith("compared")) await checkCompared(page);
  await checkWidths(page);
  await checkAccess(page, "light");
  await page.emulateMedia({ colorScheme: "dark" });
  await checkAccess(page, "dark");
  assert.deepEqual(troubles, [], file);
  await page.close();
}

// What the panel shows, as a number: the same pixels give the same one.
function look(player) {
  return player.locator("canvas").first().evaluate((canvas) => {
    const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
    let sum = 2166136261;
    for (const byte of data) sum = Math.imul(sum ^ byte, 16777619);
    return sum;
  });
}

// The darkest mean of the panel's red channel within some time, looked at as often as the page is drawn.
function darkest(player, ms) {
  return player.locator("canvas").first().evaluate(async (canvas, ms) => {
    const brightness = () => {
      const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
      let sum = 0;
      for (let byte = 0; byte < data.length; byte += 4) sum += data[byte];
      return sum / (data.length / 4);
    };
    const until = performance.now() + ms;
    let least = brightness();
    while (performance.now() < until) {
      await new Promise((resolve) => requestAnimationFrame(resolve));
      least = Math.min(least, brightness());
    }
    return least;
  }, ms);
}

async function shown(player, step) {
  await player.page().waitForFunction(([element, step]) => element.dataset.shown === String(step), [await player.elementHandle(), step]);
}

async function checkPlayer(page, player) {
  const slider = player.getByRole("slider");
  const last = Number(await slider.getAttribute("max"));
  const first = Math.min(1, last);
  await shown(player, first);
  const before = await look(player);
  await page.waitForTimeout(700);
  assert.equal(await look(player), before, "something moves before it is asked for");
  assert.equal(await player.getByLabel("show flashes as they are").isChecked(), false);
  assert.equal(await player.getByLabel("Speed").inputValue(), "0.1");
  if (last < 2) return;

  const there = async (step) => {
    await slider.fill(String(step));
    await shown(player, step);
    return look(player);
  };
  // Before any later step was shown.
  const middle = Math.ceil(last / 2);
  const forwards = await there(middle);
  await there(1);

  await player.getByRole("button", { name: "Step on" }).click();
  await shown(player, 2);
  const second = await player.locator("figcaption").first().textContent();
  await player.getByRole("button", { name: "Step back" }).click();
  await shown(player, 1);
  assert.notEqual(await player.locator("figcaption").first().textContent(), second);

  await player.focus();
  for (const [key, step] of [["ArrowRight", 2], ["End", last], ["ArrowLeft", last - 1], ["Home", 0]]) {
    await page.keyboard.press(key);
    await shown(player, step);
  }
  assert.match(await player.locator(".said").textContent(), /Before the first step/);

  assert.equal(await there(middle), forwards, "the same step looks otherwise when it is reached from behind");

  await player.focus();
  await page.keyboard.press("r");
  await player.locator(".scale").waitFor({ state: "visible" });
  await page.keyboard.press("r");
  await player.locator(".scale").waitFor({ state: "hidden" });
  await player.getByLabel("Beside it").selectOption("1");
  await player.locator("figure.other").waitFor({ state: "visible" });
  await player.getByLabel("Beside it").selectOption("");

  await checkStillWhilePlaying(player, there);
}

// While it plays, with flashes only marked, an update that flashes never makes the panel dark. In real time, for that shows
// the most of it.
async function checkStillWhilePlaying(player, there) {
  await there(1);
  const after = await darkest(player, 0);
  await there(0);
  const least = Math.min(after, await darkest(player, 0));
  await player.getByLabel("Speed").selectOption("1");
  await player.getByRole("button", { name: "Play" }).click();
  const seen = await darkest(player, 2000);
  assert.ok(seen > least - 25, `the panel goes dark while it plays: ${seen}, at rest no less than ${least}`);
  await player.getByRole("button", { name: "Stop" }).click();
  await player.getByRole("button", { name: "Play" }).waitFor();
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
  for (const width of [360, 900, 1600]) {
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
