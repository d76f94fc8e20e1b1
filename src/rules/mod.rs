//! The rules: one file a rule, and the list of them.
//!
//! A rule sees the plan, what changes, and the playback, step by step; it gives findings with symbolic places. Its text,
//! level, limits and sources stand in `rules/ID.md`. `docs/architecture.md` (Where to begin) lists what a new rule needs.

mod agreed;
mod answering;
mod causes;
mod consequences;
mod departures;
mod due;
mod flash_weight;
mod followed;
mod ghost_groups;
mod in_time;
mod letters;
pub(crate) mod meant_window;
pub(crate) mod over_walks;
mod page;
mod pauses;
mod pen;
mod reach;
mod remedy;
mod rhythm;
mod sending;
mod shapes;
mod texts;
mod texts_left;
mod touching;
mod transition_cache;
mod turns;
mod unreached;
pub(crate) mod wording;

mod box_swells;
mod broken_line;
mod cannot_keep_up;
mod charge_builds_up;
mod cleaning_interrupts;
mod cleaning_overdue;
mod commit_under_hand;
mod dither_shimmers;
mod done_otherwise;
mod dull_page;
mod ends_ghosted;
mod faint_text;
mod flashes_too_fast;
mod font_substituted;
mod grey_in_two_level_mode;
mod greys_too_close;
mod ink_under_grey;
mod left_behind;
mod line_width_jumps;
mod link_bound;
mod loop_breaks;
mod missed_rest;
mod needless_flash;
mod never_idle;
mod never_reached;
mod never_shown;
mod never_taken;
mod no_way_out;
mod no_windows_here;
mod not_decided;
mod not_done;
mod not_in_plan;
mod not_proved;
mod nothing_changes;
mod out_of_order;
mod outline_left;
mod outside_temperature;
mod over_budget;
mod part_segment;
mod pen_lags;
mod redriven_segment;
mod restless;
mod shade_not_on_panel;
mod slow_answer;
mod slower_than_described;
mod small_target;
mod stray_ink;
mod text_lost;
mod thin_line;
mod tiny_text;
mod too_many_since_cleaning;
mod too_many_windows;
mod too_soon;
mod under_driven;
mod unknown_start;
mod unused_accept;
mod update_lost;
mod updates_collide;
mod visible_ghost;
mod window_off_grid;
mod window_off_panel;
mod window_too_small;
mod wrong_start;

use std::{fmt, sync::OnceLock};

use dyn_clone::DynClone;

use crate::{
    finding::{
        Finding, LaterTurns, OWN_FAULT, Observation, OfFlow, Severity, Sink, StepField, Summary, Where, guarded,
    },
    panel::PlayedStep,
    plan::{KnownLimit, KnownRule, Plan, RuleLevel, RuleLimits},
};
pub(crate) use agreed::agree;
pub(crate) use causes::link_causes;
pub(crate) use departures::rule_of_departure;
pub(crate) use never_shown::REPLACED_AFTER_MS;
pub use page::{Example, Limit, Page, read_page};
pub use texts_left::{TextLeft, texts_left};
pub(crate) use turns::Turns;

/// A rule at work on one plan.
pub trait Rule: DynClone {
    /// Sees a step.
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let _ = (step, sink);
    }

    /// Sees the end of the plan.
    fn end(&mut self, sink: &mut Sink) {
        let _ = sink;
    }

    /// Sees what the others found.
    fn conclude(&mut self, outcome: &Outcome<'_>, sink: &mut Sink) {
        let _ = (outcome, sink);
    }
}

/// What the other rules found.
#[derive(Debug)]
pub struct Outcome<'o> {
    /// The plan's figures.
    pub summary: &'o Summary,
    /// What the others found.
    pub findings: &'o [Finding],
    /// How many findings each `accept` matched.
    pub accept_matches: &'o [u64],
    /// What later turns bring, where the plan loops.
    pub later_turns: Option<&'o LaterTurns>,
    /// What is known of all walks, where a flow is reviewed.
    pub of_flow: Option<&'o OfFlow>,
    /// The rules that ran.
    pub ran: &'o [&'static str],
}

impl Outcome<'_> {
    /// Whether a rule ran.
    pub fn ran(&self, rule: &str) -> bool {
        self.ran.contains(&rule)
    }
}

