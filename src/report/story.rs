//! The story of a place in words that need no data sheet. Works nothing out: it says what the story holds.

use std::{
    fmt::Write as _,
    io::{self, Write},
};

use super::{
    how_sure::estimates_sentence,
    sentences::{PREDICTIONS, sentence, stopped},
    text::TextStyle,
};
use crate::{
    display::{Display, LevelSet, Mode},
    explain::{
        Complaint, Event, FirstSeen, GhostHere, LEAST_OFF_L, LEAST_WAIT_MS, SentHere, Story, WhyHere, beside, lasting,
        name_beside_time, name_of_step, pixels_show, these, times_words, windows_words,
    },
    finding::Finding,
    geometry::Rect,
    plan::{Cause, Plan, Power},
    rules::{
        FLASH_CAUTION, INDICATOR_CAUTION, pages,
        wording::{counted, levels, listed, window},
    },
    source::readable,
    trace::time_of_day,
    units::length_mm,
};

/// The most events that are described one by one.
const MOST_EVENTS: usize = 6;
/// The most events before them that are, because what they left is still there.
const MOST_LEFT: usize = 3;

/// Words of the trade that a story may use, each with how it is recognised and what it means.
const WORDS: [(&str, &str); 11] = [
    ("controller", "controller: the chip that drives the panel"),
    ("firmware", "firmware: the program of the device"),
    ("host", "host: the processor that draws the screens and sends them to the controller"),
    ("memory", "memory: where the device keeps the new screen until an update brings it to the panel"),
    ("window", "window: the part of the panel that an update covers, [left, top, width, height] in pixels"),
    ("clean", "to clean: to update so that nothing of older pictures stays; most displays flash for it"),
    ("ghost", "ghost: what an older picture has left, seen through the new one"),
    (
        "`with_old`",
        "`with_old`: a field of an update in a plan; the host then sends the old picture along with the new one",
    ),
    ("\"changed\"", "\"changed\": a window that covers all that differs from the old picture"),
    ("L*", "L*: lightness, from 0 for black to 100 for the whitest paper"),
    ("volt-second", "volt-second: one volt for one second, the measure of how hard the ink was pushed"),
];

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
    /// The walk that was played, if the story is of a flow.
    pub walk: Option<&'s ToldWalk>,
}

/// The walk through a flow that a story is about.
#[derive(Clone, Debug)]
pub struct ToldWalk {
    /// Why it is this one, in words that follow that it is one.
    pub why: String,
    /// Its moves, in words.
    pub words: String,
    /// Whether it ends with what is asked, so that its end is the moment to look at.
    pub is_about_question: bool,
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
    let certainty = certainty_words(plan).map_or(String::new(), |words| format!("{words} "));
    format!("{caution}{indicator}{certainty}{PREDICTIONS}")
}

/// By which factors the figures may be off, as far as the display says it: that of residue is of its least certain mode.
fn certainty_words(plan: &Plan) -> Option<String> {
    let sure = &plan.display.certainty;
    let named = [
        ("ghosts", plan.display.least_residue_certainty()),
        ("durations", sure.durations),
        ("times until something shows", sure.first_visible),
        ("flashes", sure.flashes),
    ];
    estimates_sentence(named.into_iter())
}

/// The parts of a story: a title and its lines.
pub fn paragraphs(report: StoryReport<'_>) -> Vec<(String, Vec<String>)> {
    let StoryReport { path, story, complaint, .. } = report;
    let words = Words { report };
    let name = name_beside_time(story.step, report.plan);
    let is_of_border = story.why_here == WhyHere::Border;
    let title = if is_of_border {
        format!("{path}: the border around the screen")
    } else {
        format!("{path}: {}, {name}", words.time(story.at_ms))
    };
    let mut parts = vec![(title, vec![words.place()])];
    if let Some(walk) = report.walk {
        parts[0]
            .1
            .insert(0, sentence(&format!("this is about one walk through the flow, {}: {}", walk.why, walk.words)));
    }
    if let Some(complaint) = complaint {
        parts.push((format!("About the complaint \"{}\"", complaint.word()), sentences(&story.answers)));
    }
    parts.push(("What happened here".to_owned(), words.events()));
    // Ghosts, and what else is found, say nothing of the border.
    if !is_of_border {
        parts.push(("What is seen now".to_owned(), words.now()));
    }
    let (helps, others) = (words.helps(), if is_of_border { Vec::new() } else { words.other_helps() });
    let advice = || [&story.answers, &helps, &others].into_iter().flatten().map(String::as_str);
    let why = words.why(&|name| advice().any(|line| line.contains(name)));
    if !why.is_empty() {
        parts.push(("How these updates work".to_owned(), why));
    }
    parts.push(("What to do".to_owned(), helps));
    if !others.is_empty() {
        parts.push(("Also reported here, about something else".to_owned(), others));
    }
    let meanings = meanings(&parts, report.plan);
    if !meanings.is_empty() {
        parts.push(("Words".to_owned(), meanings));
    }
    parts
}

