//! What people complain about, and what there is to say about it: what the model shows, what is normal for such a panel, and what
//! no model here can know.

use super::{Event, SentHere, Story};
use crate::{
    display::Mode,
    plan::Plan,
    rules::wording::{self, counted, span},
};

/// A kind of complaint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Complaint {
    /// It flashes or blinks.
    Flicker,
    /// Old content shines through, or a grey veil.
    Ghost,
    /// It reacts too late.
    Late,
    /// It does not appear, or the old picture stays.
    Missing,
    /// It appears in another place, or cut.
    Shifted,
    /// A colour panel flashes for many seconds.
    ColourFlicker,
    /// The edge around the picture blinks.
    Border,
}

impl Complaint {
    /// All of them.
    pub const ALL: [Self; 7] =
        [Self::Flicker, Self::Ghost, Self::Late, Self::Missing, Self::Shifted, Self::ColourFlicker, Self::Border];

    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Flicker => "flicker",
            Self::Ghost => "ghost",
            Self::Late => "late",
            Self::Missing => "missing",
            Self::Shifted => "shifted",
            Self::ColourFlicker => "colour-flicker",
            Self::Border => "border",
        }
    }

    /// What it means, in a few words.
    pub fn about(self) -> &'static str {
        match self {
            Self::Flicker => "it flashes or blinks",
            Self::Ghost => "old content shines through, or a grey veil",
            Self::Late => "it reacts too late",
            Self::Missing => "something does not appear, or the old picture stays",
            Self::Shifted => "something appears in the wrong place, or is cut",
            Self::ColourFlicker => "a colour panel flashes for many seconds",
            Self::Border => "the edge around the picture blinks",
        }
    }

    /// The groups of rules whose findings are about it.
    pub(super) fn groups(self) -> &'static [&'static str] {
        match self {
            Self::Flicker | Self::ColourFlicker => &["Flashes"],
            Self::Ghost => &["Ghosts", "Pen"],
            Self::Late => &["Time"],
            Self::Missing | Self::Shifted => &["Does it reach the glass?"],
            Self::Border => &[],
        }
    }

    /// What there is to say about it, a sentence or two each.
    pub(super) fn answers(self, story: &Story, plan: &Plan) -> Vec<String> {
        let about = About { story, plan };
        match self {
            Self::Flicker => about.flicker(),
            Self::Ghost => about.ghost(),
            Self::Late => about.late(),
            Self::Missing => about.missing(),
            Self::Shifted => about.shifted(),
            Self::ColourFlicker => about.colour_flicker(),
            Self::Border => vec![BORDER.to_owned()],
        }
    }
}

const BORDER: &str = "the border around the picture is driven by an electrode of its own, which this model does not know: \
                      nothing here can say when it blinks. Many controllers drive it with every full update, and have a \
                      setting that holds it at one shade: look for it in the panel maker's documents";

