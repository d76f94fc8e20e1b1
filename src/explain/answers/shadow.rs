//! About shadows: whether it is a ghost or wear, and how far the ink was pushed.

use super::about::About;
use crate::{
    explain::{happened::Event, story_parts::Story},
    finding::Finding,
    rules::wording::counted,
};

/// A smaller push reads as none, volt-seconds.
const LEAST_VS: f64 = 0.05;

impl About<'_> {
    pub(super) fn shadow(&self) -> Vec<String> {
        let clean = self.cleaning_modes().unwrap_or_else(|| "a mode that cleans".to_owned());
        let mut answers = self.older();
        if self.story.older_px > 0 {
            answers.push(
                "what is seen there is that picture itself, and neither a ghost nor wear: bring the new one to the panel first, \
                 and look again"
                    .to_owned(),
            );
            return answers;
        }
        let (first, is_wear) = match self.just_cleaned() {
            Some(cleaned) => (cleaned, "a shadow that is seen all the same is wear"),
            None => (self.clean_first(&clean), "if it stays although the whole panel has flashed, it is wear"),
        };
        answers.extend([
            first,
            format!(
                "{is_wear}: over a long time, updates that push the ink more in one direction than in the other build up \
                 charge, and the ink no longer follows. This model cannot show such a shadow; it only counts the push"
            ),
            self.charge(),
        ]);
        answers.extend(self.modes_from_then_on());
        answers.push(self.how_often_to_clean(&clean));
        // Common practice, no source.
        answers.push(format!(
            "if the shadow is already there, several updates in {clean} in a row weaken it on some panels, although no figure of \
             this display promises that; if they do not, the panel is damaged for good. The panel maker's documents come first"
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

    /// That no ghost can be there, because nothing was sent to the place since it was cleaned.
    fn just_cleaned(&self) -> Option<String> {
        let Story { ghost, cleaned_by, events, earlier_updates, .. } = self.story;
        let last = events.iter().rposition(|event| event.cleans_all);
        let earlier = if last.is_some() { 0 } else { *earlier_updates };
        let later = &events[last.map_or(0, |at| at + 1)..];
        let is_untouched = earlier == 0 && later.iter().all(|event| event.sent.is_empty()) && ghost.is_none();
        let step = last.map(|at| events[at].step).or(*cleaned_by).filter(|_| is_untouched)?;
        Some(format!(
            "{} cleaned the place, and nothing was sent to it since, so no ghost can be there",
            self.step_named(step)
        ))
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

    /// What it means for a device that runs on that only some modes are to be used from a step on.
    fn modes_from_then_on(&self) -> Option<String> {
        let is_charge = |finding: &&Finding| finding.figures.contains_key("net_impulse_vs");
        let finding = self.story.findings.iter().find(is_charge)?;
        finding.help.contains("on, use").then(|| {
            format!(
                "the limit is exceeded first at {}. The advice below begins with an earlier step, because the push comes near the \
                 limit there. For a device that runs on, that means never to use another mode at this place again, unless the \
                 panel maker has one that takes the push back",
                self.step_named(finding.step)
            )
        })
    }

    fn charge(&self) -> String {
        match (self.story.most_charge_vs, self.plan.limits.charge_builds_up.net_impulse_vs) {
            (Some(charge), Some(_)) if charge.abs() < LEAST_VS => {
                "here the pushes in both directions balance: by this count, there is no reason for wear".to_owned()
            }
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
}
