//! From a plan to its review: plays it step by step, shows each step to the rules, and adds up the verdict.
//!
//! Pictures come from the caller; nothing here touches files, clock or environment.

use std::{collections::BTreeSet, ops::ControlFlow, sync::Arc};

use crate::{
    change::{
        TileGrid,
        pipeline::{self, First, ScreenSource, Setting, Transition},
    },
    finding::{
        Finding, LaterTurns, PlanMargin, StepField, Summary, SummaryTally, accept_findings, add_fingerprints,
        sort_findings,
    },
    panel::{FlashLimits, FlashPeak, GhostLimits, PlayedStep, Player, Watched},
    plan::{Begins, LimitValue, Plan, PlannedStep, ScreenId},
    rules::{RuleRunner, Selection, Turns, agree, link_causes},
    screen::{Picture, ScreenFault},
};

/// At most this many broken screens of a plan are reported.
pub(crate) const MOST_BROKEN: usize = 20;

/// The result of a review.
#[derive(Clone, Debug)]
pub struct Review {
    /// The findings in order.
    pub findings: Vec<Finding>,
    /// The plan's figures.
    pub summary: Summary,
    /// The ids of the rules that ran, in the order of the list of rules.
    pub rules: Vec<&'static str>,
    /// The rules that failed because of a bug in the program; the bug is among the findings.
    pub failed: Vec<&'static str>,
}

/// A screen that cannot be used, and the field of the plan that shows it.
#[derive(Clone, Debug)]
pub struct BrokenScreen {
    /// The screen.
    pub screen: ScreenId,
    /// Why.
    pub fault: ScreenFault,
    /// The JSON pointer to the field that names it.
    pub pointer: String,
}