/// What a rule works with.
#[derive(Clone, Debug)]
pub struct Setup<'p> {
    /// The plan.
    pub plan: &'p Plan,
    /// The limits of all rules, as they hold in this plan.
    pub limits: &'p RuleLimits,
    /// Whether somebody wants to know what would correct a finding, where that takes long to work out.
    pub says_what_helps: bool,
}

/// What a rule looks at. Whoever needs only some of the rules asks for this, and names none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Looks {
    /// The screens and strokes that the plan names: the rule finds the same whatever updates are chosen.
    Screens,
    /// What is asked of the panel, and what of that reaches the glass, when.
    Updates,
    /// Whether what a step draws is ever seen. Each step of which nothing is seen is a loss of its own: a plan that asks for
    /// less hides more.
    Showing,
    /// What people at the device wait for, and what comes between.
    Answers,
    /// What the controller draws under the pen, and what happens to it on the glass.
    Strokes,
    /// How clean the glass looks while the plan is played.
    Ghosts,
    /// How clean the picture looks that stays when the plan is over.
    LastPicture,
    /// How often, and with what need, the panel is cleaned, flashes and rests.
    Pace,
    /// What the panel is put to, beside a limit that it must not pass or that people must not be exposed to.
    Strain,
    /// What is said of the plan: its own figures, and what the other rules found.
    Verdict,
}

impl Looks {
    /// Whether what such a rule finds may change with the updates that are chosen.
    pub fn depends_on_updates(self) -> bool {
        self != Self::Screens
    }

    /// Whether such a rule speaks for those who read the panel: somebody who measures it leaves ghosts, and flashes, on
    /// purpose.
    pub fn is_for_readers(self) -> bool {
        matches!(self, Self::Ghosts | Self::LastPicture | Self::Pace)
    }
}

/// A rule of the list.
#[derive(Clone, Copy)]
pub struct Entry {
    /// Its id.
    pub id: &'static str,
    /// The text of its page.
    pub page: &'static str,
    /// What it looks at.
    pub looks: Looks,
    start: for<'p> fn(Setup<'p>) -> Box<dyn Rule + 'p>,
}

impl fmt::Debug for Entry {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.debug_struct("Entry").field("id", &self.id).field("looks", &self.looks).finish_non_exhaustive()
    }
}

impl Entry {
    /// How bad a finding is by default.
    fn severity(&self) -> Severity {
        rule_named(self.id).map_or_else(|| read_page(self.id, self.page).severity, |page| page.severity)
    }
}

macro_rules! rules {
    ($($id:literal $module:ident $rule:ident $looks:ident,)*) => {
        &[$(Entry {
            id: $id,
            page: include_str!(concat!("../../rules/", $id, ".md")),
            looks: Looks::$looks,
            start: |setup| Box::new($module::$rule::new(&setup)),
        },)*]
    };
}

