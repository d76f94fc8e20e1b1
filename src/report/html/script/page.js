// One plan is open; its panel, causes and time show the same moment. Keeps the address.

// The view as markup and its style come packed with the script.
const viewPart = Object.assign(document.createElement("template"), { innerHTML: viewMarkup });
document.head.append(Object.assign(document.createElement("style"), { textContent: viewStyle }));
const state = readAddress(location.hash);
let sections = [...document.querySelectorAll(".plan")];
let open = null;
// The words for two plans that are compared, in their order.
const sides = document.querySelector("section.compared") && sections.length === 2 ? ["before", "after"] : null;
const firstPlan = () => Number(document.querySelector("main").dataset.first ?? 1);

const dataOf = (section) => {
  const film = section.querySelector('script[type="application/json"]');
  return film && JSON.parse(film.textContent);
};

function choose(change) {
  if (change.plan && change.plan !== state.plan) Object.assign(state, { step: null, finding: null });
  Object.assign(state, change);
  render();
}

// Whether somebody chose a plan in the list and is to be brought to it.
let isSent = false;

const render = paced(async () => {
  if (sections.length === 0) return;
  const number = Math.max(1, Math.min(sections.length, state.plan ?? firstPlan()));
  const moment = sides && open?.film && open.number !== number ? momentAt(open.film, open.step) : null;
  if (open?.number !== number) openPlan(number);
  const { panel, causes, time, film } = open;
  state.plan = number;
  let place = causes.placeOfId(state.finding);
  if (state.step === null && moment !== null && !place) state.step = stepAt(film, moment);
  if (state.step === null) {
    // Whoever comes without an address sees the worst finding that a picture shows.
    place ??= causes.worst;
    state.finding ??= place?.id ?? null;
    state.step = place?.step ?? 0;
    causes.refresh(state, false);
  }
  if (panel) {
    state.step = Math.max(-1, Math.min(panel.last, state.step));
    // A finding stands in the pictures of the steps to which it applies.
    const applies = place && appliesAt(place, state.step);
    await panel.show({ ...state, box: applies ? place.box : undefined, isLater: place?.step !== state.step });
    open.step = state.step;
    time.show(state.step);
    tellChosen(place);
    tellHere();
  }
  causes.refresh(state);
  for (const link of document.querySelectorAll(".contents a")) link.toggleAttribute("aria-current", link.hash === `#plan=${number}`);
  history.replaceState(null, "", addressOf(state));
  if (isSent) open.section.scrollIntoView();
  isSent = false;
});

// What is made of a plan's part of the page once, however often the plan is opened.
const made = new WeakMap();

function partsOf(section, number) {
  if (!made.has(section)) {
    const film = dataOf(section);
    made.set(section, { film, causes: causesOf(section, number, film, choose), aside: film && reel(film) });
    if (film) listScreens(section, made.get(section));
  }
  return made.get(section);
}

function openPlan(number) {
  open?.panel?.end();
  open?.view?.remove();
  for (const [at, section] of sections.entries()) section.hidden = at !== number - 1;
  const section = sections[number - 1];
  const { film, causes, aside } = partsOf(section, number);
  open = { number, section, causes, film, aside };
  if (!film?.frames.length) return;
  open.view = viewPart.content.firstElementChild.cloneNode(true);
  section.querySelector(".work").prepend(open.view);
  const other = sides && otherOf(number);
  open.panel = panelOf(open.view, film, choose, other);
  open.time = timeOf(open.view, film, causes, other);
  drawAside(open);
}

// The plan that the open one is compared with.
function otherOf(number) {
  const film = dataOf(sections[2 - number]);
  return film && { film, reel: reel(film, dataOf(sections[number - 1])), word: sides[2 - number], ownWord: sides[number - 1] };
}