/// A flash of this length in a colour ink is normal. Common practice, no source.
const LONG_MS: f64 = 3000.0;

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

    /// The flashes of the place, counted by mode.
    fn flashing(&self) -> Vec<(&Event, &SentHere)> {
        self.sent().filter(|(_, sent)| self.mode(sent).flashes > 0 && !sent.is_lost).collect()
    }

    fn flicker(&self) -> Vec<String> {
        let flashing = self.flashing();
        let Some((last, sent)) = flashing.last() else {
            let mut answers = vec!["no update flashed here in this time".to_owned()];
            let changing = self.sent().filter(|(_, sent)| sent.changed_here_px > 0).count();
            if changing > 2 {
                answers.push(format!(
                    "the picture here changes {changing} times in this time: content that changes back and forth is \
                     seen as flicker, although no update flashes"
                ));
            }
            answers.push(format!("a blinking edge around the picture is something else: {BORDER}"));
            return answers;
        };
        let mode = self.mode(sent);
        let mut answers = vec![format!(
            "yes: {} here in this time. The last was {}, where `{}` flashes {} within {}",
            counted(flashing.len() as u64, "update flashed", "updates flashed"),
            wording::step_name(last.step, last.label.as_deref()),
            mode.name,
            counted(u64::from(mode.flashes), "time", "times"),
            span(sent.duration_ms)
        )];
        if sent.is_whole && sent.changed_px * 10 < sent.sent_px {
            answers.push(format!(
                "it flashes the whole panel, {} px, although {} px change: a window around them, or a mode without a \
                 flash, would not be seen elsewhere",
                sent.sent_px, sent.changed_px
            ));
        }
        let is_first = self.story.events.first().is_some_and(|event| event.step == last.step) && last.step == 0;
        if is_first || sent.unknown_px > 0 {
            answers.push(
                "the controller did not know what was on the glass, as it does after power-up and after a sleep in which \
                 its memory was lost: then a full update is needed once. Firmware that keeps its count of updates, and the \
                 old picture, through sleep flashes less often"
                    .to_owned(),
            );
        }
        if mode.cleans {
            answers.push(
                "such an update cleans the place, so it cannot be left out for ever: move it to a pause in which nobody looks, \
                 or to a smaller window"
                    .to_owned(),
            );
        }
        answers
    }

    fn ghost(&self) -> Vec<String> {
        let Story { ghost, limit_l, most_off_l, .. } = self.story;
        match ghost {
            Some(ghost) => vec![format!(
                "yes: a ghost of up to {:.1} L*, above the {limit_l} L* that most people notice",
                ghost.worst_l
            )],
            None => vec![
                format!(
                    "no ghost here by the description of this display: the strongest difference is {most_off_l:.1} L*, \
                     below the {limit_l} L* that most people notice"
                ),
                "if it is seen all the same, the figures of the description are too small for your panel: measure it (see \
                 `stillpage fit`). A shadow that stays after several full updates is no ghost of this kind: months of \
                 updates that do not balance their voltage can wear a panel, which this model does not hold"
                    .to_owned(),
            ],
        }
    }

    fn late(&self) -> Vec<String> {
        let first_ms = self.plan.limits.slow_answer.first_ms.value;
        let by_person = |(event, sent): &(&Event, &SentHere)| event.cause.is_person() && sent.changed_here_px > 0;
        let Some((event, sent)) = self.sent().filter(by_person).last() else {
            return vec!["nothing here answers a touch, a key or a pen in this time".to_owned()];
        };
        let name = wording::step_name(event.step, event.label.as_deref());
        let mode = &self.mode(sent).name;
        let shows = span(sent.shows_after_ms);
        let verdict = if sent.shows_after_ms > first_ms {
            format!("later than the {first_ms} ms within which an answer feels immediate")
        } else {
            format!("within the {first_ms} ms within which an answer feels immediate")
        };
        let mut answers = vec![format!(
            "{name} shows something after {shows} and is complete after {}, in mode `{mode}`: {verdict}",
            span(sent.ends_after_ms)
        )];
        if sent.wait_ms > 0.0 {
            answers.push(format!(
                "{} of that is waiting for an earlier update, which still runs: end that sooner, or let it not overlap",
                span(sent.wait_ms)
            ));
        }
        answers.push(
            "the time from the finger to the firmware's request is not part of this model: add what your touch controller \
             and your drawing take"
                .to_owned(),
        );
        answers
    }

    fn missing(&self) -> Vec<String> {
        let Story { wrong_px, unknown_px, events, .. } = self.story;
        let mut answers = Vec::new();
        let lost = self.sent().find(|(_, sent)| sent.is_lost);
        if let Some((event, sent)) = lost {
            answers.push(format!(
                "{} asked for `{}` while the controller was busy, and the controller dropped it: it was never shown",
                wording::step_name(event.step, event.label.as_deref()),
                self.mode(sent).name
            ));
        }
        if let Some(event) = events.iter().rev().find(|event| event.left_px > 0) {
            answers.push(format!(
                "{} changed {} px of memory here that no update sent: memory alone is not seen, the glass keeps the old \
                 picture until an update covers the place",
                wording::step_name(event.step, event.label.as_deref()),
                event.left_px
            ));
        }
        if *unknown_px > 0 {
            answers.push(format!(
                "the controller does not know what {unknown_px} px of the place show, as after power-up or a sleep that loses \
                 its memory: a mode that drives only differences then drives the wrong ones, which looks like speckles, or \
                 like an old picture that stays"
            ));
        }
        if answers.is_empty() && *wrong_px == 0 {
            answers.push(
                "the place shows what memory holds: by this plan nothing is missing. If it is missing on the device, compare \
                 what the device did with the plan: record a trace and run `stillpage review TRACE --against PLAN`"
                    .to_owned(),
            );
        } else if answers.is_empty() {
            answers.push(format!("{wrong_px} px of the place show another level than memory holds"));
        }
        answers
    }

    fn shifted(&self) -> Vec<String> {
        let turned = if self.plan.rotation == crate::geometry::Rotation::default() {
            "The plan does not turn the picture: if the panel is built in turned, set `rotation`, because the grid lies \
             along the panel's own lines"
        } else {
            "The plan turns the picture: a window must be turned with it, and it is widened along the panel's own lines, \
             which are columns of the picture where it stands upright"
        };
        let grid = self.plan.display.windows.as_ref().map(|windows| windows.step);
        let mut answers = Vec::new();
        if let Some([columns, rows]) = grid {
            answers.push(format!(
                "this controller takes windows on a grid of {columns} x {rows} px: firmware that sends others sends a \
                 picture that is cut or shifted by up to {} px",
                columns.max(rows) - 1
            ));
        }
        answers.push(turned.to_owned());
        answers.push(
            "half of a window in the wrong place usually means that corners and sizes were mixed up: a window is x, y, width \
             and height"
                .to_owned(),
        );
        answers
    }

    fn colour_flicker(&self) -> Vec<String> {
        let display = &self.plan.display;
        let is_colour = display.ink.colours().is_some();
        let longest = |mode: &&Mode| mode.duration_at(self.plan.temperature_c);
        let slow = display.modes.iter().max_by(|one, other| longest(one).total_cmp(&longest(other)));
        let Some(slow) = slow.filter(|_| is_colour) else {
            return self.flicker();
        };
        let ms = slow.duration_at(self.plan.temperature_c);
        let quiet = display.modes.iter().filter(|mode| mode.flashes == 0).map(|mode| format!("`{}`", mode.name));
        let quiet: Vec<String> = quiet.collect();
        let mut answers = vec![format!(
            "colour inks of this kind are sorted by driving them back and forth: `{}` takes {} and flashes {}. {}",
            slow.name,
            span(ms),
            counted(u64::from(slow.flashes), "time", "times"),
            if ms >= LONG_MS { "That is normal, and no fault of your device" } else { "That is short for such an ink" }
        )];
        answers.push(match quiet.as_slice() {
            [] => {
                "no mode of this display is without a flash: change colour pictures rarely, when nobody waits for them"
                    .to_owned()
            }
            quiet => format!(
                "for what changes often use {}, without a flash, and keep colour for pictures that stay",
                quiet.join(" or ")
            ),
        });
        answers
    }
}
