// The time of a plan: who asked, what was sent and driven, flashes, residue, energy, and the findings as marks. Knows the
// recording and where times lie, not the rest of the page.

const signs = { error: "●", warning: "◐", note: "○" };

// Room before the first time, for its mark.
const edge = 8;

// Where a time lies, px at a zoom of 1: times within a pause lie at its begin.
function placeOf(ms, axis) {
  const [begin, end, left, width] = axis.findLast((stretch) => stretch[0] <= ms) ?? axis[0] ?? [0, 1, 0, 0];
  return left + Math.max(0, Math.min(1, (ms - begin) / Math.max(1, end - begin))) * width;
}

// The last frame that begins at a place or before it; -1 before all of them.
function frameAt(x, film) {
  return film.frames.findLastIndex((frame) => placeOf(frame.at, film.axis) <= x);
}

function endOf(frame) {
  return Math.max(frame.at, ...(frame.updates ?? []).map((update) => update.times[4]));
}

// When updates and strokes of a step are over.
function busyTo(frame) {
  return Math.max(endOf(frame), ...(frame.strokes ?? []).map(({ points }) => points.at(-1)[2]));
}

function lanesOf(rows) {
  const driven = 53;
  const flashes = driven + 13 * rows + 2;
  const residue = flashes + 16;
  const energy = residue + 42;
  return { found: 2, asked: 20, sent: 38, driven, flashes, residue, energy, bottom: energy + 42 };
}

function clockOf(ms) {
  if (ms < 1000) return `${Math.round(ms)} ms`;
  if (ms < 120e3) return `${(ms / 1000).toFixed(1)} s`;
  return ms < 7200e3 ? `${Math.round(ms / 60e3)} min` : `${Math.round(ms / 3600e3)} h`;
}

// Times below everything, where work begins and there is room to write them.
function timesOf(film, zoom, lanes, right) {
  let free = 0;
  return film.axis.map(([begin, , left]) => {
    const [x, words] = [edge + left * zoom, lasting(begin)];
    const wide = 7 * words.length;
    if (x < free || x > right - wide) return "";
    free = x + wide + 14;
    return `<path d="M${x.toFixed(1)} ${lanes.bottom - 17}v4"/><text class="faint" x="${Math.max(2, x - 6).toFixed(1)}" y="${lanes.bottom - 3}">${words}</text>`;
  }).join("");
}

// A line that holds each value until the next.
function stairs(points, right, bottom) {
  const path = points.map(([x, y]) => `H${x.toFixed(1)}V${y.toFixed(1)}`).join("");
  return `M0 ${bottom}${path}H${right.toFixed(1)}`;
}

// The last frame that is asked for by a moment; -1 before all of them. Two plans that are compared stand at one moment.
function stepAt(film, moment) {
  return film.frames.findLastIndex((frame) => frame.at <= moment + 0.5);
}

function momentAt(film, step) {
  return film.frames[step]?.at ?? -1;
}

// How high residue and energy are drawn: of several plans the same.
function heightsOf(films) {
  const most = Math.max(...films.map((film) => Math.max(film.limit * 1.2, ...film.frames.map((frame) => frame.left))));
  const all = Math.max(1e-9, ...films.map((film) => film.frames.reduce((sum, frame) => sum + frame.mj, 0)));
  return { most, all };
}

