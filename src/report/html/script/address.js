// What the address keeps: plan, step, look, how close, finding and place, so that a link leads back to them. Knows texts, not the page.

const looks = ["meant", "seen", "left"];
// A second picture lies beside the panel, or over one side of it up to an edge that can be moved.
const seconds = ["meant", "edge"];

// Steps count from 0; -1 is the panel before the first one.
function readAddress(hash) {
  const given = new URLSearchParams(hash.replace(/^#/, ""));
  const number = (name) => (/^\d{1,9}$/.test(given.get(name)) ? Number(given.get(name)) : null);
  const look = given.get("look");
  return {
    plan: number("plan"),
    step: given.get("step") === "begin" ? -1 : number("step"),
    look: looks.includes(look) ? look : "seen",
    beside: seconds.includes(given.get("beside")) ? given.get("beside") : null,
    closer: given.has("closer"),
    finding: given.get("finding"),
    at: /^\d{1,5},\d{1,5}$/.test(given.get("at")) ? given.get("at").split(",").map(Number) : null,
  };
}

function addressOf({ plan, step, look, beside, closer, finding, at }) {
  const kept = new URLSearchParams({ plan });
  if (step !== null) kept.set("step", step < 0 ? "begin" : step);
  kept.set("look", look);
  if (beside) kept.set("beside", beside);
  if (closer) kept.set("closer", 1);
  if (finding) kept.set("finding", finding);
  // A comma may stand in an address as it is.
  return `#${kept}${at ? `&at=${at}` : ""}`;
}

// Runs at most three times a second, however often it is asked; the last request is never lost. Pictures that follow each
// other faster would flicker.
function paced(run, restMs = 340) {
  let [asked, busy, free] = [false, false, 0];
  return function ask() {
    asked = true;
    if (busy) return;
    busy = true;
    setTimeout(async () => {
      asked = false;
      await run();
      free = performance.now() + restMs;
      busy = false;
      if (asked) ask();
    }, Math.max(0, free - performance.now()));
  };
}
