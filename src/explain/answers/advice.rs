//! What helps where the findings of a place know only a part of it: said before their helps, or instead of them.
//!
//! Reads a story and the plan; looks at no playback.

use std::fmt::Write as _;

use super::about::About;
use crate::{
    display::{Level, LevelSet, Mode, shipped},
    explain::{
        complaint::Complaint,
        happened::{Event, FromGreys, SentHere},
        lasting::{lasting, name_of_step},
        story_parts::{Advice, GhostHere, Gone, Story},
    },
    finding::{Asks, ChangeOf, Finding, Severity},
    geometry::Rotation,
    panel::{Law, Residue},
    plan::{Plan, PlannedStep},
    rules::{
        rule_named,
        wording::{IF_ACCEPTABLE, NO_MODE_CAN, listed},
    },
};

/// What helps beside what the findings say.
pub(in crate::explain) fn advice(complaint: Option<Complaint>, story: &Story, plan: &Plan) -> Advice {
    let about = About { story, plan };
    let is_of_picture = complaint.is_none_or(|complaint| {
        matches!(complaint, Complaint::Ghost | Complaint::Shadow | Complaint::Speckles | Complaint::Missing)
    });
    let is_of_time = complaint.is_none_or(|complaint| complaint == Complaint::Late);
    let greys = about.against_greys().unwrap_or_default();
    // An old picture that stays comes before any ghost.
    let greys = match (is_of_picture, story.older_px) {
        (false, _) => greys.beside(),
        (true, 0) => greys,
        (true, _) => greys.later(),
    };
    let gone = about.already_gone().or_else(|| about.not_once()).filter(|_| is_of_picture);
    let with_old = about.answer_with_old().filter(|_| is_of_time);
    let also = about.also_elsewhere(&greys.left_out);
    [gone, with_old, also, Some(greys)].into_iter().flatten().fold(Advice::default(), Advice::with)
}

