//! The story of a place on the panel, for somebody who never read a data sheet: what was drawn there, what was driven, what
//! stays, whose ink it is, and what would have helped.
//!
//! Reads the playback and the findings, and works nothing out anew. Knows no words of a report and no pictures' formats.

mod answers;
mod complaint;
mod happened;
mod lasting;
mod patch;
mod story_parts;
mod where_to_look;

use std::ops::ControlFlow;

use crate::{
    change::pipeline::ScreenSource,
    finding::{Asks, Finding},
    geometry::Rect,
    panel::{PlayedStep, PlayedUpdate},
    plan::{Plan, PlannedStep},
    review::{BrokenScreen, play_until, review},
    rules::Selection,
};

pub use answers::LEAST_OFF_L;
pub use complaint::Complaint;
pub use happened::{Event, FirstSeen, FromGreys, SentHere, Stay};
pub use lasting::{beside, lasting, name_beside_time, name_of_step, pixels_show, these, times_words, windows_words};
pub use patch::Patch;
pub use story_parts::{Advice, GhostHere, Gone, Mistake, Story};
pub use where_to_look::{LEAST_WAIT_MS, WhyHere, worst_about};

use happened::History;

/// What is asked.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Question {
    /// When; the worst moment if nothing is said.
    pub moment: Option<Moment>,
    /// Where on the screen; where it was worst then if nothing is said.
    pub place: Option<Rect>,
    /// Whether more was asked for, which lies outside the screen.
    pub place_is_cut: bool,
    /// How far back the story begins, ms; [`USUAL_BEFORE_MS`] if nothing is said.
    pub before_ms: Option<f64>,
    /// What somebody complains about.
    pub complaint: Option<Complaint>,
}

/// A moment of a plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Moment {
    /// The end of a step, counted from 0 in the order in which the steps are played.
    Step(u64),
    /// A time that is so long: the step that was asked for last by its end.
    Time {
        /// Its beginning, ms since the plan began, which is not after the last step.
        from_ms: f64,
        /// Its end, which may be.
        until_ms: f64,
    },
}

/// How far back a story begins, ms, if nothing is said.
pub const USUAL_BEFORE_MS: f64 = 10_000.0;

/// Why there is no story.
#[derive(Clone, Debug)]
pub enum NoStory {
    /// Screens cannot be used.
    Broken(Vec<BrokenScreen>),
    /// There is no such step; the last one, if there is any.
    NoStep(Option<u64>),
    /// The time lies after the last step: that one, and when it was asked for, ms since the plan began.
    NoTime {
        /// The last step.
        last: u64,
        /// When it was asked for, ms.
        at_ms: f64,
    },
}

/// Tells what happened.
///
/// # Errors
/// Where screens cannot be used, or where there is no such step.
pub fn explain(plan: &Plan, screens: &dyn ScreenSource, threads: usize, question: &Question) -> Result<Story, NoStory> {
    let last = plan.step_count.checked_sub(1).ok_or(NoStory::NoStep(None))?;
    let mut worst = where_to_look::WorstMoment::new(plan);
    let reviewed = review(plan, screens, &Selection::default(), threads, &mut |step| worst.see(step));
    let findings = reviewed.map_err(NoStory::Broken)?.findings;
    let step = match question.moment {
        Some(Moment::Step(step)) if step > last => return Err(NoStory::NoStep(Some(last))),
        Some(Moment::Step(step)) => step,
        Some(Moment::Time { from_ms, until_ms }) => step_at(plan, [from_ms, until_ms], last)?,
        None => worst.step(&findings, question.complaint),
    };
    let play = Playback { plan, screens, threads };
    let (place, why_here) = match question.place {
        Some(place) if question.place_is_cut => (place, WhyHere::AskedForMore),
        Some(place) => (place, WhyHere::Asked),
        None => play.at(step, |played| where_to_look::place(played, &findings, question.complaint))?,
    };
    let before_ms = question.before_ms.unwrap_or(USUAL_BEFORE_MS);
    let mut story = play.story(step, place, before_ms)?;
    let changes = story.events.iter().rev().find(|event| event.drawn_px > 0 || !event.sent.is_empty());
    let latest = changes.map_or(step, |event| event.step);
    let around = story.pictures[0].place;
    story.pictures[1] = match latest.checked_sub(1) {
        Some(before) => play.at(before, |played| Patch::of(played, around))?,
        None => play.at(latest, |played| Patch::before(played, around, plan))?,
    };
    (story.why_here, story.waited, story.last_flash) = (why_here, worst.waited(), worst.last_flash());
    (story.findings, story.also) = relevant(findings, &story, question.complaint);
    let is_about_it =
        |finding: &Finding| question.complaint.is_none_or(|complaint| is_about(finding, complaint, &story));
    story.about_complaint = story.findings.iter().filter(|finding| is_about_it(finding)).count();
    let may_be_mistaken = question.complaint == Some(Complaint::Shifted) || story.older_px > 0;
    story.mistake = may_be_mistaken.then(|| answers::mistake(&story, plan)).flatten();
    story.advice = answers::advice(question.complaint, &story, plan);
    story.answers = question.complaint.map_or(Vec::new(), |complaint| answers::answers(complaint, &story, plan));
    Ok(story)
}

