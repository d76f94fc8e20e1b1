//! Which cases a plan comes by, so that a comparison of random plans is known to have compared something.

use serde_json::Value;

use crate::plain::{
    flashes::{Break, Kind, StepBreaks},
    geometry::Rect,
    playing::{Played, PlayedUpdate},
    reading::{Begins, Counts, Drives, Memory, Otherwise, Plan, Power, Update, WhenBusy},
    segments::{OFF, ON},
    windows::screen_size,
};

/// Every case that random plans must come by often.
pub(crate) const ALL_CASES: [&str; 56] = [
    "strokes",
    "white strokes",
    "several strokes",
    "turned by 90",
    "turned by 180",
    "turned by 270",
    "begins unknown",
    "begins with a screen",
    "begins black",
    "each",
    "repeat",
    "a link that waits",
    "places for several updates",
    "no windows",
    "counts updates",
    "forgets when off",
    "a temperature of its own",
    "a drive time of its own",
    "two levels",
    "sixteen levels",
    "a reflectance a level",
    "skips out of reach",
    "a short drive",
    "cleans",
    "changes",
    "nothing changes",
    "many regions",
    "left behind",
    "ghost",
    "segments",
    "segments turned",
    "segments driven short",
    "lighter where it is on",
    "part of a segment",
    "ink outside segments",
    "segments from a drawing",
    "segments from pixels",
    "gathers impulse",
    "beyond the impulse",
    "flashes of one update",
    "flashes of several updates",
    "flashes alone and together",
    "flashes of content",
    "swings there and back",
    "red flashes",
    "flashes in one field",
    "flashes beyond a field",
    "flashes told larger",
    "nothing sent",
    "several boxes sent",
    "a window sent",
    "widened",
    "out of reach",
    "wrong start",
    "waits",
    "a panel for the third time",
];

/// The same of what only the second edition has.
pub(crate) const CASES_OF_THE_SECOND: [&str; 13] = [
    "a temperature of a step",
    "residue by temperature",
    "residue of a pair",
    "beside what is driven",
    "flashes at their own times",
    "forgets when asleep",
    "the old picture sent",
    "drops when busy",
    "lost",
    "not lost in spite of drops",
    "a drive by time",
    "residue that is no ghost",
    "never known and forgotten",
];

/// Where flashes are not compared: a case that plans must hardly come by.
pub(crate) const NOT_COMPARED: &str = "a second that ends at a moment";

/// The cases that a plan comes by, each once.
pub(crate) fn cases(json: &Value, plan: &Plan, played: &[Played], breaks: &[StepBreaks]) -> Vec<&'static str> {
    let mut cases = cases_of_plan(json, plan);
    cases.extend(cases_of_display(plan));
    if plan.display.ink.segments.is_some() {
        cases.extend(cases_of_segments(plan));
    }
    let whole = Rect::whole(screen_size(plan.display.size, plan.rotation));
    for step in played {
        cases.extend(cases_of_step(step));
        cases.extend(step.updates.iter().flat_map(|update| cases_of_update(update, whole)));
    }
    cases.extend(breaks.iter().flat_map(cases_of_flashes));
    cases.extend(cases_of_the_second(plan, played));
    cases.extend(is_met_thrice(plan, played).then_some("a panel for the third time"));
    cases.sort_unstable();
    cases.dedup();
    cases
}

/// Whether a cleaning left the panel as two others had before: from then on the program need not play again.
fn is_met_thrice(plan: &Plan, played: &[Played]) -> bool {
    let mut met = Vec::new();
    for (step, played) in plan.steps.iter().zip(played).filter(|(_, played)| played.charge.is_none()) {
        let glass = &played.glass;
        let is_counted = glass.since_cleaning.iter().any(|count| *count > 0) || glass.unknown.contains(&true);
        // That mode brings out every level, so that the panel shows what is in memory.
        if step.updates.last().is_none_or(|update| update.mode != "full") || is_counted {
            continue;
        }
        let residue: Vec<u64> = glass.residue.iter().map(|residue| residue.to_bits()).collect();
        let panel = (&step.screen, glass.nominal.clone(), residue);
        if met.iter().filter(|known| **known == panel).count() == 2 {
            return true;
        }
        met.push(panel);
    }
    false
}

