// The panel of one plan: its looks, its steps, the frame around a chosen finding, and playing. Nothing moves before
// somebody asks; flashes are marked, and shown only when asked, once. Knows the view of the page, not its list of causes.

const slower = 10;
const flashCaution = "This shows the flashes of this step as they are, once. Flashing can trigger seizures in people with photosensitive epilepsy. Go on?";

const lookWords = {
  meant: () => "meant: what is in memory",
  seen: () => "seen: what the model expects on the glass",
  left: (times) => `left: what older pictures left on the glass, ${times} times as strong`,
};

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

function panelOf(view, film, choose, other) {
  const control = (name) => view.querySelector(`[name="${name}"]`);
  const [main, second] = view.querySelectorAll(".stage figure");
  const last = film.pictured - 1;
  const panel = reel(film);
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  let shown = { step: -1, look: "seen" };
  let playing = null;

  const upper = view.querySelector(".upper");
  const edge = movableEdge(view);
  const along = other?.film ?? film;
  // Pictures of two shapes cannot lie over each other.
  const canLieOver = along.width * film.height === film.width * along.height;
  for (const [figure, { width, height, width_mm: mm }] of [[main, film], [second, along]]) {
    [figure.querySelector("canvas").width, figure.querySelector("canvas").height] = [width, height];
    figure.style.setProperty("--ratio", width / height);
    figure.style.setProperty("--mm", `${mm}mm`);
    figure.style.setProperty("--px", `${width}px`);
    figure.querySelector("svg.over").setAttribute("viewBox", `0 0 ${width} ${height}`);
  }
  [upper.width, upper.height] = [along.width, along.height];
  control("step").max = last + 1;
  // The plan before stands on the left.
  const isOtherRight = other?.word === "after";
  view.classList.toggle("other-left", other?.word === "before");
  view.classList.toggle("upper-right", isOtherRight);
  view.classList.toggle("two", Boolean(other));
  if (other) for (const words of view.querySelectorAll(".second")) words.textContent = `The plan ${other.word}`;
  view.querySelector('[name="beside"][value="edge"]').disabled = !canLieOver;

  const titleOf = (step) => film.frames[step]?.title ?? "before the first step";

  async function show(state) {
    stop();
    const { look, box, at } = state;
    const step = Math.max(-1, Math.min(last, state.step));
    const how = state.beside === "edge" && !canLieOver ? "meant" : state.beside ?? (other ? "meant" : null);
    const words = lookWords[look](panel.times);
    const [picture, pair] = [await panel.at(step + 1, look), how && (await pairOf(step, look))];
    draw(main, picture, `${other ? `${other.ownWord}: ` : ""}${titleOf(step)}, ${words}`);
    second.hidden = how !== "meant";
    if (how === "meant") draw(second, pair.picture, pair.words);
    edge.show(how === "edge" && pair, look, pair?.name, isOtherRight);
    shown = { step, look, box, at };
    control("step").value = step + 1;
    control("step").setAttribute("aria-valuetext", titleOf(step));
    for (const button of view.querySelectorAll('[name="look"]')) button.setAttribute("aria-pressed", button.value === look);
    for (const button of view.querySelectorAll('[name="beside"]')) button.setAttribute("aria-pressed", button.value === how);
    view.querySelector(".said").textContent = film.frames[step] ? `${titleOf(step)}: ${film.frames[step].said}.` : "Before the first step.";
    control("flash").disabled = calm.matches || !(film.frames[step]?.updates ?? []).some((update) => update.flashes);
    marks();
    view.dataset.shown = `${step} ${look}`;
  }

  // The second picture: of two plans the other one at the same moment, otherwise what is meant.
  async function pairOf(step, look) {
    if (!other) return { picture: await panel.at(step + 1, "meant"), words: `${titleOf(step)}, ${lookWords.meant()}`, name: "meant" };
    const there = Math.min(other.film.pictured - 1, stepAt(other.film, momentAt(film, step)));
    const title = other.film.frames[there]?.title ?? "before the first step";
    return { picture: await other.reel.at(there + 1, look), words: `${other.word}: ${title}, ${lookWords[look](other.reel.times)}`, name: other.word };
  }

  function draw(figure, picture, words) {
    const canvas = figure.querySelector("canvas");
    canvas.getContext("2d").drawImage(picture, 0, 0);
    canvas.setAttribute("aria-label", `The panel, ${words}`);
    figure.querySelector("figcaption").textContent = words;
  }

  function marks() {
    for (const figure of [main, second]) {
      const over = figure.querySelector("svg");
      // Three points of the page, in pixels of the panel.
      const out = (4 * (figure === main ? film : along).width) / Math.max(1, over.clientWidth);
      const frame = shown.look === "left" && figure === main ? film.frames[shown.step] ?? {} : {};
      const boxes = (list = []) => list.map((box) => frameAround(box, out)).join("");
      const path = (name, d) => (d ? `<path class="${name} halo" d="${d}"/><path class="${name}" d="${d}"/>` : "");
      over.innerHTML = path("ghosts", boxes(frame.ghosts)) + path("outlines", boxes(frame.outlines))
        + path("chosen", shown.box && (figure === main || !other) ? corners(shown.box, 1.6 * out) : "")
        + path("chosen", shown.at && figure === main ? ticksAround(shown.at, out) : "");
    }
  }

  function closer() {
    const is = view.classList.toggle("closer");
    control("closer").setAttribute("aria-pressed", is);
    marks();
    const stage = view.querySelector(".stage");
    const [x, y, width, height] = shown.box ?? [0, 0, 0, 0];
    const each = main.querySelector("canvas").clientWidth / film.width;
    stage.scrollTo((x + width / 2) * each - stage.clientWidth / 2, (y + height / 2) * each - stage.clientHeight / 2);
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
    for (let step = shown.step >= last ? 0 : shown.step + 1; step <= last; step += 1) {
      await act(step, mine, slower, false);
      if (playing !== mine) return;
      await new Promise((resolve) => setTimeout(resolve, 500));
      if (playing !== mine) return;
    }
    choose({ step: last });
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
    const { at: begin, updates = [], strokes = [], title, said } = film.frames[step];
    const context = main.querySelector("canvas").getContext("2d");
    const end = Math.max(begin, ...updates.map((update) => update.times[4]), ...strokes.map((stroke) => stroke.points.at(-1)[2]));
    main.querySelector("figcaption").textContent = `${title}, ${times === 1 ? "as fast as it is" : `${times} times slower`}`;
    view.querySelector(".said").textContent = `${title}: ${said}.`;
    control("step").value = step + 1;
    shown = { step, look: "seen" };
    if (calm.matches) return void context.drawImage(after, 0, 0);
    await new Promise((resolve) => {
      const began = performance.now();
      const drawn = (now) => {
        if (playing !== mine) return resolve();
        const time = begin + (now - began) / times;
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
    if (name === "closer") closer();
  });
  control("step").addEventListener("input", () => choose({ step: Number(control("step").value) - 1 }));
  control("play").addEventListener("click", play);
  control("flash").addEventListener("click", flash);
  // The pixel under the pointer; nothing beside the panel.
  function pixelUnder({ target, offsetX, offsetY }) {
    if (!main.contains(target) || target.tagName !== "CANVAS" || playing) return null;
    const within = (share, most) => Math.max(0, Math.min(most - 1, Math.floor(share * most)));
    return [within(offsetX / target.clientWidth, film.width), within(offsetY / target.clientHeight, film.height)];
  }

  view.querySelector(".stage").addEventListener("click", (event) => {
    const at = view.classList.contains("edged") ? null : pixelUnder(event);
    if (at) choose({ at });
  });
  view.querySelector(".stage").addEventListener("pointermove", async (event) => {
    const under = pixelUnder(event);
    if (!under) return;
    const [column, row] = under;
    const residue = await panel.residueAt(shown.step + 1, column, row);
    const words = residue === 0 ? "nothing left" : `${Math.abs(residue)} L* too ${residue < 0 ? "dark" : "light"}`;
    view.querySelector(".reading").textContent = `${column}, ${row}: ${words}`;
  });
  const resized = new ResizeObserver(marks);
  resized.observe(main);
  return { show, closer, last, at: panel.at, pixel: panel.pixel, end: () => { stop(); resized.disconnect(); } };
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
      upper.getContext("2d").drawImage(pair.picture, 0, 0);
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
