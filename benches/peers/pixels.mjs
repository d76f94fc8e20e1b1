// The number of pixels that differ between each two frames of a list, by a library that compares pictures.
// Called as `pixels.mjs LIST THREADS`. Prints the seconds that it took, then a number a line. Each thread takes a run of
// neighbouring frames and decodes each once.

import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { pathToFileURL } from "node:url";
import { Worker, isMainThread, parentPort, workerData } from "node:worker_threads";

const [list, threads] = process.argv.slice(2);
// The libraries lie in the folder that the program is called in.
const require = createRequire(process.cwd() + "/");

async function count(frames) {
  const { PNG } = require("pngjs");
  const { default: pixelmatch } = await import(pathToFileURL(require.resolve("pixelmatch")));
  const counts = [];
  let before = PNG.sync.read(readFileSync(frames[0]));
  for (const frame of frames.slice(1)) {
    const after = PNG.sync.read(readFileSync(frame));
    const exact = { threshold: 0, includeAA: true };
    counts.push(pixelmatch(before.data, after.data, null, after.width, after.height, exact));
    before = after;
  }
  return counts;
}

if (isMainThread) {
  const frames = readFileSync(list, "utf8").trim().split("\n");
  const share = Math.ceil((frames.length - 1) / Number(threads));
  const runs = [];
  for (let at = 0; at < frames.length - 1; at += share) {
    runs.push(frames.slice(at, at + share + 1));
  }
  const begin = performance.now();
  const done = (run) => new Promise((resolve, reject) => {
    const worker = new Worker(new URL(import.meta.url), { workerData: run, argv: [list, threads] });
    worker.once("message", resolve);
    worker.once("error", reject);
  });
  const counts = (await Promise.all(runs.map(done))).flat();
  console.log((performance.now() - begin) / 1000);
  console.log(counts.join("\n"));
} else {
  parentPort.postMessage(await count(workerData));
}
