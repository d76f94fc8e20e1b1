// Follows the files while somebody draws: whenever the server says that something was saved, what changed is put in the
// place of what was there, and plan, step, look, finding, filters and scrolling stay; a step stays with its finding. What is wrong with a file is said on top.
// Knows that there is a server; part of no page that is written to a file.

const fileOf = (section) => section.dataset.file;
// As the server sent them, before the script worked on them.
let sent = new Map(sections.map((section) => [fileOf(section), section.outerHTML]));
let pageNumber = Number(document.body.dataset.page);
const banner = document.querySelector(".live");
// What stays on top of the window stays below the banner.
new ResizeObserver(() => document.documentElement.style.setProperty("--banner", `${banner.offsetHeight}px`)).observe(banner);

async function takeNew() {
  const text = await (await fetch(location.pathname, { cache: "no-store" })).text();
  const fresh = new DOMParser().parseFromString(text, "text/html");
  pageNumber = Number(fresh.body.dataset.page);
  const now = new Map([...fresh.querySelectorAll(".plan")].map((section) => [fileOf(section), section.outerHTML]));
  const was = open && { ...open, file: fileOf(open.section), kept: keptOf(open), scroll: [scrollX, scrollY] };
  const place = open?.causes.placeOfId(state.finding);
  if (place && appliesAt(place, state.step)) followed = { id: place.id, ahead: state.step - place.step };
  else if (place || followed?.id !== state.finding || followed.left !== state.step) followed = null;
  const list = document.querySelector("nav .wide")?.scrollTop ?? 0;
  putInPlace(fresh.querySelector("main"), (file) => now.get(file) === sent.get(file));
  sent = now;
  document.querySelector("body > header").replaceWith(fresh.querySelector("body > header"));
  document.title = fresh.title;
  sections = [...document.querySelectorAll(".plan")];
  if (!was || sections.length === 0) {
    open = null;
    return render();
  }
  const at = sections.findIndex((section) => fileOf(section) === was.file);
  if (at >= 0) state.plan = at + 1;
  if (sections[at] === was.section) {
    open.number = at + 1;
    for (const section of sections) section.hidden = section !== was.section;
  } else {
    openPlan(Math.max(0, at) + 1);
    if (at >= 0) putBack(open, was);
  }
  follow();
  document.querySelector("nav .wide")?.scrollTo(0, list);
  scrollTo(...was.scroll);
  await render();
}

// Somebody who looks at a finding goes with it where it goes, also after it was gone for a time.
let followed = null;

function follow() {
  if (!followed) return;
  const place = open.causes.placeOfId(followed.id);
  const to = place ? Math.min(place.last, place.step + followed.ahead) : Math.min(state.step, (open.film?.steps ?? 1) - 1);
  if (place && place.step !== null) state.step = to;
  else followed.left = to;
}

// Brings the page to what a new one holds. A plan that did not change stays where it is, with everything that somebody did to
// it: what is moved loses its scrolling.
function putInPlace(fresh, isSame) {
  const main = document.querySelector("main");
  const known = new Map(sections.filter((section) => isSame(fileOf(section))).map((section) => [fileOf(section), section]));
  for (const part of [...main.children]) if (known.get(part.dataset.file) !== part) part.remove();
  let next = main.firstElementChild;
  for (const part of [...fresh.children]) {
    const own = known.get(part.dataset.file) ?? part;
    if (own === next) next = next.nextElementSibling;
    else main.insertBefore(own, next);
  }
  if (fresh.dataset.first) main.dataset.first = fresh.dataset.first;
  else delete main.dataset.first;
}

const summaryOf = (details) => [details.closest(".cause")?.dataset.rule, details.className || details.querySelector("summary").textContent].join(" ");
const controlsOf = (section) => [...section.querySelectorAll("a, button, input, select, summary, [tabindex]")];

// What somebody did to the part of a plan.
function keptOf({ section, view, time }) {
  const form = section.querySelector(".filters");
  return {
    opened: [...section.querySelectorAll("details[open]")].map(summaryOf),
    filters: form && [...form.elements].map(({ name, value, checked }) => ({ name, value, checked })),
    focus: controlsOf(section).indexOf(document.activeElement),
    time: time?.kept(),
    panes: view && [".stage", ".pane"].map((name) => [view.querySelector(name).scrollLeft, view.querySelector(name).scrollTop]),
    keys: view?.querySelector('[name="keys"]').checked,
  };
}

function putBack({ section, view, time, causes }, { view: old, kept }) {
  for (const details of section.querySelectorAll("details")) {
    if (kept.opened.includes(summaryOf(details)) && !details.closest(".causes")) details.open = true;
  }
  const form = section.querySelector(".filters");
  for (const { name, value, checked } of (form && kept.filters) || []) {
    const control = [...form.elements].find((one) => one.name === name && (name !== "level" || one.value === value));
    if (control?.type === "checkbox") control.checked = checked;
    else if (control && [...control.options].some((option) => option.value === value)) control.value = value;
  }
  if (form) causes.filter();
  if (view && old) {
    // Until the new picture is drawn the old one stays.
    const ratio = (of) => of.querySelector("figure").style.getPropertyValue("--ratio");
    for (const [at, canvas] of [...view.querySelectorAll("canvas")].entries()) {
      const before = old.querySelectorAll("canvas")[at];
      if (ratio(view) !== ratio(old)) break;
      [canvas.width, canvas.height] = [before.width, before.height];
      canvas.getContext("2d").drawImage(before, 0, 0);
    }
    for (const [at, blank] of view.querySelectorAll(".blank").entries()) blank.hidden = old.querySelectorAll(".blank")[at].hidden;
    for (const words of ["figcaption", ".what", ".said"]) {
      for (const [at, line] of view.querySelectorAll(words).entries()) line.textContent = old.querySelectorAll(words)[at].textContent;
    }
    for (const [at, figure] of view.querySelectorAll("figure").entries()) figure.hidden = old.querySelectorAll("figure")[at].hidden;
    view.classList.toggle("closer", state.closer);
    for (const [at, name] of [".stage", ".pane"].entries()) view.querySelector(name).scrollTo(...kept.panes[at]);
    view.querySelector('[name="keys"]').checked = kept.keys;
    time.putBack(kept.time);
  }
  controlsOf(section)[kept.focus]?.focus({ preventScroll: true });
}

// Sentences on top of the page, for as long as they are true.
function tell(lead, troubles) {
  banner.replaceChildren();
  if (!lead) return;
  const words = (name, text) => Object.assign(document.createElement(name), { textContent: text });
  const list = document.createElement("ul");
  for (const { place, message, help } of troubles) {
    const item = document.createElement("li");
    item.innerHTML = `<strong>${escaped(place)}</strong>${place && ": "}${marked(message)} ${marked(help)}`;
    list.append(item);
  }
  banner.append(words("p", lead), ...(troubles.length ? [list] : []));
}

const news = new EventSource("news");
let taking = Promise.resolve();
news.addEventListener("message", ({ data }) => {
  const { page, troubles } = JSON.parse(data);
  taking = taking.then(async () => {
    if (page !== pageNumber) await takeNew();
    tell(troubles.length ? "A file cannot be read at present. This page shows what was there before, until the file can be read again." : "", troubles);
  }).catch(() => {});
});
news.addEventListener("error", () => tell("The program that shows this page has ended, or cannot be reached. The page shows what was reviewed last.", []));
