//! The report as text for people: each finding with the underlined place in its file.
//!
//! Says what is underlined and what stands beside it; how that is drawn is not known here.

use std::{
    fmt::{self, Write as _},
    io::{self, Write},
};

use miette::{
    Diagnostic, LabeledSpan, MietteError, MietteSpanContents, Severity as Shade, SourceCode, SourceSpan, SpanContents,
};

use super::{
    ByCause, PlanOutcome, PlanReport, ReviewedPlan, RunReport,
    sentences::{
        PREDICTIONS, count, estimate_words, following_words, gone_words, known_by_rule, margin_lines, place_words,
    },
    underline,
};
use crate::{
    finding::{Finding, Severity, Summary},
    rules::{INDICATOR_CAUTION, cautions_of},
    source::{Fault, Source, Span, readable},
};

/// How text is drawn.
#[derive(Clone, Copy, Debug)]
pub struct TextStyle {
    /// Whether colours are used.
    pub colour: bool,
    /// Columns of the terminal.
    pub width: usize,
}

/// Characters of a line of a file that are shown at the most.
const LINE_CHARACTERS: usize = 100;
/// Known findings that are gone are told one by one up to this number.
const MOST_GONE: usize = 10;

/// Writes the findings of a run.
///
/// # Errors
/// Where the writer fails.
pub fn write(report: &RunReport, style: TextStyle, out: &mut dyn Write) -> io::Result<()> {
    write_some(report, &|_| true, style, out)
}

/// Writes the findings of some plans of a run, and the figures of all.
///
/// # Errors
/// Where the writer fails.
pub fn write_some(
    report: &RunReport,
    is_shown: &dyn Fn(usize) -> bool,
    style: TextStyle,
    out: &mut dyn Write,
) -> io::Result<()> {
    for (_, plan) in report.plans.iter().enumerate().filter(|(at, _)| is_shown(*at)) {
        match &plan.outcome {
            PlanOutcome::Reviewed(reviewed) => write_plan(plan, reviewed, style, out)?,
            PlanOutcome::Refused(faults) => {
                let count = if faults.len() == 1 { "1 fault".to_owned() } else { format!("{} faults", faults.len()) };
                writeln!(out, "{}  not reviewed: {count}\n", plan.path)?;
            }
        }
    }
    write_total(report, out)
}

fn write_plan(report: &PlanReport, plan: &ReviewedPlan, style: TextStyle, out: &mut dyn Write) -> io::Result<()> {
    let title = if plan.title.is_empty() { String::new() } else { format!("  \"{}\"", readable(&plan.title)) };
    let at = report.temperature_c.map_or(String::new(), |celsius| format!("  at {celsius} C"));
    writeln!(out, "{}{title}{at}", report.path)?;
    writeln!(out, "  {} on {}: {}\n", count(plan.steps, "step", "steps"), plan.display, verdict(plan))?;
    for ByCause { finding, place, following } in plan.by_cause() {
        if finding.is_open() {
            out.write_all(finding_text(plan, finding, place, style).as_bytes())?;
            for following in following {
                writeln!(out, "  from the same cause: {}", readable(&following_words(following)))?;
            }
            writeln!(out)?;
        }
    }
    for finding in &plan.findings {
        if let Some(because) = &finding.accepted {
            writeln!(
                out,
                "  accepted: {} at {}, because {}",
                finding.rule,
                readable(&place_words(finding)),
                readable(because)
            )?;
        }
    }
    if plan.findings.iter().any(|finding| finding.accepted.is_some()) {
        writeln!(out)?;
    }
    write_known(plan, out)?;
    if let Some(words) = figures(&plan.summary) {
        writeln!(out, "  {words}\n")?;
    }
    let margins = margin_lines(&plan.summary);
    for line in &margins {
        writeln!(out, "  {line}")?;
    }
    if !margins.is_empty() {
        writeln!(out)?;
    }
    let mut cautions = cautions_of(plan.findings.iter().map(|finding| finding.rule));
    cautions.extend(plan.is_indicator.then_some(INDICATOR_CAUTION));
    for caution in &cautions {
        writeln!(out, "  caution: {caution}")?;
    }
    if !cautions.is_empty() {
        writeln!(out)?;
    }
    for text in &plan.summary.not_checked {
        writeln!(out, "  not checked: {text}")?;
    }
    if !plan.summary.not_checked.is_empty() {
        writeln!(out)?;
    }
    Ok(())
}

/// What was there before, by rule, and what is no longer.
fn write_known(plan: &ReviewedPlan, out: &mut dyn Write) -> io::Result<()> {
    if let Some(words) = known_by_rule(plan) {
        writeln!(out, "  known: {words}\n")?;
    }
    for gone in plan.gone.iter().take(MOST_GONE) {
        writeln!(out, "  gone: {}", gone_words(gone))?;
    }
    if plan.gone.len() > MOST_GONE {
        writeln!(out, "  gone: {} more", plan.gone.len() - MOST_GONE)?;
    }
    if !plan.gone.is_empty() {
        writeln!(out)?;
    }
    Ok(())
}

