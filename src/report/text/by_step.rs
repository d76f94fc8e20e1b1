//! Every place of every finding, in the order of the steps, with the lines around it.
//!
//! Knows what is said of a finding, and nothing of what weighs more.

use std::io::{self, Write};

use super::{
    super::{
        ByCause, PlanOutcome, PlanReport, ReviewedPlan,
        sentences::{count, estimate_words, following_words, place_words},
    },
    marked::{Excerpt, Marked},
    plan_lines::{verdict, write_figures, write_refused},
    style::TextStyle,
    underline::{draw, shade},
};
use crate::{
    finding::Finding,
    source::{Span, readable},
};

pub(super) fn write(shown: &[&PlanReport], style: TextStyle, out: &mut dyn Write) -> io::Result<()> {
    for plan in shown {
        match &plan.outcome {
            PlanOutcome::Reviewed(reviewed) => write_plan(plan, reviewed, style, out)?,
            PlanOutcome::Refused(faults) => write_refused(plan, faults, out)?,
        }
    }
    Ok(())
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
    write_figures(plan, out)
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
    format!("{}{estimate}", draw(&marked, style))
}
