// The list of causes: links of their places, filters, and which place is chosen. Knows the list, not the panel.

const placesAtOnce = 12;

// Whether a place is shown under some filters.
function passes({ level, rule, known, unsure }, filters) {
  return filters.levels.includes(level) && (filters.rule === "" || filters.rule === rule)
    && !(filters.fresh && known) && !(filters.sure && unsure);
}

// Copies a text and says so on the button. Pages that are opened from a file may be kept from the clipboard: there the old way helps.
async function copyText(button, text) {
  let is = await (navigator.clipboard?.writeText(text).then(() => true, () => false) ?? false);
  if (!is) {
    const area = Object.assign(document.createElement("textarea"), { value: text });
    button.after(area);
    area.select();
    is = document.execCommand("copy");
    area.remove();
    button.focus();
  }
  button.dataset.words ??= button.textContent;
  button.textContent = is ? "Copied" : "The browser allows no copy";
  setTimeout(() => { button.textContent = button.dataset.words; }, 3000);
}

function causesOf(section, plan, film, choose) {
  const causes = [...section.querySelectorAll(".cause")];
  const places = causes.flatMap((cause) => [...cause.querySelectorAll("li[id]")].map((item) => {
    const { level, rule, step, last, box, known, unsure } = { ...cause.dataset, ...item.dataset };
    return {
      item, cause, level, rule, known: known !== undefined, unsure: unsure !== undefined,
      id: item.id.split("-")[2], step: step ? Number(step) : null, last: Number(last ?? step), box: box?.split(" ").map(Number),
    };
  }));
  const placeOfId = (id) => places.find((place) => place.id === id);
  const choosePlace = (place) => choose({ plan, finding: place.id, ...(place.step === null ? {} : { step: place.step }) });
  const filters = section.querySelector(".filters");
  let last;

  for (const cause of causes) {
    const own = places.filter((place) => place.cause === cause);
    const chips = own.filter((place) => place.item.parentElement.matches(".places"));
    for (const { item } of chips.slice(placesAtOnce)) item.classList.add("later");
    if (chips.length > placesAtOnce) {
      const more = Object.assign(document.createElement("button"), { type: "button", textContent: `${chips.length - placesAtOnce} more` });
      more.addEventListener("click", () => { cause.classList.add("all"); more.remove(); });
      cause.querySelector(".places").after(more);
    }
    cause.querySelector("details").addEventListener("toggle", ({ target }) => {
      if (target.open && !own.some((place) => place.item.classList.contains("chosen")) && own[0]) choosePlace(own[0]);
    });
  }

  // Shows which place is chosen; nothing is scrolled to what nobody asked for.
  function refresh(address, isAsked = true) {
    for (const { item, id, step } of places) {
      const link = item.querySelector("a");
      link.href = addressOf({ ...address, plan, step: step ?? address.step, finding: id });
      item.classList.toggle("chosen", id === address.finding);
      if (id === address.finding) link.setAttribute("aria-current", "true");
      else link.removeAttribute("aria-current");
    }
    const chosen = placeOfId(address.finding);
    if (chosen) leadToSteps(chosen, address);
    if (chosen === last) return;
    if (last && last.cause !== chosen?.cause) last.cause.querySelector("details").open = false;
    last = chosen;
    if (!chosen) return;
    chosen.cause.querySelector("details").open = true;
    if (chosen.item.matches(".later")) chosen.cause.classList.add("all");
    if (isAsked && matchMedia("(min-width: 60rem)").matches) chosen.cause.scrollIntoView({ block: "nearest" });
  }

  // A step that a text names in brackets is a way there.
  function leadToSteps({ item, id }, address) {
    const text = item.querySelector("div > p");
    if (!text) return;
    if (!text.querySelector("a")) text.innerHTML = text.innerHTML.replace(/\(step (\d+)\)/g, '(<a data-to="$1">step $1</a>)');
    for (const link of text.querySelectorAll("a")) link.href = addressOf({ ...address, plan, step: Number(link.dataset.to), finding: id });
  }

  function filter() {
    const chosen = new FormData(filters);
    const asked = { levels: chosen.getAll("level"), rule: chosen.get("rule"), fresh: chosen.has("new"), sure: chosen.has("sure") };
    for (const place of places) place.item.hidden = !passes(place, asked);
    for (const cause of causes) cause.hidden = places.every((place) => place.cause !== cause || place.item.hidden);
    const number = causes.filter((cause) => !cause.hidden).length;
    section.querySelector(".shown").textContent = `${number} of ${causes.length} causes shown`;
  }

  // The place before or after the chosen one, of those that are shown.
  function beside(finding, by) {
    const open = places.filter((place) => !place.item.hidden);
    const at = open.findIndex((place) => place.id === finding);
    const next = open[at < 0 ? 0 : at + by];
    if (next) choosePlace(next);
  }

  section.querySelector(".causes")?.addEventListener("click", (event) => {
    const link = event.target.closest("a");
    const place = placeOfId(link?.closest("li")?.id.split("-")[2]);
    if (place && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
      event.preventDefault();
      if (link.dataset.to) choose({ plan, finding: place.id, step: Number(link.dataset.to) });
      else choosePlace(place);
    }
    const copy = event.target.closest(".copy");
    if (copy) copyText(copy, copy.previousElementSibling.textContent);
  });
  if (filters) {
    const rules = [...new Set(places.map((place) => place.rule))].sort();
    filters.elements.rule.append(...rules.map((rule) => new Option(rule, rule)));
    for (const [name, is, why] of [["new", "known", "none is known from before"], ["sure", "unsure", "none is unsure"]]) {
      const control = filters.elements[name];
      control.disabled = !places.some((place) => place[is]);
      if (control.disabled) control.parentElement.append(` (${why})`);
    }
    filters.addEventListener("input", filter);
    filter();
  }
  // The worst finding that a picture shows.
  const worst = places.find(({ step }) => step !== null && film && hasPicture(film, step)) ?? places.find(({ step }) => step !== null);
  return { places, placeOfId, choosePlace, refresh, filter, beside, worst };
}
