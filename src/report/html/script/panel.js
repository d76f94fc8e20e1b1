// The panel of one plan: its looks, its steps, the frame around a chosen finding, and playing. Nothing moves before
// somebody asks; flashes are marked, and shown only when asked, once. Knows the view of the page, not its list of causes.

const slower = 10;
const flashCaution = "This shows the flashes of this step as they are, once. Flashing can trigger seizures in people with photosensitive epilepsy. Go on?";

const lookWords = {
  meant: () => "meant: what is in memory",
  seen: () => "seen: what the model expects on the glass",
  left: (times, both) => `left: what older pictures left on the glass, ${times} times as strong${both ? " in both pictures" : ""}`,
};
const unpictured = "no picture of this step on this page";

// Corners outside a box, so that no ink of it is covered.
function corners([x, y, width, height], out) {
  const [left, top, right, bottom] = [x - out, y - out, x + width + out, y + height + out];
  const [across, down] = [Math.max(out, Math.min(6 * out, width / 3)), Math.max(out, Math.min(6 * out, height / 3))];
  return `M${left} ${top + down}V${top}H${left + across}M${right - across} ${top}H${right}V${top + down}`
    + `M${right} ${bottom - down}V${bottom}H${right - across}M${left + across} ${bottom}H${left}V${bottom - down}`;
}

// Four lines that point at a pixel and leave it free.
function ticksAround([x, y], out) {
  const [across, down] = [x + 0.5, y + 0.5];
  const [near, far] = [1.2 * out, 3.5 * out];
  return `M${across} ${down - far}V${down - near}M${across} ${down + near}V${down + far}M${across - far} ${down}H${across - near}M${across + near} ${down}H${across + far}`;
}

function frameAround([x, y, width, height], out) {
  return `M${x - out} ${y - out}h${width + 2 * out}v${height + 2 * out}h${-width - 2 * out}z`;
}

// Boxes whose frames would lie over each other become one.
function joined(boxes, out) {
  const all = [];
  for (let box of boxes) {
    const meets = ([x, y, width, height]) => x < box[0] + box[2] + 2 * out && box[0] < x + width + 2 * out && y < box[1] + box[3] + 2 * out && box[1] < y + height + 2 * out;
    for (let at = all.findIndex(meets); at >= 0; at = all.findIndex(meets)) {
      const [[x, y, width, height]] = all.splice(at, 1);
      const [left, top] = [Math.min(x, box[0]), Math.min(y, box[1])];
      box = [left, top, Math.max(x + width, box[0] + box[2]) - left, Math.max(y + height, box[1] + box[3]) - top];
    }
    all.push(box);
  }
  return all;
}

