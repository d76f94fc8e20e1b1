//! Every place of every finding, in the order of the steps, with the lines around it.
//!
//! Knows what is said of a finding, and nothing of what weighs more.

use std::io::{self, Write};

use super::{
    super::{
        ByCause, PlanReport, ReviewedPlan, RunReport,
        how_sure::estimate_words,
        sentences::{following_words, place_words, walk_words},
    },
    marked::{Excerpt, Marked},
    plan_lines::{write_each, write_figures, write_heading},
    style::TextStyle,
    underline::{draw, shade, wrapped},
};
use crate::{
    finding::Finding,
    source::{Span, readable},
};

/// Writes all findings of some plans.
pub(super) fn write(
    report: &RunReport,
    shown: &[&PlanReport],
    style: TextStyle,
    out: &mut dyn Write,
) -> io::Result<()> {
    write_each(shown, out, |of, plan, out| write_plan(report, of, plan, style, out))
}

fn write_plan(
    report: &RunReport,
    of: &PlanReport,
    plan: &ReviewedPlan,
    style: TextStyle,
    out: &mut dyn Write,
) -> io::Result<()> {
    write_heading(report, of, plan, "", out)?;
    for ByCause { finding, place, following } in plan.by_cause() {
        if finding.is_open() {
            out.write_all(finding_text(plan, finding, place, style).as_bytes())?;
            for following in following {
                let words = readable(&following_words(following));
                writeln!(out, "{}", wrapped(&words, style.width, "  from the same cause: ", "    "))?;
            }
            writeln!(out)?;
        }
    }
    write_figures(plan, style.width, out)
}

fn finding_text(plan: &ReviewedPlan, finding: &Finding, place: Span, style: TextStyle) -> String {
    let marked = Marked {
        message: readable(&format!("{}: {}", place_words(finding), finding.message)),
        code: format!("{} ({})", finding.rule, finding.severity.word()),
        shade: shade(finding.severity),
        help: Some(finding.help.clone()),
        excerpt: Some(Excerpt::new(&plan.source, place)),
        label: finding.rect.map_or(String::new(), |rect| format!("at {:?} on the screen", rect.to_array())),
    };
    let estimate = estimate_words(finding).map_or(String::new(), |words| format!("  {words}\n"));
    let walk = walk_words(finding).map_or(String::new(), |words| format!("  walk: {}\n", readable(&words)));
    format!("{}{walk}{estimate}", draw(&marked, style))
}
