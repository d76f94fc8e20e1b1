//! Two plans beside each other: flashes, answers, residue and energy over the time of the plans, drawn on the same axes,
//! and every figure with what becomes of it, in words.
//!
//! Knows the verdict and the recordings, not how either came to be.

use std::fmt::Write as _;

use maud::{Markup, html};

use super::{
    axis::{Axis, Scale},
    figures::{Figure, of_the_findings, of_the_plan, of_the_residue},
    names::plan_name,
    recording::{Frame, Recording},
};
use crate::report::{
    PlanOutcome, ReviewedPlan, RunReport,
    how_sure::certainty_sentences,
    sentences::{clock, count, ms, stopped},
};

const WIDTH: f64 = 400.0;
const HEIGHT: f64 = 124.0;
const LEFT: f64 = 66.0;
const RIGHT: f64 = 394.0;
const TOP: f64 = 12.0;
const BOTTOM: f64 = 98.0;
/// Pauses take little room: there are many of them, and a chart is small.
const SCALE: Scale = Scale { pause_px: 14.0, px_a_ms: 0.14, narrowest_px: 26.0 };
/// A pause narrower than this is not drawn.
const NARROWEST_PAUSE: f64 = 2.0;
/// Plans are about equally long up to this ratio; a figure of our own.
const ALIKE: f64 = 1.1;
/// So much room the text of a time takes.
const TIME_WIDTH: f64 = 92.0;

/// One of the two plans.
struct Side<'r> {
    word: &'static str,
    plan: &'r ReviewedPlan,
    recording: &'r Recording,
}

/// A figure over the time of a plan.
struct FigureOverTime {
    id: &'static str,
    title: &'static str,
    /// The figure of the whole plan that tells what becomes of it.
    figure: &'static str,
    shape: Shape,
    /// When it has which value from then on, ms.
    points: fn(&Recording) -> Vec<(f64, f64)>,
    value: fn(f64) -> String,
    in_words: fn(&Recording) -> String,
}

#[derive(Clone, Copy, PartialEq)]
enum Shape {
    /// A value holds until the next one.
    Stairs,
    /// A value belongs to its moment alone.
    Stems,
}

const FIGURES_OVER_TIME: [FigureOverTime; 4] = [
    FigureOverTime {
        id: "flashes",
        title: "Flashing updates so far",
        figure: "flashing updates",
        shape: Shape::Stairs,
        points: |recording| running_sum(flashes(recording).map(|(_, begins_ms)| (begins_ms, 1.0))),
        value: |value| format!("{value:.0}"),
        in_words: flashes_in_words,
    },
    FigureOverTime {
        id: "answers",
        title: "Answers to people",
        figure: "slowest first change",
        shape: Shape::Stems,
        points: |recording| answers(recording).filter_map(|frame| Some((frame.request_ms, frame.answer_ms?))).collect(),
        value: |value| in_short(value, &["ms", "s"]),
        in_words: answers_in_words,
    },
    FigureOverTime {
        id: "residue",
        title: "Residue",
        figure: "residue",
        shape: Shape::Stairs,
        points: |recording| in_order(recording.frames.iter().map(|frame| (frame.ends_ms(), frame.residue_l))),
        value: |value| format!("{value:.1} L*"),
        in_words: residue_in_words,
    },
    FigureOverTime {
        id: "energy",
        title: "Energy so far",
        figure: "energy",
        shape: Shape::Stairs,
        points: |recording| running_sum(recording.frames.iter().map(|frame| (frame.ends_ms(), frame.energy_mj()))),
        value: |value| in_short(value, &["mJ", "J", "kJ"]),
        in_words: energy_in_words,
    },
];

/// A value in the first of these units, each a thousand of the one before, in which it has no more than four digits.
fn in_short(value: f64, units: &[&str]) -> String {
    match units {
        [_, larger @ ..] if value >= 9_999.5 && !larger.is_empty() => in_short(value / 1000.0, larger),
        [unit, ..] if value < 10.0 => format!("{} {unit}", ms(value)),
        [unit, ..] => format!("{value:.0} {unit}"),
        [] => format!("{value:.0}"),
    }
}

