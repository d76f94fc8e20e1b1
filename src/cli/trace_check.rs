//! Whether the trace that a log becomes can be reviewed: it is read as for a review, with its display and its frames, and
//! nothing is written. What is wrong is reported where it comes from: at a line of the log, or in the description of its lines.

use std::{ops::ControlFlow, path::Path, sync::Arc};

use serde_json::Value;

use super::{
    files::{Outside, SettingsStore, load_text, screen_faults, working_folder},
    threads::cores,
};
use crate::{
    review::walk,
    rules::wording::counted,
    source::{
        Fault, Source, Span,
        json::{locate, pointer_to},
    },
    trace::Converted,
};

/// Where a trace comes from.
pub(super) struct Origin<'a> {
    /// The device's log.
    pub(super) log: &'a Arc<Source>,
    /// The description of its lines.
    pub(super) lines: &'a Arc<Source>,
    /// What became of the log.
    pub(super) converted: &'a Converted,
}

/// Reads the trace as if it were at this path; says in words what was checked.
pub(super) fn check_trace(path: &Path, origin: &Origin<'_>, outside: Outside) -> Result<String, Vec<Fault>> {
    let source = Arc::new(Source::new(path.display().to_string(), origin.converted.trace.clone()));
    let mut settings = SettingsStore::new(&working_folder(), &[], outside);
    let placed = |faults: Vec<Fault>| faults.into_iter().map(|fault| origin.place(&source, fault)).collect::<Vec<_>>();
    let loaded = load_text(&source, path, &mut settings, None).map_err(placed)?;
    // All pictures are decoded; what changes between them is of no interest here.
    walk(&loaded.plan, &loaded.screens, cores(), |_| (), |(), _, _| (ControlFlow::Continue(()), None))
        .map_err(|broken| placed(screen_faults(&loaded, broken)))?;
    let steps = counted(loaded.plan.step_count, "step", "steps");
    let frames = counted(loaded.screens.files.len() as u64, "frame", "frames");
    Ok(format!("checked: {steps} on `{}`, {frames}, nothing is wrong", loaded.plan.display.name))
}

impl Origin<'_> {
    /// The same fault where it comes from.
    fn place(&self, trace: &Arc<Source>, fault: Fault) -> Fault {
        let (source, span) = match &fault.place {
            Some((source, span)) if Arc::ptr_eq(source, trace) => self.origin_of(trace, *span),
            None if fault.file == trace.name => return Fault { file: self.log.name.clone(), ..fault },
            _ => return fault,
        };
        Fault { file: source.name.clone(), place: Some((source.clone(), span)), ..fault }
    }

    fn origin_of(&self, trace: &Arc<Source>, span: Span) -> (&Arc<Source>, Span) {
        // The first line is the header, every other line a record.
        let record = trace.line_column(span.start).line.checked_sub(2);
        let line = record.and_then(|record| self.converted.lines.get(record));
        match line.and_then(|line| self.log.text.lines().nth(line - 1)) {
            Some(line) => {
                let start = line.as_ptr().addr() - self.log.text.as_ptr().addr();
                (self.log, Span { start, end: start + line.len() })
            }
            None => (self.lines, self.place_in_header(trace, span)),
        }
    }

    /// The place in the description of the lines where its header has what stands at a place of the trace's first line.
    fn place_in_header(&self, trace: &Arc<Source>, span: Span) -> Span {
        let first = trace.text.lines().next().and_then(|line| serde_json::from_str::<Value>(line).ok());
        let mut pointers = vec![String::new()];
        if let Some(header) = &first {
            add_pointers(header, "", &mut pointers);
        }
        let in_trace: Vec<String> = pointers.iter().map(|pointer| format!("/lines/1{pointer}")).collect();
        let spans = locate(trace, &in_trace.iter().map(String::as_str).collect::<Vec<_>>());
        let at = spans.iter().position(|known| known.start == span.start).unwrap_or(0);
        let pointer = format!("/header{}", pointers[at]);
        locate(self.lines, &[&pointer]).first().copied().unwrap_or_default()
    }
}

/// Adds the pointers to all parts of a value.
fn add_pointers(value: &Value, pointer: &str, pointers: &mut Vec<String>) {
    let parts: Vec<(String, &Value)> = match value {
        Value::Object(fields) => fields.iter().map(|(name, field)| (name.clone(), field)).collect(),
        Value::Array(elements) => elements.iter().enumerate().map(|(at, element)| (at.to_string(), element)).collect(),
        _ => return,
    };
    for (name, part) in parts {
        let pointer = pointer_to(pointer, &name);
        pointers.push(pointer.clone());
        add_pointers(part, &pointer, pointers);
    }
}