function panelOf(view, film, choose, other) {
  const control = (name) => view.querySelector(`[name="${name}"]`);
  const [main, second] = view.querySelectorAll(".stage figure");
  const panes = [...view.querySelectorAll(".pane")];
  const last = film.steps - 1;
  const panel = reel(film, other?.film);
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  let shown = { step: -1, look: "seen" };
  let playing = null;

  const upper = view.querySelector(".upper");
  const edge = movableEdge(view);
  const along = other?.film ?? film;
  // Pictures of two shapes cannot lie over each other.
  const canLieOver = along.width * film.height === film.width * along.height;
  for (const [figure, { width, height, width_mm: mm }] of [[main, film], [second, along]]) {
    figure.style.setProperty("--ratio", width / height);
    figure.style.setProperty("--mm", `${mm}mm`);
    figure.style.setProperty("--px", `${width}px`);
    figure.querySelector("svg.over").setAttribute("viewBox", `0 0 ${width} ${height}`);
  }
  control("step").max = last + 1;
  tellPictured();
  // The plan before stands on the left.
  const isOtherRight = other?.word === "after";
  view.classList.toggle("other-left", other?.word === "before");
  view.classList.toggle("upper-right", isOtherRight);
  if (other) for (const [at, words] of view.querySelectorAll(".second").entries()) words.textContent = ["Both side by side", "Edge between them"][at];
  view.querySelector('[name="beside"][value="edge"]').disabled = !canLieOver;

  const titleOf = (step) => film.frames[step]?.title ?? (step < 0 ? "before the first step" : `step ${step}`);

  // Where pictures are, under the slider and in words beside it.
  function tellPictured() {
    const words = picturedWords(film);
    view.querySelector(".pictured").textContent = words;
    const bar = view.querySelector(".filmed");
    bar.hidden = !words;
    const stops = film.pictured.flatMap(([from, to]) => {
      const [begin, end] = [from === 0 ? 0 : from + 0.5, to + 1.5].map((at) => `${((100 * at) / (last + 1)).toFixed(2)}%`);
      return [`#0000 ${begin}`, `currentColor ${begin}`, `currentColor ${end}`, `#0000 ${end}`];
    });
    bar.style.background = `linear-gradient(90deg,${stops})`;
  }

  async function show(state) {
    stop();
    const { look, box, at, step } = state;
    const how = state.beside === "edge" && !canLieOver ? "meant" : state.beside ?? (other ? "meant" : null);
    const words = lookWords[look](panel.times, other && how === "meant");
    const [picture, pair] = [hasPicture(film, step) && (await panel.at(step + 1, look)), how && (await pairOf(step, look))];
    // What is closer stays where somebody scrolled it to, until another place is chosen.
    const isSoughtOut = state.closer && (!view.classList.contains("closer") || (view.dataset.shown && box && `${box}` !== `${shown.box}`));
    setCloser(state.closer);
    second.hidden = how !== "meant";
    draw(main, picture, `${other ? `${other.ownWord}: ` : ""}${titleOf(step)}, ${words}`);
    if (how === "meant") draw(second, pair.picture, pair.words);
    edge.show(how === "edge" && pair?.picture && pair, look, pair?.name, isOtherRight);
    if (how === "edge" && pair?.picture) paint(upper, pair.picture);
    shown = { step, look, box, at, isLater: state.isLater };
    control("step").value = step + 1;
    control("step").setAttribute("aria-valuetext", titleOf(step));
    view.querySelector(".count").textContent = step < 0 ? "begin" : `${step} of ${last}`;
    for (const button of view.querySelectorAll('[name="look"]')) button.setAttribute("aria-pressed", button.value === look);
    for (const button of view.querySelectorAll('[name="beside"]')) button.setAttribute("aria-pressed", button.value === how);
    view.querySelector(".said").textContent = film.frames[step] ? `${titleOf(step)}: ${film.frames[step].said}.` : step < 0 ? "Before the first step." : `${titleOf(step)}: this page has no room for what happens there.`;
    control("flash").disabled = calm.matches || !hasPicture(film, step) || !hasPicture(film, step - 1) || !(film.frames[step]?.updates ?? []).some((update) => update.flashes);
    marks();
    if (isSoughtOut) await seek();
    view.dataset.shown = `${step} ${look}`;
  }

  // The second picture: of two plans the other one at the same moment, otherwise what is meant.
  async function pairOf(step, look) {
    if (!other) return { picture: hasPicture(film, step) && (await panel.at(step + 1, "meant")), words: `${titleOf(step)}, ${lookWords.meant()}`, name: "meant" };
    const there = stepAt(other.film, momentAt(film, step));
    const title = other.film.frames[there]?.title ?? "before the first step";
    return { picture: hasPicture(other.film, there) && (await other.reel.at(there + 1, look)), words: `${other.word}: ${title}, ${lookWords[look](other.reel.times, true)}`, name: other.word };
  }

  function draw(figure, picture, words) {
    const [canvas, blank] = [figure.querySelector("canvas"), figure.querySelector(".blank")];
    // No other step's picture stands for one that is not here.
    blank.hidden = Boolean(picture);
    blank.textContent = `${unpictured}: ${sections.length > 1 ? "open a page of this plan alone" : "there is no room for more"}`;
    if (picture) paint(canvas, picture);
    canvas.setAttribute("aria-label", `The panel, ${picture ? words : unpictured}`);
    figure.querySelector("figcaption").textContent = words;
  }

  // What is smaller on the screen than on the panel is made so here: a browser leaves out thin lines of a canvas.
  const painted = new Map();
  function paint(canvas, picture) {
    painted.set(canvas, picture);
    const share = Math.min(1, (canvas.clientWidth * devicePixelRatio) / picture.width) || 1;
    const size = [picture.width, picture.height].map((side) => Math.max(1, Math.round(side * share)));
    if (canvas.width !== size[0] || canvas.height !== size[1]) [canvas.width, canvas.height] = size;
    const context = canvas.getContext("2d");
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.imageSmoothingQuality = "high";
    context.drawImage(picture, 0, 0, ...size);
  }

  function marks() {
    const kinds = new Set();
    for (const figure of [main, second]) {
      const over = figure.querySelector("svg");
      // Three points of the page, in pixels of the panel.
      const out = (4 * (figure === main ? film : along).width) / Math.max(1, over.clientWidth);
      const frame = shown.look === "left" && figure === main && hasPicture(film, shown.step) ? film.frames[shown.step] ?? {} : {};
      const path = (name, d) => (d ? `<path class="${name} halo" d="${d}"/><path class="${name}" d="${d}"/>` : "");
      const framed = (name) => path(name, joined(frame[name] ?? [], out).map((box) => frameAround(box, out)).join(""));
      for (const name of ["ghosts", "outlines"]) if (frame[name]) kinds.add(name);
      over.innerHTML = framed("ghosts") + framed("outlines")
        + path(shown.isLater ? "chosen later" : "chosen", shown.box && (figure === main || !other) ? corners(shown.box, 1.6 * out) : "")
        + path("chosen", shown.at && figure === main ? ticksAround(shown.at, out) : "");
    }
    const legend = view.querySelector(".legend");
    legend.hidden = kinds.size === 0;
    legend.textContent = [["ghosts", "Solid: ghosts."], ["outlines", "Dashed: outlines beside driven ink."]].flatMap(([kind, words]) => (kinds.has(kind) ? words : [])).join(" ");
  }

  function setCloser(is) {
    if (view.classList.contains("closer") !== is) view.classList.toggle("closer", is);
    control("closer").setAttribute("aria-pressed", is);
    const stage = view.querySelector(".stage");
    const hasFocus = [stage, ...panes].includes(document.activeElement);
    // The panel is reached with one key, and what can be scrolled has the arrows.
    stage.tabIndex = is ? -1 : 0;
    for (const pane of panes) pane.tabIndex = is ? 0 : -1;
    if (hasFocus && panes.includes(document.activeElement) !== is) (is ? panes[0] : stage).focus({ preventScroll: true });
  }

  // Brings what is chosen into the middle: the place, the finding, and otherwise the strongest ghost.
  async function seek() {
    const { step, box, at } = shown;
    const { ghosts = [], outlines = [] } = film.frames[step] ?? {};
    const strongest = at || box || !hasPicture(film, step) ? null : await panel.strongestOf(step + 1, [...ghosts, ...outlines]);
    const [x, y] = at ?? (box && [box[0] + box[2] / 2, box[1] + box[3] / 2]) ?? strongest ?? [film.width / 2, film.height / 2];
    const [pane] = panes;
    pane.scrollTo((x / film.width) * pane.scrollWidth - pane.clientWidth / 2, (y / film.height) * pane.scrollHeight - pane.clientHeight / 2);
  }

  // Two pictures are scrolled as one.
  for (const [at, pane] of panes.entries()) {
    pane.addEventListener("scroll", () => {
      const beside = panes[1 - at];
      const to = ["Width", "Height"].map((side) => {
        const [here, there] = [pane, beside].map((one) => one[`scroll${side}`] - one[`client${side}`]);
        return here > 0 ? (pane[side === "Width" ? "scrollLeft" : "scrollTop"] * there) / here : 0;
      });
      if (Math.abs(beside.scrollLeft - to[0]) > 1 || Math.abs(beside.scrollTop - to[1]) > 1) beside.scrollTo(...to);
    });
  }

  function stop() {
    if (!playing) return;
    cancelAnimationFrame(playing.request);
    playing = null;
    control("play").textContent = "Play";
  }

  async function play() {
    if (playing) return choose({ step: shown.step });
    const mine = playing = { request: 0 };
    control("play").textContent = "Stop";
    const end = film.pictured.at(-1)?.[1] ?? -1;
    for (let step = shown.step >= end ? 0 : shown.step + 1; step <= end; step += 1) {
      if (!hasPicture(film, step)) continue;
      await act(step, mine, slower, false);
      if (playing !== mine) return;
      await new Promise((resolve) => setTimeout(resolve, 500));
      if (playing !== mine) return;
    }
    choose({ step: end });
  }

  async function flash() {
    if (!confirm(flashCaution)) return;
    stop();
    const mine = playing = { request: 0 };
    await act(shown.step, mine, 1, true);
    if (playing === mine) choose({ step: shown.step });
  }

  // What happens in a step, from the request to the last end, so many times slower.
  async function act(step, mine, times, asTheyAre) {
    const [before, after] = [await panel.at(step, "seen"), await panel.at(step + 1, "seen")];
    if (playing !== mine) return;
    const canvas = main.querySelector("canvas");
    main.querySelector(".blank").hidden = true;
    const { at: begin, updates = [], strokes = [], title, said } = film.frames[step];
    const context = canvas.getContext("2d");
    const end = Math.max(begin, ...updates.map((update) => update.times[4]), ...strokes.map((stroke) => stroke.points.at(-1)[2]));
    main.querySelector("figcaption").textContent = `${title}, ${times === 1 ? "as fast as it is" : `${times} times slower`}`;
    view.querySelector(".said").textContent = `${title}: ${said}.`;
    control("step").value = step + 1;
    view.querySelector(".count").textContent = `${step} of ${last}`;
    shown = { step, look: "seen" };
    if (calm.matches || !hasPicture(film, step - 1)) return void paint(canvas, after);
    painted.set(canvas, after);
    // A browser that is slower than the flashes shows them slower and leaves none out: half of a flash is never passed over.
    const most = Math.min(...updates.map(({ times: [, , , start, finish], flashes = 0 }) => (asTheyAre && flashes && finish > start ? (finish - start) / flashes / 4 : Infinity)));
    await new Promise((resolve) => {
      let [time, shownAt] = [begin, performance.now()];
      const drawn = (now) => {
        if (playing !== mine) return resolve();
        time += Math.min(Math.max(0, now - shownAt) / times, most);
        shownAt = now;
        context.setTransform(canvas.width / film.width, 0, 0, canvas.height / film.height, 0, 0);
        context.drawImage(before, 0, 0);
        for (const stroke of strokes) pen(context, stroke, time);
        for (const { sent, times: [, , , start, finish], flashes = 0 } of updates) {
          const share = (time - start) / (finish - start);
          const dark = asTheyAre && flashes && share > 0 && (share * flashes) % 1 >= 0.25 && (share * flashes) % 1 < 0.75;
          for (const box of time >= finish || dark ? sent : []) {
            if (time >= finish) context.drawImage(after, ...box, ...box);
            else context.fillRect(...box);
          }
        }
        running(updates.filter((update) => time >= update.times[3] && time < update.times[4]));
        if (time >= end) return resolve();
        mine.request = requestAnimationFrame(drawn);
      };
      mine.request = requestAnimationFrame(drawn);
    });
    running([]);
  }

  // Frames around what is being driven; what flashes is said, not shown.
  function running(updates) {
    const over = main.querySelector("svg");
    const out = (4 * film.width) / Math.max(1, over.clientWidth);
    const d = updates.flatMap((update) => update.sent.map((box) => frameAround(box, out))).join("");
    over.innerHTML = d && `<path class="chosen halo" d="${d}"/><path class="chosen" d="${d}"/>`;
    const words = updates.map(({ mode, flashes }) => (flashes ? `${mode}, flashes ${flashes} times` : mode)).join("; ");
    view.querySelector(".reading").textContent = words && `driven now: ${words}`;
  }

  view.querySelector(".looks").addEventListener("click", ({ target }) => {
    const { name, value } = target.closest("button") ?? {};
    if (name === "look") choose({ look: value });
    if (name === "beside") chooseSecond(value);
    if (name === "closer") choose({ closer: !view.classList.contains("closer") });
  });
  control("step").addEventListener("input", () => choose({ step: Number(control("step").value) - 1 }));
  control("play").addEventListener("click", play);
  control("flash").addEventListener("click", flash);
  // The pixel under the pointer; nothing beside the panel.
  function pixelUnder({ target, clientX, clientY }) {
    if (!main.contains(target) || target.tagName !== "CANVAS" || playing) return null;
    const { left, top, width, height } = target.getBoundingClientRect();
    const within = (share, most) => Math.max(0, Math.min(most - 1, Math.floor(share * most)));
    return [within((clientX - left) / width, film.width), within((clientY - top) / height, film.height)];
  }

  // A click has its place in whole points, what comes before it has parts of them as a move has: both name the same pixel.
  let pointed = null;
  view.querySelector(".stage").addEventListener("pointerup", (event) => { pointed = pixelUnder(event); });
  view.querySelector(".stage").addEventListener("click", (event) => {
    const at = view.classList.contains("edged") ? null : pixelUnder(event);
    if (at) choose({ at: pointed ?? at });
  });
  view.querySelector(".stage").addEventListener("pointermove", async (event) => {
    const under = pixelUnder(event);
    if (!under) return;
    const [column, row] = under;
    const residue = await panel.residueAt(shown.step + 1, column, row);
    const words = residue === 0 ? "nothing left" : `${Math.abs(residue)} L* too ${residue < 0 ? "dark" : "light"}`;
    view.querySelector(".reading").textContent = `${column}, ${row}: ${words}`;
  });
  const resized = new ResizeObserver(() => {
    if (!playing) for (const [canvas, picture] of painted) if (canvas.clientWidth) paint(canvas, picture);
    marks();
  });
  resized.observe(main);
  return { show, last, at: panel.at, pixel: panel.pixel, strongestOf: panel.strongestOf, end: () => { stop(); resized.disconnect(); } };
}