// The drawing as SVG. `marks` are the findings: step, level and number.
function drawTime(film, zoom, marks, { most, all } = heightsOf([film])) {
  const lanes = lanesOf(film.rows);
  const last = film.axis.at(-1) ?? [0, 0, 0, 0];
  const right = (last[2] + last[3]) * zoom + 2 * edge;
  const x = (ms) => edge + placeOf(ms, film.axis) * zoom;
  // Of two plans on one axis each has its lines to its own end.
  const end = film.frames.reduce((most, frame) => Math.max(most, x(busyTo(frame))), 0);
  const box = (name, from, to, y, high) => `<rect class="${name}" x="${from.toFixed(1)}" y="${y}" width="${Math.max(1.2, to - from).toFixed(1)}" height="${high}"/>`;
  let svg = pauses(film, zoom, lanes) + timesOf(film, zoom, lanes, right);
  const [residue, energy] = [[], []];
  let mj = 0;
  for (const frame of film.frames) {
    svg += `<circle class="${frame.person ? "person" : "machine"}" cx="${x(frame.at).toFixed(1)}" cy="${lanes.asked + 7}" r="3.2"/>`;
    for (const update of frame.updates ?? []) svg += updateOf(update, lanes, x, box);
    for (const { points } of frame.strokes ?? []) svg += box("pen", x(points[0][2]), x(points.at(-1)[2]), lanes.asked + 12, 2.5);
    mj += frame.mj;
    residue.push([x(endOf(frame)), lanes.residue + 34 * (1 - frame.left / most)]);
    energy.push([x(endOf(frame)), lanes.energy + 24 * (1 - mj / all)]);
  }
  const limit = lanes.residue + 34 * (1 - film.limit / most);
  svg += `<path class="limit" d="M0 ${limit.toFixed(1)}H${end.toFixed(1)}"/><path class="course" d="${stairs(residue, end, lanes.residue + 34)}"/>`;
  svg += `<path class="course" d="${stairs(energy, end, lanes.energy + 24)}"/><path class="cursor" d=""/>`;
  for (const { step, level, at } of marks) svg += `<text class="${level}" data-mark="${at}" x="${(x(film.frames[step].at) - 5).toFixed(1)}" y="${lanes.found + 12}">${signs[level]}</text>`;
  return `<svg width="${right.toFixed(0)}" height="${lanes.bottom}" role="img" aria-label="${wordsOf(film)}">${svg}</svg>`;
}

function updateOf({ times: [asked, sent, arrived, start, finish], waits, flashes = 0, cleans, row }, lanes, x, box) {
  const y = lanes.driven + 13 * row;
  let svg = box("sent", x(sent), x(arrived), lanes.sent, 8) + box(cleans ? "cleans" : "drive", x(start), x(finish), y, 9);
  if (waits) svg += `<path class="wait" d="M${x(asked).toFixed(1)} ${y + 11}H${x(start).toFixed(1)}"/>`;
  for (let flash = 0; flash < flashes; flash += 1) {
    const at = x(start) + ((flash + 0.5) / flashes) * (x(finish) - x(start));
    svg += `<path class="flash" d="M${at.toFixed(1)} ${lanes.flashes + 2}v9"/>`;
  }
  return svg;
}

// Pauses are breaks in the paper; how long they are is written where there is room.
function pauses(film, zoom, lanes) {
  return film.axis.slice(1).map(([begin, , left], at) => {
    const [, end, from, width] = film.axis[at];
    const [one, other] = [edge + (from + width) * zoom, edge + left * zoom];
    const middle = (one + other) / 2;
    const words = other - one > 46 ? `<text class="faint" x="${middle.toFixed(1)}" y="${lanes.bottom - 16}" text-anchor="middle">${clockOf(begin - end)}</text>` : "";
    const gap = Math.max(1, (other - one) * 0.3);
    return `<rect class="pause" x="${(middle - gap / 2).toFixed(1)}" y="${lanes.asked}" width="${gap.toFixed(1)}" height="${lanes.energy + 8 - lanes.asked}"/>${words}`;
  }).join("");
}

function wordsOf(film) {
  const updates = film.frames.flatMap((frame) => frame.updates ?? []);
  const number = (is) => updates.filter(is).length;
  const most = Math.max(0, ...film.frames.map((frame) => frame.left));
  return `Time: ${film.frames.length} steps with ${updates.length} updates, of which ${number((update) => update.waits)} wait and ${number((update) => update.flashes)} flash. Residue of a noticeable size reaches ${most.toFixed(1)} L*; from ${film.limit} L* on it is a ghost. Each step is described in words below the panel.`;
}

function namesOfLanes(film) {
  const lanes = lanesOf(film.rows);
  const most = Math.max(0, ...film.frames.map((frame) => frame.left));
  const line = (y, words, more = "") => `<text y="${y}">${words}</text>${more && `<text class="faint" y="${y + 13}">${more}</text>`}`;
  return `<svg width="86" height="${lanes.bottom}" aria-hidden="true">${line(lanes.found + 11, "found")}${line(lanes.asked + 11, "asked for")}${line(lanes.sent + 8, "sent")}${line(lanes.driven + 9, "driven")}${line(lanes.flashes + 10, "flashes")}${line(lanes.residue + 14, "residue", `up to ${most.toFixed(1)} L*`)}${line(lanes.energy + 10, "energy", `${film.mj} mJ in all`)}</svg>`;
}
