//! A line for each finding and nothing else, in the order of the plans and their steps.

use std::io::{self, Write};

use super::super::{
    PlanReport,
    how_sure::certainty_words,
    sentences::{at_temperature, headline},
};
use crate::source::readable;

pub(super) fn write(shown: &[&PlanReport], out: &mut dyn Write) -> io::Result<()> {
    for report in shown {
        let Some(plan) = report.reviewed() else { continue };
        let at = at_temperature(report.temperature_c);
        for (finding, place) in plan.findings.iter().zip(&plan.places).filter(|(finding, _)| finding.is_open()) {
            let from = plan.source.line_column(place.start);
            let (level, rule, words) = (finding.severity.word(), finding.rule, readable(&headline(finding)));
            let certainty = certainty_words(finding).map_or(String::new(), |words| format!("; {words}"));
            writeln!(out, "{}:{}:{} {level} {rule}{at} {words}{certainty}", report.path, from.line, from.column)?;
        }
    }
    Ok(())
}
