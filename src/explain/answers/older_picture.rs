//! About what does not appear: pixels that show an older picture, why, and for how long.

use super::about::About;
use crate::{
    display::WhenBusy,
    explain::{
        happened::{Event, Stay},
        lasting::{lasting, pixels_show, windows_words},
        story_parts::Story,
    },
    plan::Power,
    rules::wording::counted,
};

impl About<'_> {
    /// Pixels that show an older picture at its full strength.
    pub(super) fn older(&self) -> Vec<String> {
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
        let left: Vec<&Event> = self.story.events.iter().filter(|event| event.left_px > 0).collect();
        let Some(event) = left.last().filter(|_| self.story.older_px > 0) else { return answers };
        let has_lost = event.sent.iter().any(|sent| sent.is_lost);
        if !has_lost {
            answers.push(format!("{}. {}", self.left_there(event, left.len()), self.how_long(event)));
            answers.extend(self.forgotten_in_sleep(event));
        } else if self.story.stay.is_some() {
            answers.push(self.how_long(event));
        }
        answers
    }

    /// That the last of so many steps changed something that stays in memory.
    fn left_there(&self, event: &Event, steps: usize) -> String {
        let (name, older_px) = (self.name(event), self.story.older_px);
        let windows = match windows_words(&event.windows, self.plan) {
            none if none.is_empty() => String::new(),
            windows if steps == 1 => format!(" ({windows}, which does not cover them)"),
            windows => format!(" ({windows}, which does not cover all of it)"),
        };
        if steps == 1 {
            return format!(
                "{name} changed {} px here in the memory of the device, and no update brought them to the panel{windows}",
                event.left_px
            );
        }
        format!(
            "{steps} steps, the last of them {name}, changed pixels here in the memory of the device that no update brought to \
             the panel{windows}: {older_px} px show the old picture now"
        )
    }

    /// For how much longer the controller is busy that lost an update of a step, in words behind that.
    fn busy_for(&self, event: &Event) -> String {
        let of_it = self.story.findings.iter().filter(|finding| finding.step == event.step);
        let busy_ms = of_it
            .filter(|finding| finding.figures.contains_key("later_ms"))
            .find_map(|finding| finding.figures.get("busy_ms").copied());
        busy_ms.map_or(String::new(), |ms| format!(" for another {}", lasting(ms)))
    }

    /// For how long the older picture stays that a step left, a sentence.
    fn how_long(&self, event: &Event) -> String {
        const STAYS: &str = "The old picture stays there, at full strength,";
        let Some(Stay { since, until, ms }) = self.story.stay else {
            return format!("{STAYS} until an update covers the place");
        };
        let kind = self.kind();
        let earlier = (since != event.step).then(|| self.step_named(since));
        match (until.map(|until| self.step_named(until)), earlier) {
            (Some(until), None) => format!("{STAYS} for {}: until {until}", lasting(ms)),
            (Some(until), Some(since)) => format!("{STAYS} for {}: from {since} until {until}", lasting(ms)),
            (None, None) => {
                format!("{STAYS} until an update covers the place: no later step of this {kind} does")
            }
            (None, Some(since)) => format!(
                "Since {since} the old picture has stayed there, at full strength: no later step of this {kind} covers all of it"
            ),
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
    pub(super) fn assumed_to_wait(&self) -> Option<String> {
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
            let mut recorded = self.plan.steps().filter_map(|planned| planned.step.recorded.as_ref());
            let has_ends = recorded.any(|step| step.updates.iter().any(|update| update.finished_ms.is_some()));
            let record = if has_ends {
                ""
            } else {
                ". Let the firmware also record when each update ends (`finished`): one without an end may be lost"
            };
            format!(
                "{place}. If it is missing on the device, an update of the trace did not reach the panel, or the frames of the \
                 trace are not what was in memory{record}"
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

    /// That an update of the place may be lost, because a device recorded no end of it.
    fn without_end(&self) -> Option<String> {
        let (event, sent) = self.sent().rfind(|(_, sent)| !sent.is_lost && sent.others_finished.is_some())?;
        Some(format!(
            "{} sent `{}`, and the device recorded no end of it, although it did for {} in this mode: the controller may have \
             lost it, and then this picture never shows (the rest of this story takes it that the panel was driven). Check \
             whether the controller was still busy when the firmware sent it",
            self.name(event),
            self.mode(sent).name,
            counted(sent.others_finished?, "other update", "other updates")
        ))
    }

    pub(super) fn missing(&self) -> Vec<String> {
        let Story { unreached_px, unknown_px, inked_px, .. } = self.story;
        let mut answers: Vec<String> = self.story.mistake.iter().map(|mistake| mistake.why.clone()).collect();
        answers.extend(self.older());
        let without_end = self.without_end();
        let may_be_lost = without_end.is_some() && answers.is_empty();
        answers.extend(without_end);
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
        if may_be_lost {
            answers.extend(self.assumed_to_wait());
        } else if answers.is_empty() {
            answers.push(self.was_wrong().unwrap_or_else(|| self.nothing_missing()));
            answers.extend(self.assumed_to_wait());
        } else if self.story.mistake.is_none() && self.story.older_px > 0 && !self.sent().any(|(_, sent)| sent.is_lost)
        {
            let overdrawn = "the firmware may draw the new content without erasing the old one from memory";
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
}
