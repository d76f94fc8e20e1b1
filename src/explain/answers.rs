//! What there is to say about a complaint: what the model shows, what is normal for such a panel, what to do, and what no
//! model here can know.
//!
//! Reads a story and the plan; looks at no playback.

use super::{
    complaint::Complaint,
    happened::{Event, SentHere, Stay},
    lasting::{lasting, name_of_step, pixels_show, these, times_words, windows_words},
    story_parts::{GhostHere, Mistake, Story, covers},
    where_to_look::LEAST_WAIT_MS,
};
use crate::{
    display::{Mode, WhenBusy},
    finding::{Asks, Cleaning, Finding},
    geometry::{Rotation, Window},
    plan::{Plan, PlanKind, Power, Update, WindowAsk},
    rules::wording::{cleaning_is_due, cleaning_modes, counted, one_of, window},
};

/// What there is to say about a complaint, a sentence or two each.
pub(super) fn answers(complaint: Complaint, story: &Story, plan: &Plan) -> Vec<String> {
    let about = About { story, plan };
    match complaint {
        Complaint::Flicker => about.flicker(),
        Complaint::Ghost => about.ghost(),
        Complaint::Speckles => about.speckles(),
        Complaint::Shadow => about.shadow(),
        Complaint::Late => about.late(),
        Complaint::Missing => about.missing(),
        Complaint::Shifted => about.shifted(),
        Complaint::ColourFlicker => about.colour_flicker(),
        Complaint::Border => about.border(),
    }
}

const BORDER: &str = "the border around the picture is driven by an electrode of its own, which this model does not contain: \
                      it cannot say when the border blinks. Many controllers drive the border with every full update, and \
                      have a setting that keeps it at one shade: look for that in the panel maker's documents";

/// Less than this is nothing to speak of, L*.
pub const LEAST_OFF_L: f64 = 0.05;

/// A colour ink that takes so long to change is usual. Common practice, no source.
const LONG_MS: f64 = 3000.0;

/// A change of less than this share of the panel is small enough for a window of its own.
const SMALL_SHARE: u64 = 10;

/// What a complaint is about.
struct About<'s> {
    story: &'s Story,
    plan: &'s Plan,
}

