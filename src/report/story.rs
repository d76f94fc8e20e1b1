//! The story of a place in words that need no data sheet, and as JSON.

use std::io::{self, Write};

use serde_json::{Value, json};

use super::{
    sentences::{PREDICTIONS, sentence},
    text::TextStyle,
};
use crate::{
    display::Mode,
    explain::{Complaint, Event, GhostHere, SentHere, Story, WhyHere},
    plan::{Cause, Plan},
    rules::{
        FLASH_CAUTION, INDICATOR_CAUTION,
        wording::{counted, rect, span, step_name},
    },
    source::readable,
    trace::time_of_day,
    units::length_mm,
};

/// The most events that are told one by one.
const MOST_EVENTS: usize = 12;

/// A story to be written, with the plan that it is of.
#[derive(Clone, Copy, Debug)]
pub struct StoryReport<'s> {
    /// The path of the plan.
    pub path: &'s str,
    /// The plan.
    pub plan: &'s Plan,
    /// What happened.
    pub story: &'s Story,
    /// What somebody complains about.
    pub complaint: Option<Complaint>,
}

/// Writes a story for people.
///
/// # Errors
/// Where it cannot be written.
pub fn write_story(report: StoryReport<'_>, style: TextStyle, out: &mut dyn Write) -> io::Result<()> {
    let paragraphs = paragraphs(report);
    for (title, lines) in &paragraphs {
        writeln!(out, "{title}")?;
        for line in lines {
            let options = textwrap::Options::new(style.width).initial_indent("  ").subsequent_indent("    ");
            writeln!(out, "{}", textwrap::fill(&readable(line), options))?;
        }
        writeln!(out)?;
    }
    writeln!(out, "{}", textwrap::fill(&closing_words(report), style.width))
}

/// What stands at the end: cautions, and that all of it is a prediction.
pub(super) fn closing_words(report: StoryReport<'_>) -> String {
    let StoryReport { plan, story, complaint, .. } = report;
    let modes = &plan.display.modes;
    let flashes = story.events.iter().flat_map(|event| &event.sent).any(|sent| modes[sent.mode].flashes > 0);
    let is_about_flashes = matches!(complaint, Some(Complaint::Flicker | Complaint::ColourFlicker | Complaint::Border));
    let caution = if flashes || is_about_flashes { format!("{} ", sentence(FLASH_CAUTION)) } else { String::new() };
    let indicator =
        if plan.display.is_indicator() { format!("{} ", sentence(INDICATOR_CAUTION)) } else { String::new() };
    format!("{caution}{indicator}{PREDICTIONS}")
}

/// The parts of a story: a title and its lines.
pub fn paragraphs(report: StoryReport<'_>) -> Vec<(String, Vec<String>)> {
    let StoryReport { path, story, complaint, .. } = report;
    let words = Words { report };
    let name = step_name(story.step, story.label.as_deref());
    let mut parts = vec![(format!("{path}: {}, {name}", words.time(story.at_ms)), vec![words.place()])];
    if let Some(complaint) = complaint {
        parts.push((format!("About the complaint \"{}\"", complaint.word()), sentences(&story.answers)));
    }
    parts.push(("What happened here".to_owned(), words.events()));
    parts.push(("What is seen now".to_owned(), words.now()));
    let why = words.why();
    if !why.is_empty() {
        parts.push(("Why".to_owned(), why));
    }
    parts.push(("What would have helped".to_owned(), words.helps()));
    parts
}

fn sentences(texts: &[String]) -> Vec<String> {
    texts.iter().map(|text| sentence(text)).collect()
}

struct Words<'s> {
    report: StoryReport<'s>,
}

