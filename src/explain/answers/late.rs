//! About answers that come late: how late, and what keeps them waiting.

use super::about::About;
use crate::{
    display::Mode,
    explain::{
        happened::{Event, SentHere},
        lasting::{lasting, these},
        where_to_look::LEAST_WAIT_MS,
    },
    panel::WaitsFor,
    rules::wording::waits_for,
};

impl About<'_> {
    pub(super) fn late(&self) -> Vec<String> {
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
            answers.push(self.waits(sent));
        }
        answers.extend(self.sooner_with_old(event, sent).map(|(words, _)| words));
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

    /// What an update waits for, and what helps.
    fn waits(&self, sent: &SentHere) -> String {
        let display = &self.plan.display;
        let help = match sent.waits_for {
            WaitsFor::Overlap => "let that one use a mode that ends sooner, or a window that does not overlap",
            WaitsFor::Nothing => "look at what the device does between the request and the start of the update",
            WaitsFor::Link if !display.link.waits_for_panel => {
                "send smaller windows before this update, or send this one first"
            }
            WaitsFor::Place | WaitsFor::Link => {
                "no other window avoids that. Let the earlier update use a mode that ends sooner, or send fewer updates just \
                 before a person acts"
            }
        };
        format!("{} of that is waiting {}: {help}", lasting(sent.wait_ms), waits_for(sent.waits_for, display))
    }

    /// A mode that answers sooner if the old picture is sent along, where the controller has forgotten what it shows: in words,
    /// and its index.
    pub(super) fn sooner_with_old(&self, event: &Event, sent: &SentHere) -> Option<(String, usize)> {
        let (display, now_c) = (&self.plan.display, event.temperature_c);
        let forgot = event.after_power.is_some_and(|power| power.loses(display.memory));
        if !forgot || event.is_power_up || self.is_trace() || sent.with_old {
            return None;
        }
        let own = self.mode(sent);
        let shows_ms = |mode: &Mode| mode.first_visible_at(now_c);
        let [from, to] = sent.levels;
        let can_show = |mode: &Mode| from.is_within(mode.from) && to.is_within(mode.to);
        let is_sooner = |mode: &&Mode| mode.changed_only && shows_ms(mode) < shows_ms(own) && can_show(mode);
        let sooner = display.modes.iter().filter(is_sooner);
        let best = sooner.min_by(|one, other| shows_ms(one).total_cmp(&shows_ms(other)))?;
        let words = format!(
            "`{}` would show something {} after it starts, and `{}` does so only after {}; but the controller does not know the \
             old picture here, so that needs the old picture to be sent along{}. If the host no longer has the old picture, \
             the answer cannot come sooner",
            best.name,
            lasting(shows_ms(best)),
            own.name,
            lasting(shows_ms(own)),
            self.with_old()
        );
        Some((words, display.modes.iter().position(|mode| mode.name == best.name)?))
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
}
