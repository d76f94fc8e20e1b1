//! About flashes: how often, why, and whether they can be left out; of colours, and of the border.

use super::about::About;
use crate::{
    display::Mode,
    explain::{
        happened::{Event, SentHere},
        lasting::{lasting, these, times_words},
    },
    plan::Power,
    rules::wording::{cleaning_is_due, counted},
};

const BORDER: &str = "the border around the picture is driven by an electrode of its own, which this model does not contain: \
                      it cannot say when the border blinks. Many controllers drive the border with every full update, and \
                      have a setting that keeps it at one shade: look for that in the panel maker's documents";

/// A colour ink that takes so long to change is usual. Common practice, no source.
const LONG_MS: f64 = 3000.0;

/// A change of less than this share of the panel is small enough for a window of its own.
const SMALL_SHARE: u64 = 10;

impl About<'_> {
    pub(super) fn flicker(&self) -> Vec<String> {
        let flashing = self.flashing();
        let Some((last, sent)) = flashing.last() else { return self.nothing_flashed() };
        if self.is_slow_colour() {
            return self.colour_flicker();
        }
        if let Some(answers) = self.power_up(&flashing, last, sent) {
            return answers;
        }
        let mut answers = vec![self.how_often(&flashing, last, sent)];
        if let Some(due) = self.was_due(last, sent) {
            answers.push(due);
            return answers;
        }
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

    /// What there is to say where the only flash is that of the first update of all, which cannot do without.
    fn power_up(&self, flashing: &[(&Event, &SentHere)], last: &Event, sent: &SentHere) -> Option<Vec<String>> {
        let modes = &self.plan.display.modes;
        let needs_no_flash = modes.iter().any(|mode| mode.flashes == 0 && !mode.changed_only);
        if flashing.len() > 1 || !last.is_power_up || needs_no_flash {
            return None;
        }
        let (name, kind, mode) = (self.name(last), self.kind(), self.mode(sent));
        let one = format!(
            "that of {name}, in `{}`, {} within {}",
            mode.name,
            times_words(u64::from(mode.flashes)),
            lasting(sent.duration_ms)
        );
        let has_to = "It comes first after power-up: nothing is known of what is on the panel then, so every pixel has to be \
                      driven, and on this display that flashes";
        Some(match self.story.last_flash.filter(|later| *later > last.step) {
            None => {
                vec![format!("only the first update flashes: {one}. {has_to}. No later update of this {kind} flashes")]
            }
            Some(later) => vec![
                format!("here the first update flashes: {one}. {has_to}"),
                format!("later updates of this {kind} flash too: ask about the last of them with `--step {later}`"),
            ],
        })
    }

    /// That the flash is a cleaning, and why it was due.
    fn was_due(&self, last: &Event, sent: &SentHere) -> Option<String> {
        if !self.mode(sent).cleans {
            return None;
        }
        let updates = self.updates_before(last);
        let limit = self.plan.limits.too_many_since_cleaning.updates;
        let why = match limit.filter(|limit| updates as f64 >= limit.value) {
            Some(limit) => format!(
                "{} came since the place was last cleaned, and {} asks for a cleaning then",
                counted(updates, "update", "updates"),
                limit.words(&counted(limit.value as u64, "update", "updates"))
            ),
            None if last.had_ghost => "a ghost was seen here before it, and it removes that".to_owned(),
            None => return None,
        };
        Some(format!(
            "this is the cleaning that was due: {why}. It cannot be left out; it disturbs least in a pause in which nobody \
             looks"
        ))
    }

    pub(super) fn border(&self) -> Vec<String> {
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
            2 => format!(
                "yes: 2 updates flash here, {} apart. The last is at {name}: {one}",
                lasting(last.at_ms - first_ms)
            ),
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

    /// How many updates of the place came before an event, since it was cleaned.
    fn updates_before(&self, event: &Event) -> u64 {
        let taken = |event: &Event| event.sent.iter().filter(|sent| !sent.is_lost).count() as u64;
        let before: Vec<&Event> = self.story.events.iter().filter(|earlier| earlier.step < event.step).collect();
        match before.iter().rposition(|event| event.cleans_all) {
            Some(at) => before[at + 1..].iter().map(|event| taken(event)).sum(),
            None => self.story.earlier_updates + before.iter().map(|event| taken(event)).sum::<u64>(),
        }
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
        let counter =
            "the firmware should count its updates since the last cleaning where sleep does not erase the count";
        Some(format!(
            "{what}: {advice}. And {counter}, and clean only when {}. Change the plan like this and review it: the review \
             says after how many updates a ghost is first seen here, which may be fewer",
            cleaning_is_due(&self.plan.limits)
        ))
    }

    fn cannot_be_left_out(&self) -> String {
        format!(
            "such an update also removes what is left of older pictures, so it cannot be left out for ever: send it when {}, \
             in a pause in which nobody looks",
            cleaning_is_due(&self.plan.limits)
        )
    }

    fn is_slow_colour(&self) -> bool {
        let display = &self.plan.display;
        let takes_long = |(_, sent): &(&Event, &SentHere)| sent.duration_ms >= LONG_MS;
        display.ink.colours().is_some() && self.flashing().iter().any(takes_long)
    }

    pub(super) fn colour_flicker(&self) -> Vec<String> {
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