/// The figures of a plan in a line.
fn figures(summary: &Summary) -> Option<String> {
    let mut parts = vec![
        count(summary.cleanings, "cleaning", "cleanings"),
        count(summary.flashing_updates, "flashing update", "flashing updates"),
        format!("driven for {:.1} of {:.1} s", summary.driving_seconds, summary.seconds),
    ];
    if summary.longest_answer_ms > 0.0 {
        parts.push(format!("longest answer {:.0} ms", summary.longest_answer_ms));
    }
    if summary.worst_residue_l > 0.0 {
        parts.push(format!("strongest ghost {:.2} L*", summary.worst_residue_l));
    }
    if summary.energy_mj > 0.0 {
        parts.push(format!("{:.1} mJ", summary.energy_mj));
    }
    if let Some(power) = summary.power {
        parts.push(format!("{:.3} mW on average", power.mean_mw));
        parts.extend(power.days.map(|days| format!("{days:.0} days per charge")));
    }
    (summary.seconds > 0.0).then(|| parts.join(", "))
}

fn verdict(plan: &ReviewedPlan) -> String {
    let summary = &plan.summary;
    let counts = [
        (summary.error, "error", "errors"),
        (summary.warning, "warning", "warnings"),
        (summary.note, "note", "notes"),
        (summary.accepted, "accepted", "accepted"),
    ];
    let parts: Vec<String> = counts
        .iter()
        .filter(|(number, _, _)| *number > 0)
        .map(|(number, one, many)| count(*number, one, many))
        .collect();
    if parts.is_empty() {
        return "nothing found".into();
    }
    let known = match plan.known() {
        0 => String::new(),
        _ if plan.findings.iter().all(|finding| !finding.is_open()) => "; nothing new".to_owned(),
        known => format!("; {known} of them known"),
    };
    format!("{}{known}", parts.join(", "))
}

fn write_total(report: &RunReport, out: &mut dyn Write) -> io::Result<()> {
    let reviewed = report.reviewed().count() as u64;
    let refused = report.plans.len() as u64 - reviewed;
    let sum = |figure: fn(&ReviewedPlan) -> u64| report.reviewed().map(figure).sum::<u64>();
    let mut line = format!(
        "{} reviewed: {}, {}, {}",
        count(reviewed, "plan", "plans"),
        count(sum(|plan| plan.summary.error), "error", "errors"),
        count(sum(|plan| plan.summary.warning), "warning", "warnings"),
        count(sum(|plan| plan.summary.note), "note", "notes"),
    );
    if refused > 0 {
        let _ = write!(line, "; {} could not be read", count(refused, "plan", "plans"));
    }
    let known = report.reviewed().map(ReviewedPlan::known).sum::<u64>();
    if known > 0 {
        let _ = write!(line, "; {known} of them known");
    }
    writeln!(out, "{line}.")?;
    if report.gone() > 0 {
        let gone = count(report.gone(), "known finding is gone", "known findings are gone");
        writeln!(out, "{gone}: remove them from the list with --write-known.")?;
    }
    writeln!(out, "{PREDICTIONS}")
}

/// A finding as text.
pub fn finding_text(plan: &ReviewedPlan, finding: &Finding, place: Span, style: TextStyle) -> String {
    let shade = match finding.severity {
        Severity::Error => Shade::Error,
        Severity::Warning => Shade::Warning,
        Severity::Note => Shade::Advice,
    };
    let marked = Marked {
        message: readable(&format!("{}: {}", place_words(finding), finding.message)),
        code: format!("{} ({})", finding.rule, finding.severity.word()),
        shade,
        help: Some(finding.help.clone()),
        excerpt: Some(Excerpt::new(&plan.source, place)),
        label: finding.rect.map_or(String::new(), |rect| format!("at {:?} on the screen", rect.to_array())),
    };
    let estimate = estimate_words(finding).map_or(String::new(), |words| format!("  {words}\n"));
    format!("{}{estimate}", draw(&marked, style))
}

/// A fault as text.
pub fn fault_text(fault: &Fault, style: TextStyle) -> String {
    let (message, excerpt) = match &fault.place {
        Some((source, span)) => (fault.message.clone(), Some(Excerpt::new(source, *span))),
        None if fault.file.is_empty() => (fault.message.clone(), None),
        None => (format!("{}: {}", fault.file, fault.message), None),
    };
    let marked = Marked {
        message,
        code: "cannot be read".into(),
        shade: Shade::Error,
        help: fault.help.clone(),
        excerpt,
        label: String::new(),
    };
    draw(&marked, style)
}