impl About<'_> {
    fn mode(&self, sent: &SentHere) -> &Mode {
        &self.plan.display.modes[sent.mode]
    }

    fn sent(&self) -> impl Iterator<Item = (&Event, &SentHere)> {
        self.story.events.iter().flat_map(|event| event.sent.iter().map(move |sent| (event, sent)))
    }

    fn flashing(&self) -> Vec<(&Event, &SentHere)> {
        self.sent().filter(|(_, sent)| self.mode(sent).flashes > 0 && !sent.is_lost).collect()
    }

    /// The modes without a flash, to choose one from.
    fn quiet_modes(&self) -> Option<String> {
        let quiet = self.plan.display.modes.iter().filter(|mode| mode.flashes == 0);
        let names: Vec<String> = quiet.map(|mode| format!("`{}`", mode.name)).collect();
        (!names.is_empty()).then(|| one_of(&names))
    }

    /// What was played: a plan or a trace.
    fn kind(&self) -> &'static str {
        self.plan.kind().word()
    }

    fn is_trace(&self) -> bool {
        self.plan.kind() == PlanKind::Trace
    }

    /// The field of a plan by which the old picture is sent along, in brackets; a trace has none.
    fn with_old(&self) -> &'static str {
        if self.is_trace() { "" } else { " (`with_old`)" }
    }

    /// The modes that clean, to choose one from.
    fn cleaning_modes(&self) -> Option<String> {
        let names = cleaning_modes(&self.plan.display);
        (!names.is_empty()).then(|| one_of(&names))
    }

    fn step_named(&self, step: u64) -> String {
        name_of_step(step, self.plan)
    }

    fn name(&self, event: &Event) -> String {
        name_of_step(event.step, self.plan)
    }

    fn flicker(&self) -> Vec<String> {
        let flashing = self.flashing();
        let Some((last, sent)) = flashing.last() else { return self.nothing_flashed() };
        if self.is_slow_colour() {
            return self.colour_flicker();
        }
        let mut answers = vec![self.how_often(&flashing, last, sent)];
        let after_sleep = self.after_sleep(&flashing);
        let is_answered = after_sleep.is_some();
        answers.extend(after_sleep);
        let forgets = last.after_power.is_some_and(|power| power.loses(self.plan.display.memory));
        answers.extend(self.more_than_changes(sent, forgets && !last.sends_old));
        if self.mode(sent).cleans && !is_answered && self.quiet_modes().is_some() {
            answers.push(self.cannot_be_left_out());
        }
        answers
    }

    fn border(&self) -> Vec<String> {
        let mut answers = vec![format!("this cannot be answered from your {}", self.kind()), BORDER.to_owned()];
        let flashing = self.flashing();
        if let [.., (_, sent)] = &flashing[..] {
            answers.push(format!(
                "your {} sends {} within {}, the last in `{}`. If your controller drives the border with each of them, \
                 the border blinks as often",
                self.kind(),
                counted(flashing.len() as u64, "update that flashes", "updates that flash"),
                these(self.story.before_ms),
                self.mode(sent).name
            ));
        }
        answers.push("if the picture itself flashes, ask again with `--complaint flicker`".to_owned());
        answers
    }

    fn how_often(&self, flashing: &[(&Event, &SentHere)], last: &Event, sent: &SentHere) -> String {
        let mode = self.mode(sent);
        let one = format!(
            "each such update in `{}` flashes the place {} within {}",
            mode.name,
            times_words(u64::from(mode.flashes)),
            lasting(sent.duration_ms)
        );
        let name = self.name(last);
        let first_ms = flashing.first().map_or(last.at_ms, |(first, _)| first.at_ms);
        match flashing.len() {
            1 => format!("yes: an update flashes here at {name}: {one}"),
            count => format!(
                "yes: {count} updates flash here within {}, about one every {}. The last is at {name}: {one}",
                lasting(last.at_ms + sent.ends_after_ms - first_ms),
                lasting((last.at_ms - first_ms) / (count - 1) as f64)
            ),
        }
    }

    fn nothing_flashed(&self) -> Vec<String> {
        let within = these(self.story.before_ms);
        let mut answers = vec![format!("no update flashes here within {within}")];
        let changing = self.sent().filter(|(_, sent)| sent.changed_here_px > 0).count();
        if changing > 2 {
            answers.push(format!(
                "the picture here changes {changing} times within {within}: content that changes back and forth is seen as \
                 flicker, although no update flashes"
            ));
        }
        answers.push(format!("a blinking edge around the picture is something else: {BORDER}"));
        answers
    }

    /// A window that flashes although little of it changes.
    fn more_than_changes(&self, sent: &SentHere, needs_old: bool) -> Option<String> {
        if sent.changed_px == 0 || sent.changed_px.saturating_mul(SMALL_SHARE) >= sent.sent_px {
            return None;
        }
        let what = if sent.is_whole { "the whole panel flashes" } else { "all of the window flashes" };
        let share = match sent.changed_px as f64 * 100.0 / sent.sent_px as f64 {
            share if share < 1.0 => "less than 1 %".to_owned(),
            share => format!("only {share:.0} %"),
        };
        let only_if = if needs_old {
            ", but only if the old picture is sent along; otherwise speckles appear instead"
        } else {
            ""
        };
        let quiet = self.quiet_modes().map_or_else(
            || "this display has no mode without a flash, so update less often".to_owned(),
            |quiet| match self.plan.display.windows {
                Some(_) => format!("send {quiet}, which does not flash, to a window around the change{only_if}"),
                None => format!("use {quiet}, which does not flash{only_if}"),
            },
        );
        Some(format!("{what}, although {share} of it changes ({} px): {quiet}", sent.changed_px))
    }

    /// Flashes that come because the panel had slept.
    fn after_sleep(&self, flashing: &[(&Event, &SentHere)]) -> Option<String> {
        let woken = flashing.iter().filter(|(event, _)| event.after_power.is_some());
        let count = woken.clone().count() as u64;
        let power = woken.clone().find_map(|(event, _)| event.after_power)?;
        let state = if power == Power::Off { "was switched off" } else { "slept" };
        let [_, earlier] = self.story.earlier_flashes;
        let before = match earlier {
            0 => String::new(),
            1 => ", like an earlier flash".to_owned(),
            earlier => format!(", like {earlier} earlier flashes"),
        };
        let what = match (count as usize, flashing.len()) {
            (1, 1) => format!("it is the first update after the panel {state}{before}"),
            (count, all) if count == all => format!("each of them is the first update after the panel {state}{before}"),
            (1, _) => format!("one of them is the first after the panel {state}{before}"),
            (count, _) => format!("{count} of them are the first after the panel {state}{before}"),
        };
        let has_old = woken.clone().all(|(event, _)| event.sends_old);
        let advice = if power.loses(self.plan.display.memory) && has_old {
            "the controller forgets its picture then, but the host sends the old picture along, so an update without a flash \
             is enough"
                .to_owned()
        } else if power.loses(self.plan.display.memory) {
            format!(
                "the controller forgets its picture then. If the host keeps the old picture and sends it along with the new \
                 one{}, an update without a flash is enough",
                self.with_old()
            )
        } else {
            "the controller keeps its picture then, so waking needs no flash".to_owned()
        };
        let counter = "the firmware should count its updates since the last cleaning in memory that survives sleep, and clean \
                       only when that count is high enough";
        Some(format!("{what}: {advice}. And {counter}{}", self.every_so_many()))
    }

    fn every_so_many(&self) -> String {
        let limit = self.plan.limits.too_many_since_cleaning.updates;
        limit.map_or(String::new(), |limit| format!(" (on this display after {} updates)", limit.value))
    }

    fn cannot_be_left_out(&self) -> String {
        format!(
            "such an update also removes what is left of older pictures, so it cannot be left out for ever: send it when {}, \
             in a pause in which nobody looks",
            cleaning_is_due(&self.plan.limits)
        )
    }

    fn ghost(&self) -> Vec<String> {
        let Story { ghost, limit_l, most_off_l, .. } = self.story;
        let mut answers = self.older();
        match ghost {
            Some(ghost) => answers.extend(self.about_ghost(ghost)),
            None if answers.is_empty() => answers.extend([
                if *most_off_l < LEAST_OFF_L {
                    "no ghost here by the description of this display: nothing of older pictures is left".to_owned()
                } else {
                    format!(
                        "no ghost here by the description of this display: what is left of older pictures is {most_off_l:.1} \
                         L* at most, and most people notice {limit_l} L*{}",
                        self.may_be_a_ghost()
                    )
                },
                "if it is seen all the same, the description is too kind to your panel: measure it (`stillpage fit`). If it \
                 stays after the whole panel has flashed, ask again with `--complaint shadow`"
                    .to_owned(),
            ]),
            None => {}
        }
        answers
    }

    /// What there is to say of a difference that is too small to be a ghost, and is an estimate.
    fn may_be_a_ghost(&self) -> String {
        let Story { limit_l, most_off_l, .. } = self.story;
        let factor = self.plan.display.least_residue_certainty();
        let open = factor.filter(|factor| most_off_l * factor >= *limit_l);
        open.map_or(String::new(), |factor| {
            format!(". That difference is an estimate, good to a factor of {factor}, so it may be seen all the same")
        })
    }

    fn about_ghost(&self, ghost: &GhostHere) -> Vec<String> {
        let tone = if ghost.is_lighter { "lighter" } else { "darker" };
        let mut answers = vec![format!(
            "yes: {} is up to {:.1} L* {tone} than it should be, and most people notice {} L*",
            match (ghost.is_outline, ghost.drawn_by) {
                (true, _) => "an outline".to_owned(),
                (false, Some(step)) => {
                    format!("an older picture shines through, last drawn by {}: the place", self.step_named(step))
                }
                (false, None) => {
                    format!("what was on the panel before the {} began shines through: the place", self.kind())
                }
            },
            ghost.worst_l,
            self.story.limit_l
        )];
        answers.extend(self.cut_short(ghost));
        if ghost.is_outline {
            answers.push(
                "it is an outline: ink moves a little beyond the edge of what is driven, and an update that drives only what \
                 changes does not reach it"
                    .to_owned(),
            );
        } else if ghost.is_lighter {
            answers.push(self.lighter_because(ghost));
        }
        if ghost.updates > 3 {
            answers.push(format!(
                "it grows: the place has been updated {} times since it was last cleaned{}. Each update leaves a little of the \
                 old picture, and over so many updates more was left than has faded",
                ghost.updates,
                self.beside_the_limit(ghost)
            ));
        }
        answers.extend(self.cleaning_modes().map(|modes| self.clean_it(&modes, ghost)));
        answers
    }

    /// That the update which left a ghost ended too soon.
    fn cut_short(&self, ghost: &GhostHere) -> Option<String> {
        let drawn_over = self.sent().filter(|(event, _)| Some(event.step) == ghost.drawn_over_by);
        let shorter = |(event, sent): (&Event, &SentHere)| {
            let usual_ms = sent.usual_ms(self.mode(sent), event.temperature_c)?;
            Some(format!(
                "{} drives `{}` for {} only, instead of {}: it stops before the old picture is gone",
                self.name(event),
                self.mode(sent).name,
                lasting(sent.duration_ms),
                lasting(usual_ms)
            ))
        };
        drawn_over.filter_map(shorter).last()
    }

    /// The display's limit for such a number of updates, with what it says of this ghost: in words behind it.
    fn beside_the_limit(&self, ghost: &GhostHere) -> String {
        let Some(limit) = self.plan.limits.too_many_since_cleaning.updates else { return String::new() };
        let words = limit.words(&counted(limit.value as u64, "update", "updates"));
        // How often to clean is said of the whole neighbourhood: the count of one pixel would not agree with that.
        let first = ghost.first.updates;
        match (f64::from(first) <= limit.value, f64::from(ghost.updates) > limit.value) {
            (true, _) if first > 0 => {
                format!(", and a ghost was first seen before {words} asks for a cleaning")
            }
            (_, true) => format!(", although {words} asks for a cleaning before"),
            _ => String::new(),
        }
    }

    /// What the findings about ghosts that are seen here ask for: each with how the place is to be cleaned.
    fn asked_cleanings(&self) -> impl Iterator<Item = (&Finding, &Cleaning)> {
        // Others ask for a cleaning because of a count or of the time.
        let is_seen = |finding: &&Finding| ["worst_l", "limit_l"].iter().all(|name| finding.figures.contains_key(name));
        self.story.findings.iter().filter(is_seen).filter_map(|finding| match &finding.asks {
            Some(Asks::Cleaning(cleaning)) => Some((finding, cleaning)),
            _ => None,
        })
    }

    /// What keeps a ghost from being seen at all, as far as a finding works it out: in words that follow "to keep it from being
    /// seen at all,".
    fn prevention(&self, ghost: &GhostHere) -> Option<String> {
        self.asked_cleanings().find_map(|(finding, cleaning)| match cleaning.prevention {
            Some(prevention) => Some(prevention.words()),
            None if cleaning.after_step < finding.step => Some(self.before_it_is_seen(cleaning, finding, ghost)),
            None => None,
        })
    }

    fn before_it_is_seen(&self, cleaning: &Cleaning, finding: &Finding, ghost: &GhostHere) -> String {
        let first = format!(
            "clean in the pause after {}, before it is first seen with {}",
            self.step_named(cleaning.after_step),
            self.step_named(finding.step)
        );
        match ghost.first.updates {
            // How many it takes after the next cleaning follows from what is drawn then.
            updates @ 3.. if ghost.first.step == finding.step => format!(
                "{first}. That took {updates} updates of the place, and it may take fewer after this cleaning: clean again in \
                 good time"
            ),
            _ => first,
        }
    }

    /// How to get rid of a ghost, and how often.
    fn clean_it(&self, modes: &str, ghost: &GhostHere) -> String {
        let removes = format!("an update in {modes} removes it, with a flash");
        if let Some(prevention) = self.prevention(ghost) {
            return format!("{removes}. To keep it from being seen at all, {prevention}");
        }
        let is_seen_until = self.asked_cleanings().any(|(_, cleaning)| cleaning.is_seen_until);
        if ghost.since.0 != self.story.step {
            format!("{removes}: run one in the next pause")
        } else if is_seen_until || self.is_answer(ghost) {
            format!(
                "{removes}: run one after this step. The ghost is seen until then, because the answer must come first"
            )
        } else {
            format!("{removes}: run one right after this one, or use that mode for this change itself")
        }
    }

    /// Whether what left a ghost answers a person.
    fn is_answer(&self, ghost: &GhostHere) -> bool {
        let over = ghost.drawn_over_by.and_then(|step| self.plan.step_at(step % self.plan.step_count.max(1)));
        over.is_some_and(|step| step.cause.is_person())
    }

    fn lighter_because(&self, ghost: &GhostHere) -> String {
        let [pixel_l, ground_l] = ghost.pixel_and_ground_l;
        if pixel_l.abs() < ground_l.abs() {
            return "it is lighter, like a negative: the ground around it has turned darker, while the place of the old text \
                    was driven again. Clean all of the ground, not the text alone"
                .to_owned();
        }
        // What answers a person cannot take as long as a mode that cleans.
        let until_then = match self.cleaning_modes() {
            None => String::new(),
            Some(modes) if self.is_answer(ghost) => {
                format!(". Until then clean the place with {modes} after this change")
            }
            Some(modes) => format!(". Until then make this change with {modes}"),
        };
        format!(
            "it is lighter, like a negative: by this display description, the update from the old shade to the new one goes too \
             far. On a real panel that happens if the update is too long for the temperature, or was made for another batch of \
             panels: ask the panel maker. If the panel does not do it, the description is wrong: measure that change \
             (`stillpage fit`){until_then}"
        )
    }

    /// Pixels that show an older picture at its full strength.
    fn older(&self) -> Vec<String> {
        let mut answers = Vec::new();
        for (event, sent) in self.sent().filter(|(_, sent)| sent.is_lost) {
            let with = match sent.busy_with {
                None => "an earlier update".to_owned(),
                Some(step) if step == event.step => "another update of the same step".to_owned(),
                Some(step) => self.step_named(step),
            };
            answers.push(format!(
                "{} asked for `{}` while the controller was busy with {with}{}, and this controller ignores what comes then: \
                 that picture never shows. Wait until the controller is free before you send the next update, or send both \
                 changes as one update",
                self.name(event),
                self.mode(sent).name,
                self.busy_for(event)
            ));
        }
        let left = self.story.events.iter().rev().find(|event| event.left_px > 0);
        let Some(event) = left.filter(|_| self.story.older_px > 0) else { return answers };
        let has_lost = event.sent.iter().any(|sent| sent.is_lost);
        if !has_lost {
            answers.push(format!(
                "{} changed {} px here in the memory of the device, and no update brought them to the panel{}. The old picture \
                 stays there, at full strength, {}",
                self.name(event),
                event.left_px,
                match windows_words(&event.windows, self.plan) {
                    none if none.is_empty() => String::new(),
                    windows => format!(" ({windows}, which does not cover them)"),
                },
                self.how_long(event)
            ));
            answers.extend(self.forgotten_in_sleep(event));
        } else if self.story.stay.is_some() {
            answers.push(format!("the old picture stays there, at full strength, {}", self.how_long(event)));
        }
        answers
    }

    /// For how much longer the controller is busy that lost an update of a step, in words behind that.
    fn busy_for(&self, event: &Event) -> String {
        let of_it = self.story.findings.iter().filter(|finding| finding.step == event.step);
        let busy_ms = of_it
            .filter(|finding| finding.figures.contains_key("later_ms"))
            .find_map(|finding| finding.figures.get("busy_ms").copied());
        busy_ms.map_or(String::new(), |ms| format!(" for another {}", lasting(ms)))
    }

    /// For how long the older picture stays that a step left, in words.
    fn how_long(&self, event: &Event) -> String {
        let Some(Stay { since, until, ms }) = self.story.stay else {
            return "until an update covers the place".to_owned();
        };
        let since = if since == event.step { String::new() } else { format!(", since {}", self.step_named(since)) };
        match until {
            Some(until) => format!("for {}{since}: until {}", lasting(ms), self.step_named(until)),
            None => format!("until an update covers the place{since}: no later step of this {} does", self.kind()),
        }
    }

    /// That the place was wrong until one of these steps, and what to look at to see why.
    fn was_wrong(&self) -> Option<String> {
        let Stay { since, until, ms } = self.story.stay.filter(|_| self.story.older_px == 0)?;
        Some(format!(
            "the place shows what memory holds since {}. Before that it showed the older picture for {}: {} changed it in memory, \
             and no update brought that to the panel until then. `--step {since}` tells more of it",
            self.step_named(until?),
            lasting(ms),
            self.step_named(since)
        ))
    }

    /// That this rests on a controller that waits, and what to write if it does not.
    fn assumed_to_wait(&self) -> Option<String> {
        if self.plan.display.when_busy != WhenBusy::Waits {
            return None;
        }
        let busy = match self.story.waited {
            None => format!("in this {} none came then, as far as its times are right", self.kind()),
            Some((1, step)) => format!("in this {} one came then, that of {}", self.kind(), self.step_named(step)),
            Some((count, step)) => format!(
                "in this {} {count} came then; the one of {} waited longest",
                self.kind(),
                self.step_named(step)
            ),
        };
        Some(format!(
            "this assumes that the controller keeps an update that comes while it is busy, and carries it out later (the display \
             description says `\"when_busy\": \"waits\"`, or nothing about it): {busy}. If your controller ignores such an \
             update, write `\"when_busy\": \"drops\"` into the display description, and ask again"
        ))
    }

    /// That nothing is missing, and what may be the reason all the same.
    fn nothing_missing(&self) -> String {
        let place = format!("the place shows what memory holds: by this {} nothing is missing here", self.kind());
        if self.is_trace() {
            format!(
                "{place}. If it is missing on the device, an update of the trace did not reach the panel, or the frames of the \
                 trace are not what was in memory. Let the firmware also record when each update ends (`finished`): one \
                 without an end may be lost"
            )
        } else {
            format!(
                "{place}. If it is missing on the device, compare what the device did with the plan: record a trace and run \
                 `stillpage review TRACE --against PLAN`"
            )
        }
    }

    /// That the firmware may have forgotten what the panel still shows.
    fn forgotten_in_sleep(&self, event: &Event) -> Option<String> {
        let power = self.plan.step_at(event.step.checked_sub(1)?)?.power?;
        let state = if power == Power::Off { "was switched off" } else { "slept" };
        Some(format!(
            "the panel {state} just before. Paper keeps its picture without power. Firmware often wakes with an empty memory and \
             draws only what is new. So the first update after waking must also cover what the old picture had there, such as \
             the last selection{}",
            match power.loses(self.plan.display.memory) {
                true if event.sends_old => format!(
                    ". The controller has forgotten the old picture too, but this step sends it along{}, so one more box needs \
                     no flash",
                    self.with_old()
                ),
                true => format!(
                    ". The controller has forgotten the old picture too, so send the old picture along{}, which needs no flash, \
                     or use a mode that drives every pixel",
                    self.with_old()
                ),
                false => String::new(),
            }
        ))
    }

    fn missing(&self) -> Vec<String> {
        let Story { unreached_px, unknown_px, inked_px, .. } = self.story;
        let mut answers = self.older();
        if *unreached_px > 0 {
            answers.push(format!(
                "{} another shade than was drawn: the mode that was sent there cannot show it, and takes the nearest that it \
                 has, or leaves the old one",
                pixels_show(*unreached_px)
            ));
        }
        if *inked_px > 0 {
            answers.push(format!("{} a pen line that the picture in memory does not contain", pixels_show(*inked_px)));
        }
        if *unknown_px > 0 && self.sent().any(|(_, sent)| sent.unknown_px > 0) {
            answers.extend(self.speckles());
        }
        if answers.is_empty() {
            answers.push(self.was_wrong().unwrap_or_else(|| self.nothing_missing()));
            answers.extend(self.assumed_to_wait());
        } else if self.story.older_px > 0 && !self.sent().any(|(_, sent)| sent.is_lost) {
            let overdrawn = "the firmware may draw the new text without erasing the old one from memory";
            let both = "if the old and the new are seen on top of each other, both in full black";
            answers.push(if self.is_trace() {
                format!("{both}, look at the frames of the trace: {overdrawn}")
            } else {
                format!("there is a second possible cause, which no plan can show: {both}, {overdrawn}")
            });
            answers.extend(self.assumed_to_wait().filter(|_| self.story.waited.is_some()));
        }
        answers
    }

    fn speckles(&self) -> Vec<String> {
        let guessed = self.sent().find(|(_, sent)| sent.unknown_px > 0);
        let Some((event, sent)) = guessed else {
            return vec![
                format!(
                    "speckles come when a controller does not know what the panel shows, as after sleep. By this {} it always \
                     knows, so that is not the reason",
                    self.kind()
                ),
                "a picture that is made of black and white dots (dithered) looks speckled as well, and its dots change where \
                 a part of it moves. A panel with a bad contact is speckled too, which is not part of this model"
                    .to_owned(),
            ];
        };
        let why = match event.after_power {
            Some(Power::Off) => "the panel was switched off before, and this controller forgets its picture then",
            Some(Power::Sleep) => "the panel slept before, and this controller forgets its picture in sleep",
            None => "it has not learned that since power-up",
        };
        let clean = self.cleaning_modes().unwrap_or_else(|| "a mode that cleans".to_owned());
        vec![
            format!(
                "{} sends `{}`, which drives only what changes, to {} px of which the controller does not know what they \
                 show: {why}. It compares the new picture with whatever its memory happens to hold, and drives the wrong \
                 pixels: that is seen as speckles, or as pieces of an old picture",
                self.name(event),
                self.mode(sent).name,
                sent.unknown_px
            ),
            if sent.with_old {
                format!(
                    "the old picture that is sent along is not known to be on the panel either: begin with {clean} on the whole \
                     panel, which flashes"
                )
            } else {
                format!(
                    "send the old picture along with the new one{}, if the host still has it, which needs no flash; or begin \
                     with {clean} on the whole panel after waking, which flashes",
                    self.with_old()
                )
            },
            "how the speckles look is not part of this model: its pictures show the place as if the controller knew what is \
             there"
                .to_owned(),
        ]
    }

    fn shadow(&self) -> Vec<String> {
        let clean = self.cleaning_modes().unwrap_or_else(|| "a mode that cleans".to_owned());
        let mut answers = vec![self.clean_first(&clean)];
        answers.extend([
            "if it stays although the whole panel has flashed, it is wear: over a long time, updates that push the ink more \
             in one direction than in the other build up charge, and the ink no longer follows. This model cannot show such \
             a shadow; it only counts the push"
                .to_owned(),
            self.charge(),
        ]);
        answers.push(self.how_often_to_clean(&clean));
        // Common practice, no source.
        answers.push(format!(
            "if the shadow is already there, several updates in {clean} in a row may weaken it; if they do not, the panel is \
             damaged for good. The panel maker's documents come first"
        ));
        answers
    }

    /// One schedule that is enough for ghosts and for what the display asks for.
    fn how_often_to_clean(&self, clean: &str) -> String {
        let hours = self.plan.limits.cleaning_overdue.hours.map_or(24.0, |hours| hours.value);
        let at_least = format!("at least once in {hours} hours");
        let prevention = self.story.ghost.as_ref().and_then(|ghost| self.prevention(ghost));
        match prevention {
            Some(prevention) => format!(
                "so that no ghost is seen that looks like such a shadow, use {clean} on the whole panel: {prevention}, and \
                 {at_least}"
            ),
            None => format!(
                "so that no ghost is taken for such a shadow, clean the whole panel with {clean} {at_least}, in a pause"
            ),
        }
    }

    /// A shadow may be an ordinary ghost as long as nothing has cleaned the place.
    fn clean_first(&self, clean: &str) -> String {
        let Story { ghost, cleaned_by, events, earlier_updates, .. } = self.story;
        let last = events.iter().rposition(|event| event.cleans_all);
        let sent = |events: &[Event]| events.iter().map(|event| event.sent.len() as u64).sum::<u64>();
        let since = match (last, cleaned_by) {
            (Some(at), _) => {
                format!("was last cleaned {} ago", counted(sent(&events[at + 1..]), "update", "updates"))
            }
            (None, Some(_)) => {
                format!("was last cleaned {} ago", counted(earlier_updates + sent(events), "update", "updates"))
            }
            (None, None) => format!("has not been cleaned in this {}", self.kind()),
        };
        let ghost = ghost.as_ref().map_or(String::new(), |ghost| format!(" (here up to {:.1} L*)", ghost.worst_l));
        format!(
            "the place {since}: first run {clean} on the whole panel. If the shadow goes, it was an ordinary ghost{ghost}"
        )
    }

    fn charge(&self) -> String {
        match (self.story.most_charge_vs, self.plan.limits.charge_builds_up.net_impulse_vs) {
            (Some(charge), Some(limit)) => {
                let verdict = if charge.abs() > limit.value {
                    format!(
                        "more than the limit of {} volt-seconds. That is a risk, and no proof that the panel is worn",
                        limit.value
                    )
                } else {
                    format!("less than the limit of {} volt-seconds: by this count, wear is unlikely", limit.value)
                };
                format!(
                    "here the push adds up to {:.1} volt-seconds in one direction at the worst pixel, {verdict}",
                    charge.abs()
                )
            }
            _ => "the description of this display does not say how hard its modes push (`impulse_vs`, `net_impulse_vs`), so \
                  nothing was counted: ask the panel maker for these figures"
                .to_owned(),
        }
    }

    fn late(&self) -> Vec<String> {
        let first_ms = self.plan.limits.slow_answer.first_ms.value;
        let answers = |event: &&Event| event.cause.is_person() && event.sent.iter().any(SentHere::shows_something);
        let Some(event) = self.story.events.iter().rfind(answers) else { return vec![self.nobody_waits()] };
        let sent = || event.sent.iter().filter(|sent| sent.shows_something());
        let first = sent().min_by(|one, other| one.shows_after_ms.total_cmp(&other.shows_after_ms));
        let last = sent().max_by(|one, other| one.ends_after_ms.total_cmp(&other.ends_after_ms));
        let Some((sent, last)) = first.zip(last) else { return vec![self.nobody_waits()] };
        let before_ms = event.person_before_ms;
        let (shows_ms, ends_ms) = (before_ms + sent.shows_after_ms, before_ms + last.ends_after_ms);
        let modes = match (&self.mode(sent).name, &self.mode(last).name) {
            (one, other) if one == other => format!("in mode `{one}`"),
            (one, other) => format!("first in mode `{one}`, then in `{other}`"),
        };
        let verdict = if shows_ms > first_ms { "later than" } else { "within" };
        let mut answers = vec![format!(
            "{} shows something after {} and is complete after {}, {modes}: the first change comes {verdict} the {first_ms} ms \
             within which an answer feels immediate",
            self.name(event),
            lasting(shows_ms),
            lasting(ends_ms)
        )];
        let whole_ms = self.plan.limits.slow_answer.whole_ms.value;
        if ends_ms > whole_ms {
            answers.push(format!(
                "the whole answer takes longer than the {whole_ms} ms that do not interrupt a person's thought"
            ));
        }
        if sent.wait_ms >= LEAST_WAIT_MS {
            answers.push(format!(
                "{} of that is waiting for an earlier update that still runs: use a shorter mode there, or a window that \
                 does not overlap",
                lasting(sent.wait_ms)
            ));
        }
        answers.push(if before_ms > 0.0 {
            format!(
                "{} of that is the firmware's own time, from the {} to the request of the update",
                lasting(before_ms),
                event.cause.word()
            )
        } else {
            "the time from the finger to the firmware's request is not part of this model: add what your touch controller \
             and your drawing take"
                .to_owned()
        });
        answers
    }

    /// That no step here answers anybody, and how to ask about one that does.
    fn nobody_waits(&self) -> String {
        let none = format!("nothing here answers a touch, a key or a pen within {}", these(self.story.before_ms));
        if self.is_trace() {
            return format!(
                "{none}. If somebody waited for it, let the firmware record the touch or key too; or ask about another moment \
                 with `--when`"
            );
        }
        format!(
            "{none}. If somebody waited for it, say so in the {}, with `\"cause\": \"touch\"`, `\"key\"` or `\"pen\"`; or ask \
             about another step with `--step`",
            self.kind()
        )
    }

    fn shifted(&self) -> Vec<String> {
        let mut answers = self.older();
        if self.story.older_px > 0 {
            let nothing =
                format!("nothing is shifted here by this {}: a part of the place was not updated", self.kind());
            answers.insert(0, nothing);
        }
        answers.extend(self.story.mistake.as_ref().map(|mistake| mistake.why.clone()));
        answers.extend(self.grid());
        if self.plan.rotation == Rotation::None {
            answers.push(format!(
                "this {} does not turn its screens: if the panel is built in turned, set `rotation`{}, so that windows and \
                 grid are checked along the panel's own axes",
                self.kind(),
                if self.is_trace() { " in its header" } else { "" }
            ));
        }
        answers.extend(self.assumed_to_wait().filter(|_| self.story.waited.is_some()));
        answers
    }

    /// The grid of the controller's windows as it lies on the screen.
    fn grid(&self) -> Option<String> {
        let [columns, rows] = self.plan.display.windows.as_ref()?.step;
        let (rotation, screen) = (self.plan.rotation, self.plan.screen_size());
        // Where the panel's own left upper corner is on the screen.
        let corner = rotation.to_screen(Window { x: 0, y: 0, width: 1, height: 1 }, screen);
        let is_upright = matches!(rotation, Rotation::None | Rotation::Half);
        let [across, down] = if is_upright { [columns, rows] } else { [rows, columns] };
        let [side, end] = [if corner.x == 0 { "left" } else { "right" }, if corner.y == 0 { "upper" } else { "lower" }];
        let multiples = match (across > 1, down > 1) {
            (false, false) => return None,
            (true, false) => format!("{across} px from the {side} edge of the screen"),
            (false, true) => format!("{down} px from the {end} edge of the screen"),
            (true, true) => format!("{across} px from the {side} edge of the screen and {down} px from its {end} edge"),
        };
        let turned = match rotation {
            Rotation::None => String::new(),
            turned => format!(" (the screens are turned by {} degrees against the panel)", turned.degrees()),
        };
        Some(format!(
            "one more thing to check in the firmware: this controller takes windows only at multiples of {multiples}{turned}. If \
             the firmware sends any other window without rounding it, the picture is cut or shifted by up to {} px",
            columns.max(rows) - 1
        ))
    }

    fn is_slow_colour(&self) -> bool {
        let display = &self.plan.display;
        let takes_long = |(_, sent): &(&Event, &SentHere)| sent.duration_ms >= LONG_MS;
        display.ink.colours().is_some() && self.flashing().iter().any(takes_long)
    }

    fn colour_flicker(&self) -> Vec<String> {
        let display = &self.plan.display;
        let lasts = |mode: &&Mode| mode.duration_at(self.plan.temperature_c);
        let slow = display.modes.iter().max_by(|one, other| lasts(one).total_cmp(&lasts(other)));
        let Some(slow) = slow.filter(|_| display.ink.colours().is_some()) else {
            let mut answers = vec!["this display has no colours that could be mixed".to_owned()];
            answers.extend(self.flicker());
            return answers;
        };
        let ms = slow.duration_at(self.plan.temperature_c);
        let is_normal = if ms >= LONG_MS {
            "that is normal for colour ink, and no fault of the device"
        } else {
            "that is short for colour ink"
        };
        vec![
            format!(
                "colour inks are mixed at first, and are driven back and forth until each colour stands where it belongs: `{}` \
                 takes {} at {} C and flashes {}; {is_normal}",
                slow.name,
                lasting(ms),
                self.plan.temperature_c,
                times_words(u64::from(slow.flashes))
            ),
            match self.quiet_modes() {
                None => {
                    "every mode of this display flashes: change the picture rarely, and when nobody waits for it, for \
                         instance at night. For a value that changes often, use a black and white display beside it"
                        .to_owned()
                }
                Some(quiet) => format!("for what changes often use {quiet}, and keep colour for pictures that stay"),
            },
        ]
    }
}

