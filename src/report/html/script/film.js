// The panel after each step, from pictures laid over each other: what is in memory, what is on the glass, and the residue.
// Knows the recording, not the page.

const noResidue = 128;
const keptStages = 6;

// What a reader sees: the colours of the glass where residue shifts them.
function tint(glass, residue, tones) {
  for (let byte = 0; byte < glass.length; byte += 4) {
    if (residue[byte] === noResidue) continue;
    const seen = tones.get((glass[byte] << 16) | (glass[byte + 1] << 8) | glass[byte + 2])?.[residue[byte]];
    if (seen === undefined) continue;
    glass[byte] = seen >> 16;
    glass[byte + 1] = (seen >> 8) & 255;
    glass[byte + 2] = seen & 255;
  }
}

// The grey of a lightness, L* to sRGB.
function greyOf(lightness) {
  const l = Math.max(0, Math.min(100, lightness));
  const linear = l > 8 ? ((l + 16) / 116) ** 3 : l / 903.3;
  return Math.round(255 * (linear <= 0.0031308 ? 12.92 * linear : 1.055 * linear ** (1 / 2.4) - 0.055));
}

// How many times the ghosts are amplified: as often as the strongest can be without leaving the greys.
function amplification(worst) {
  return [20, 16, 12, 10, 8, 6, 5, 4, 3, 2].find((times) => times * worst <= 30) ?? 1;
}

// Whether the page has the picture of a step: of a long plan, or of many plans, there is no room for all. -1 is the panel
// before the first step.
function hasPicture(film, step) {
  return step < 0 ? film.pictured.length > 0 : film.pictured.some(([from, to]) => from <= step && step <= to);
}

// Which steps have pictures, in words; nothing where all have.
function picturedWords({ pictured, steps }) {
  const number = pictured.reduce((sum, [from, to]) => sum + to - from + 1, 0);
  if (number === steps) return "";
  const ranges = pictured.map(([from, to]) => (from === to ? `step ${from}` : `steps ${from} to ${to}`));
  return ranges.length < 4 ? `pictures only of ${ranges.join(", ") || "no step"}` : `pictures only of ${number} of ${steps} steps`;
}

function strongestIn(film) {
  return Math.max(1, ...film.frames.map((frame) => Math.max(frame.worst, frame.left)));
}

// The pictures of a film. Residue is amplified alike in a film that it is seen beside.
function reel(film, beside = film) {
  const pictures = new Map();
  const kept = new Map();
  const now = {};
  const keptEvery = Math.max(24, Math.ceil(film.frames.length / keptStages));
  const tones = new Map(film.tones.map(([level, pairs]) => {
    const seen = [];
    for (let at = 0; at < pairs.length; at += 2) seen[pairs[at]] = pairs[at + 1];
    return [level, seen];
  }));
  const times = amplification(Math.max(strongestIn(film), strongestIn(beside)));
  const greys = Array.from({ length: 256 }, (_, value) => greyOf(70 + (times * (value - noResidue)) / film.residue_steps));

  function picture(number) {
    if (!pictures.has(number)) {
      pictures.set(number, createImageBitmap(new Blob([bytesOf(film.pictures[number])], { type: "image/png" })));
    }
    return pictures.get(number);
  }

  function sheet(layer) {
    const context = new OffscreenCanvas(film.width, film.height).getContext("2d", { willReadFrequently: layer !== "meant" });
    context.fillStyle = `rgb(${noResidue},${noResidue},${noResidue})`;
    context.fillRect(0, 0, film.width, film.height);
    return context;
  }

  async function begin(layer, step) {
    const stages = [...kept.keys()].filter((key) => key.startsWith(layer)).map((key) => Number(key.split(" ")[1]));
    const near = Math.max(0, ...stages.filter((at) => at <= step));
    const context = sheet(layer);
    if (near > 0) context.drawImage(kept.get(`${layer} ${near}`), 0, 0);
    else if (layer !== "residue") context.drawImage(await picture(0), 0, 0);
    return { shown: near, context };
  }

  // A layer after so many steps.
  async function brought(layer, steps) {
    if (!now[layer] || now[layer].shown > steps) now[layer] = await begin(layer, steps);
    const at = now[layer];
    while (at.shown < steps) {
      for (const [x, y, number] of film.frames[at.shown][layer] ?? []) at.context.drawImage(await picture(number), x, y);
      at.shown += 1;
      if (at.shown % keptEvery || kept.has(`${layer} ${at.shown}`)) continue;
      const copy = sheet(layer);
      copy.drawImage(at.context.canvas, 0, 0);
      kept.set(`${layer} ${at.shown}`, copy.canvas);
    }
    return at.context;
  }

  // The colour of a pixel of a picture as one number; null outside it.
  const one = new OffscreenCanvas(1, 1).getContext("2d", { willReadFrequently: true });
  async function pixel(number, x, y) {
    const image = await picture(number);
    if (x < 0 || y < 0 || x >= image.width || y >= image.height) return null;
    one.drawImage(image, x, y, 1, 1, 0, 0, 1, 1);
    const [red, green, blue] = one.getImageData(0, 0, 1, 1).data;
    return (red << 16) | (green << 8) | blue;
  }

  const pixels = (context) => context.getImageData(0, 0, film.width, film.height);

  async function painted(steps, look) {
    const context = sheet("meant");
    if (look === "meant") {
      context.drawImage((await brought("meant", steps)).canvas, 0, 0);
      return context.canvas;
    }
    const residue = pixels(await brought("residue", steps));
    let image = residue;
    if (look === "seen") {
      image = pixels(await brought("glass", steps));
      tint(image.data, residue.data, tones);
    } else {
      const { data } = image;
      for (let byte = 0; byte < data.length; byte += 4) data[byte] = data[byte + 1] = data[byte + 2] = greys[data[byte]];
    }
    context.putImageData(image, 0, 0);
    return context.canvas;
  }

  // One after the other: they share what is painted.
  let turn = Promise.resolve();
  const inTurn = (run) => (turn = turn.then(run, run));
  return {
    times,
    pixel,
    // The panel after so many steps, as a canvas.
    at: (steps, look) => inTurn(() => painted(steps, look)),
    // Where in some boxes most residue is; nothing where there is none.
    strongestOf: (steps, boxes) => inTurn(async () => {
      const context = await brought("residue", steps);
      let [most, place] = [0, null];
      for (const [left, top, width, height] of boxes) {
        const { data } = context.getImageData(left, top, width, height);
        for (let at = 0; at < width * height; at += 1) {
          const off = Math.abs(data[4 * at] - noResidue);
          if (off > most) [most, place] = [off, [left + (at % width), top + Math.floor(at / width)]];
        }
      }
      return place;
    }),
    // The residue of a pixel in L*.
    residueAt: (steps, x, y) => inTurn(async () => ((await brought("residue", steps)).getImageData(x, y, 1, 1).data[0] - noResidue) / film.residue_steps),
  };
}