fn draw(marked: &Marked, style: TextStyle) -> String {
    let text = underline::draw(marked, style.width, style.colour);
    let mut lines: String = text.lines().map(str::trim_end).collect::<Vec<_>>().join("\n");
    lines.push('\n');
    lines
}

/// A message with a place, as the drawing library wants it.
struct Marked {
    message: String,
    code: String,
    shade: Shade,
    help: Option<String>,
    excerpt: Option<Excerpt>,
    label: String,
}

impl fmt::Debug for Marked {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl fmt::Display for Marked {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Marked {}

impl Diagnostic for Marked {
    fn code<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        Some(Box::new(&self.code))
    }

    fn severity(&self) -> Option<Shade> {
        Some(self.shade)
    }

    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        self.help.as_ref().filter(|help| !help.is_empty()).map(|help| Box::new(help) as Box<dyn fmt::Display>)
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        self.excerpt.as_ref().map(|excerpt| excerpt as &dyn SourceCode)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        let excerpt = self.excerpt.as_ref()?;
        let label = (!self.label.is_empty()).then(|| self.label.clone());
        Some(Box::new(std::iter::once(LabeledSpan::new_with_span(label, excerpt.span))))
    }
}

/// The lines around a place, long ones cut on both sides of it: no file is ever shown whole.
struct Excerpt {
    name: String,
    text: String,
    /// Lines of the file before the excerpt.
    lines_before: usize,
    /// Characters of the file's line before the place.
    column: usize,
    span: SourceSpan,
}

impl Excerpt {
    fn new(source: &Source, span: Span) -> Self {
        let text = &source.text;
        let start = span.start.min(text.len());
        let line_start = text[..start].rfind('\n').map_or(0, |at| at + 1);
        let line_end = text[start..].find('\n').map_or(text.len(), |at| start + at);
        let end = span.end.clamp(start, line_end);
        let column = text[line_start..start].chars().count();
        // A long line is shown from a little before the place on.
        let cut = column.saturating_sub(LINE_CHARACTERS / 2);
        let clip = |line: &str| clipped(line.trim_end(), cut);
        let before = (line_start > 0).then(|| {
            let previous = &text[..line_start - 1];
            &previous[previous.rfind('\n').map_or(0, |at| at + 1)..]
        });
        let after = text.get(line_end + 1..).map(|rest| rest.lines().next().unwrap_or(""));
        let mut shown = String::new();
        if let Some(before) = before {
            shown.push_str(&clip(before));
            shown.push('\n');
        }
        let line = clip(&text[line_start..line_end]);
        let before_place = text[line_start..start].chars().count() - cut;
        let prefix: String = line.chars().take(before_place).collect();
        let offset = shown.len() + prefix.len();
        let marked: String = text[start..end].chars().take(LINE_CHARACTERS.saturating_sub(before_place)).collect();
        let length = line.chars().skip(before_place).take(marked.chars().count()).map(char::len_utf8).sum();
        shown.push_str(&line);
        if let Some(after) = after.filter(|after| !after.is_empty()) {
            shown.push('\n');
            shown.push_str(&clip(after));
        }
        let line = source.line_column(start).line;
        Self {
            name: source.name.clone(),
            text: shown,
            lines_before: line - 1 - usize::from(before.is_some()),
            column,
            span: SourceSpan::new(offset.into(), length),
        }
    }
}

/// The part of a line that is shown; dots stand for the character at an end behind which more was cut away.
fn clipped(line: &str, cut: usize) -> String {
    // What steers a terminal is shown as one sign, a tab as a blank: the columns stay.
    let plain = |character: char| match character {
        '\t' => ' ',
        character if character.is_control() => '\u{fffd}',
        character => character,
    };
    let mut shown: Vec<char> = line.chars().skip(cut).take(LINE_CHARACTERS).map(plain).collect();
    if line.chars().nth(cut + LINE_CHARACTERS).is_some() {
        shown.pop();
        shown.push('…');
    }
    if let (true, Some(first)) = (cut > 0, shown.first_mut()) {
        *first = '…';
    }
    shown.into_iter().collect()
}

impl SourceCode for Excerpt {
    fn read_span<'a>(
        &'a self,
        span: &SourceSpan,
        lines_before: usize,
        lines_after: usize,
    ) -> Result<Box<dyn SpanContents<'a> + 'a>, MietteError> {
        let inner = self.text.read_span(span, lines_before, lines_after)?;
        // The library counts columns in the excerpt; at the place itself the file's own column stands.
        let column = if span.offset() == self.span.offset() { self.column } else { inner.column() };
        Ok(Box::new(MietteSpanContents::new_named(
            self.name.clone(),
            inner.data(),
            *inner.span(),
            inner.line() + self.lines_before,
            column,
            inner.line_count(),
        )))
    }
}