/// Reviews a plan with the rules of a selection; `see` sees every step after the rules.
///
/// # Errors
/// Where screens cannot be used; all of them, up to a number.
pub fn review(
    plan: &Plan,
    screens: &dyn ScreenSource,
    selection: &Selection,
    threads: usize,
    see: &mut dyn FnMut(&PlayedStep<'_>),
) -> Result<Review, Vec<BrokenScreen>> {
    review_on(RuleRunner::new(plan, selection), plan, screens, selection, threads, see)
}

fn review_on<'p>(
    mut runner: RuleRunner<'p>,
    plan: &'p Plan,
    screens: &dyn ScreenSource,
    selection: &Selection,
    threads: usize,
    see: &mut dyn FnMut(&PlayedStep<'_>),
) -> Result<Review, Vec<BrokenScreen>> {
    let mut tally = SummaryTally::default();
    let mut flashes = FlashPeak::new(plan, flash_limits(plan));
    let mut turns = Turns::new(plan, selection);
    play_turns(plan, screens, threads, turns.as_mut(), &mut |step| {
        runner.step(step);
        tally.step(step, plan);
        flashes.step(step);
        see(step);
    })?;
    runner.end();
    let mut findings = runner.take_findings();
    let mut summary = tally.finish(plan);
    summary.margins.flashes = Some(margin_of(&flashes, plan));
    summary.as_planned = plan.recorded.as_ref().and_then(|recorded| recorded.as_planned);
    summary.not_checked.extend(selection.words());
    let mut matched = accept_findings(&mut findings, &plan.accept);
    agree(&mut findings);
    summary.count(&findings);
    let later_turns = turns.map(|turns| {
        let (later, accepted) = turns.finish();
        matched.iter_mut().zip(accepted).for_each(|(matched, later)| *matched = later.max(*matched));
        summary.not_checked.extend(not_played(&later));
        later
    });
    runner.conclude(&summary, &findings, &matched, later_turns.as_ref(), None);
    let mut concluded = runner.take_findings();
    accept_findings(&mut concluded, &plan.accept);
    findings.extend(concluded);
    sort_findings(&mut findings);
    add_fingerprints(&mut findings);
    link_causes(&mut findings);
    summary.count(&findings);
    Ok(Review { findings, summary, rules: runner.ran().to_vec(), failed: runner.failed().to_vec() })
}

/// Plays a plan, and its later turns where those are looked at, and shows every step of the first turn to `see`.
fn play_turns<'p>(
    plan: &'p Plan,
    screens: &dyn ScreenSource,
    threads: usize,
    mut turns: Option<&mut Turns<'p>>,
    see: &mut dyn FnMut(&PlayedStep<'_>),
) -> Result<(), Vec<BrokenScreen>> {
    let Some(turns) = &mut turns else { return play(plan, screens, threads, see) };
    let most = turns.most();
    let begin = |begins| new_player(plan, begins);
    walk_turns(plan, most, screens, threads, begin, |player, planned, transition| {
        let before = player.play(planned, transition, |step| {
            if step.planned.index < plan.step_count {
                see(step);
            }
            turns.step(step);
        });
        let ended_ms = planned.request_ms + planned.step.updates_after_ms();
        (turns.after(player, planned.index, ended_ms), before)
    })
    .map(|_| ())
}

/// What the report says about turns that were not played.
fn not_played(turns: &LaterTurns) -> Option<String> {
    let played = turns.played;
    (!turns.repeats)
        .then(|| format!("the turns after turn {played}, because the panel has not repeated itself by then"))
}

/// Plays a plan and shows every step to `see`.
///
/// # Errors
/// Where screens cannot be used; all of them, up to a number.
pub fn play(
    plan: &Plan,
    screens: &dyn ScreenSource,
    threads: usize,
    see: &mut dyn FnMut(&PlayedStep<'_>),
) -> Result<(), Vec<BrokenScreen>> {
    play_until(plan, screens, threads, &mut |step| {
        see(step);
        ControlFlow::Continue(())
    })
}

/// Plays a plan until `see` has seen enough.
///
/// # Errors
/// Where screens cannot be used; all of them, up to a number.
pub fn play_until(
    plan: &Plan,
    screens: &dyn ScreenSource,
    threads: usize,
    see: &mut dyn FnMut(&PlayedStep<'_>) -> ControlFlow<()>,
) -> Result<(), Vec<BrokenScreen>> {
    play_watched(plan, screens, threads, watched(plan), see)
}

/// The same for callers that need what is driven and the nominal levels, but no ghosts: it does not look for any.
///
/// # Errors
/// Where screens cannot be used; all of them, up to a number.
pub fn play_without_ghosts_until(
    plan: &Plan,
    screens: &dyn ScreenSource,
    threads: usize,
    see: &mut dyn FnMut(&PlayedStep<'_>) -> ControlFlow<()>,
) -> Result<(), Vec<BrokenScreen>> {
    play_watched(plan, screens, threads, Watched { looks_for_ghosts: false, ..watched(plan) }, see)
}

/// Plays a plan without looking for ghosts; `later` says how much later than it asks for a step comes, and with it every
/// step after it, ms.
///
/// # Errors
/// Where screens cannot be used; all of them, up to a number.
pub(crate) fn play_later(
    plan: &Plan,
    screens: &dyn ScreenSource,
    later: &mut dyn FnMut(&PlannedStep<'_>) -> f64,
    see: &mut dyn FnMut(&PlayedStep<'_>),
) -> Result<(), Vec<BrokenScreen>> {
    let watched = Watched { looks_for_ghosts: false, ..watched(plan) };
    let begin = |begins| (Player::new(plan, begins, watched), 0.0);
    walk(plan, screens, 1, begin, |(player, shift_ms), planned, transition| {
        let shifted = |shift_ms: f64| PlannedStep { request_ms: planned.request_ms + shift_ms, ..planned.clone() };
        *shift_ms += later(&shifted(*shift_ms));
        let before = player.play(&shifted(*shift_ms), transition, |step| see(step));
        (ControlFlow::Continue(()), before)
    })
    .map(|_| ())
}

fn play_watched(
    plan: &Plan,
    screens: &dyn ScreenSource,
    threads: usize,
    watched: Watched,
    see: &mut dyn FnMut(&PlayedStep<'_>) -> ControlFlow<()>,
) -> Result<(), Vec<BrokenScreen>> {
    let begin = |begins| Player::new(plan, begins, watched);
    walk(plan, screens, threads, begin, |player, planned, transition| {
        let mut flow = ControlFlow::Continue(());
        let before = player.play(planned, transition, |step| flow = see(step));
        (flow, before)
    })
    .map(|_| ())
}

/// Walks through the steps of a plan with the change of the picture in memory that each brings, until asked to stop;
/// `begin` turns the first picture into the state that is passed on from step to step. A picture that is given back is
/// reused.
///
/// # Errors
/// Where screens cannot be used; all of them, up to a number.
pub(crate) fn walk<S>(
    plan: &Plan,
    screens: &dyn ScreenSource,
    threads: usize,
    begin: impl FnOnce(Arc<Picture>) -> S,
    each: impl FnMut(&mut S, &PlannedStep<'_>, Option<Transition>) -> (ControlFlow<()>, Option<Arc<Picture>>),
) -> Result<S, Vec<BrokenScreen>> {
    walk_turns(plan, 1, screens, threads, begin, each)
}

/// The same over several turns of the plan.
fn walk_turns<S>(
    plan: &Plan,
    turns: u64,
    screens: &dyn ScreenSource,
    threads: usize,
    begin: impl FnOnce(Arc<Picture>) -> S,
    mut each: impl FnMut(&mut S, &PlannedStep<'_>, Option<Transition>) -> (ControlFlow<()>, Option<Arc<Picture>>),
) -> Result<S, Vec<BrokenScreen>> {
    let ink = &plan.display.ink;
    let setting =
        Setting { grid: TileGrid::new(plan.screen_size()), table: ink.level_table(), threads: threads.max(1) };
    let first = match plan.begins {
        Begins::White | Begins::Unknown => First::Shade(ink.shade(ink.white())),
        Begins::Black => First::Shade(ink.shade(ink.black())),
        Begins::Screen(screen) => First::Screen(screen),
    };
    let sequence = || plan.turns(turns).filter_map(|step| step.screen);
    let walked = pipeline::run(screens, &setting, first, sequence, |pipeline, begins| {
        let mut state = begin(begins);
        for planned in plan.turns(turns) {
            let transition = match planned.screen {
                Some(screen) => pipeline.next(screen)?,
                None => None,
            };
            let (flow, before) = each(&mut state, &planned, transition);
            if let Some(before) = before {
                pipeline.give_back(before);
            }
            if flow.is_break() {
                break;
            }
        }
        Ok(state)
    });
    let broken = match walked {
        Ok(Ok(state)) => return Ok(state),
        Ok(Err(broken)) | Err(broken) => broken,
    };
    Err(all_broken(plan, screens, broken))
}

/// A panel on which a plan begins.
pub(crate) fn new_player(plan: &Plan, begins: Arc<Picture>) -> Player<'_> {
    Player::new(plan, begins, watched(plan))
}

/// The difference and area from which a ghost counts in this plan.
pub(crate) fn ghost_limits(plan: &Plan) -> GhostLimits {
    let limits = &plan.limits.visible_ghost;
    GhostLimits { limit_l: limits.limit_l.value, area_mm2: limits.area_mm2.value }
}

/// The limits from which flashes are too many in this plan.
fn flash_limits(plan: &Plan) -> FlashLimits {
    let limits = &plan.limits.flashes_too_fast;
    FlashLimits { sr: limits.sr.value, per_second: limits.per_second.value }
}

fn margin_of(flashes: &FlashPeak<'_>, plan: &Plan) -> PlanMargin {
    let limit = LimitValue { value: flashes.allowed(), ..plan.limits.flashes_too_fast.per_second };
    PlanMargin { reached: flashes.reached(), limit, factor: plan.display.certainty.flashes }
}

/// From where on the panel tells of something in this plan.
fn watched(plan: &Plan) -> Watched {
    let net_impulse = plan.limits.charge_builds_up.net_impulse_vs;
    Watched { ghost: ghost_limits(plan), looks_for_ghosts: true, net_impulse_vs: net_impulse.map(|limit| limit.value) }
}

/// The broken screen that ended the play, and the others that would have ended it later.
fn all_broken(plan: &Plan, screens: &dyn ScreenSource, first: pipeline::BrokenScreen) -> Vec<BrokenScreen> {
    let mut seen = BTreeSet::from([first.screen]);
    let pointer = pointer_of(plan, first.screen);
    let mut broken = vec![BrokenScreen { screen: first.screen, fault: first.fault, pointer }];
    for PlannedStep { step, screen, .. } in plan.steps() {
        let Some(screen) = screen.filter(|screen| seen.insert(*screen)) else { continue };
        if let Err(fault) = screens.picture(screen, Vec::new()) {
            broken.push(BrokenScreen { screen, fault, pointer: StepField::Screen.pointer(step) });
        }
        if broken.len() == MOST_BROKEN {
            break;
        }
    }
    broken
}

fn pointer_of(plan: &Plan, screen: ScreenId) -> String {
    if plan.begins == Begins::Screen(screen) {
        return "/begins/screen".into();
    }
    let step = plan.steps().find(|step| step.screen == Some(screen));
    step.map_or(String::new(), |planned| StepField::Screen.pointer(planned.step))
}