/// Every rule, in the order of the list that users see.
pub const RULES: &[Entry] = rules![
    "left-behind" left_behind LeftBehind Updates,
    "never-shown" never_shown NeverShown Showing,
    "nothing-changes" nothing_changes NothingChanges Updates,
    "window-off-panel" window_off_panel WindowOffPanel Updates,
    "window-off-grid" window_off_grid WindowOffGrid Updates,
    "window-too-small" window_too_small WindowTooSmall Updates,
    "no-windows-here" no_windows_here NoWindowsHere Updates,
    "too-many-windows" too_many_windows TooManyWindows Updates,
    "box-swells" box_swells BoxSwells Updates,
    "update-lost" update_lost UpdateLost Updates,
    "not-decided" not_decided NotDecided Updates,
    "grey-in-two-level-mode" grey_in_two_level_mode GreyInTwoLevelMode Updates,
    "wrong-start" wrong_start WrongStart Updates,
    "shade-not-on-panel" shade_not_on_panel ShadeNotOnPanel Screens,
    "dither-shimmers" dither_shimmers DitherShimmers Screens,
    "thin-line" thin_line ThinLine Screens,
    "greys-too-close" greys_too_close GreysTooClose Screens,
    "unknown-start" unknown_start UnknownStart Updates,
    "outside-temperature" outside_temperature OutsideTemperature Strain,
    "under-driven" under_driven UnderDriven Updates,
    "part-segment" part_segment PartSegment Screens,
    "too-many-since-cleaning" too_many_since_cleaning TooManySinceCleaning Strain,
    "visible-ghost" visible_ghost VisibleGhost Ghosts,
    "outline-left" outline_left OutlineLeft Ghosts,
    "missed-rest" missed_rest MissedRest Ghosts,
    "dull-page" dull_page DullPage Ghosts,
    "ends-ghosted" ends_ghosted EndsGhosted LastPicture,
    "cleaning-overdue" cleaning_overdue CleaningOverdue Pace,
    "charge-builds-up" charge_builds_up ChargeBuildsUp Strain,
    "redriven-segment" redriven_segment RedrivenSegment Strain,
    "flashes-too-fast" flashes_too_fast FlashesTooFast Strain,
    "needless-flash" needless_flash NeedlessFlash Pace,
    "cleaning-interrupts" cleaning_interrupts CleaningInterrupts Answers,
    "never-idle" never_idle NeverIdle Pace,
    "restless" restless Restless Pace,
    "slow-answer" slow_answer SlowAnswer Answers,
    "updates-collide" updates_collide UpdatesCollide Answers,
    "cannot-keep-up" cannot_keep_up CannotKeepUp Answers,
    "too-soon" too_soon TooSoon Strain,
    "link-bound" link_bound LinkBound Answers,
    "ink-under-grey" ink_under_grey InkUnderGrey Strokes,
    "stray-ink" stray_ink StrayInk Strokes,
    "line-width-jumps" line_width_jumps LineWidthJumps Screens,
    "pen-lags" pen_lags PenLags Strokes,
    "commit-under-hand" commit_under_hand CommitUnderHand Strokes,
    "text-lost" text_lost TextLost Updates,
    "faint-text" faint_text FaintText Screens,
    "tiny-text" tiny_text TinyText Screens,
    "small-target" small_target SmallTarget Screens,
    "font-substituted" font_substituted FontSubstituted Screens,
    "broken-line" broken_line BrokenLine Verdict,
    "out-of-order" out_of_order OutOfOrder Verdict,
    "slower-than-described" slower_than_described SlowerThanDescribed Verdict,
    "not-in-plan" not_in_plan NotInPlan Verdict,
    "not-done" not_done NotDone Verdict,
    "done-otherwise" done_otherwise DoneOtherwise Verdict,
    "never-reached" never_reached NeverReached Verdict,
    "no-way-out" no_way_out NoWayOut Verdict,
    "never-taken" never_taken NeverTaken Verdict,
    "not-proved" not_proved NotProved Verdict,
    "unused-accept" unused_accept UnusedAccept Verdict,
    "over-budget" over_budget OverBudget Verdict,
    "loop-breaks" loop_breaks LoopBreaks Verdict,
];

/// Whether a rule looks at the screens alone: it finds the same whatever becomes of them on a panel.
pub fn is_of_screens(id: &str) -> bool {
    RULES.iter().any(|entry| entry.id == id && entry.looks == Looks::Screens)
}

/// The pages of all rules, read once, in the order of [`RULES`].
pub fn pages() -> &'static [Page] {
    static PAGES: OnceLock<Vec<Page>> = OnceLock::new();
    PAGES.get_or_init(|| RULES.iter().map(|entry| read_page(entry.id, entry.page)).collect())
}

/// The page of a rule.
pub fn rule_named(id: &str) -> Option<&'static Page> {
    RULES.iter().position(|entry| entry.id == id).map(|at| &pages()[at])
}

/// The caution that stands wherever a rule of the group `Flashes` found something, and where a report speaks of flashes at
/// all: it says of no rule that it follows a threshold.
pub const FLASH_CAUTION: &str = "flashing can trigger seizures in people with photosensitive epilepsy: nothing that \
                                 this program says about flashes is a medical assessment";

/// The caution that stands with every plan of a display with a single indicator.
pub const INDICATOR_CAUTION: &str =
    "do not base a safety indicator on this model alone: local safety regulations and a licensed engineer decide";