impl Words<'_> {
    fn mode(&self, sent: &SentHere) -> &Mode {
        &self.report.plan.display.modes[sent.mode]
    }

    /// A moment: a time of day where a device's clock is known.
    fn time(&self, ms: f64) -> String {
        let begins_ms = self.report.plan.recorded.as_ref().and_then(|recorded| recorded.begins_at_ms);
        begins_ms.map_or_else(|| format!("{} after the beginning", span(ms)), |begins_ms| time_of_day(begins_ms + ms))
    }

    fn place(&self) -> String {
        let StoryReport { plan, story, .. } = self.report;
        let mm = |pixels: u32| length_mm(f64::from(pixels), plan.display.pixels_per_inch);
        let why = match story.why_here {
            WhyHere::Asked => "which you asked for".to_owned(),
            WhyHere::Ghost => "where the strongest ghost is then".to_owned(),
            WhyHere::Finding(rule) => format!("which `{rule}` reports"),
            WhyHere::Sent => "which was updated then".to_owned(),
            WhyHere::Whole => "the whole screen, because nothing was updated then".to_owned(),
        };
        format!(
            "The place is {} on the screen, {:.0} x {:.0} mm, {why}.",
            rect(story.place),
            mm(story.place.width).max(1.0),
            mm(story.place.height).max(1.0)
        )
    }

    fn events(&self) -> Vec<String> {
        let story = self.report.story;
        let told = story.events.len().saturating_sub(MOST_EVENTS);
        let mut lines = Vec::new();
        let earlier =
            story.earlier_updates + story.events[..told].iter().map(|event| event.sent.len() as u64).sum::<u64>();
        let cleaned = match story.cleaned_by {
            Some(step) => format!("since step {step} cleaned it"),
            None => "and the plan has not cleaned it yet".to_owned(),
        };
        match earlier {
            0 => {}
            _ => lines.push(format!(
                "Before that, the place was updated {} {cleaned}.",
                if earlier == 1 { "once".to_owned() } else { format!("{earlier} times") }
            )),
        }
        lines.extend(story.events[told..].iter().map(|event| self.event(event)));
        if story.events.is_empty() {
            lines.push("Nothing was drawn or updated here in this time.".to_owned());
        }
        lines
    }

    fn event(&self, event: &Event) -> String {
        let by = match event.cause {
            Cause::System => String::new(),
            cause => format!(", after a {},", cause.word()),
        };
        let name = step_name(event.step, event.label.as_deref());
        let drawn = match (event.drawn_px, event.pen_px) {
            (0, 0) => format!("{name}{by} draws nothing new here"),
            (0, pen) => format!("{name}{by}: the controller draws {} under the pen", counted(pen, "pixel", "pixels")),
            (drawn, _) => format!("{name}{by} draws {} anew", counted(drawn, "pixel", "pixels")),
        };
        let sent: Vec<String> = event.sent.iter().map(|sent| self.sent(sent)).collect();
        let left = match event.left_px {
            0 => String::new(),
            left if left == event.drawn_px => "; no update brings that to the glass".to_owned(),
            left => format!("; no update brings {left} of them to the glass"),
        };
        let sent = if sent.is_empty() { String::new() } else { format!("; {}", sent.join(", then ")) };
        format!("{}: {drawn}{sent}{left}.", self.time(event.at_ms))
    }

    fn sent(&self, sent: &SentHere) -> String {
        let mode = self.mode(sent);
        let flash = match mode.flashes {
            0 => "without a flash".to_owned(),
            flashes => format!("with {}", counted(u64::from(flashes), "flash", "flashes")),
        };
        if sent.is_lost {
            return format!("`{}` is asked for, and the controller, which is busy, drops it", mode.name);
        }
        let place = if sent.is_whole { " on the whole panel" } else { "" };
        let wait = if sent.wait_ms > 0.0 { format!(", {} of it waiting", span(sent.wait_ms)) } else { String::new() };
        format!("`{}`{place} takes {}{wait}, {flash}", mode.name, span(sent.ends_after_ms))
    }

    fn now(&self) -> Vec<String> {
        let Story { ghost, wrong_px, unknown_px, most_off_l, limit_l, .. } = self.report.story;
        let mut lines = Vec::new();
        match ghost {
            Some(ghost) => lines.extend(self.ghost(ghost)),
            None if *most_off_l >= 0.05 => lines.push(format!(
                "No ghost: old content shines through by {most_off_l:.1} L* at most, less than the {limit_l} L* that most \
                 people notice."
            )),
            None => lines.push("No ghost: nothing of older pictures is left here.".to_owned()),
        }
        if *wrong_px > 0 {
            lines.push(format!(
                "{} an older picture, because no update has brought the new one there.",
                if *wrong_px == 1 { "One pixel shows".to_owned() } else { format!("{wrong_px} pixels show") }
            ));
        }
        if *unknown_px > 0 {
            lines.push(format!(
                "The controller does not know what {} here.",
                match unknown_px {
                    1 => "one pixel shows".to_owned(),
                    count => format!("{count} pixels show"),
                }
            ));
        }
        lines
    }

    fn ghost(&self, ghost: &GhostHere) -> Vec<String> {
        let story = self.report.story;
        let limit_l = story.limit_l;
        let name = |step: u64| {
            let step_at = self.report.plan.step_at(step % self.report.plan.step_count.max(1));
            step_name(step, step_at.and_then(|step| step.label.as_deref()))
        };
        let what = if ghost.is_outline { "An outline" } else { "A ghost" };
        let ink = match (ghost.drawn_by, ghost.drawn_over_by) {
            _ if ghost.is_outline => {
                "beside pixels that were driven, while these pixels were not driven themselves".to_owned()
            }
            (Some(drew), Some(over)) => {
                format!("what {} drew shines through what {} drew over it", name(drew), name(over))
            }
            (None, Some(over)) => {
                format!("what was on the glass before the plan began shines through what {} drew", name(over))
            }
            _ => "it was on the glass before the plan began".to_owned(),
        };
        let (since, ms) = ghost.since;
        let since = if since == story.step {
            "It appears with this step.".to_owned()
        } else {
            format!("There has been a ghost here for {}, since step {since}.", span(ms))
        };
        let mut lines = vec![
            format!(
                "{what} of {:.1} L* on {}: {ink}. Most people notice {limit_l} L*.",
                ghost.worst_l,
                counted(ghost.pixels, "pixel", "pixels")
            ),
            since,
        ];
        if ghost.updates > 0 {
            lines.push(format!(
                "Its place was updated {} since it was last cleaned.",
                if ghost.updates == 1 { "once".to_owned() } else { format!("{} times", ghost.updates) }
            ));
        }
        lines
    }

    /// Why the modes that were used flash, or leave something: each once.
    fn why(&self) -> Vec<String> {
        let mut modes: Vec<(usize, f64)> = Vec::new();
        for event in &self.report.story.events {
            for sent in event.sent.iter().filter(|sent| !sent.is_lost) {
                if modes.iter().all(|(mode, _)| *mode != sent.mode) {
                    modes.push((sent.mode, event.temperature_c));
                }
            }
        }
        modes.into_iter().map(|(mode, temperature_c)| self.why_mode(mode, temperature_c)).collect()
    }

    fn why_mode(&self, mode: usize, temperature_c: f64) -> String {
        let display = &self.report.plan.display;
        let mode = &display.modes[mode];
        let (darkest, lightest) = display.ink.range_l();
        let residue = mode.residue_at(temperature_c);
        let leaves_l = residue.lighter.abs().max(residue.darker.abs()) * (lightest - darkest);
        let pixels = if mode.changed_only { "the pixels that change" } else { "every pixel that it is sent to" };
        let drives = if mode.flashes > 0 {
            format!(
                "`{}` flashes because it drives {pixels} to black and to white before it shows the picture",
                mode.name
            )
        } else {
            format!("`{}` does not flash, because it moves {pixels} straight to the new shade", mode.name)
        };
        let leaves = if mode.cleans {
            "; that removes what is left of older pictures".to_owned()
        } else if leaves_l >= 0.05 {
            format!(
                "; about {leaves_l:.1} L* of a change from black to white stays behind each time, and adds up until the place \
                 is cleaned"
            )
        } else {
            String::new()
        };
        let lasts = span(mode.duration_at(temperature_c));
        format!("{drives}{leaves}. It takes {lasts} at {temperature_c} C.")
    }

    fn helps(&self) -> Vec<String> {
        let with_help = || self.report.story.findings.iter().filter(|finding| !finding.help.is_empty());
        if with_help().next().is_none() {
            return vec![
                "No rule found anything wrong with this place at this time: by the description of the display it is as it \
                 should be."
                    .to_owned(),
            ];
        }
        with_help()
            .map(|finding| {
                let help = sentence(&finding.help);
                format!("{} ({}): {help}", finding.rule, finding.severity.word())
            })
            .collect()
    }
}