fn holding(cases: &[(&'static str, bool)]) -> Vec<&'static str> {
    cases.iter().filter(|(_, holds)| *holds).map(|(case, _)| *case).collect()
}

fn cases_of_plan(json: &Value, plan: &Plan) -> Vec<&'static str> {
    let text = json.to_string();
    let strokes = || plan.steps.iter().flat_map(|step| &step.strokes);
    holding(&[
        ("strokes", strokes().next().is_some()),
        ("white strokes", strokes().any(|stroke| stroke.white)),
        ("several strokes", plan.steps.iter().any(|step| step.strokes.len() > 1)),
        ("turned by 90", plan.rotation == 90),
        ("turned by 180", plan.rotation == 180),
        ("turned by 270", plan.rotation == 270),
        ("begins unknown", matches!(plan.begins, Begins::Unknown)),
        ("begins with a screen", matches!(plan.begins, Begins::Screen(_))),
        ("begins black", matches!(plan.begins, Begins::Black)),
        ("each", text.contains("\"each\":")),
        ("repeat", text.contains("\"repeat\":")),
        (
            "forgets when off",
            plan.display.memory != Memory::Kept && plan.steps.iter().any(|step| step.power == Power::Off),
        ),
        ("a temperature of its own", text.contains("\"temperature_c\":")),
        (
            "a drive time of its own",
            plan.steps.iter().flat_map(|step| &step.updates).any(|update| update.drive_ms.is_some()),
        ),
    ])
}

fn cases_of_the_second(plan: &Plan, played: &[Played]) -> Vec<&'static str> {
    let display = &plan.display;
    let updates = || plan.steps.iter().flat_map(|step| &step.updates);
    let played_updates = || played.iter().flat_map(|step| &step.updates);
    let is_sleeping = plan.steps.iter().any(|step| step.power == Power::Sleep);
    let is_timed = |update: &Update| {
        let mode = display.modes.iter().find(|mode| mode.name == update.mode);
        update.drive_ms.is_some() && mode.is_some_and(|mode| mode.full_swing_ms.is_some() && mode.impulse.is_some())
    };
    let is_both = |step: &Played| {
        let causes = || step.glass.unknown.iter().zip(&step.glass.never_known).filter(|(unknown, _)| **unknown);
        causes().any(|(_, never)| *never) && causes().any(|(_, never)| !*never)
    };
    holding(&[
        ("a temperature of a step", plan.steps.iter().any(|step| step.temperature_c.is_some())),
        ("residue by temperature", display.modes.iter().any(|mode| mode.residue.len() > 1)),
        ("residue of a pair", display.modes.iter().any(|mode| !mode.residue[0].1.pairs.is_empty())),
        ("beside what is driven", display.modes.iter().any(|mode| mode.beside.is_some())),
        ("flashes at their own times", display.modes.iter().any(|mode| mode.flash_at.is_some())),
        ("forgets when asleep", display.memory == Memory::LostWhenAsleep && is_sleeping),
        ("the old picture sent", updates().any(|update| update.with_old)),
        ("drops when busy", display.when_busy == WhenBusy::Drops),
        ("lost", played_updates().any(|update| update.is_lost)),
        (
            "not lost in spite of drops",
            display.when_busy == WhenBusy::Drops && played_updates().any(|update| !update.sent.is_empty()),
        ),
        ("a drive by time", updates().any(is_timed)),
        ("residue that is no ghost", played.iter().any(|step| step.seen.ghost_px == 0 && step.seen.residue_l > 0.1)),
        ("never known and forgotten", played.iter().any(is_both)),
    ])
}

fn cases_of_display(plan: &Plan) -> Vec<&'static str> {
    let display = &plan.display;
    let levels = display.ink.levels();
    let uneven = display.ink.lightness.windows(2).map(|pair| pair[1] - pair[0]);
    let (least, most) =
        uneven.fold((f64::INFINITY, 0.0), |(least, most): (f64, f64), step| (least.min(step), most.max(step)));
    holding(&[
        ("a link that waits", display.link.waits_for_panel),
        ("places for several updates", display.parallel_updates > 1),
        ("no windows", display.grid_step.is_none()),
        ("counts updates", display.counts == Counts::Updates),
        ("two levels", levels == 2),
        ("sixteen levels", levels == 16),
        ("a reflectance a level", most - least > 0.1),
        (
            "skips out of reach",
            display.modes.iter().any(|mode| mode.otherwise == Otherwise::Skipped && mode.to.len() < levels),
        ),
        ("a short drive", display.modes.iter().any(|mode| mode.full_swing_ms.is_some())),
        ("cleans", display.modes.iter().any(|mode| mode.cleans && mode.drives == Drives::All)),
    ])
}

