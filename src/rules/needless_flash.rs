//! `needless-flash`: an update flashes although another mode would carry it without, or flashes far more than changes.

use std::collections::BTreeMap;

use super::{
    Rule, Setup,
    due::{Due, HOUR_MS},
    flash_weight::FlashWeight,
    remedy::{self, has_turns},
    rhythm::Rhythm,
    wording,
};
use crate::{
    change::proposed_window,
    display::Mode,
    finding::{Asks, ChangeOf, Correction, Finding, Observation, Severity, Sink, StepField, Where},
    geometry::Rect,
    panel::{PlayedStep, PlayedUpdate},
    plan::{Plan, PlanKind, WindowAsk},
};

/// What holds for all turns of a step that the file gives once.
#[derive(Clone)]
struct Turns {
    /// What would be right at each of them.
    right: Vec<Correction>,
    /// Those whose flash is needed, by their numbers.
    needed_at: Vec<u64>,
}

/// Looks at every flashing update that nothing made due.
#[derive(Clone)]
pub(super) struct NeedlessFlash<'p> {
    plan: &'p Plan,
    times: f64,
    due: Due,
    weight: FlashWeight,
    /// The cleanings of pages.
    rhythm: Rhythm,
    /// A cleaning that comes so long after the last touch is one in a pause, ms.
    quiet_ms: f64,
    /// When a person asked for something last, ms.
    asked_ms: f64,
    /// What is right for all turns so far of an update of a step with several, by its field of the plan.
    of_all_turns: BTreeMap<String, Turns>,
}

/// A flash that weighs less than this is hardly one: it is worth a note. Common practice, no source.
const SLIGHT: f64 = 0.05;
/// The keys of what is said: that another mode would do, or a window.
const MODE: &str = "mode";
const WINDOW: &str = "window";
/// The key of a cleaning that comes behind an answer.
const BEHIND: &str = "behind";
/// A cleaning of at least this share of the panel is one of a page. Common practice, no source.
const PAGE_SHARE: f64 = 0.5;