/// The caution of the one rule that holds flashes against a published threshold: it speaks of that.
const THRESHOLD_CAUTION: &str = "flashing can trigger seizures in people with photosensitive epilepsy; the check of flashes \
                                 within a second applies a published threshold to a model of the panel and is not a medical assessment";

/// The rule that follows the threshold.
const FOLLOWS_THE_THRESHOLD: &str = "flashes-too-fast";

/// The caution that every report gives with the findings of a rule.
pub fn caution_of(id: &str) -> Option<&'static str> {
    let of_rule = if id == FOLLOWS_THE_THRESHOLD { THRESHOLD_CAUTION } else { FLASH_CAUTION };
    rule_named(id).filter(|page| page.group == "Flashes").map(|_| of_rule)
}

/// The cautions that some findings ask for, each once: where the one of the threshold stands, it says what the general one says.
pub fn cautions_of<'f>(rules: impl Iterator<Item = &'f str>) -> Vec<&'static str> {
    let mut cautions: Vec<&'static str> = rules.filter_map(caution_of).collect();
    cautions.sort_unstable();
    cautions.dedup();
    if cautions.contains(&THRESHOLD_CAUTION) {
        cautions.retain(|caution| *caution != FLASH_CAUTION);
    }
    cautions
}

/// The rules and limits that a plan may set.
pub fn known_rules() -> Vec<KnownRule> {
    pages()
        .iter()
        .map(|page| KnownRule { id: page.id.to_owned(), limits: page.limits.iter().map(known_limit).collect() })
        .collect()
}

fn known_limit(limit: &Limit) -> KnownLimit {
    KnownLimit { name: limit.name.clone(), default: limit.default }
}

/// The rule that reports what the turns of a plan that loops bring after the first.
const OF_LATER_TURNS: &str = "loop-breaks";

/// Which rules are to run.
#[derive(Clone, Debug)]
pub struct Selection {
    /// The rules that there are.
    pub list: &'static [Entry],
    /// Only these, where there are any.
    pub only: Vec<String>,
    /// Not these.
    pub without: Vec<String>,
    /// Whether they say what would correct a finding where that takes long to work out.
    pub says_what_helps: bool,
}

impl Default for Selection {
    /// All of [`RULES`].
    fn default() -> Self {
        Self { list: RULES, only: Vec::new(), without: Vec::new(), says_what_helps: true }
    }
}

impl Selection {
    /// All rules that look at something of that kind, for a search: it asks how many findings there are and how bad they are, and
    /// not what would correct them.
    pub fn of_those_that(look_at: impl Fn(Looks) -> bool) -> Self {
        let without = RULES.iter().filter(|entry| !look_at(entry.looks)).map(|entry| entry.id.to_owned());
        Self { without: without.collect(), says_what_helps: false, ..Self::default() }
    }

    /// The rule that plays later turns of a plan that loops, and in them the rules that depend on updates.
    pub fn of_later_turns() -> Self {
        Self { only: vec![OF_LATER_TURNS.to_owned()], ..Self::of_those_that(Looks::depends_on_updates) }
    }

    /// The same rules without those that look at something of that kind.
    #[must_use]
    pub fn without_those_that(&self, look_at: impl Fn(Looks) -> bool) -> Self {
        let others = self.list.iter().filter(|entry| look_at(entry.looks)).map(|entry| entry.id.to_owned());
        Self { without: self.without.iter().cloned().chain(others).collect(), ..self.clone() }
    }

    /// What it leaves out, in words.
    pub fn words(&self) -> Option<String> {
        let quoted = |ids: &[String]| ids.iter().map(|id| format!("`{id}`")).collect::<Vec<_>>();
        match (self.only.as_slice(), self.without.as_slice()) {
            ([], []) => None,
            ([], without) => Some(format!("{}: left out on the command line", wording::listed(&quoted(without), 8))),
            (only, _) => {
                Some(format!("every rule except {}: left out on the command line", wording::listed(&quoted(only), 8)))
            }
        }
    }

    /// Whether a rule of that id is to run.
    pub fn takes(&self, id: &str) -> bool {
        (self.only.is_empty() || self.only.iter().any(|only| only == id))
            && !self.without.iter().any(|without| without == id)
    }
}

