//! About speckles: whether the controller knew what the panel shows.

use super::about::About;
use crate::{
    explain::{
        happened::{Event, SentHere},
        lasting::lasting,
    },
    plan::{PlannedStep, Power},
};

impl About<'_> {
    pub(super) fn speckles(&self) -> Vec<String> {
        let guessed = self.sent().find(|(_, sent)| sent.unknown_px > 0);
        let Some((event, sent)) = guessed else {
            return self.no_speckles();
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
                 show: {why}. It compares the new picture with whatever it happens to hold itself, and drives the wrong \
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
                     with {clean} on the whole panel after waking, which flashes{}",
                    self.with_old(),
                    self.takes(event)
                )
            },
            "how the speckles look is not part of this model: its pictures show the place as if the controller knew what is \
             there"
                .to_owned(),
        ]
    }

    /// How long the modes that clean take, in words that follow that they flash.
    fn takes(&self, event: &Event) -> String {
        let cleaning = self.plan.display.modes.iter().filter(|mode| mode.cleans);
        let longest = cleaning.map(|mode| mode.duration_at(event.temperature_c)).reduce(f64::max);
        let then = if event.cause.is_person() { ": the answer is complete only then" } else { "" };
        longest.map_or(String::new(), |ms| format!(" and takes {}{then}", lasting(ms)))
    }

    /// That the controller was never wrong about what the panel shows, and what else looks like speckles.
    fn no_speckles(&self) -> Vec<String> {
        let mut answers = vec![self.why_it_knows()];
        if self.story.forgets_now {
            answers.push(
                "the controller forgets its picture again at the end of this step: the next update needs the same care"
                    .to_owned(),
            );
        }
        answers.push(
            "a picture that is made of black and white dots (dithered) looks speckled as well, and its dots change where \
             a part of it moves. A panel with a bad contact is speckled too, which is not part of this model"
                .to_owned(),
        );
        answers
    }

    /// Why the controller knew what the panel shows whenever it mattered.
    fn why_it_knows(&self) -> String {
        let come = "speckles come when a controller does not know what the panel shows, as after sleep";
        let not = "so that is not the reason, as long as the firmware does as the";
        let saves = |sent: &SentHere| sent.with_old || !self.mode(sent).changed_only;
        let woken = |(event, sent): &(&Event, &SentHere)| self.forgot_before(event).is_some() && saves(sent);
        let Some((event, sent)) = self.sent().rfind(woken) else { return self.has_learned(come, not) };
        let saves = if sent.with_old {
            format!("sends the old picture along{}", self.with_old())
        } else {
            format!("sends `{}`, which drives every pixel of its window", self.mode(sent).name)
        };
        format!(
            "{come}. Here {}, but {} {saves}, {not} {} says. If the firmware leaves that out, speckles appear",
            self.forgot_before(event).unwrap_or_default(),
            self.name(event),
            self.kind()
        )
    }

    /// Why the controller does not know the picture before a step, in words; nothing if it does.
    fn forgot_before(&self, event: &Event) -> Option<&'static str> {
        match event.after_power.filter(|power| power.loses(self.plan.display.memory)) {
            Some(Power::Sleep) => Some("the controller forgets its picture in sleep"),
            Some(Power::Off) => Some("the controller forgets its picture without power"),
            None => event.is_power_up.then_some("the controller knows nothing after power-up"),
        }
    }

    /// The same where the controller forgot nothing within the story.
    fn has_learned(&self, come: &str, not: &str) -> String {
        let forgets = |planned: &PlannedStep<'_>| {
            planned.index < self.story.step
                && planned.step.power.is_some_and(|power| power.loses(self.plan.display.memory))
        };
        match self.plan.steps().filter(forgets).last() {
            Some(planned) => format!(
                "{come}. The controller last forgot its picture after {}; since then {}, {not} {} says",
                self.step_named(planned.index),
                if self.story.unknown_px > 0 && !self.story.forgets_now {
                    "nothing was driven here of which it does not know what it shows"
                } else {
                    "the updates drove every pixel here, or sent the old picture along"
                },
                self.kind()
            ),
            None => format!(
                "{come}. In this {} the controller has known its picture since the first update, {not} {} says",
                self.kind(),
                self.kind()
            ),
        }
    }
}