/// A story as JSON, one object.
pub fn story_json(report: StoryReport<'_>) -> Value {
    let StoryReport { path, plan, story, complaint } = report;
    let mode = |sent: &SentHere| plan.display.modes[sent.mode].name.clone();
    let sent = |sent: &SentHere| {
        json!({
            "mode": mode(sent), "flashes": plan.display.modes[sent.mode].flashes, "sent_px": sent.sent_px,
            "changed_here_px": sent.changed_here_px, "wait_ms": sent.wait_ms, "shows_after_ms": sent.shows_after_ms,
            "ends_after_ms": sent.ends_after_ms, "lost": sent.is_lost,
        })
    };
    let events: Vec<Value> = story
        .events
        .iter()
        .map(|event| {
            json!({
                "step": event.step, "label": event.label, "at_ms": event.at_ms, "cause": event.cause.word(),
                "drawn_px": event.drawn_px, "left_px": event.left_px, "pen_px": event.pen_px,
                "sent": event.sent.iter().map(sent).collect::<Vec<_>>(),
            })
        })
        .collect();
    let ghost = story.ghost.as_ref().map(|ghost| {
        json!({
            "worst_l": ghost.worst_l, "px": ghost.pixels, "box": ghost.rect.to_array(), "outline": ghost.is_outline,
            "drawn_by": ghost.drawn_by, "drawn_over_by": ghost.drawn_over_by, "since_step": ghost.since.0,
            "since_ms": ghost.since.1, "updates": ghost.updates,
        })
    });
    let findings: Vec<Value> = story
        .findings
        .iter()
        .map(|finding| {
            json!({
                "rule": finding.rule, "level": finding.severity.word(), "step": finding.step, "message": finding.message,
                "help": finding.help, "fingerprint": finding.fingerprint,
            })
        })
        .collect();
    json!({
        "format": "story/1", "plan": path, "step": story.step, "label": story.label, "at_ms": story.at_ms,
        "box": story.place.to_array(), "complaint": complaint.map(Complaint::word), "answers": story.answers,
        "events": events, "earlier_updates": story.earlier_updates, "cleaned_by": story.cleaned_by, "ghost": ghost,
        "most_off_l": story.most_off_l, "limit_l": story.limit_l, "wrong_px": story.wrong_px,
        "unknown_px": story.unknown_px, "findings": findings,
    })
}