/// People read times off a clock: so much later than the last step is still its own time, ms.
const ROUNDED_MS: f64 = 1000.0;

/// The step that was asked for last in a time, which does not begin after the last one.
fn step_at(plan: &Plan, [from_ms, until_ms]: [f64; 2], last: u64) -> Result<u64, NoStory> {
    let at_ms = |planned: &PlannedStep<'_>| planned.request_ms + planned.step.updates_after_ms();
    let asked = plan.steps().take_while(|planned| at_ms(planned) <= until_ms).last();
    match asked {
        Some(planned) if planned.index == last && from_ms - at_ms(&planned) > ROUNDED_MS => {
            Err(NoStory::NoTime { last, at_ms: at_ms(&planned) })
        }
        asked => Ok(asked.map_or(0, |planned| planned.index)),
    }
}

/// Plays a plan as often as somebody looks.
struct Playback<'p> {
    plan: &'p Plan,
    screens: &'p dyn ScreenSource,
    threads: usize,
}

impl Playback<'_> {
    /// Looks at the end of a step.
    fn at<T>(&self, wanted: u64, look: impl FnOnce(&PlayedStep<'_>) -> T) -> Result<T, NoStory> {
        let mut look = Some(look);
        let mut seen = None;
        play_until(self.plan, self.screens, self.threads, &mut |step| {
            if step.planned.index < wanted {
                return ControlFlow::Continue(());
            }
            seen = look.take().map(|look| look(step));
            ControlFlow::Break(())
        })
        .map_err(NoStory::Broken)?;
        seen.ok_or_else(|| self.no_step())
    }

    fn no_step(&self) -> NoStory {
        NoStory::NoStep(self.plan.step_count.checked_sub(1))
    }

    /// What happened at a place from so long before a step on, and what there is to see at its end; the picture before, why this
    /// place, findings and answers are still to come.
    fn story(&self, wanted: u64, place: Rect, before_ms: f64) -> Result<Story, NoStory> {
        let planned = self.plan.steps().find(|planned| planned.index == wanted);
        let at_ms = planned.map_or(0.0, |planned| planned.request_ms + planned.step.updates_after_ms());
        let mut history = History::new(place, at_ms - before_ms, self.plan);
        let mut story: Option<Story> = None;
        play_until(self.plan, self.screens, self.threads, &mut |step| {
            if let Some(story) = &mut story {
                let is_over = follow(story, step, &mut history, self.plan);
                return if is_over { ControlFlow::Break(()) } else { ControlFlow::Continue(()) };
            }
            history.see(step, self.plan);
            if step.planned.index < wanted {
                return ControlFlow::Continue(());
            }
            let end = end_of_story(step, place, &mut history, self.plan);
            let is_over = end.older_px == 0 && end.ghost.is_none();
            story = Some(Story { before_ms, ..end });
            if is_over { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        })
        .map_err(NoStory::Broken)?;
        story.ok_or_else(|| self.no_step())
    }
}

/// Follows what is wrong at the end of a story through a later step, until it is right; gives whether that is so.
fn follow(story: &mut Story, step: &PlayedStep<'_>, history: &mut History, plan: &Plan) -> bool {
    // What is missing stays until a later step, and so does a ghost.
    if story.older_px > 0 && story.stay.is_none_or(|stay| stay.until.is_none()) {
        story.stay = history.stays_after(step);
    }
    let at_ms = story.at_ms;
    if let Some(ghost) = story.ghost.as_mut().filter(|ghost| ghost.gone.is_none()) {
        let is_there = step.ghosts.iter().any(|seen| seen.rect.overlaps(ghost.rect));
        let cleans = |update: &PlayedUpdate| {
            let covers = |sent: &Rect| sent.around(ghost.rect) == *sent;
            update.lost.is_none() && plan.display.modes[update.mode].cleans && update.sent.iter().any(covers)
        };
        let by_cleaning = step.updates.iter().any(cleans);
        let (step, ms) = (step.planned.index, step.updates_request_ms() - at_ms);
        ghost.gone = (!is_there).then_some(Gone { step, ms, by_cleaning });
    }
    let is_right = story.older_px == 0 || story.stay.is_none_or(|stay| stay.until.is_some());
    is_right && story.ghost.as_ref().is_none_or(|ghost| ghost.gone.is_some())
}

/// What there is to see at the end, with the events of the history.
fn end_of_story(step: &PlayedStep<'_>, place: Rect, history: &mut History, plan: &Plan) -> Story {
    let now_ms = step.updates_request_ms();
    let ghost = ghost_here(step, place, history, plan);
    let wrong_px = step.glass.unlike_memory().inside(&[place], step.grid()).count();
    let (unreached_px, inked_px) = (history.unreached.count(), history.inked.count());
    let around = patch::with_margin(place, plan.screen_size());
    let (events, earlier_updates) = history.take_events();
    Story {
        step: step.planned.index,
        label: step.planned.step.label.clone(),
        at_ms: now_ms,
        before_ms: USUAL_BEFORE_MS,
        place,
        why_here: WhyHere::Asked,
        events,
        earlier_updates,
        cleaned_by: history.cleaned_by,
        earlier_flashes: history.earlier_flashes,
        ghost,
        most_off_l: patch::strongest(step, place, plan).off_l.abs(),
        limit_l: step.ghost_limits.limit_l,
        limit_mm2: step.ghost_limits.area_mm2,
        older_px: wrong_px - unreached_px - inked_px,
        stay: history.stays(now_ms).or(history.repaired),
        unreached_px,
        inked_px,
        most_charge_vs: patch::most_charge(step, place),
        unknown_px: patch::unknown_px(step, place),
        forgets_now: step.planned.step.power.is_some_and(|power| power.loses(plan.display.memory)),
        findings: Vec::new(),
        about_complaint: 0,
        waited: None,
        mistake: None,
        answers: Vec::new(),
        advice: Advice::default(),
        last_flash: None,
        also: Vec::new(),
        pictures: [Patch::of(step, around), Patch::empty(around)],
    }
}

/// The ghosts that reach into a place at the end of a step, with the strongest of them.
fn ghost_here(step: &PlayedStep<'_>, place: Rect, history: &History, plan: &Plan) -> Option<GhostHere> {
    let ghosts = || step.ghosts.iter().filter(|ghost| ghost.rect.overlaps(place));
    let ghost = ghosts().max_by(|one, other| one.worst_l.total_cmp(&other.worst_l))?;
    let now_ms = step.updates_request_ms();
    let [drawn_over_by, drawn_by] = step.moved_by(ghost.worst_tile);
    let strongest = patch::strongest(step, ghost.rect, plan);
    let (since, since_ms) = history.ghost_since.unwrap_or((step.planned.index, now_ms));
    let (updates, is_after_cleaning) = (strongest.updates, false);
    let now = FirstSeen { step: since, updates, is_after_cleaning, from_greys: None };
    Some(GhostHere {
        worst_l: ghost.worst_l,
        count: ghosts().count() as u64,
        pixels: ghosts().map(|ghost| ghost.pixels).sum(),
        is_beyond: ghosts().any(|ghost| ghost.rect.around(place) != place),
        rect: ghost.rect,
        is_lighter: strongest.off_l > 0.0,
        pixel_and_ground_l: [strongest.pixel_l, strongest.pixel_l - strongest.off_l],
        is_outline: ghost.is_outline(),
        drawn_by,
        drawn_over_by,
        first: history.ghost_first.unwrap_or(now),
        since: (since, now_ms - since_ms),
        updates: patch::most_updates(step, ghost.rect),
        gone: None,
    })
}

/// The findings of a place and the time of the story: those about the complaint first, then the worst first; one of each
/// rule, the one nearest in time. With them, the other steps at which these rules report something.
fn relevant(
    findings: Vec<Finding>,
    story: &Story,
    complaint: Option<Complaint>,
) -> (Vec<Finding>, Vec<(&'static str, Vec<u64>)>) {
    let first = story.events.first().map_or(story.step, |event| event.step);
    let is_of_it = |finding: &Finding| {
        let is_then = where_to_look::is_of_a_step(finding) && finding.step <= story.step && finding.last_step >= first;
        is_then && finding.rect.is_none_or(|rect| rect.overlaps(story.place))
    };
    // The answer about a shadow gives one schedule, with the hours in it.
    let is_answered =
        |finding: &Finding| complaint == Some(Complaint::Shadow) && finding.figures.contains_key("limit_hours");
    let steps: Vec<(&'static str, u64)> = findings.iter().map(|finding| (finding.rule, finding.step)).collect();
    let mut found: Vec<Finding> =
        findings.into_iter().filter(|finding| is_of_it(finding) && !is_answered(finding)).collect();
    let about = |finding: &Finding| {
        let complaint = complaint.filter(|complaint| is_about(finding, *complaint, story))?;
        where_to_look::how_near(finding, complaint)
    };
    found.sort_by_key(|finding| std::cmp::Reverse((about(finding), finding.severity, finding.step)));
    let mut rules: Vec<&'static str> = Vec::new();
    found.retain(|finding| {
        let is_new = !rules.contains(&finding.rule);
        rules.push(finding.rule);
        is_new
    });
    keep_first_cleaning(&mut found);
    let others = |finding: &Finding| {
        let mut others: Vec<u64> = steps
            .iter()
            .filter(|(rule, step)| *rule == finding.rule && *step != finding.step)
            .map(|(_, step)| *step)
            .collect();
        others.dedup();
        (finding.rule, others)
    };
    let also = found.iter().map(others).filter(|(_, steps)| !steps.is_empty()).collect();
    (found, also)
}

/// Whether a finding is about what somebody complains of, and not over before the story's last step. What was wrong about the
/// shades of an earlier picture is no ghost of this one.
fn is_about(finding: &Finding, complaint: Complaint, story: &Story) -> bool {
    let is_over =
        || story.ghost.is_none() && story.unreached_px + story.older_px == 0 && finding.last_step < story.step;
    where_to_look::how_near(finding, complaint).is_some() && !(complaint == Complaint::Ghost && is_over())
}

/// Of several findings that ask to clean the place, the one that asks first has the others cleaned as well.
fn keep_first_cleaning(found: &mut Vec<Finding>) {
    let cleaned_after = |finding: &Finding| match &finding.asks {
        Some(Asks::Cleaning(cleaning)) => Some(cleaning.first_after()),
        _ => None,
    };
    let first = found.iter().filter_map(cleaned_after).min();
    found.retain(|finding| cleaned_after(finding).is_none_or(|after| Some(after) == first));
}