/// What the firmware may have meant by a window that misses the place.
pub(super) fn meant_window(story: &Story, plan: &Plan) -> Option<Mistake> {
    let (screen, place) = (plan.screen_size(), story.place.to_window());
    let boxes = |update: &Update| match &update.window {
        WindowAsk::Boxes(boxes) => boxes.clone(),
        _ => Vec::new(),
    };
    plan.step_at(story.step)?.listed_updates().iter().flat_map(boxes).find_map(|asked| {
        let swapped = Window { width: asked.height, height: asked.width, ..asked };
        let turned = plan.rotation.to_screen(asked, screen);
        let is_turned = plan.rotation != Rotation::None;
        let (meant, why) = if covers(asked, place) {
            return None;
        } else if covers(swapped, place) {
            let with = window(swapped);
            (swapped, format!("width and height are exchanged: with {with} it would cover it"))
        } else if is_turned && covers(turned, place) {
            let on_screen = format!(
                "the window is given along the panel's own axes: on the screen, which is turned by {} degrees, it is {}",
                plan.rotation.degrees(),
                window(turned)
            );
            (turned, on_screen)
        } else {
            return None;
        };
        let why = format!(
            "the window {} misses the place because {why}. One more box would bring this place to the panel, but the mistake \
             would stay in the firmware and cut the next picture",
            window(asked)
        );
        Some(Mistake { asked, meant, why })
    })
}
