//! Texts of findings as markup. Knows texts and the lines of a plan.

use maud::{Markup, html};

use crate::{
    finding::Finding,
    report::{ReviewedPlan, sentences::pieces},
    rules::rule_named,
    source::Span,
};

/// A text whose names in backticks are set as code.
pub(in crate::report) fn marked(text: &str) -> Markup {
    html! { @for (is_code, piece) in pieces(text) { @if is_code { code { (piece) } } @else { (piece) } } }
}

pub(super) fn title_of_rule(finding: &Finding) -> &str {
    rule_named(finding.rule).map_or(finding.rule, |page| page.title.as_str())
}

pub(super) fn line_of(plan: &ReviewedPlan, place: Span) -> usize {
    plan.source.line_column(place.start).line
}