/// Of a plan on segments.
fn cases_of_segments(plan: &Plan) -> Vec<&'static str> {
    let lightness = &plan.display.ink.lightness;
    let shows = |kind: &str| {
        let mut screens = plan.steps.iter().filter_map(|step| step.screen.as_ref());
        screens.any(|screen| screen.extension().is_some_and(|extension| extension == kind))
    };
    let is_short = |update: &Update| {
        let mode = plan.display.modes.iter().find(|mode| mode.name == update.mode);
        let whole_ms = mode.and_then(|mode| mode.full_swing_ms);
        update.drive_ms.zip(whole_ms).is_some_and(|(drive_ms, whole_ms)| drive_ms < whole_ms)
    };
    holding(&[
        ("segments", true),
        ("segments turned", plan.rotation != 0),
        ("segments driven short", plan.steps.iter().flat_map(|step| &step.updates).any(is_short)),
        ("lighter where it is on", lightness[ON] > lightness[OFF]),
        ("segments from a drawing", shows("svg")),
        ("segments from pixels", shows("png")),
    ])
}

fn cases_of_step(step: &Played) -> Vec<&'static str> {
    holding(&[
        ("changes", step.changed_px > 0),
        ("nothing changes", step.changed_px == 0),
        ("many regions", step.regions.len() > 2),
        ("left behind", step.left_behind_px > 0),
        ("part of a segment", !step.segment_faults.parts.is_empty()),
        ("ink outside segments", step.segment_faults.outside.is_some()),
        ("gathers impulse", step.charge.is_some() && step.glass.impulse.iter().any(|impulse| *impulse != 0.0)),
        ("beyond the impulse", step.charge.is_some_and(|charge| charge.beyond_px > 0)),
        ("ghost", step.seen.ghost_px > 0 && step.seen.margin_l > 1e-6),
    ])
}

fn cases_of_flashes(step: &StepBreaks) -> Vec<&'static str> {
    let any = |holds: &dyn Fn(&Break) -> bool| step.is_clear() && step.found.iter().any(holds);
    let twice = |one: &Break| {
        one.is_alone
            && step.found.iter().any(|other| (other.update, other.kind) == (one.update, one.kind) && other != one)
    };
    holding(&[
        (NOT_COMPARED, !step.is_clear()),
        ("flashes of one update", any(&|found| found.is_alone)),
        ("flashes of several updates", any(&|found| !found.is_alone)),
        ("flashes alone and together", any(&twice)),
        ("flashes of content", any(&|found| found.has_content)),
        ("swings there and back", any(&|found| found.is_content && found.halves > 2)),
        ("red flashes", any(&|found| found.kind == Kind::Red)),
        ("flashes in one field", any(&|found| found.pixels == found.too_often)),
        ("flashes beyond a field", any(&|found| found.pixels < found.too_often)),
        ("flashes told larger", any(&|found| found.pixels > found.fullest)),
    ])
}

fn cases_of_update(update: &PlayedUpdate, whole: Rect) -> Vec<&'static str> {
    let sends = !update.sent.is_empty();
    holding(&[
        ("nothing sent", !sends),
        ("several boxes sent", update.sent.len() > 1),
        ("a window sent", sends && !update.sent.contains(&whole)),
        ("widened", sends && update.sent != update.asked && update.sent != [whole]),
        ("out of reach", update.tally.out_of_reach > 0),
        ("wrong start", update.tally.wrong_start > 0),
        ("waits", update.times.wait_ms > 0.0),
    ])
}
