//! A message and the place in a file that it is about, as the drawing library wants them.
//!
//! Shows the lines around a place and no more of a file; knows nothing of findings.

use std::fmt;

use miette::{
    Diagnostic, LabeledSpan, MietteError, MietteSpanContents, Severity as Shade, SourceCode, SourceSpan, SpanContents,
};

use crate::source::{Source, Span};

/// Characters of a line of a file that are shown at the most.
const LINE_CHARACTERS: usize = 100;

/// A message with a place, as the drawing library wants it.
pub(super) struct Marked {
    pub(super) message: String,
    pub(super) code: String,
    pub(super) shade: Shade,
    pub(super) help: Option<String>,
    pub(super) excerpt: Option<Excerpt>,
    pub(super) label: String,
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
pub(super) struct Excerpt {
    name: String,
    text: String,
    /// Lines of the file before the excerpt.
    lines_before: usize,
    /// Characters of the file's line before the place.
    column: usize,
    span: SourceSpan,
}

impl Excerpt {
    pub(super) fn new(source: &Source, span: Span) -> Self {
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
