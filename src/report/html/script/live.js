// Follows the files while somebody draws: whenever the server says that something was saved, what changed is put in the
// place of what was there, and plan, step, look, finding, filters and scrolling stay. What is wrong with a file is said on top.
// Knows that there is a server; part of no page that is written to a file.

const fileOf = (section) => section.dataset.file;
// As the server sent them, before the script worked on them.
let sent = new Map(sections.map((section) => [fileOf(section), section.outerHTML]));
let pageNumber = Number(document.body.dataset.page);
const banner = document.querySelector(".live");

async function takeNew() {
  const text = await (await fetch(location.pathname, { cache: "no-store" })).text();
  const fresh = new DOMParser().parseFromString(text, "text/html");
  pageNumber = Number(fresh.body.dataset.page);
  const now = new Map([...fresh.querySelectorAll(".plan")].map((section) => [fileOf(section), section.outerHTML]));
  const was = open && { ...open, file: fileOf(open.section), kept: keptOf(open), scroll: [scrollX, scrollY] };
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
  scrollTo(...was.scroll);
  await render();
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
    closer: view?.classList.contains("closer"),
    stage: view && [view.querySelector(".stage").scrollLeft, view.querySelector(".stage").scrollTop],
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
    for (const [at, canvas] of view.querySelectorAll("canvas").entries()) {
      const before = old.querySelectorAll("canvas")[at];
      if (before.width === canvas.width && before.height === canvas.height) canvas.getContext("2d").drawImage(before, 0, 0);
    }
    for (const words of ["figcaption", ".what", ".said"]) {
      for (const [at, line] of view.querySelectorAll(words).entries()) line.textContent = old.querySelectorAll(words)[at].textContent;
    }
    for (const [at, figure] of view.querySelectorAll("figure").entries()) figure.hidden = old.querySelectorAll("figure")[at].hidden;
    view.classList.toggle("closer", kept.closer);
    view.querySelector('[name="closer"]').setAttribute("aria-pressed", kept.closer);
    view.querySelector(".stage").scrollTo(...kept.stage);
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