/// What the words of the trade mean that stand in these parts.
fn meanings(parts: &[(String, Vec<String>)], plan: &Plan) -> Vec<String> {
    let lines = || parts.iter().skip(1).flat_map(|(_, lines)| lines);
    let is_letter = |letter: Option<char>| letter.is_some_and(char::is_alphabetic);
    // A word begins where it stands: a ghost is no host.
    let begins = |line: &str, at: usize| !is_letter(line[..at].chars().next_back());
    let stands = |word: &str| lines().any(|line| line.match_indices(word).any(|(at, _)| begins(line, at)));
    let mut found: Vec<String> =
        WORDS.iter().filter(|(word, _)| stands(word)).map(|(_, meaning)| format!("{meaning}.")).collect();
    let modes = plan.display.modes.iter().map(|mode| format!("`{}`", mode.name)).filter(|name| stands(name));
    let modes: Vec<String> = modes.collect();
    if !modes.is_empty() {
        let (stand, ways) = if modes.len() == 1 { ("is a mode", "a way") } else { ("are modes", "ways") };
        found.insert(0, format!("{} {stand}: {ways} to update this panel.", listed(&modes, modes.len())));
    }
    // A rule behind a help is said to have reported it; one that is spoken of has to be explained.
    let is_spoken_of = |id: &str| {
        let of_line = |line: &String| line.match_indices(id).any(|(at, _)| !line[..at].ends_with('('));
        lines().any(of_line)
    };
    let rules = pages().iter().map(|page| (format!("`{}`", page.id), &page.title));
    found.extend(
        rules.filter(|(id, _)| is_spoken_of(id)).map(|(id, title)| format!("{id}: the rule that reports: {title}.")),
    );
    found
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

    /// When the device's clock says that the trace begins, ms since midnight.
    fn begins_ms(&self) -> Option<f64> {
        self.report.plan.recorded.as_ref()?.begins_at_ms
    }

    /// A moment: a time of day where a device's clock is known.
    fn time(&self, ms: f64) -> String {
        match self.begins_ms() {
            Some(begins_ms) => time_of_day(begins_ms + ms),
            None if ms < 1.0 => "at the beginning".to_owned(),
            None => format!("{} after the beginning", lasting(ms)),
        }
    }

    /// The same behind "at".
    fn clock(&self, ms: f64) -> String {
        self.begins_ms().map_or_else(|| lasting(ms), |begins_ms| time_of_day(begins_ms + ms))
    }

    fn place(&self) -> String {
        let StoryReport { plan, story, .. } = self.report;
        let Rect { x, y, width, height } = story.place;
        let mm = |pixels: u32| length_mm(f64::from(pixels), plan.display.pixels_per_inch).max(1.0);
        let size = format!("{width} x {height} px ({:.0} x {:.0} mm)", mm(width), mm(height));
        let place = if story.place == plan.screen_size().whole() {
            format!("the whole screen, {size}")
        } else {
            format!(
                "{size}, {x} px from the left edge of the screen and {y} px from its upper edge (`--where {x},{y},{width},\
                 {height}`)"
            )
        };
        let why = match story.why_here {
            WhyHere::Asked => "You asked for this place.".to_owned(),
            WhyHere::AskedForMore => {
                "You asked for a larger place; what lies outside the screen is left out.".to_owned()
            }
            WhyHere::Ghost => {
                "Of all ghosts at the end of this step, the most noticeable one (strength times area) is here."
                    .to_owned()
            }
            WhyHere::Faint => {
                "Nothing there is strong enough to be called a ghost; it is the strongest trace of an older picture."
                    .to_owned()
            }
            WhyHere::Finding(rule) => self.reported_by(rule),
            WhyHere::Sent => "This step updated it.".to_owned(),
            WhyHere::Border => return self.border(),
            WhyHere::Whole => "This step updated nothing.".to_owned(),
        };
        format!("The place is {place}. {why}")
    }

    /// That a rule reports the place, and what that follows from.
    fn reported_by(&self, rule: &str) -> String {
        let findings = &self.report.story.findings;
        let own = findings.iter().find(|finding| finding.rule == rule);
        let cause = own.and_then(|own| {
            let is_cause = |finding: &&Finding| own.cause.as_ref() == Some(&finding.fingerprint);
            findings.iter().find(is_cause)
        });
        match cause {
            Some(cause) => {
                format!("The rule `{rule}` reports this place; that follows from what `{}` reports.", cause.rule)
            }
            None => format!("The rule `{rule}` reports this place."),
        }
    }

    /// What a story about the border is about.
    fn border(&self) -> String {
        let StoryReport { plan, story, .. } = self.report;
        format!(
            "The border is no part of the screen, so no step of your {} shows it. Many controllers drive it \
             when an update flashes, so what follows is about such an update: that of {}, {}.",
            plan.kind().word(),
            name_beside_time(story.step, plan),
            self.time(story.at_ms)
        )
    }

    fn events(&self) -> Vec<String> {
        let story = self.report.story;
        let begins_ms = story.at_ms - story.before_ms;
        let (left, events) = story.events.split_at(story.events.partition_point(|event| event.at_ms < begins_ms));
        let (cut, shown) = events.split_at(events.len().saturating_sub(MOST_EVENTS));
        let mut lines = Vec::new();
        let before = before_words(story, cut, self.report.plan);
        let among = if before.is_some() { " counted there and" } else { "" };
        lines.extend(before);
        lines.extend(left[left.len().saturating_sub(MOST_LEFT)..].iter().map(|event| self.event(event)));
        let left_out = match cut.len() {
            0 => None,
            1 => Some(format!("The first step of {{}} is{among} left out here.")),
            count => Some(format!("The first {count} steps of {{}} are{among} left out here.")),
        };
        lines.extend(left_out.map(|words| words.replace("{}", &these(story.before_ms))));
        for alike in shown.chunk_by(|one, other| self.deeds(one) == self.deeds(other)) {
            lines.push(self.event(&alike[0]));
            if let [_, .., last] = alike {
                let name = name_beside_time(last.step, self.report.plan);
                let times = match alike.len() - 1 {
                    1 => "once more:".to_owned(),
                    times => format!("{times} more times; the last one is"),
                };
                lines.push(format!("The same happens {times} {name}, at {}.", self.clock(last.at_ms)));
            }
        }
        if events.is_empty() {
            let nothing = if left.is_empty() { "Nothing" } else { "That was earlier: nothing" };
            lines.push(format!("{nothing} was drawn or updated here within {}.", these(story.before_ms)));
        }
        lines
    }

    fn event(&self, event: &Event) -> String {
        let name = name_beside_time(event.step, self.report.plan);
        sentence(&format!("{}: {name}{}", self.time(event.at_ms), self.deeds(event)))
    }

    /// What happened in a step, in words that follow its name.
    fn deeds(&self, event: &Event) -> String {
        let by = match event.cause {
            Cause::System => "",
            Cause::Touch => ", after a touch,",
            Cause::Pen => ", after a pen stroke,",
            Cause::Key => ", after a key press,",
            Cause::Clock => ", by the clock,",
        };
        let power = match event.after_power {
            None => "",
            Some(Power::Off) => ", after the panel was switched off,",
            Some(Power::Sleep) => ", after the panel slept,",
        };
        let by = if power.is_empty() || by.is_empty() {
            format!("{by}{power}")
        } else {
            format!("{} and{}", by.trim_end_matches(','), &power[1..])
        };
        let drawn = match (event.drawn_px, event.pen_px) {
            (0, 0) => format!("{by} draws nothing new here"),
            (0, pen) => format!("{by} draws {} here under the pen", counted(pen, "pixel", "pixels")),
            (drawn, _) => format!("{by} changes {} here", self.share(drawn)),
        };
        let sent: Vec<String> = event.sent.iter().map(|sent| self.sent(sent, event)).collect();
        let missed = match event.left_px {
            left if left == event.drawn_px => "that".to_owned(),
            left => format!("{left} of them"),
        };
        let is_lost = event.sent.iter().any(|sent| sent.is_lost);
        let left = match (event.left_px, windows_words(&event.windows, self.report.plan)) {
            (0, _) => String::new(),
            _ if is_lost => format!(", so that no update brings {missed} to the panel"),
            (_, windows) if windows.is_empty() => format!("; no update brings {missed} to the panel"),
            (_, windows) => format!("; {windows}, which does not bring {missed} to the panel"),
        };
        let sent = if sent.is_empty() { String::new() } else { format!("; {}", sent.join(", then ")) };
        format!("{drawn}{sent}{left}")
    }

    /// So many pixels, and how much of the place that is.
    fn share(&self, pixels: u64) -> String {
        let percent = pixels as f64 * 100.0 / self.report.story.place.pixels().max(1) as f64;
        let share = if percent >= 1.0 { format!(" ({percent:.0} % of the place)") } else { String::new() };
        format!("{}{share}", counted(pixels, "pixel", "pixels"))
    }

    fn sent(&self, sent: &SentHere, event: &Event) -> String {
        let mode = self.mode(sent);
        if sent.is_lost {
            let with = match sent.busy_with {
                Some(step) if step == event.step => " with another update of this step".to_owned(),
                Some(step) => format!(" with {}", name_of_step(step, self.report.plan)),
                None => String::new(),
            };
            return format!(
                "`{}` is asked for while the controller is busy{with}, and is never carried out",
                mode.name
            );
        }
        let flash = match mode.flashes {
            0 => "without a flash".to_owned(),
            flashes => format!("with {}", counted(u64::from(flashes), "flash", "flashes")),
        };
        let place = if sent.is_whole { " on the whole panel" } else { "" };
        let wait = match sent.wait_ms {
            ms if ms >= LEAST_WAIT_MS => format!(" (of which it waits {})", lasting(ms)),
            _ => String::new(),
        };
        let short = sent.usual_ms(mode, event.temperature_c).map_or(String::new(), |usual_ms| {
            format!(" is driven for {} only, instead of {}, and", lasting(sent.duration_ms), lasting(usual_ms))
        });
        format!("`{}`{place}{short} is complete after {}{wait}, {flash}", mode.name, lasting(sent.ends_after_ms))
    }

    fn now(&self) -> Vec<String> {
        let Story { ghost, older_px, unreached_px, inked_px, unknown_px, forgets_now, .. } = self.report.story;
        let mut lines = Vec::new();
        let mut of_pixels = |count: u64, words: &str| {
            if count > 0 {
                let subject = if count == 1 { "pixel shows" } else { "pixels show" };
                lines.push(format!("{count} {subject} {words}."));
            }
        };
        of_pixels(*older_px, "the older picture, because no update of them was carried out since they changed");
        of_pixels(*unreached_px, "another shade than was drawn, because the mode that was sent there cannot show it");
        of_pixels(*inked_px, "a pen line that the picture in memory does not contain");
        let unknown = (*unknown_px > 0).then(|| {
            let since =
                if *forgets_now { "The step ends with sleep or without power: from then on the" } else { "The" };
            format!(
                "{since} controller does not know what {} here. Pictures of this story show the place as if it knew.",
                pixels_show(*unknown_px)
            )
        });
        // What nobody knows cannot be called free of ghosts.
        match (ghost, unknown) {
            (None, Some(unknown)) if !*forgets_now && *older_px == 0 => lines.push(unknown),
            (ghost, unknown) => {
                match ghost {
                    Some(ghost) => lines.extend(self.ghost(ghost)),
                    None => lines.push(self.no_ghost(!lines.is_empty())),
                }
                lines.extend(unknown);
            }
        }
        lines
    }

    fn no_ghost(&self, is_wrong: bool) -> String {
        let Story { most_off_l, limit_l, limit_mm2, older_px, .. } = self.report.story;
        // An older picture that was never driven away is no ghost, and yet much more of it is seen.
        let is_older = *older_px > 0;
        if *most_off_l < LEAST_OFF_L {
            return match (is_older, is_wrong) {
                (true, _) => "That is the older picture itself, at full strength, and not a ghost.".to_owned(),
                (false, true) => "Apart from that, no ghost is seen here.".to_owned(),
                (false, false) => "There is no ghost: nothing of older pictures is left here.".to_owned(),
            };
        }
        let no = match (is_older, is_wrong) {
            (true, _) => "That is the older picture itself, at full strength. Apart from it, there is no ghost",
            (false, true) => "Apart from that, there is no ghost",
            (false, false) => "There is no ghost",
        };
        if most_off_l < limit_l {
            return format!(
                "{no} that most people would see: what is left of older pictures is {} L* at most, and most people notice \
                 {limit_l} L*.",
                beside(*most_off_l, *limit_l)
            );
        }
        format!(
            "{no}: single pixels are off by up to {} L*, but nowhere do {limit_mm2} mm2 of them reach the {limit_l} L* that most \
             people notice.",
            beside(*most_off_l, *limit_l)
        )
    }

    fn ghost(&self, ghost: &GhostHere) -> Vec<String> {
        let Story { limit_l, step: now, .. } = self.report.story;
        let what = if ghost.is_outline { "An outline" } else { "A ghost" };
        let tone = if ghost.is_lighter { "lighter" } else { "darker" };
        let pixels = counted(ghost.pixels, "pixel", "pixels");
        let mut seen = match ghost.count {
            0 | 1 => format!(
                "{what} is seen on {pixels}: the place is up to {} L* {tone} than it should be, and most people notice \
                 {limit_l} L*.",
                beside(ghost.worst_l, *limit_l)
            ),
            count => format!(
                "{count} ghosts are seen, on {pixels} together: the strongest is up to {} L* {tone} than it should be, and \
                 most people notice {limit_l} L*.",
                beside(ghost.worst_l, *limit_l)
            ),
        };
        if ghost.is_beyond {
            let reach = if ghost.count > 1 { "They reach" } else { "It reaches" };
            let _ = write!(seen, " {reach} beyond this place; all of the pixels are counted.");
        }
        let mut lines = vec![seen, self.whose_ink(ghost)];
        let (since, ms) = ghost.since;
        let FirstSeen { step: first, is_after_cleaning, .. } = ghost.first;
        let name = |step: u64| name_of_step(step, self.report.plan);
        let start = if is_after_cleaning { "Since the last cleaning of this place, a" } else { "A" };
        lines.push(match (first == since, since == *now) {
            (true, true) => "It appears with this step.".to_owned(),
            (true, false) => format!("A ghost has been seen here for {}, since {}.", lasting(ms), name(since)),
            (false, true) => format!(
                "{start} ghost was first seen at {}. It came and went, and is back with this step.",
                name(first)
            ),
            (false, false) => format!(
                "{start} ghost was first seen at {}. It came and went, and has been visible all the time since {}, for {}.",
                name(first),
                name(since),
                lasting(ms)
            ),
        });
        match ghost.updates {
            0 => {}
            1 => lines.push("Its place has been updated once since it was last cleaned.".to_owned()),
            count => lines.push(format!("Its place has been updated {count} times since it was last cleaned.")),
        }
        lines
    }

    fn whose_ink(&self, ghost: &GhostHere) -> String {
        match (ghost.drawn_by, ghost.drawn_over_by) {
            _ if ghost.is_outline => {
                "It lies beside what was driven: ink moves a little beyond an edge, and the pixels there were not driven \
                 themselves."
                    .to_owned()
            }
            (Some(drew), Some(over)) => {
                format!("It is what {} drew: it shines through what {} drew over it.", name_of_step(drew, self.report.plan), name_of_step(over, self.report.plan))
            }
            (None, Some(over)) => format!(
                "It is what was on the panel before the {} began: it shines through what {} drew over it.",
                self.report.plan.kind().word(),
                name_of_step(over, self.report.plan)
            ),
            _ => format!("It was on the panel before the {} began.", self.report.plan.kind().word()),
        }
    }

    /// Why the modes that were asked for flash, or leave something, and those that are advised: each once.
    fn why(&self, is_advised: &dyn Fn(&str) -> bool) -> Vec<String> {
        let (story, display) = (self.report.story, &self.report.plan.display);
        let mut modes: Vec<(usize, f64)> = Vec::new();
        for event in &story.events {
            let here = event.sent.iter().map(|sent| sent.mode);
            for mode in here.chain(event.windows.iter().map(|(mode, _)| *mode)) {
                if modes.iter().all(|(known, _)| *known != mode) {
                    modes.push((mode, event.temperature_c));
                }
            }
        }
        let now_c = story.events.last().map_or(self.report.plan.temperature_c, |event| event.temperature_c);
        let is_new = |mode: &usize| modes.iter().all(|(known, _)| known != mode);
        let advised = (0..display.modes.len()).filter(is_new);
        let advised = advised.filter(|mode| is_advised(&format!("`{}`", display.modes[*mode].name)));
        let advised = advised.map(|mode| format!("The mode that is advised: {}", mode_words(display, mode, now_c)));
        let used = modes.iter().map(|(mode, temperature_c)| mode_words(display, *mode, *temperature_c));
        used.chain(advised).collect()
    }

    fn helps(&self) -> Vec<String> {
        let Story { findings, about_complaint, answers, advice, .. } = self.report.story;
        let about = &findings[..*about_complaint];
        let mut helps = self.correct_window();
        helps.extend(sentences(&advice.first));
        // What the right window brings along is no second thing to do.
        let mistake = self.report.story.mistake.as_ref();
        let is_other = |finding: &&Finding| mistake.is_none_or(|mistake| !mistake.explains(finding));
        let mut of_findings = self.helps_of(about.iter().filter(is_other)).into_iter();
        helps.extend(of_findings.next());
        helps.extend(sentences(&advice.also));
        helps.extend(of_findings);
        helps.extend(sentences(&advice.then));
        match (helps.is_empty(), answers.is_empty()) {
            (false, _) if self.report.complaint == Some(Complaint::Border) => {
                let fewer =
                    "If the border blinks with each update that flashes, it blinks less if fewer of them are sent:";
                helps.insert(0, fewer.to_owned());
                helps
            }
            (false, _) => helps,
            (true, true) => vec!["No rule reports anything at this place and time.".to_owned()],
            (true, false) => {
                vec![
                    "No rule reports anything of this kind here; what you can do stands above, under \"About the complaint\"."
                        .to_owned(),
                ]
            }
        }
    }

    /// How to correct a window whose numbers are wrong, with the reason where no answer gave it.
    fn correct_window(&self) -> Vec<String> {
        let Story { mistake, answers, .. } = self.report.story;
        let Some(mistake) = mistake else { return Vec::new() };
        let why = (!answers.contains(&mistake.why)).then(|| format!("{} ", sentence(&mistake.why)));
        vec![format!(
            "{}Write {} instead of {} in {}.",
            why.unwrap_or_default(),
            window(mistake.meant),
            window(mistake.asked),
            name_of_step(mistake.step, self.report.plan)
        )]
    }

    /// What helps against what is reported here, and is not about the complaint.
    fn other_helps(&self) -> Vec<String> {
        let Story { findings, about_complaint, advice, .. } = self.report.story;
        let mut helps = sentences(&advice.beside);
        helps.extend(self.helps_of(&findings[*about_complaint..]));
        helps
    }

    /// The helps of some findings of the place, without those that another finding there causes.
    fn helps_of<'f>(&self, some: impl IntoIterator<Item = &'f Finding>) -> Vec<String> {
        let Story { findings: all, step: now, advice, .. } = self.report.story;
        let has_cause_here =
            |finding: &Finding| all.iter().any(|other| finding.cause.as_ref() == Some(&other.fingerprint));
        let is_left_out = |finding: &Finding| advice.left_out.contains(&finding.fingerprint);
        let helpful: Vec<&Finding> = some
            .into_iter()
            .filter(|finding| !finding.help.is_empty() && !has_cause_here(finding) && !is_left_out(finding))
            .collect();
        // Two rules may ask for the same, one of them in more words.
        let is_said = |finding: &Finding| {
            let says_more = |other: &&Finding| other.help.starts_with(&finding.help) && other.help != finding.help;
            helpful.iter().copied().filter(|other| other.step == finding.step).find(says_more).is_some()
        };
        let line = |finding: &&Finding| {
            // A help speaks of the step of its own finding.
            let name = name_of_step(finding.step, self.report.plan);
            let help = if finding.step == *now {
                sentence(&finding.help)
            } else if finding.help.contains("this step") {
                sentence(&finding.help.replace("this step", &name))
            } else if finding.last_step < *now && finding.help.contains(" here") {
                format!("For {name}: {}", stopped(&finding.help))
            } else {
                sentence(&finding.help)
            };
            format!("{help} (`{}`, {})", finding.rule, finding.severity.word())
        };
        helpful.iter().filter(|finding| !is_said(finding)).map(line).collect()
    }
}

