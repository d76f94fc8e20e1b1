// The story of a pixel at the end of a step: what is meant there, what was driven there, what is seen, why, and what is
// reported. In the words of `explain`, from the recording alone; nothing is worked out that it does not hold. Knows the
// recording, not the page.

// A stretch of time as a person says it.
function lasting(ms) {
  if (ms < 999.5) return `${Math.round(ms)} ms`;
  const seconds = Math.round(ms / 1000);
  const parts = (whole, unit, rest, restUnit) => (rest === 0 ? `${whole} ${unit}` : `${whole} ${unit} ${rest} ${restUnit}`);
  if (seconds < 60) return `${(ms / 1000).toFixed(1).replace(/\.0$/, "")} s`;
  if (seconds < 3600) return parts(Math.floor(seconds / 60), "min", seconds % 60, "s");
  if (seconds < 86400) return parts(Math.floor(seconds / 3600), "h", Math.floor(seconds / 60) % 60, "min");
  return parts(Math.floor(seconds / 86400), seconds < 172800 ? "day" : "days", Math.floor(seconds / 3600) % 24, "h");
}

function holds([x, y, width, height], [column, row]) {
  return column >= x && column < x + width && row >= y && row < y + height;
}

// What stands at a pixel after each step up to one, of a layer: the steps at which it changed, and to what. `pixelOf` gives a
// pixel of a picture, as one number.
async function changesOf(film, layer, upTo, [x, y], first, pixelOf) {
  const changes = [{ step: -1, value: first }];
  for (let step = 0; step <= upTo; step += 1) {
    for (const [left, top, picture] of film.frames[step][layer] ?? []) {
      const colour = await pixelOf(picture, x - left, y - top);
      const value = layer === "residue" && colour !== null ? colour & 255 : colour;
      if (value !== null && value !== changes.at(-1).value) changes.push({ step, value });
    }
  }
  return changes;
}

// What there is to say of a pixel.
async function factsOf(film, step, at, pixelOf) {
  const ground = await pixelOf(0, ...at);
  const history = (layer, first) => changesOf(film, layer, step, at, first, pixelOf);
  const [meant, glass, residue] = [await history("meant", ground), await history("glass", ground), await history("residue", noResidue)];
  const driven = [];
  for (let index = 0; index <= step; index += 1) {
    for (const update of film.frames[index].updates ?? []) {
      if (update.sent.some((box) => holds(box, at))) driven.push({ step: index, ...update });
    }
  }
  const off = (value) => (value - noResidue) / film.residue_steps;
  // Since when it has been as far off as most people notice, without a rest.
  const noticed = residue.findLastIndex(({ value }) => Math.abs(off(value)) < film.limit) + 1;
  // Where steps before have no pictures, nobody knows in which of them the place changed.
  const isWhole = film.pictured[0]?.[0] === 0 && step <= film.pictured[0][1];
  return { meant: meant.at(-1), glass: glass.at(-1), driven, off: off(residue.at(-1).value), since: residue[noticed]?.step ?? null, isWhole };
}

// The story as parts: a title and its sentences.
function storyOf(film, step, facts) {
  const now = film.frames[step]?.at ?? 0;
  const titled = (index) => film.frames[index].title;
  const named = (colour) => film.levels.find(([number]) => number === colour)?.[1] ?? "a shade of its own";
  const ago = (index) => (index === step ? "with this step" : `${lasting(now - film.frames[index].at)} before, by ${titled(index)}`);
  const last = facts.driven.at(-1);
  const capital = (words) => words[0].toUpperCase() + words.slice(1);
  const meant = !facts.isWhole ? `${capital(named(facts.meant.value))}; steps before have no picture on this page, so it is not known since when.`
    : facts.meant.step < 0 ? `${capital(named(facts.meant.value))}, as before the first step.`
    : `${capital(named(facts.meant.value))}: drawn ${ago(facts.meant.step)}.`;
  return [
    ["What is meant here", [meant]],
    ["What was driven here last", last ? drivenWords(film, last, facts, titled, now) : ["Nothing was updated here yet."]],
    ["What is seen now", seenWords(film, step, facts, named, titled, now)],
    ...(last && film.modes[last.mode] ? [["Why", [film.modes[last.mode]]]] : []),
  ];
}

function drivenWords(film, { step, mode, times: [asked, , , , finish], waits, flashes = 0 }, { driven }, titled, now) {
  const at = film.frames[step].at;
  const when = at < 1 ? "At the beginning" : `${lasting(at)} after the beginning`;
  const before = now - at < 1 ? "" : `, ${lasting(now - at)} ago`;
  const flash = flashes ? `with ${flashes === 1 ? "1 flash" : `${flashes} flashes`}` : "without a flash";
  const cleaned = driven.findLastIndex(({ cleans }) => cleans);
  const since = driven.length - 1 - cleaned;
  const times = since === 1 ? "once" : `${since} times`;
  return [
    `${when}${before}: ${titled(step)}: \`${mode}\` is complete after ${lasting(finish - asked)}${waits ? ` (it waits for ${waits})` : ""}, ${flash}.`,
    ...(since > 0 ? [cleaned < 0 ? `The place was updated ${times}, and the plan had not cleaned it yet.`
      : `The place was updated ${times} since ${titled(driven[cleaned].step)} cleaned it.`] : []),
  ];
}

function seenWords(film, step, facts, named, titled, now) {
  const { meant, glass, driven, off, since, isWhole } = facts;
  const lines = [];
  const wasSent = driven.some((update) => update.step >= meant.step && update.step >= 0);
  const wasPen = glass.step >= 0 && !driven.some((update) => update.step === glass.step);
  if (glass.value !== meant.value) {
    const why = wasPen ? "it is a pen line that the picture in memory does not contain"
      : wasSent ? "the mode that was sent there cannot show the shade that was drawn"
        : "no update was sent to it since it changed, so it shows the older picture";
    lines.push(isWhole ? `The pixel shows ${named(glass.value)}: ${why}.` : `The pixel shows ${named(glass.value)}.`);
  }
  const no = lines.length ? "Apart from that, nothing" : "Nothing";
  const strength = Math.abs(off).toFixed(2).replace(/0$/, "");
  if (off === 0) lines.push(`${no} of older pictures is left here.`);
  else if (since === null) lines.push(`Older pictures make it ${strength} L* ${off < 0 ? "darker" : "lighter"}, and most people notice ${film.limit} L*.`);
  else lines.push(`Older pictures make it ${strength} L* ${off < 0 ? "darker" : "lighter"}, and most people notice ${film.limit} L*: a ghost where enough pixels around it are like this.${!isWhole ? "" : ` It ${since === step || since < 0 ? "appears with this step" : `has been so for ${lasting(now - film.frames[since].at)}, since ${titled(since)}`}.`}`);
  return lines;
}
