//! Writing the reports of a review, each in its format.

use std::{
    io::{self, Write},
    path::Path,
};

use super::{
    arguments::{Format, ReviewArguments},
    review_run::ReviewRun,
};
use crate::cli::output::write_file;
use crate::{
    report::{RunReport, findings_json, html, junit, markdown, sarif, text},
    source::Fault,
};

/// Writes the reports that go into files.
pub(super) fn write_files(arguments: &ReviewArguments, run: &mut ReviewRun) -> Result<(), Fault> {
    let plain = text::TextStyle::of_files(arguments.detail());
    let out = arguments.out.as_ref().map(|file| (&arguments.format, file));
    for (format, file) in out.into_iter().chain(arguments.also.iter().map(|(format, file)| (format, file))) {
        write_file(file, |out| write_report(&run.report, *format, file, plain, out))?;
    }
    let Some(file) = &arguments.html else { return Ok(()) };
    let form = if arguments.compare.is_some() { html::Form::Compared } else { html::Form::Review };
    run.with_compared(|report, recordings| write_file(file, |out| html::write(report, recordings, form, out)))
}

/// Writes a report to `file`, or prints it if there is none.
pub(super) fn write_report(
    report: &RunReport,
    format: Format,
    file: &Path,
    style: text::TextStyle,
    out: &mut dyn Write,
) -> io::Result<()> {
    let folder = file.parent().map(|folder| folder.display().to_string()).unwrap_or_default();
    match format {
        Format::Text => text::write(report, style, out),
        Format::Json => findings_json::write(report, out),
        Format::Sarif => sarif::write(report, out),
        Format::Junit => junit::write(report, out),
        Format::Markdown => markdown::write(report, &folder, out),
    }
}