/// Why a mode flashes, or does not, what it leaves of older pictures, and how long it takes.
pub(super) fn mode_words(display: &Display, mode: usize, temperature_c: f64) -> String {
    let mode = &display.modes[mode];
    let pixels = if mode.changed_only { "the pixels that change" } else { "every pixel of its window" };
    let way = match display.ink.colours() {
        Some(_) => "back and forth through its colours",
        None => "to black and back to white",
    };
    let drives = match mode.flashes {
        0 => format!("`{}` does not flash, because it drives {pixels} straight to the new shade", mode.name),
        flashes => format!(
            "`{}` flashes {}, because it drives {pixels} {way} before it shows the new picture",
            mode.name,
            times_words(u64::from(flashes))
        ),
    };
    let (leaves, lasts) = (leaves_words(display, mode, temperature_c), lasting(mode.duration_at(temperature_c)));
    format!("{drives}. {leaves}Driving takes {lasts} at {temperature_c} C; sending the picture comes before that.")
}

/// What a mode leaves of older pictures, a sentence with a blank behind it.
fn leaves_words(display: &Display, mode: &Mode, temperature_c: f64) -> String {
    if mode.cleans {
        return "It removes what is left of older pictures. ".to_owned();
    }
    let (darkest, lightest) = display.ink.range_l();
    let residue = mode.residue_at(temperature_c);
    let most = residue.lighter.abs().max(residue.darker.abs()) * (lightest - darkest);
    let usual = if most < LEAST_OFF_L {
        String::new()
    } else {
        format!(
            "A change between black and white leaves up to {most:.1} L* of the old shade, and more each time, until the place \
             is cleaned. "
        )
    };
    let between = residue.pairs.iter().max_by(|one, other| one.leaves_l.abs().total_cmp(&other.leaves_l.abs()));
    let Some(pair) = between.filter(|pair| pair.leaves_l.abs() > most.max(LEAST_OFF_L)) else { return usual };
    let [from, to] = [pair.from, pair.to].map(|level| levels(LevelSet::default().with(level), display));
    let than_meant = if pair.leaves_l > 0.0 { "lighter" } else { "darker" };
    format!(
        "{usual}The worst change is from {from} to {to}: it leaves the place {:.1} L* {than_meant} than it should be. ",
        pair.leaves_l.abs()
    )
}

/// What was before the events that are described one by one; `cut` are those that are not.
fn before_words(story: &Story, cut: &[Event], plan: &Plan) -> Option<String> {
    let last_cleaning = cut.iter().rposition(|event| event.cleans_all);
    let (cleaned_by, updates) = match last_cleaning {
        Some(at) => (Some(cut[at].step), cut[at + 1..].iter().map(Event::taken).sum()),
        None => (story.cleaned_by, story.earlier_updates + cut.iter().map(Event::taken).sum::<u64>()),
    };
    let came = match updates {
        0 => return None,
        updates => counted(updates, "update of the place", "updates of the place"),
    };
    Some(match cleaned_by {
        Some(step) => format!("Earlier, {} cleaned the place, and {came} followed.", name_of_step(step, plan)),
        None if updates == 1 => format!("Earlier there was {came}, without a cleaning."),
        None => format!("Earlier there were {came}, without a cleaning."),
    })
}