impl About<'_> {
    /// What helps where a mode leaves a ghost of every grey that it drives.
    fn against_greys(&self) -> Option<Advice> {
        let ghost = self.story.ghost.as_ref()?;
        let drive = ghost.first.from_greys?;
        let instead: Vec<&Finding> =
            self.story.findings.iter().filter(|finding| self.is_of_the_greys(finding)).collect();
        let mode = &self.plan.display.modes[drive.mode];
        let mut convert = format!(
            "convert the screens once, so that they hold only what `{}` can show: `{}`. Then let the plan use the converted \
             screens",
            mode.name,
            self.prepare(mode)
        );
        let needless = self.sent().rfind(|(event, sent)| event.drawn_px == 0 && self.is_for_greys(sent, mode));
        if let Some((event, _)) = needless {
            let _ = write!(convert, ", and leave out {}, which then has nothing to add", self.name(event));
        }
        if ghost.updates > 3 {
            convert.push_str(
                ", and ask again: what adds up over many updates is left, and the story then says how often to clean",
            );
        }
        let mut first = vec![convert];
        first.extend(self.other_mode(drive, ghost));
        if !instead.is_empty() {
            let rules: Vec<String> = instead.iter().map(|finding| format!("`{}`", finding.rule)).collect();
            first.push(format!(
                "this stands here instead of what {} advise{}: a cleaning, or greys that are drawn again, help only until `{}` \
                 drives the next grey",
                listed(&rules, rules.len()),
                if rules.len() == 1 { "s" } else { "" },
                mode.name
            ));
        }
        let left_out = instead.into_iter().map(|finding| finding.fingerprint.clone()).collect();
        Some(Advice { first, left_out, ..Advice::default() })
    }

    /// Whether an update shows what a mode cannot, and nothing else.
    fn is_for_greys(&self, sent: &SentHere, mode: &Mode) -> bool {
        let own = self.mode(sent);
        !own.cleans && mode.to.is_within(own.to) && own.to != mode.to
    }

    /// Whether a finding advises what helps only until the next grey: to clean once, to draw soft edges again, or to flash.
    fn is_of_the_greys(&self, finding: &Finding) -> bool {
        let modes = &self.plan.display.modes;
        let is_once = match &finding.asks {
            Some(Asks::Cleaning(cleaning)) => {
                finding.figures.contains_key("worst_l")
                    && cleaning.prevention.is_none_or(|prevention| prevention.updates <= 1)
            }
            _ => false,
        };
        let is_edges = finding.severity == Severity::Note && finding.figures.contains_key("edge_px");
        let flashes = |what: &ChangeOf| matches!(what, ChangeOf::Mode { mode, .. } if modes[*mode].flashes > 0);
        let of_modes = rule_named(finding.rule).is_some_and(|rule| rule.group == CAN_IT_SHOW);
        let mut corrections = finding.corrections.iter().flat_map(|correction| &correction.changes);
        let is_flash = of_modes && corrections.any(|change| flashes(&change.what));
        is_once || is_edges || is_flash
    }

    /// The command that converts the screens for a mode.
    fn prepare(&self, mode: &Mode) -> String {
        let display = &self.plan.display;
        let is_shipped = shipped::names().any(|name| name == display.name);
        let name = if is_shipped { display.name.as_str() } else { "DESCRIPTION.display.json" };
        let turned = match self.plan.rotation {
            Rotation::None => String::new(),
            turned => format!(" --rotation {}", turned.degrees()),
        };
        format!("stillpage prepare SCREENS --display {name}{turned} --mode {} --out FOLDER", mode.name)
    }

    /// A mode without a flash that leaves no ghost of these greys, with what it costs.
    fn other_mode(&self, drive: FromGreys, ghost: &GhostHere) -> Option<String> {
        let mut changes = self.sent().filter(|(event, sent)| event.step == drive.step && sent.mode == drive.mode);
        let (event, sent) = changes.next_back().filter(|_| ghost.since.0 == drive.step)?;
        let temperature_c = event.temperature_c;
        let leaves_none = |mode: &&Mode| {
            mode.flashes == 0
                && drive.levels[0].is_within(mode.from)
                && drive.levels[1].is_within(mode.to)
                && most_left(mode, drive.levels, temperature_c, self.plan) < self.story.limit_l
        };
        let shows_ms = |mode: &Mode| mode.first_visible_at(temperature_c);
        let others = self.plan.display.modes.iter().filter(leaves_none);
        let other = others.min_by(|one, other| shows_ms(one).total_cmp(&shows_ms(other)))?;
        let answers_ms = event.person_before_ms + sent.shows_after_ms - shows_ms(self.mode(sent)) + shows_ms(other);
        let first_ms = self.plan.limits.slow_answer.first_ms.value;
        let price = match event.cause.is_person() {
            true if answers_ms > first_ms => format!(
                ": it shows something after {}, later than the {first_ms} ms within which an answer feels immediate",
                lasting(answers_ms)
            ),
            true => format!(": it shows something after {}", lasting(answers_ms)),
            false => String::new(),
        };
        Some(format!(
            "or make the change of {} with `{}`, which leaves no ghost of these greys{price}",
            self.name(event),
            other.name
        ))
    }

    /// That the plan cleans the ghost already.
    fn already_gone(&self) -> Option<Advice> {
        let ghost = self.story.ghost.as_ref().filter(|ghost| ghost.first.from_greys.is_none())?;
        let Gone { step, ms, .. } = ghost.gone.filter(|gone| gone.by_cleaning)?;
        self.asks_to_clean_once().map(|_| Advice {
            first: vec![format!(
                "{} of this {} cleans the place already, {} after this step. What follows is for the case that this is too late",
                name_of_step(step, self.plan),
                self.kind(),
                lasting(ms)
            )],
            ..Advice::default()
        })
    }

    /// That the worst finding of the place is not the only one of its kind, and what it costs to correct all of them.
    fn also_elsewhere(&self, left_out: &[String]) -> Option<Advice> {
        let about = &self.story.findings[..self.story.about_complaint];
        let is_worst =
            |finding: &&Finding| finding.severity == Severity::Error && !left_out.contains(&finding.fingerprint);
        let finding = about.first().filter(is_worst)?;
        let (_, steps) = self.story.also.iter().find(|(rule, _)| *rule == finding.rule)?;
        let names: Vec<String> = steps.iter().map(u64::to_string).collect();
        let (step, it) = if names.len() == 1 { ("step", "it needs") } else { ("steps", "each of them needs") };
        let mut words = format!(
            "`{}` also reports {step} {}: `stillpage review` says what {it}",
            finding.rule,
            listed(&names, MOST_STEPS)
        );
        if self.story.older_px > 0 {
            words.extend(self.too_fast(finding, steps));
        }
        Some(Advice { also: vec![words], ..Advice::default() })
    }

    /// That updates of these steps would overlap in time if their windows overlapped on the panel.
    fn too_fast(&self, finding: &Finding, others: &[u64]) -> Option<String> {
        let is_of_it = |planned: &PlannedStep<'_>| planned.index == finding.step || others.contains(&planned.index);
        let of_it: Vec<PlannedStep<'_>> = self.plan.steps().filter(is_of_it).collect();
        let gap_ms = of_it.windows(2).map(|pair| pair[1].request_ms - pair[0].request_ms).reduce(f64::min)?;
        let updates = of_it.iter().flat_map(|planned| {
            let of_step = planned.step.listed_updates().iter();
            of_step.map(|update| (&self.plan.display.modes[update.mode], planned.temperature_c))
        });
        let lasts_ms = |(mode, temperature_c): &(&Mode, f64)| mode.duration_at(*temperature_c);
        let longest = updates.max_by(|one, other| lasts_ms(one).total_cmp(&lasts_ms(other)))?;
        (gap_ms < lasts_ms(&longest)).then(|| {
            format!(
                ". These steps come as little as {} apart, and driving in `{}` takes {}: windows that also cover the old picture \
                 overlap those of the step before, and wait for it. Show fewer steps of such a movement, each only when the \
                 update before has ended",
                lasting(gap_ms),
                longest.0.name,
                lasting(lasts_ms(&longest))
            )
        })
    }

    /// A finding about a ghost here that asks for one cleaning, and says nothing of further ones.
    fn asks_to_clean_once(&self) -> Option<&Finding> {
        self.story.findings.iter().find(|finding| {
            matches!(&finding.asks, Some(Asks::Cleaning(cleaning)) if cleaning.prevention.is_none())
                && finding.figures.contains_key("worst_l")
        })
    }

    /// That one cleaning after an earlier step does not keep away the ghost of this one.
    fn not_once(&self) -> Option<Advice> {
        let first = self.story.ghost.as_ref()?.first;
        let once = self.asks_to_clean_once().filter(|finding| finding.step < self.story.step)?;
        if first.from_greys.is_some() || first.step == self.story.step {
            return None;
        }
        let (name, kind) = (self.step_named(once.step), self.kind());
        let words = match first.updates {
            0 | 1 => format!(
                "a single update of the place leaves a ghost here. One cleaning, as it is advised for {name}, does not keep away \
                 that of this step: this {kind} needs one after every such update, in the next pause"
            ),
            updates => format!(
                "a ghost is first seen here after {updates} updates of the place. One cleaning, as it is advised for {name}, does \
                 not keep away that of this step: this {kind} needs one again before so many further updates, in a pause"
            ),
        };
        Some(Advice { first: vec![words], ..Advice::default() })
    }

    /// The mode that answers sooner with the old picture, instead of a help that knows of none.
    fn answer_with_old(&self) -> Option<Advice> {
        let woken = |event: &&Event| event.cause.is_person() && event.sent.iter().any(SentHere::shows_something);
        let event = self.story.events.iter().rfind(woken)?;
        let (_, mode) = event.sent.iter().find_map(|sent| self.sooner_with_old(event, sent))?;
        let of_it = self.story.findings.iter().filter(|finding| finding.step == event.step);
        let hopeless: Vec<&Finding> = of_it.filter(|finding| finding.help.starts_with(NO_MODE_CAN)).collect();
        let accept: Vec<&str> =
            hopeless.iter().filter_map(|finding| Some(finding.help.split_once(IF_ACCEPTABLE)?.1)).collect();
        if hopeless.is_empty() || accept.len() < hopeless.len() {
            return None;
        }
        Some(Advice {
            first: vec![
                format!(
                    "answer with `{}`, and send the old picture along{}",
                    self.plan.display.modes[mode].name,
                    self.with_old()
                ),
                format!(
                    "if the host no longer has the old picture, and the delay is acceptable, {}",
                    accept.join("; and ")
                ),
            ],
            left_out: hopeless.into_iter().map(|finding| finding.fingerprint.clone()).collect(),
            ..Advice::default()
        })
    }
}

/// The most steps that are listed by their numbers.
const MOST_STEPS: usize = 8;

/// The group of the rules about modes.
const CAN_IT_SHOW: &str = "Can this mode show that?";

/// What a mode leaves at most of changes between such levels on clean pixels, L*.
fn most_left(mode: &Mode, [from, to]: [LevelSet; 2], temperature_c: f64, plan: &Plan) -> f64 {
    let law = Law::new(mode, &plan.display.ink, temperature_c, 1.0);
    let left = |from: Level, to: Level| law.swing(from, to, false).after(Residue::NONE).lightness().abs();
    from.iter().flat_map(|from| to.iter().map(move |to| left(from, to))).fold(0.0, f64::max)
}