// The story of the place that somebody points at, above the causes; it follows the step.
async function tellHere() {
  const { section, film, panel, causes } = open;
  const [at, step] = [state.at, state.step];
  const isOn = at && at[0] < film.width && at[1] < film.height;
  const facts = isOn && hasPicture(film, step) && (await factsOf(film, step, at, panel.pixel));
  if (at !== state.at || step !== state.step || section !== open.section) return;
  let here = section.querySelector(".here");
  if (!isOn) return here?.remove();
  // What stands there already stays: whoever is about to press its button does not lose it.
  const about = `${at} ${step}`;
  if (here?.dataset.about === about) return;
  if (!here) {
    here = Object.assign(document.createElement("section"), { className: "here" });
    here.setAttribute("aria-live", "polite");
    section.querySelector(".list").prepend(here);
  }
  here.innerHTML = `<h3>The place ${at[0]}, ${at[1]} at ${escaped(film.frames[step]?.title ?? (step < 0 ? "the beginning" : `step ${step}`))}</h3><button type="button" name="away">Close</button>`
    + (facts ? storyOf(film, step, facts).map(([title, lines]) => `<h4>${title}</h4>${lines.map((line) => `<p>${marked(line)}</p>`).join("")}`).join("") : `<p>There is ${unpictured}, so that nothing is known of the place.</p>`)
    + "<h4>What is reported here</h4>";
  const [now, otherwise] = foundAt(causes.places, at, step);
  if (now.length === 0) here.append(Object.assign(document.createElement("p"), { textContent: "No rule reports anything at this place and time." }));
  listFound(here, now);
  if (otherwise.length) here.append(Object.assign(document.createElement("h4"), { textContent: "At other times" }));
  listFound(here, otherwise);
  here.dataset.about = about;
}

function listFound(here, found) {
  for (const place of found) {
    const line = document.createElement("p");
    const link = Object.assign(document.createElement("a"), { href: addressOf({ ...state, step: place.step, finding: place.id }), textContent: place.item.querySelector("a").textContent });
    link.addEventListener("click", (event) => { event.preventDefault(); open.causes.choosePlace(place); });
    line.append(`${signs[place.level]} ${place.cause.querySelector(".name").textContent}: `, link);
    here.append(line);
  }
}