/// The rules at work on a plan. A clone goes on from what its original has seen.
///
/// A rule that stops with a panic is reported as a bug in the program and sees nothing more; the others go on.
pub struct RuleRunner<'p> {
    running: Vec<Running<'p>>,
    ran: Vec<&'static str>,
    own_faults: Sink,
    /// The rules that failed.
    failed: Vec<&'static str>,
}

/// A rule at work, and what it reported.
struct Running<'p> {
    /// Nothing once it has failed: what it reported before stays.
    rule: Option<Box<dyn Rule + 'p>>,
    id: &'static str,
    looks: Looks,
    sink: Sink,
}

impl Clone for RuleRunner<'_> {
    fn clone(&self) -> Self {
        let running = self.running.iter().map(|Running { rule, id, looks, sink }| Running {
            rule: rule.as_ref().map(|rule| dyn_clone::clone_box(&**rule)),
            id,
            looks: *looks,
            sink: sink.clone(),
        });
        Self {
            running: running.collect(),
            ran: self.ran.clone(),
            own_faults: self.own_faults.clone(),
            failed: self.failed.clone(),
        }
    }
}

impl<'p> RuleRunner<'p> {
    /// The rules that the plan and the selection leave on, with the plan's limits.
    pub fn new(plan: &'p Plan, selection: &Selection) -> Self {
        let mut runner = Self {
            running: Vec::new(),
            ran: Vec::new(),
            own_faults: Sink::new(OWN_FAULT, Severity::Error),
            failed: Vec::new(),
        };
        for entry in selection.list.iter().filter(|entry| selection.takes(entry.id)) {
            let level = plan.rules.get(entry.id).and_then(|setting| setting.level.as_ref());
            let severity = match level.map(|level| level.value) {
                Some(RuleLevel::Off) => continue,
                Some(RuleLevel::Error) => Severity::Error,
                Some(RuleLevel::Warning) => Severity::Warning,
                Some(RuleLevel::Note) => Severity::Note,
                None => entry.severity(),
            };
            let setup = Setup { plan, limits: &plan.limits, says_what_helps: selection.says_what_helps };
            match guarded(|| (entry.start)(setup)) {
                Ok(rule) => runner.put(entry, severity, rule),
                Err(words) => runner.tell(entry.id, Where::of_plan(""), "before the first step", &words),
            }
            runner.ran.push(entry.id);
        }
        runner
    }

    fn put(&mut self, entry: &Entry, severity: Severity, rule: Box<dyn Rule + 'p>) {
        let Entry { id, looks, .. } = *entry;
        self.running.push(Running { rule: Some(rule), id, looks, sink: Sink::new(id, severity) });
    }

    /// Shows a step to every rule.
    pub fn step(&mut self, step: &PlayedStep<'_>) {
        let place = || {
            let planned = step.planned;
            let at = wording::step_name(planned.index, planned.step.label.as_deref());
            (Where::of(step, StepField::Screen), format!("at {at}"))
        };
        self.each(&mut |rule, sink| rule.step(step, sink), &place);
    }

    /// Tells every rule that the plan is over.
    pub fn end(&mut self) {
        self.each(&mut |rule, sink| rule.end(sink), &|| (Where::of_plan(""), "at the end of the plan".to_owned()));
    }

    /// Does something with every rule in turn; `place` says where in the plan that is, and in words.
    fn each(&mut self, work: &mut dyn FnMut(&mut dyn Rule, &mut Sink), place: &dyn Fn() -> (Where, String)) {
        let mut at = 0;
        while at < self.running.len() {
            // One guard for as many as go well: this runs at every step of every course of a search.
            let done = guarded(|| {
                for Running { rule, sink, .. } in &mut self.running[at..] {
                    if let Some(rule) = rule {
                        work(&mut **rule, sink);
                    }
                    at += 1;
                }
            });
            let Err(words) = done else { return };
            self.running[at].rule = None;
            let (place, at_what) = place();
            self.tell(self.running[at].id, place, &at_what, &words);
            at += 1;
        }
    }

    /// Reports a rule that failed.
    fn tell(&mut self, id: &'static str, place: Where, at_what: &str, words: &str) {
        self.failed.push(id);
        let message = format!("a bug in stillpage itself: the rule `{id}` failed {at_what}: {words}");
        let help = "the other rules are not affected, but findings of this rule may be missing; please report the bug \
                    with the plan and its screens";
        self.own_faults
            .report(place, Observation { message, help: help.into(), key: id.into(), ..Observation::default() });
    }