impl<'p> NeedlessFlash<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            times: setup.limits.needless_flash.times.value,
            due: Due::new(setup.plan),
            weight: FlashWeight::new(setup.plan),
            rhythm: Rhythm::default(),
            quiet_ms: setup.limits.cleaning_interrupts.quiet_ms.value,
            plan: setup.plan,
            asked_ms: f64::NEG_INFINITY,
            of_all_turns: BTreeMap::new(),
        }
    }

    fn observation(&self, step: &PlayedStep<'_>, index: usize, update: &PlayedUpdate) -> Option<Observation> {
        let flashes = self.plan.display.modes[update.mode].flashes > 0;
        if !flashes || update.sent.is_empty() {
            return None;
        }
        if update.changed_px == 0 {
            return self.of_nothing(step, index, update);
        }
        self.another_mode(step, index, update).or_else(|| self.a_window(step, index, update))
    }

    /// That a person asked for an update that cleans and changes nothing, by itself or behind the answer: somebody is looking.
    fn of_nothing(&self, step: &PlayedStep<'_>, index: usize, update: &PlayedUpdate) -> Option<Observation> {
        let (cause, mode) = (step.planned.step.cause, &self.plan.display.modes[update.mode]);
        let answers = step.updates[..index].iter().any(PlayedUpdate::changes_something);
        let when = if answers { format!(" right after the answer to the {}", cause.word()) } else { String::new() };
        let nothing = if answers { "nothing is left to change" } else { "nothing changes" };
        // The cleanings of a flow come where the flow says, after as many updates as it says: that is its own choice.
        let is_chosen = self.plan.kind() == PlanKind::Walk;
        // What the pen drew is there already: the update that takes it over changes nothing.
        let takes_over = !answers && !step.planned.step.strokes.is_empty();
        (cause.is_person() && mode.cleans && !is_chosen && !takes_over).then(|| Observation {
            message: format!(
                "`{}` flashes {}{when}, although {nothing} there and no cleaning is due",
                mode.name,
                wording::area(update.sent_px, &self.plan.display)
            ),
            help: "leave this update out, and clean in a pause or when a cleaning is due".into(),
            corrections: vec![Correction::of(step, ChangeOf::RemoveUpdate { update: index })],
            key: BEHIND.into(),
            ..Observation::default()
        })
    }

    /// That another mode carries an update without a flash.
    fn another_mode(&self, step: &PlayedStep<'_>, index: usize, update: &PlayedUpdate) -> Option<Observation> {
        let display = &self.plan.display;
        let carries = |mode: &usize| self.carries(&display.modes[*mode], step, update);
        let carrying: Vec<usize> = (0..display.modes.len()).filter(carries).collect();
        let quiet = &display.modes[*carrying.first()?].name;
        let asks = Asks::Quiet(quiet.clone());
        let clean = match self.due.ghosts_around(update) {
            None => String::new(),
            Some(ghosts) => {
                format!(", and clean the window {} in a pause, because only there is a ghost", wording::rect(ghosts))
            }
        };
        Some(Observation {
            message: format!(
                "`{}` flashes {}, although `{quiet}` would show this change of {} with neither a flash nor a visible \
                ghost",
                display.modes[update.mode].name,
                wording::area(update.sent_px, display),
                wording::area(update.changed_px, display)
            ),
            help: format!("{}{clean}", asks.words()),
            asks: Some(asks),
            corrections: Correction::modes(step, index, carrying),
            key: MODE.into(),
            ..Observation::default()
        })
    }

    /// That an update flashes far more than changes, where a window would do.
    fn a_window(&self, step: &PlayedStep<'_>, index: usize, update: &PlayedUpdate) -> Option<Observation> {
        let display = &self.plan.display;
        let mode = &display.modes[update.mode];
        let times = update.sent_px as f64 / update.changed_px as f64;
        // The box around what changes is what a window could be at the best.
        let bounds = step.changed.bounds(step.grid())?;
        let window = proposed_window(bounds, display, self.plan.rotation)?;
        let saves = window.pixels() as f64 * self.times < update.sent_px as f64;
        (mode.windowed && times > self.times && saves).then(|| {
            let windows = self.windows(update, window);
            let named: Vec<String> = windows.iter().map(|window| wording::rect(*window)).collect();
            let help = if let [own, ghosts] = named.as_slice() {
                format!("limit it to the windows {own} and, for the ghost there, {ghosts}: then only those flash")
            } else {
                format!("limit it to {}: then nothing else flashes", wording::changed_window(self.plan, window))
            };
            let windows = match windows.len() {
                1 => WindowAsk::Changed,
                _ => WindowAsk::Boxes(windows.into_iter().map(Rect::to_window).collect()),
            };
            Observation {
                message: format!(
                    "`{}` flashes {}, which is {} times the area that changes",
                    mode.name,
                    wording::area(update.sent_px, display),
                    wording::figure(times)
                ),
                help,
                corrections: vec![Correction::of(step, ChangeOf::Window { update: index, window: windows })],
                key: WINDOW.into(),
                ..Observation::default()
            }
        })
    }

    /// The window that an update needs, and that of the ghosts which it takes away, where these lie elsewhere.
    fn windows(&self, update: &PlayedUpdate, window: Rect) -> Vec<Rect> {
        let ghosts = self.due.ghosts_around(update).filter(|ghosts| window.around(*ghosts) != window);
        [window].into_iter().chain(ghosts).collect()
    }

    /// Whether a mode without flashes brings what changes to its level, and leaves nothing to be seen.
    fn carries(&self, mode: &Mode, step: &PlayedStep<'_>, update: &PlayedUpdate) -> bool {
        let now_c = step.planned.temperature_c;
        let windows = mode.windowed || update.sent_px == step.memory.size().pixels();
        if mode.flashes > 0
            || !windows
            || !update.changes_from.is_within(mode.from)
            || !update.changes_to.is_within(mode.to)
            || mode.full_swing_ms.is_some_and(|whole| mode.duration_at(now_c) < whole)
        {
            return false;
        }
        let levels = update.changes_from.union(update.changes_to);
        remedy::law_of(mode, self.plan, now_c).most_after(levels, update.most_residue_l) < step.ghost_limits.limit_l
    }
}