const escaped = (text) => text.replace(/[&<>"]/g, (sign) => `&#${sign.codePointAt(0)};`);
// A text whose names in backticks are set as code.
const marked = (text) => escaped(text).replace(/`([^`]+)`/g, "<code>$1</code>");

const appliesAt = ({ step, last }, now) => step <= now && now <= last;

// The findings whose box holds a place: those that apply at a step, the newest first, and those of other steps, the nearest
// first; one of each rule.
function foundAt(places, at, now) {
  const found = places.filter((place) => place.box && place.step !== null && holds(place.box, at));
  const far = ({ step, last }) => Math.max(step - now, now - last);
  const few = (all) => all.filter((place, number) => all.findIndex(({ rule }) => rule === place.rule) === number).slice(0, 5);
  const [here, otherwise] = [true, false].map((is) => found.filter((place) => appliesAt(place, now) === is));
  return [few(here.sort((one, other) => other.step - one.step)), few(otherwise.sort((one, other) => far(one) - far(other)))];
}

// The place that somebody asks for with keys: that of the chosen finding, or the middle of the panel.
function pointHere() {
  const { film, causes } = open;
  const [x, y, width, height] = causes.placeOfId(state.finding)?.box ?? [0, 0, film.width, film.height];
  choose({ at: state.at ? null : [Math.floor(x + width / 2), Math.floor(y + height / 2)] });
}

function moveHere(across, down) {
  const { film } = open;
  const by = Math.max(1, Math.round(film.width / 100));
  const within = (value, most) => Math.max(0, Math.min(most - 1, value));
  choose({ at: [within(state.at[0] + across * by, film.width), within(state.at[1] + down * by, film.height)] });
}

// The chosen finding in a line under the panel, so that it stays in sight, and how this step stands to it.
function tellChosen(place) {
  const line = open.view.querySelector(".what");
  const { step } = state;
  const named = () => `${signs[place.level]} ${place.cause.querySelector(".name").textContent}: ${place.item.querySelector("a").textContent}`;
  line.textContent = !place ? (state.finding ? "This finding is gone." : "No finding is chosen.")
    : named() + (place.step === null ? ", which no picture shows" : !appliesAt(place, step) ? "; not at this step" : step > place.step && place.box ? "; at a later step of it, dashed" : "");
  line.title = line.textContent;
}

function timeOf(view, film, causes, other) {
  const paper = view.querySelector(".scroll");
  const last = film.axis.at(-1) ?? [0, 0, 0, 1];
  // The one before stands above the one after.
  const films = !other ? [film] : other.word === "before" ? [other.film, film] : [film, other.film];
  const heights = heightsOf(films);
  const side = (at) => (other ? `<p class="side">${sides[at]}</p>` : "");
  view.querySelector(".lanes").innerHTML = films.map((one, at) => side(at) + namesOfLanes(one)).join("");
  let zoom = Math.max(0.04, Math.min(3, (paper.clientWidth - 2 * edge) / (last[2] + last[3])));
  let now = -1;
  // The worst lie on top.
  const marks = causes.places.map(({ step, level }, at) => ({ step, level, at })).filter(({ step }) => film.frames[step]).reverse();

  function draw() {
    paper.innerHTML = films.map((one, at) => (other ? `<p class="side"></p>` : "") + drawTime(one, zoom, one === film ? marks : [], heights)).join("");
    show(now);
  }

  function show(step) {
    // Whoever scrolled away stays there until the step changes.
    const isNew = step !== now;
    now = step;
    const frame = film.frames[step];
    const [from, to] = frame ? [frame.at, endOf(frame)].map((ms) => edge + placeOf(ms, film.axis) * zoom) : [0, 0];
    for (const [at, cursor] of paper.querySelectorAll(".cursor").entries()) {
      const { bottom } = lanesOf(films[at].rows);
      cursor.setAttribute("d", step >= 0 && !frame ? "" : `M${from} 19H${Math.max(to, from + 2)}V${bottom - 16}H${from}z`);
    }
    if (isNew && (from < paper.scrollLeft || to > paper.scrollLeft + paper.clientWidth)) paper.scrollLeft = from - paper.clientWidth / 2;
  }

  paper.addEventListener("click", ({ target, clientX }) => {
    if (target.dataset.mark) return causes.choosePlace(causes.places[target.dataset.mark]);
    const x = clientX - paper.querySelector("svg").getBoundingClientRect().left;
    choose({ step: frameAt((x - edge + 4) / zoom, film) });
  });
  // The place under the pointer stays where it is.
  function zoomBy(by, x = paper.clientWidth / 2) {
    const at = (paper.scrollLeft + x - edge) / zoom;
    zoom = Math.max(0.01, Math.min(8, zoom * by));
    draw();
    paper.scrollLeft = at * zoom + edge - x;
  }

  for (const [name, by] of [["zoom-in", 2], ["zoom-out", 0.5]]) {
    view.querySelector(`[name="${name}"]`).addEventListener("click", () => zoomBy(by));
  }
  paper.addEventListener("wheel", (event) => {
    if (!event.ctrlKey) return;
    event.preventDefault();
    zoomBy(event.deltaY < 0 ? 1.25 : 0.8, event.clientX - paper.getBoundingClientRect().left);
  });
  draw();
  return {
    show,
    // How wide it is and how far it is scrolled, to be put back.
    kept: () => [zoom, paper.scrollLeft, now],
    putBack([wide, scrolled, step]) {
      [zoom, now] = [wide, step];
      draw();
      paper.scrollLeft = scrolled;
    },
  };
}

// The screens as small pictures, drawn once they are opened.
function listScreens(section, { film, aside }) {
  const screens = section.querySelector(".screens");
  screens?.addEventListener("toggle", async () => {
    for (const canvas of screens.querySelectorAll("canvas:not([data-drawn])")) {
      canvas.dataset.drawn = "";
      shrink(canvas, await aside.at(Number(canvas.dataset.step) + 1, "seen"), [0, 0, film.width, film.height], 220);
    }
  });
  screens?.addEventListener("click", (event) => {
    const item = event.target.closest("a");
    if (!item) return;
    event.preventDefault();
    choose({ step: Number(item.dataset.step), finding: null });
  });
}

// Small pictures of the causes, for print.
async function drawAside({ film, causes, view, aside }) {
  for (const { item, step, box } of causes.places.filter((place) => place.box && place.item.matches(".places > :first-child"))) {
    if (step === null || !hasPicture(film, step) || item.querySelector(".shot")) continue;
    await new Promise((resolve) => (globalThis.requestIdleCallback ?? setTimeout)(resolve));
    if (!view.isConnected || item.querySelector(".shot")) return;
    const canvas = document.createElement("canvas");
    canvas.className = "shot";
    const part = around(box, film);
    shrink(canvas, await aside.at(step + 1, "seen"), part, 340);
    const context = canvas.getContext("2d");
    const each = canvas.width / part[2];
    context.setTransform(each, 0, 0, each, -part[0] * each, -part[1] * each);
    Object.assign(context, { lineWidth: 1.5 / each, strokeStyle: "#0b6570" });
    context.stroke(new Path2D(corners(box, 4 / each)));
    item.querySelector("div").prepend(canvas);
  }
}

// A box with what lies around it, inside the panel.
function around([x, y, width, height], film) {
  const wide = Math.min(film.width, Math.max(2 * width, film.width / 3));
  const high = Math.min(film.height, Math.max(2 * height, film.height / 3));
  const within = (middle, size, most) => Math.max(0, Math.min(most - size, middle - size / 2));
  return [within(x + width / 2, wide, film.width), within(y + height / 2, high, film.height), wide, high];
}

function shrink(canvas, picture, [x, y, width, height], most) {
  const share = Math.min(1, most / Math.max(width, height));
  [canvas.width, canvas.height] = [Math.ceil(width * share), Math.ceil(height * share)];
  const context = canvas.getContext("2d");
  context.imageSmoothingQuality = "high";
  context.drawImage(picture, x, y, width, height, 0, 0, canvas.width, canvas.height);
}

function chooseSecond(how) {
  // What is meant lies over something else.
  const look = how === "edge" && state.look === "meant" && !sides ? "seen" : state.look;
  choose({ look, beside: state.beside === how ? null : how });
}

const keys = {
  m: () => choose({ look: "meant" }),
  s: () => choose({ look: "seen" }),
  l: () => choose({ look: "left" }),
  b: () => chooseSecond("meant"),
  e: () => chooseSecond("edge"),
  c: () => choose({ closer: !state.closer }),
  h: pointHere,
  n: () => open.causes.beside(state.finding, 1),
  p: () => open.causes.beside(state.finding, -1),
  ArrowRight: () => choose({ step: state.step + 1 }),
  ArrowLeft: () => choose({ step: state.step - 1 }),
};

const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

document.addEventListener("keydown", (event) => {
  const move = event.shiftKey && state.at && moves[event.key];
  const run = move ? () => moveHere(...move) : keys[event.key.length === 1 ? event.key.toLowerCase() : event.key];
  const arrows = "input, .scroll, .wide, .closer .pane";
  const isTaken = event.ctrlKey || event.altKey || event.metaKey || event.target.closest(event.key.length > 1 ? `select, ${arrows}` : "select");
  if (!run || isTaken || !open?.panel || !open.view.querySelector('[name="keys"]').checked) return;
  event.preventDefault();
  run();
});
document.addEventListener("click", ({ target, ctrlKey, metaKey, shiftKey }) => {
  const { name } = target.closest("button") ?? {};
  if (target.closest(".contents a") && !ctrlKey && !metaKey && !shiftKey) isSent = true;
  if (name === "away") choose({ at: null });
  if (name === "link") copyText(target, location.href.split("#")[0] + addressOf(state));
  if (name === "back" || name === "forward") choose({ step: state.step + (name === "back" ? -1 : 1) });
  if (name === "previous" || name === "next") open.causes.beside(state.finding, name === "previous" ? -1 : 1);
});
addEventListener("hashchange", () => { Object.assign(state, readAddress(location.hash)); render(); });
addEventListener("beforeprint", () => { for (const one of open?.section.querySelectorAll(".cause details") ?? []) one.dataset.was = one.open, one.open = true; });
addEventListener("afterprint", () => { for (const one of document.querySelectorAll("details[data-was]")) one.open = one.dataset.was === "true"; });
document.documentElement.classList.add("js");
render();
