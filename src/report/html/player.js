"use strict";
// Shows the panel of a film step by step. Nothing moves before somebody asks; flashes are marked, not shown, until the
// box for them is ticked.

const pauseMs = 500;
const keptStages = 8;

for (const player of document.querySelectorAll(".player")) start(player);

function start(player) {
  const film = JSON.parse(document.getElementById(player.dataset.film).textContent);
  const control = (name) => player.querySelector(`[name="${name}"]`);
  const [stage, other] = player.querySelectorAll(".stages figure");
  const said = player.querySelector(".said");
  const last = film.frames.length;
  const state = { step: 0, turn: 0, playing: null };
  const panel = stack(film);

  const beside = control("beside");
  for (let step = 0; step <= last; step += 1) {
    beside.append(new Option(step === 0 ? "before the first step" : film.frames[step - 1].title, String(step)));
  }

  const residueShown = () => control("residue").checked;

  async function show(step) {
    const turn = ++state.turn;
    state.step = Math.max(0, Math.min(last, step));
    control("step").value = state.step;
    const frame = film.frames[state.step - 1];
    control("step").setAttribute("aria-valuetext", frame ? frame.title : "before the first step");
    said.textContent = frame ? `${frame.title}: ${frame.said}.` : "Before the first step.";
    player.querySelector(".scale").hidden = !residueShown();
    await paint(stage, state.step, turn);
    other.hidden = beside.value === "";
    if (!other.hidden) await paint(other, Number(beside.value), turn);
    player.dataset.shown = state.step;
  }

  async function paint(figure, step, turn) {
    const picture = await panel.at(step, residueShown());
    if (turn !== state.turn) return;
    const canvas = figure.querySelector("canvas");
    canvas.getContext("2d").drawImage(picture, 0, 0);
    const frame = film.frames[step - 1];
    const title = frame ? frame.title : "before the first step";
    figure.querySelector("figcaption").textContent = title;
    canvas.setAttribute("aria-label", `The panel, ${title}${residueShown() ? ", residue only" : ""}`);
    if (frame && residueShown()) ghosts(canvas.getContext("2d"), frame, Math.max(1, film.width / 400));
  }

  function stop() {
    if (!state.playing) return;
    cancelAnimationFrame(state.playing.request);
    state.playing = null;
    control("play").textContent = "Play";
    show(state.step);
  }

  async function play() {
    if (state.playing) return stop();
    const playing = { request: 0 };
    state.playing = playing;
    control("play").textContent = "Stop";
    const begin = state.step >= last ? 0 : state.step;
    for (let step = begin; step < last; step += 1) {
      const [before, after] = [await panel.at(step, residueShown()), await panel.at(step + 1, residueShown())];
      if (state.playing !== playing) return;
      await playStep(film.frames[step], before, after, playing);
      if (state.playing !== playing) return;
      await show(step + 1);
      if (state.playing !== playing) return;
      await wait(pauseMs);
      if (state.playing !== playing) return;
    }
    stop();
  }

  // Plays what happens between two looks of the panel, from the request to the last end.
  function playStep(frame, before, after, playing) {
    const context = stage.querySelector("canvas").getContext("2d");
    const ends = frame.updates.map((update) => update.finish);
    for (const stroke of frame.strokes) for (const point of stroke.points) ends.push(point[2]);
    const end = Math.max(frame.request, ...ends);
    const began = performance.now();
    stage.querySelector("figcaption").textContent = `${frame.title}, playing`;
    return new Promise((resolve) => {
      const draw = (now) => {
        if (state.playing !== playing) return resolve();
        const time = frame.request + (now - began) * Number(control("speed").value);
        context.drawImage(before, 0, 0);
        for (const stroke of frame.strokes) pen(context, stroke, time);
        for (const update of frame.updates) if (time >= update.finish) for (const box of update.sent) context.drawImage(after, ...box, ...box);
        for (const update of frame.updates) if (time >= update.start && time < update.finish) running(context, update, time);
        if (time >= end) return resolve();
        playing.request = requestAnimationFrame(draw);
      };
      playing.request = requestAnimationFrame(draw);
    });
  }

  function running(context, update, time) {
    const width = Math.max(2, film.width / 300);
    const share = (time - update.start) / (update.finish - update.start);
    const dark = update.flashes > 0 && (share * update.flashes) % 1 >= 0.25 && (share * update.flashes) % 1 < 0.75;
    for (const [x, y, wide, high] of update.sent) {
      if (dark && control("flashes").checked) {
        context.fillStyle = "#000000";
        context.fillRect(x, y, wide, high);
      }
      outline(context, [[x, y, wide, high]], width);
      const size = Math.max(12, film.width / 45);
      const words = update.flashes > 0 ? `${update.mode}, flashes ${update.flashes} times` : update.mode;
      context.font = `${size}px sans-serif`;
      const room = context.measureText(words).width + size;
      context.fillStyle = "#ffffff";
      context.fillRect(x, y, room, size * 1.6);
      context.fillStyle = "#0b6570";
      context.fillText(words, x + size / 2, y + size * 1.15);
    }
  }

  control("step").addEventListener("input", () => { stop(); show(Number(control("step").value)); });
  control("back").addEventListener("click", () => { stop(); show(state.step - 1); });
  control("forward").addEventListener("click", () => { stop(); show(state.step + 1); });
  control("play").addEventListener("click", play);
  control("residue").addEventListener("change", () => { stop(); show(state.step); });
  beside.addEventListener("change", () => show(state.step));
  control("flashes").addEventListener("change", (event) => {
    const asked = "Flashes will be shown as they are while the player runs. Flashing can trigger seizures in people with photosensitive epilepsy. Go on?";
    if (event.target.checked && !confirm(asked)) event.target.checked = false;
  });
  player.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const own = event.target === player;
    const key = event.key;
    if (key === "r" || key === "R") {
      if (event.target.tagName === "SELECT") return;
      control("residue").click();
    } else if (own && key === "ArrowRight") { stop(); show(state.step + 1); }
    else if (own && key === "ArrowLeft") { stop(); show(state.step - 1); }
    else if (own && key === "Home") { stop(); show(0); }
    else if (own && key === "End") { stop(); show(last); }
    else if (own && key === " ") play();
    else return;
    event.preventDefault();
  });
  show(1);
}