    /// The rules that failed.
    pub fn failed(&self) -> &[&'static str] {
        &self.failed
    }

    /// The ids of the rules that are at work, in the order of [`RULES`].
    pub fn ran(&self) -> &[&'static str] {
        &self.ran
    }

    /// What was found so far.
    pub fn findings(&self) -> impl Iterator<Item = &Finding> {
        self.sinks().flat_map(Sink::findings)
    }

    /// What was found so far by rules that look at something of that kind; a rule that failed is reported with any.
    pub fn findings_of_those_that(&self, look_at: impl Fn(Looks) -> bool) -> impl Iterator<Item = &Finding> {
        let running = self.running.iter().filter(move |running| look_at(running.looks));
        running.map(|running| &running.sink).chain([&self.own_faults]).flat_map(Sink::findings)
    }

    /// Takes what was found so far.
    pub fn take_findings(&mut self) -> Vec<Finding> {
        let sinks = self.running.iter_mut().map(|running| &mut running.sink).chain([&mut self.own_faults]);
        sinks.flat_map(Sink::take_findings).collect()
    }

    /// Shows what was found to the rules that judge that.
    pub fn conclude(
        &mut self,
        summary: &Summary,
        findings: &[Finding],
        accept_matches: &[u64],
        later_turns: Option<&LaterTurns>,
        of_flow: Option<&OfFlow>,
    ) {
        // What a rule that failed did not find is no reason to call an exception stale.
        let ran: Vec<&'static str> = self.ran.iter().copied().filter(|id| !self.failed.contains(id)).collect();
        let outcome = &Outcome { summary, findings, accept_matches, later_turns, of_flow, ran: &ran };
        let place = || (Where::of_plan(""), "at the end of the plan".to_owned());
        self.each(&mut |rule, sink| rule.conclude(outcome, sink), &place);
    }

    fn sinks(&self) -> impl Iterator<Item = &Sink> {
        self.running.iter().map(|running| &running.sink).chain([&self.own_faults])
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// Reports every step, and fails at step 1.
    #[derive(Clone)]
    struct Fails;

    impl Rule for Fails {
        fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
            assert!(step.planned.index != 1, "an invented fault");
            sink.report(
                Where::of(step, StepField::Screen),
                Observation { message: "seen".into(), ..Observation::default() },
            );
        }
    }

    /// Fails when it is let go of, where nobody watches the rules any more.
    #[derive(Clone)]
    struct FailsInTheEnd {
        of_this_plan: bool,
    }

    impl Rule for FailsInTheEnd {}

    impl Drop for FailsInTheEnd {
        fn drop(&mut self) {
            assert!(!self.of_this_plan, "an invented fault");
        }
    }

    /// All rules, and in front of them one that fails: it stands in for a fault that nobody knows yet.
    pub(crate) fn with_one_that_fails() -> &'static [Entry] {
        with(|_| Box::new(Fails))
    }

    /// All rules, and one that takes the whole review of a plan of that title with it.
    pub(crate) fn with_one_that_fails_on_plans_called_so() -> &'static [Entry] {
        with(|setup| Box::new(FailsInTheEnd { of_this_plan: setup.plan.title == "called so" }))
    }

    fn with(start: for<'p> fn(Setup<'p>) -> Box<dyn Rule + 'p>) -> &'static [Entry] {
        let head = r#"{ "level": "warning", "group": "", "limits": {}, "since": "", "source": "" }"#;
        let page = format!("# an-invented-rule: an invented trouble\n```json\n{head}\n```").leak();
        let invented = Entry { id: "an-invented-rule", page, looks: Looks::Updates, start };
        [&[invented], RULES].concat().leak()
    }

    #[test]
    fn what_depends_on_no_update_is_what_looks_at_screens() {
        let selection = Selection::of_those_that(Looks::depends_on_updates);
        for entry in RULES {
            assert_eq!(selection.takes(entry.id), entry.looks != Looks::Screens, "{}", entry.id);
        }
        assert!(!selection.takes("thin-line") && selection.takes("left-behind"));
    }
}