// An edge that lies over the panel, moved with a slider or by drawing it along: on one side of it stands the second picture.
// It never crosses the panel faster than two and a half times a second, because what changes faster would flicker.
function movableEdge(view) {
  const label = view.querySelector(".edge");
  const [input, sheet, upper] = [label.querySelector("input"), view.querySelector(".sheet"), view.querySelector(".upper")];
  let [at, last, moving] = [Number(input.value), 0, false];

  function move(now) {
    const most = Math.min(50, now - last) * 0.25;
    last = now;
    const way = Number(input.value) - at;
    at += Math.max(-most, Math.min(most, way));
    view.style.setProperty("--edge", `${at}%`);
    moving = at !== Number(input.value);
    if (moving) requestAnimationFrame(move);
  }

  function begin() {
    input.setAttribute("aria-valuetext", `${input.value} % of the way from left to right`);
    if (moving) return;
    moving = true;
    last = performance.now();
    requestAnimationFrame(move);
  }

  function follow({ clientX }) {
    const { left, width } = sheet.getBoundingClientRect();
    input.value = Math.round((100 * (clientX - left)) / width);
    begin();
  }

  view.style.setProperty("--edge", `${at}%`);
  input.addEventListener("input", begin);
  sheet.addEventListener("pointerdown", (event) => {
    if (label.hidden || event.button !== 0) return;
    sheet.setPointerCapture(event.pointerId);
    follow(event);
  });
  sheet.addEventListener("pointermove", (event) => { if (!label.hidden && sheet.hasPointerCapture(event.pointerId)) follow(event); });
  return {
    show(pair, look, name, isRight) {
      label.hidden = upper.hidden = !pair;
      view.classList.toggle("edged", Boolean(pair));
      if (!pair) return;
      const names = isRight ? ["before", name] : name === "meant" ? [name, look] : [name, "after"];
      for (const [number, part] of ["left", "right"].entries()) label.querySelector(`.${part}`).textContent = names[number];
      input.setAttribute("aria-label", `The edge: ${names[0]} on its left, ${names[1]} on its right`);
    },
  };
}

// The line under the pen, as far as it is drawn at a time.
function pen(context, stroke, time) {
  const points = stroke.points.filter((point) => point[2] <= time);
  if (points.length === 0) return;
  Object.assign(context, { strokeStyle: stroke.white ? "#fff" : "#000", lineWidth: stroke.width, lineCap: "round", lineJoin: "round" });
  context.beginPath();
  for (const [x, y] of points) context.lineTo(x, y);
  context.stroke();
}