/// The part of the page that holds the two plans of a report against each other; nothing where one could not be read.
pub(super) fn section(report: &RunReport, recordings: &[Option<&Recording>]) -> Markup {
    let mut sides = ["before", "after"].into_iter().zip(report.plans.iter().zip(recordings)).filter_map(
        |(word, (plan, recording))| {
            let PlanOutcome::Reviewed(plan) = &plan.outcome else { return None };
            Some(Side { word, plan, recording: recording.as_ref()? })
        },
    );
    let (Some(before), Some(after)) = (sides.next(), sides.next()) else { return html! {} };
    let figures = figures(&before, &after);
    let sides = [before, after];
    let axis = shared_axis(&sides);
    html! {
        section.compared aria-labelledby="compared" {
            h2 id="compared" { "Side by side" }
            dl.sides { @for side in &sides { div { dt { (side.word) } dd { (plan_name(side.plan)) " " span.faint { (side.plan.source.name) } } } } }
            p.faint { "Two charts beside each other have the same time and the same scale; in all of them lower is better. "
                "A line ends where its plan ends. "
                (pauses_in_words(&axis)) }
            @if let Some(words) = lengths_in_words(&sides) { p { (words) } }
            @for drawn in &FIGURES_OVER_TIME { (row(drawn, &sides, &axis, &figures)) }
            h3 { "Every figure" }
            (table(&figures))
            @if let Some(words) = certainty_sentences(&sides.each_ref().map(|side| &side.plan.summary)) { p.faint { (words) } }
        }
    }
}

/// The figures of both plans, a pair each; nothing where a plan has none of that name.
fn figures(before: &Side<'_>, after: &Side<'_>) -> Vec<[Option<Figure>; 2]> {
    let of = |side: &Side<'_>| {
        let found = of_the_findings(&side.plan.summary).into_iter();
        let summary = &side.plan.summary;
        found.chain(of_the_plan(summary)).chain([of_the_residue(summary)]).collect::<Vec<_>>()
    };
    let mut others = of(after);
    let mut pairs = Vec::new();
    for figure in of(before) {
        let at = others.iter().position(|other| other.name == figure.name);
        let other = at.map(|at| others.remove(at));
        pairs.push([Some(figure), other]);
    }
    pairs.extend(others.into_iter().map(|other| [None, Some(other)]));
    pairs
}

fn change(pair: &[Option<Figure>; 2]) -> String {
    match pair {
        [Some(before), Some(after)] => before.change(after),
        _ => "not comparable".into(),
    }
}

fn name(pair: &[Option<Figure>; 2]) -> &'static str {
    pair.iter().flatten().map(|figure| figure.name).next().unwrap_or_default()
}

fn table(figures: &[[Option<Figure>; 2]]) -> Markup {
    let shown = |figure: &Option<Figure>| figure.as_ref().map_or_else(|| "not known".to_owned(), Figure::shown);
    html! {
        div.wide tabindex="0" role="group" aria-label="Figures of both plans" {
            table {
                thead { tr { @for head in ["figure", "before", "after", "change"] { th scope="col" { (head) } } } }
                tbody {
                    @for pair in figures {
                        tr { th scope="row" { (name(pair)) } td { (shown(&pair[0])) } td { (shown(&pair[1])) } td { (change(pair)) } }
                    }
                }
            }
        }
        p.faint { "If a figure is marked neither “better” nor “worse”, the purpose of the plan decides." }
    }
}

/// One axis for both: what either plan does has its room on it.
fn shared_axis(sides: &[Side<'_>; 2]) -> Axis {
    let works = sides.iter().flat_map(|side| &side.recording.frames).map(Frame::busy);
    Axis::new(in_order(works).into_iter(), LEFT, SCALE).fitted(RIGHT - LEFT)
}

fn pauses_in_words(axis: &Axis) -> &'static str {
    match axis.stretches.len() {
        0 | 1 => "",
        _ if pauses(axis).next().is_some() => "Pauses are cut short; the wider ones are grey.",
        _ => "Pauses are cut short.",
    }
}

