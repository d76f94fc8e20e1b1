//! About ghosts: how strong, whose ink, why, and what removes or prevents them.

use super::about::{About, LEAST_OFF_L};
use crate::{
    explain::{
        happened::{Event, FromGreys, SentHere},
        lasting::{beside, lasting},
        story_parts::{GhostHere, Gone, Story},
    },
    finding::{Asks, Cleaning, Finding},
    rules::wording::counted,
};

impl About<'_> {
    pub(super) fn ghost(&self) -> Vec<String> {
        let Story { ghost, limit_l, most_off_l, .. } = self.story;
        let mut answers = self.older();
        let unknown = self.sent().rfind(|(_, sent)| sent.unknown_px > 0);
        match (ghost, unknown) {
            (Some(ghost), _) => answers.extend(self.about_ghost(ghost)),
            (None, _) if !answers.is_empty() => {}
            (None, Some((event, _))) => answers.push(format!(
                "whether a ghost is here cannot be said: {} drives pixels of which the controller does not know what they show, \
                 and what is seen of that is not part of this model. Ask again with `--complaint speckles`",
                self.name(event)
            )),
            (None, None) => answers.extend([
                if *most_off_l < LEAST_OFF_L {
                    "no ghost here by the description of this display: nothing of older pictures is left".to_owned()
                } else {
                    format!(
                        "no ghost here by the description of this display: what is left of older pictures is {} L* at most, \
                         and most people notice a difference of {limit_l} L*{}",
                        beside(*most_off_l, *limit_l),
                        self.may_be_a_ghost()
                    )
                },
                "if it is seen all the same, the description is too kind to your panel: measure it (`stillpage fit`). If it \
                 stays after the whole panel has flashed, ask again with `--complaint shadow`"
                    .to_owned(),
            ]),
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
            "yes: {} is up to {} L* {tone} than it should be, and most people notice a difference of {} L*",
            match (ghost.is_outline, ghost.drawn_by) {
                (true, _) => "an outline".to_owned(),
                (false, Some(step)) => {
                    format!("an older picture shines through, last drawn by {}: the place", self.step_named(step))
                }
                (false, None) => {
                    format!("what was on the panel before the {} began shines through: the place", self.kind())
                }
            },
            beside(ghost.worst_l, self.story.limit_l),
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
        answers.extend(ghost.first.from_greys.map(|drive| self.begins_with_greys(drive, ghost)));
        if ghost.updates > 3 {
            answers.push(format!(
                "it builds up: the place has been updated {} times since it was last cleaned{}. Each update leaves a trace, and the \
                 traces add up faster than they fade",
                ghost.updates,
                self.beside_the_limit(ghost)
            ));
        }
        answers.extend(self.cleaning_modes().map(|modes| self.clean_it(&modes, ghost)));
        answers
    }

    /// That a mode leaves a ghost at once where it drives a grey.
    fn begins_with_greys(&self, drive: FromGreys, ghost: &GhostHere) -> String {
        let display = &self.plan.display;
        let mode = &display.modes[drive.mode];
        let first = match ghost.first.updates {
            0 | 1 => ", after a single update of the place".to_owned(),
            updates => format!(", after {updates} updates of the place"),
        };
        let can = if mode.to == display.ink.two_level() {
            "shows only black and white"
        } else {
            "does not start from every grey"
        };
        format!(
            "it begins with greys: a ghost was first seen here with {}{first}. The screen had grey pixels here, such as soft edges \
             of text and of round shapes. `{}` {can}, and leaves {:.1} L* at once where it drives such a grey",
            self.step_named(drive.step),
            mode.name,
            drive.leaves_l
        )
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
        drawn_over.filter_map(shorter).next_back()
    }

    /// The display's limit for such a number of updates, with what it says of this ghost: in words behind it.
    fn beside_the_limit(&self, ghost: &GhostHere) -> String {
        let Some(limit) = self.plan.limits.too_many_since_cleaning.updates else { return String::new() };
        let words = limit.words(&counted(limit.value as u64, "update", "updates"));
        // How often to clean is said of the whole neighbourhood: the count of one pixel would not agree with that.
        let first = ghost.first.updates;
        match (f64::from(first) <= limit.value, f64::from(ghost.updates) > limit.value) {
            // It was not the number of updates.
            (true, _) if ghost.first.from_greys.is_some() => String::new(),
            (true, _) if first > 0 => {
                let after = counted(u64::from(first), "update", "updates");
                format!(", and the ghost was first seen after {after}, before {words} asks for a cleaning")
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

    /// What keeps a ghost from being noticed, as far as a finding works it out: in words that follow "to keep it weaker than
    /// most people notice,".
    pub(super) fn prevention(&self, ghost: &GhostHere) -> Option<String> {
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
        let removes = match ghost.gone {
            Some(Gone { step, ms, by_cleaning: true }) => {
                format!("{} removes it {} later, with a flash", self.step_named(step), lasting(ms))
            }
            Some(Gone { step, ms, by_cleaning: false }) => {
                format!(
                    "it is gone with {}, {} later. An update in {modes} removes it, with a flash",
                    self.step_named(step),
                    lasting(ms)
                )
            }
            None => format!("an update in {modes} removes it, with a flash"),
        };
        if ghost.first.from_greys.is_some() {
            return format!(
                "{removes}; but it draws the greys again, and the next change of them leaves the same ghost"
            );
        }
        if let Some(prevention) = self.prevention(ghost) {
            return format!("{removes}. By these estimates, to keep it below what most people notice, {prevention}");
        }
        if ghost.gone.is_some_and(|gone| gone.by_cleaning) {
            return format!("{removes}. If it is seen for too long until then, let the cleaning come sooner");
        }
        let is_seen_until = self.asked_cleanings().any(|(_, cleaning)| cleaning.is_seen_until);
        if ghost.since.0 != self.story.step {
            format!("{removes}: run one in the next pause")
        } else if is_seen_until || self.is_answer(ghost) {
            format!(
                "{removes}: run one after this step. Until then the ghost is visible, because cleaning first would delay the answer"
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
            Some(_) if ghost.gone.is_some_and(|gone| gone.by_cleaning) => String::new(),
            Some(modes) if self.is_answer(ghost) => {
                format!(". Until then clean the place with {modes} after this change")
            }
            Some(modes) => format!(". Until then make this change with {modes}"),
        };
        format!(
            "it is lighter, like a negative: by this display description, the update from the old shade to the new one goes too \
             far. On a real panel that happens if the update is too long for the temperature, or was made for another batch of \
             panels: ask the panel maker. If your panel does not show this, the description is wrong for it: measure that change \
             (`stillpage fit`){until_then}"
        )
    }
}