impl NeedlessFlash<'_> {
    /// What is said of an update of a step; nothing of one that does not flash, or not needlessly.
    fn see(&self, step: &PlayedStep<'_>, index: usize) -> Option<Observation> {
        let update = &step.updates[index];
        if self.due.is_due(step, update, self.plan) {
            return None;
        }
        let observation = self.observation(step, index, update)?;
        let weight = self.weight.of(self.plan.display.area_mm2(update.sent_px));
        Some(Observation {
            update: Some(index),
            rect: update.sent_bounds(),
            figures: vec![
                ("flashing_px", update.sent_px as f64),
                ("changed_px", update.changed_px as f64),
                ("limit_times", self.times),
            ],
            severity: (weight < SLIGHT).then_some(Severity::Note),
            ..observation
        })
    }

    /// Keeps what is right for this turn of a step as well; `seen` is what is said of each of its updates.
    fn see_turn(&mut self, step: &PlayedStep<'_>, seen: &[Option<Observation>]) {
        let sent = step.updates.iter().zip(seen).enumerate().filter(|(_, (update, _))| !update.sent.is_empty());
        for (index, (_, observation)) in sent {
            let right: &[Correction] = observation.as_ref().map_or(&[], |observation| &observation.corrections);
            let pointer = StepField::Mode(index).pointer(step.planned.step);
            let known = self
                .of_all_turns
                .entry(pointer)
                .or_insert_with(|| Turns { right: right.to_vec(), needed_at: Vec::new() });
            known.right.retain(|correction| right.contains(correction));
            known.needed_at.extend(observation.is_none().then_some(step.planned.index));
        }
    }

    /// Takes from the findings what would be wrong at another turn of the step.
    fn tell_turns(&self, sink: &mut Sink) {
        for (pointer, Turns { right, needed_at }) in &self.of_all_turns {
            for key in [MODE, WINDOW, BEHIND] {
                sink.amend(pointer, key, |finding| {
                    finding.corrections.retain(|correction| right.contains(correction));
                    if finding.corrections.is_empty() {
                        finding.help += &apart_words(finding, needed_at);
                    }
                });
            }
        }
    }

    /// Whether an update cleans a page, or most of one.
    fn cleans_page(&self, step: &PlayedStep<'_>, update: &PlayedUpdate) -> bool {
        let mode = &self.plan.display.modes[update.mode];
        mode.cleans && mode.flashes > 0 && update.sent_px as f64 >= PAGE_SHARE * step.memory.size().pixels() as f64
    }

    /// Whether the next step of the plan is far away: a cleaning leaves a clean picture for all that time.
    fn is_before_long_pause(&self, step: &PlayedStep<'_>) -> bool {
        self.plan.step_at(step.planned.index + 1).is_some_and(|next| next.after_ms >= HOUR_MS)
    }

    /// Reports what is said of the updates of a step, except of a cleaning at a good moment.
    fn look(&mut self, step: &PlayedStep<'_>, seen: Vec<Option<Observation>>, sink: &mut Sink) {
        let may_clean = self.is_before_long_pause(step);
        let mut of_page = Vec::new();
        for (index, (update, observation)) in step.updates.iter().zip(seen).enumerate() {
            let is_good = may_clean && self.plan.display.modes[update.mode].cleans;
            let Some(observation) = observation.filter(|_| !is_good) else { continue };
            let place = Where::of(step, StepField::Mode(index));
            if self.cleans_page(step, update) {
                of_page.push((place, observation));
            } else {
                sink.report(place, observation);
            }
        }
        if step.updates.iter().any(|update| self.cleans_page(step, update)) {
            report_all(self.rhythm.cleaning(of_page), sink);
        }
    }
}

/// That some of the steps of one entry of the file must keep their update, in words that follow what to do at the others.
fn apart_words(finding: &Finding, needed_at: &[u64]) -> String {
    let here = wording::steps(&(finding.step..=finding.last_step).collect::<Vec<_>>());
    match needed_at {
        [] => format!(
            "; one entry of the file makes {here} and other steps that need another correction: give {here} an entry of their own"
        ),
        needed_at => {
            let others = wording::steps(needed_at);
            let [them, their] = if needed_at.len() == 1 { ["it", "its"] } else { ["these", "their"] };
            format!(
                "; the same entry of the file makes {others} too, which must keep the flash: first give {them} an entry of \
                 {their} own"
            )
        }
    }
}

fn report_all(said: Vec<(Where, Observation)>, sink: &mut Sink) {
    for (place, observation) in said {
        sink.report(place, observation);
    }
}

impl Rule for NeedlessFlash<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let request_ms = step.updates_request_ms();
        let by_person = step.planned.step.cause.is_person();
        let first_flash_ms = |update: &PlayedUpdate| update.first_flash_ms(&self.plan.display.modes[update.mode]);
        let flash_ms = step.updates.iter().filter_map(first_flash_ms).fold(f64::INFINITY, f64::min);
        let in_pause = !by_person && flash_ms - self.asked_ms >= self.quiet_ms && step.introduced.is_empty();
        if by_person {
            self.asked_ms = request_ms;
        }
        if !step.introduced.is_empty() && step.updates.iter().any(PlayedUpdate::changes_something) {
            self.rhythm.page();
        }
        let flashes = |update: &PlayedUpdate| self.plan.display.modes[update.mode].flashes > 0;
        let has_turns = has_turns(step.planned.step);
        if step.updates.iter().any(flashes) && (has_turns || !in_pause) {
            let seen: Vec<_> = (0..step.updates.len()).map(|index| self.see(step, index)).collect();
            if has_turns {
                self.see_turn(step, &seen);
            }
            if !in_pause {
                self.look(step, seen, sink);
            }
        }
        self.due.after(step, self.plan);
    }

    fn end(&mut self, sink: &mut Sink) {
        report_all(self.rhythm.end(), sink);
        self.tell_turns(sink);
    }
}