/// That sums of unequally long plans are unequal for that alone; nothing where the plans are about equally long.
fn lengths_in_words(sides: &[Side<'_>; 2]) -> Option<String> {
    let [before, after] = sides.each_ref().map(|side| side.plan.summary.seconds * 1000.0);
    let (shorter, longer) = (before.min(after), before.max(after));
    (longer > ALIKE * shorter).then(|| {
        format!(
            "The plans do not play equally long, {} before and {} after, so the shorter one has fewer flashes and \
             cleanings and less driving and energy for that reason alone.",
            clock(before),
            clock(after)
        )
    })
}

/// The pauses that are wide enough to be drawn: from where, and how wide.
fn pauses(axis: &Axis) -> impl Iterator<Item = (f64, f64)> {
    let all = axis.stretches.windows(2).map(|pair| (pair[0].right(), pair[1].left - pair[0].right()));
    all.filter(|(_, width)| *width >= NARROWEST_PAUSE)
}

fn row(drawn: &FigureOverTime, sides: &[Side<'_>; 2], axis: &Axis, figures: &[[Option<Figure>; 2]]) -> Markup {
    let points = sides.each_ref().map(|side| (drawn.points)(side.recording));
    let limit =
        if drawn.id == "residue" { sides.iter().map(|side| side.recording.limit_l).fold(0.0, f64::max) } else { 0.0 };
    let most = points.iter().flatten().map(|point| point.1).fold(limit, f64::max);
    let changed = figures.iter().find(|pair| name(pair) == drawn.figure).map(change).unwrap_or_default();
    let id = format!("course-{}", drawn.id);
    html! {
        div.course {
            div { h3 id=(id) { (drawn.title) } p { (changed) } }
            @for (side, points) in sides.iter().zip(&points) {
                @let caption = format!("{id}-{}", side.word);
                figure {
                    p.side id={ (caption) "-side" } { (side.word) }
                    svg.chart role="img" aria-labelledby={ (id) " " (caption) "-side " (caption) } viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) {
                        (Drawing { drawn, side, points, axis, most }.draw())
                    }
                    figcaption id=(caption) { (stopped(&(drawn.in_words)(side.recording))) (end_in_words(side.recording)) }
                }
            }
        }
    }
}

/// Where a chart ends, if that is before its plan does.
fn end_in_words(recording: &Recording) -> String {
    let behind = recording.steps_behind(recording.frames.len());
    let (Some(last), true) = (recording.frames.last(), behind > 0) else { return String::new() };
    let steps = count(behind, "step", "steps");
    format!(" All this up to step {}, where the chart ends, {steps} before the plan does.", last.index)
}

struct Drawing<'d> {
    drawn: &'d FigureOverTime,
    side: &'d Side<'d>,
    points: &'d [(f64, f64)],
    axis: &'d Axis,
    /// The largest value of both plans.
    most: f64,
}