function wait(ms) {
  return new Promise((resolve) => setTimeout(resolve, ms));
}

// Ghosts in whole frames, outlines beside driven ink in dashed ones.
function ghosts(context, frame, width) {
  outline(context, frame.ghosts, width);
  context.setLineDash([6 * width, 6 * width]);
  outline(context, frame.outlines, width);
  context.setLineDash([]);
}

function outline(context, boxes, width) {
  for (const [colour, wide] of [["#ffffff", 2.4 * width], ["#a3174f", width]]) {
    context.strokeStyle = colour;
    context.lineWidth = wide;
    for (const [x, y, boxWidth, boxHeight] of boxes) context.strokeRect(x, y, boxWidth, boxHeight);
  }
}

// The line under the pen, as far as it is drawn at a time.
function pen(context, stroke, time) {
  const points = stroke.points.filter((point) => point[2] <= time);
  if (points.length === 0) return;
  context.strokeStyle = stroke.white ? "#ffffff" : "#000000";
  context.lineWidth = stroke.width;
  context.lineCap = "round";
  context.lineJoin = "round";
  context.beginPath();
  context.moveTo(points[0][0], points[0][1]);
  for (const point of points) context.lineTo(point[0], point[1]);
  context.stroke();
}

// The looks and residues of the panel after each step: patches laid over each other, some stages kept.
function stack(film) {
  const pictures = new Map();
  const kept = new Map();
  const keptEvery = Math.max(24, Math.ceil(film.frames.length / keptStages));
  const now = { look: null, residue: null };

  function canvas() {
    const made = document.createElement("canvas");
    [made.width, made.height] = [film.width, film.height];
    return made;
  }

  function picture(data) {
    if (!pictures.has(data)) {
      const image = new Image();
      image.src = `data:image/png;base64,${data}`;
      pictures.set(data, image.decode().then(() => image));
    }
    return pictures.get(data);
  }

  async function begin(kind) {
    const made = canvas();
    const context = made.getContext("2d", { willReadFrequently: kind === "residue" });
    if (kind === "look") context.drawImage(await picture(film.begins), 0, 0);
    else { context.fillStyle = "rgb(128,128,128)"; context.fillRect(0, 0, film.width, film.height); }
    return { step: 0, made, context };
  }

  async function brought(kind, step) {
    if (!now[kind] || now[kind].step > step) {
      const stages = [...kept.keys()].filter((key) => key.startsWith(kind)).map((key) => Number(key.split(" ")[1]));
      const near = Math.max(0, ...stages.filter((at) => at <= step));
      now[kind] = await begin(kind);
      if (near > 0) { now[kind].context.drawImage(kept.get(`${kind} ${near}`), 0, 0); now[kind].step = near; }
    }
    const at = now[kind];
    while (at.step < step) {
      const frame = film.frames[at.step];
      for (const [[x, y], data] of kind === "look" ? frame.looks : frame.residues) at.context.drawImage(await picture(data), x, y);
      at.step += 1;
      if (at.step % keptEvery === 0 && !kept.has(`${kind} ${at.step}`)) {
        const copy = canvas();
        copy.getContext("2d").drawImage(at.made, 0, 0);
        kept.set(`${kind} ${at.step}`, copy);
      }
    }
    return at;
  }

  // One at a time: they share what is painted.
  let turn = Promise.resolve();
  function at(step, residue) {
    turn = turn.then(async () => {
      const copy = canvas();
      const context = copy.getContext("2d");
      if (!residue) {
        context.drawImage((await brought("look", step)).made, 0, 0);
        return copy;
      }
      const map = (await brought("residue", step)).context.getImageData(0, 0, film.width, film.height);
      const tones = Array.from({ length: 256 }, (_, value) => tone((value - 128) / film.residue_steps));
      for (let byte = 0; byte < map.data.length; byte += 4) {
        const [red, green, blue] = tones[map.data[byte]];
        map.data[byte] = red; map.data[byte + 1] = green; map.data[byte + 2] = blue;
      }
      context.putImageData(map, 0, 0);
      return copy;
    });
    return turn;
  }

  return { at };
}

// The colour of a residue in L*: towards blue where darker, towards orange where lighter, full at 8 L*.
function tone(residue) {
  const share = Math.max(-1, Math.min(1, residue / 8));
  const end = share < 0 ? [30, 74, 130] : [190, 96, 0];
  return end.map((value) => Math.round(240 + (value - 240) * Math.abs(share)));
}