impl Drawing<'_> {
    fn draw(&self) -> Markup {
        html! {
            path.pause d=(self.pauses()) {}
            path.base d=(format!("M{LEFT} {TOP}H{RIGHT}M{LEFT} {BOTTOM}H{RIGHT}")) {}
            @if self.most > 0.0 { text.end x=(LEFT - 6.0) y=(TOP + 5.0) { ((self.drawn.value)(self.most)) } }
            text.end x=(LEFT - 6.0) y=(BOTTOM + 4.0) { "0" }
            (self.times())
            @if self.drawn.shape == Shape::Stems { (self.stems()) } @else {
                path.area d=(format!("{}V{BOTTOM}Z", self.stairs())) {}
                path.course-line d=(self.stairs()) {}
            }
            @if self.drawn.id == "residue" && self.most > 0.0 {
                path.limit d=(format!("M{LEFT} {:.1}H{RIGHT}", self.y(self.side.recording.limit_l))) {}
            }
            @if self.side.recording.steps_behind(self.side.recording.frames.len()) > 0 {
                path.cut d=(format!("M{:.0} {}V{BOTTOM}", self.end(), TOP - 8.0)) {}
            }
        }
    }

    fn y(&self, value: f64) -> f64 {
        let share = if self.most > 0.0 { value / self.most } else { 0.0 };
        BOTTOM - share.min(1.0) * (BOTTOM - TOP)
    }

    /// Where the plan, or what is recorded of it, ends.
    fn end(&self) -> f64 {
        self.axis.x(self.side.recording.frames.iter().map(|frame| frame.busy().1).fold(0.0, f64::max))
    }

    fn pauses(&self) -> String {
        let mut path = String::new();
        for (left, width) in pauses(self.axis) {
            let _ = write!(path, "M{left:.1} {TOP}h{width:.1}V{BOTTOM}h-{width:.1}Z");
        }
        path
    }

    /// Times below the axis, as many as there is room for.
    fn times(&self) -> Markup {
        let stretches = &self.axis.stretches;
        let mut taken_to = LEFT + TIME_WIDTH / 2.0;
        let mut between = Vec::new();
        for stretch in stretches.iter().skip(1) {
            let (left, right) = (stretch.left - TIME_WIDTH / 2.0, stretch.left + TIME_WIDTH / 2.0);
            if left >= taken_to && right <= RIGHT - TIME_WIDTH {
                between.push(stretch);
                taken_to = right;
            }
        }
        let y = BOTTOM + 20.0;
        html! {
            text x=(LEFT) y=(y) { (stretches.first().map_or_else(String::new, |first| clock(first.begin_ms))) }
            @for stretch in between {
                path.tick d=(format!("M{:.1} {BOTTOM}v6", stretch.left)) {}
                text.middle x=(format!("{:.1}", stretch.left)) y=(y) { (clock(stretch.begin_ms)) }
            }
            text.end x=(RIGHT) y=(y) { (stretches.last().map_or_else(String::new, |last| clock(last.end_ms))) }
        }
    }

    /// The line of a value that holds until the next: no more than its peak and its last value a column, however long the
    /// plan.
    fn stairs(&self) -> String {
        let mut path = format!("M{LEFT} {BOTTOM}");
        let mut y_now = BOTTOM;
        for (x, peak, last) in columns(self.axis, self.points) {
            for y in [self.y(peak), self.y(last)] {
                if (y - y_now).abs() > 0.04 {
                    let _ = write!(path, "H{x:.0}V{y:.1}");
                    y_now = y;
                }
            }
        }
        let _ = write!(path, "H{:.0}", self.end());
        path
    }

    /// A stem for each answer, the longest of a column; a cross where no change is seen.
    fn stems(&self) -> Markup {
        let unseen = answers(self.side.recording).filter(|frame| frame.answer_ms.is_none());
        let unseen: Vec<(f64, f64)> = unseen.map(|frame| (frame.request_ms, 0.0)).collect();
        html! {
            @for (x, peak, _) in columns(self.axis, self.points) {
                path.stem d=(format!("M{x:.0} {BOTTOM}V{:.1}", self.y(peak))) {}
                circle cx=(format!("{x:.0}")) cy=(format!("{:.1}", self.y(peak))) r="2.8" {}
            }
            @for (x, _, _) in columns(self.axis, &unseen) {
                path.unseen d=(format!("M{:.0} {}l8 8m0 -8l-8 8", x - 4.0, BOTTOM - 4.0)) {}
            }
        }
    }
}

/// Column by column of a chart: its place, the largest value in it, and the last one.
fn columns(axis: &Axis, points: &[(f64, f64)]) -> Vec<(f64, f64, f64)> {
    let mut columns: Vec<(f64, f64, f64)> = Vec::new();
    for (ms, value) in points {
        let x = axis.x(*ms).round();
        match columns.last_mut() {
            Some(last) if last.0 >= x => (last.1, last.2) = (last.1.max(*value), *value),
            _ => columns.push((x, *value, *value)),
        }
    }
    columns
}

/// Pairs in the order of their first, those of the same stay in theirs.
fn in_order(pairs: impl Iterator<Item = (f64, f64)>) -> Vec<(f64, f64)> {
    let mut pairs: Vec<(f64, f64)> = pairs.collect();
    pairs.sort_by(|one, other| one.0.total_cmp(&other.0));
    pairs
}

fn running_sum(pairs: impl Iterator<Item = (f64, f64)>) -> Vec<(f64, f64)> {
    let mut sum = 0.0;
    let mut pairs = in_order(pairs);
    for pair in &mut pairs {
        sum += pair.1;
        pair.1 = sum;
    }
    pairs
}

/// Steps with updates that flash, and when these begin, ms.
fn flashes(recording: &Recording) -> impl Iterator<Item = (&Frame, f64)> {
    let of_step = |frame| flashing(frame).map(move |begins_ms| (frame, begins_ms));
    recording.frames.iter().flat_map(of_step)
}

fn flashing(frame: &Frame) -> impl Iterator<Item = f64> {
    frame.updates.iter().filter(|update| update.flashes > 0).map(|update| update.start_ms)
}

/// Steps that a person asks for.
fn answers(recording: &Recording) -> impl Iterator<Item = &Frame> {
    recording.frames.iter().filter(|frame| frame.cause.is_person())
}

fn step(frame: &Frame) -> String {
    let label = frame.label.as_ref().map_or(String::new(), |label| format!(" \"{label}\""));
    format!("step {}{label}", frame.index)
}

fn largest(frames: &[Frame], value: fn(&Frame) -> f64) -> Option<(&Frame, f64)> {
    // Of equal ones, the first.
    let valued = frames.iter().map(|frame| (frame, value(frame)));
    valued.rev().max_by(|one, other| one.1.total_cmp(&other.1)).filter(|(_, value)| *value > 0.0)
}

fn flashes_in_words(recording: &Recording) -> String {
    let flashes: Vec<_> = flashes(recording).collect();
    match flashes.as_slice() {
        [] => "no update flashes".into(),
        [(frame, begins_ms)] => format!("1 flashing update, at {}, {}", clock(*begins_ms), step(frame)),
        [first, .., last] => {
            let (first_ms, last_ms) = (clock(first.1), clock(last.1));
            format!(
                "{} flashing updates: the first at {first_ms}, {}; the last at {last_ms}, {}",
                flashes.len(),
                step(first.0),
                step(last.0)
            )
        }
    }
}

fn answers_in_words(recording: &Recording) -> String {
    let asked = answers(recording).count() as u64;
    let seen = answers(recording).filter_map(|frame| Some((frame, frame.answer_ms?)));
    let seen: Vec<(&Frame, f64)> = seen.collect();
    let unseen = match asked - seen.len() as u64 {
        0 => String::new(),
        unseen => format!("; {} without any change seen, a cross each", count(unseen, "request", "requests")),
    };
    let quickest = seen.iter().map(|(_, answer_ms)| *answer_ms).fold(f64::MAX, f64::min);
    let Some((slowest, answer_ms)) = seen.iter().rev().max_by(|one, other| one.1.total_cmp(&other.1)) else {
        return if asked == 0 { "nobody asks for anything".into() } else { format!("no answer is seen{unseen}") };
    };
    let many = count(seen.len() as u64, "answer", "answers");
    let (quick, slow) = (ms(quickest), ms(*answer_ms));
    if quick == slow {
        return format!("{many} after {slow} ms{unseen}");
    }
    format!("{many}, the quickest after {quick} ms, the slowest after {slow} ms: {}{unseen}", step(slowest))
}

fn residue_in_words(recording: &Recording) -> String {
    let last_l = recording.frames.last().map_or(0.0, |frame| frame.residue_l);
    let limit_l = recording.limit_l;
    let limit = format!("above the dashed line at {limit_l} L*, residue is a visible ghost");
    match largest(&recording.frames, |frame| frame.residue_l) {
        None => format!("no residue; {limit}"),
        Some((frame, worst_l)) => {
            let end = if last_l > 0.0 { format!("{last_l:.1} L* at the end") } else { "none at the end".into() };
            format!("{worst_l:.1} L* after {}; {end}; {limit}", step(frame))
        }
    }
}

fn energy_in_words(recording: &Recording) -> String {
    let all_mj: f64 = recording.frames.iter().map(Frame::energy_mj).sum();
    match largest(&recording.frames, Frame::energy_mj) {
        None => "no energy is counted".into(),
        Some((frame, most_mj)) => {
            format!("{all_mj:.0} mJ in all; the largest part, {most_mj:.0} mJ, is for {}", step(frame))
        }
    }
}
