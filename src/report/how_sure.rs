//! How sure figures and findings are, in words: how far estimates may be off, and what is open because of that.

use crate::{
    display::Certainty,
    finding::{Figure, Finding, Holds, PlanMargin, Summary},
    plan::Origin,
    rules::wording,
};

/// What the marks behind the figures of a table mean; nothing if there are none.
pub(super) fn marks_words(marks: impl IntoIterator<Item = String>) -> Option<String> {
    let mut marks: Vec<String> =
        marks.into_iter().map(|mark| mark.trim().to_owned()).filter(|mark| !mark.is_empty()).collect();
    marks.sort();
    marks.dedup();
    let (unsaid, known): (Vec<String>, Vec<String>) = marks.into_iter().partition(|mark| mark == UNSAID);
    let known = match known.as_slice() {
        [] => None,
        [mark] => Some(format!("{mark} marks an estimate that may be off by that factor in either direction.")),
        marks => Some(format!(
            "{} mark estimates that may be off by that factor in either direction.",
            wording::listed(marks, marks.len())
        )),
    };
    let unsaid =
        unsaid.first().map(|mark| format!("{mark} marks an estimate for which the display gives no such factor."));
    let sentences: Vec<String> = known.into_iter().chain(unsaid).collect();
    (!sentences.is_empty()).then(|| sentences.join(" "))
}

/// The mark of a figure of which the display does not say how sure it is.
const UNSAID: &str = "(x?)";

/// That a finding turns within the factor by which the figure that it rests on may be off, and where; nothing of any other.
pub(super) fn estimate_words(finding: &Finding) -> Option<String> {
    let margin = finding.margin.filter(|margin| margin.sure() == Some(false))?;
    let part = match margin.turns_at() {
        // Far enough that what is said holds; not where a last bit is missing.
        part if part < 1.0 => format!("{} % lower", 100.0 - (part * 100.0 + 1e-6).floor()),
        // And for the same reason up, where too little is reported.
        part if part > 1.0 => format!("{} % higher", (part * 100.0 - 1e-6).ceil() - 100.0),
        _ => "a little lower".into(),
    };
    Some(format!("the {} is an estimate: if it is really {part}, this is no finding", figure_words(margin.figure)))
}

/// How sure a finding is, where no line of margins stands near it; nothing of one that rests on no figure of the display.
pub(super) fn certainty_words(finding: &Finding) -> Option<String> {
    let margin = finding.margin?;
    let figure = figure_words(margin.figure);
    estimate_words(finding).or_else(|| match margin.factor {
        None => Some(format!("the display does not say how far the {figure} may be off")),
        Some(factor) if factor > 1.0 => {
            Some(format!("the {figure} is an estimate, but this holds even if it is off by its factor of {factor}"))
        }
        Some(_) => None,
    })
}

fn figure_words(figure: Figure) -> &'static str {
    match figure {
        Figure::Residue => "residue",
        Figure::Durations => "time",
        Figure::FirstVisible => "time to the answer",
        Figure::Flashes => "number of flashes",
        Figure::Energy => "energy",
    }
}

/// That a figure is an estimate, and how good, in brackets; nothing if the display does not say that, or is sure.
pub(super) fn estimate_note(factor: Option<f64>) -> String {
    wording::estimate(factor).map_or(String::new(), |words| format!(" ({words})"))
}

/// How near a plan came to each limit that rests on an estimated figure, where the display says how sure that is: worst
/// first.
pub(super) fn margin_lines(summary: &Summary) -> Vec<String> {
    let known = summary.margins.named().into_iter().filter_map(|(name, margin)| Some((name, margin?, margin?.factor?)));
    // Pixels may be off by as much without lying together.
    let is_ghost = |margin: &PlanMargin| margin.holds() != Holds::Broken || summary.worst_residue_l > 0.0;
    let mut lines: Vec<_> = known
        .map(|(name, margin, factor)| (margin.holds(), margin_line(name, margin, factor, is_ghost(&margin))))
        .collect();
    lines.sort_by_key(|(holds, _)| *holds);
    // What every walk keeps is said by the verdicts of the flow.
    let on = if summary.proved.is_some() { "on the walks that were played, " } else { "" };
    lines.into_iter().map(|(_, line)| format!("{on}{line}")).collect()
}

/// Those lines, and that the display does not say how sure some of its figures are.
pub(super) fn certainty_lines(summary: &Summary) -> Vec<String> {
    margin_lines(summary).into_iter().chain(unsaid_line(summary)).collect()
}

/// That the display does not say how sure its figures are, of those that were reached.
fn unsaid_line(summary: &Summary) -> Option<String> {
    let unsaid: Vec<String> =
        figures(&[summary]).filter(|(_, factor)| factor.is_none()).map(|(name, _)| name.into()).collect();
    (!unsaid.is_empty())
        .then(|| format!("the display does not say how far its figures for {} may be off", wording::listed(&unsaid, 5)))
}

fn margin_line(name: &str, margin: PlanMargin, factor: f64, is_ghost: bool) -> String {
    let (what, unit, usual) = match name {
        "residue" if !is_ghost => (
            "residue on scattered pixels, nowhere enough for a ghost, reaches",
            " L*",
            "at which most readers notice a ghost",
        ),
        "residue" => (
            "residue on an area that is large enough to be seen reaches",
            " L*",
            "at which most readers notice a ghost",
        ),
        "answers" => ("the slowest answer to a touch or key takes", " ms", "that still feel immediate"),
        "flashes" => ("the number of flashes of a large area within one second reaches", "", "that are allowed"),
        _ => ("updates take", " mJ", "of the plan's budget"),
    };
    let (reached, limit) = (beside(margin.reached, margin.limit.value), short(margin.limit.value));
    if name == "flashes" && margin.reached == 0.0 && margin.holds() == Holds::Kept {
        return format!(
            "no area that flashes is large enough to count towards the limit of {limit} flashes within one second"
        );
    }
    let of = match margin.limit.origin {
        Origin::Plan if name == "energy" => format!("the {limit}{unit} {usual}"),
        Origin::RulePage => format!("the {limit}{unit} {usual}"),
        origin => format!("{} limit of {limit}{unit}", origin.whose()),
    };
    let holds = margin.holds();
    let within = match holds {
        Holds::Broken => "above",
        Holds::Open | Holds::Kept if name == "residue" => "below",
        Holds::Open | Holds::Kept => "within",
    };
    let sure = match holds {
        _ if factor <= 1.0 => String::new(),
        Holds::Kept => format!(", even if this estimate is off by its factor of {factor}"),
        Holds::Open => {
            format!("; but this estimate may be off by a factor of {factor}, so the panel may exceed the limit")
        }
        Holds::Broken => format!(" (this estimate may be off by a factor of {factor})"),
    };
    format!("{what} {reached}{unit}, {within} {of}{sure}")
}

/// A figure beside its limit: with as many more digits as it takes to see that it is another one.
fn beside(value: f64, limit: f64) -> String {
    let finer =
        (3..=6).map(|digits| format!("{value:.digits$}").trim_end_matches('0').trim_end_matches('.').to_owned());
    let all = std::iter::once(short(value)).chain(finer);
    wording::on_its_side(value, limit, all).unwrap_or_else(|| short(value))
}

/// A figure with the digits that matter, and no noughts behind them.
fn short(value: f64) -> String {
    let step: f64 = if value >= 100.0 { 1.0 } else { 100.0 };
    format!("{}", (value * step).round() / step)
}

/// The marks behind the strongest ghost, the slowest first change and the energy of a plan in a table, as `marks_words` explains them;
/// nothing behind a figure that is sure, nor where nothing was reached.
pub(super) fn marks(summary: &Summary) -> [String; 3] {
    let certainty = summary.certainty;
    let figures = [
        (summary.worst_residue_l, certainty.residue),
        (summary.longest_answer_ms, certainty.first_visible),
        (summary.energy_mj, certainty.energy),
    ];
    figures.map(|(reached, factor)| match factor {
        _ if reached <= 0.0 => String::new(),
        Some(factor) if factor <= 1.0 => String::new(),
        Some(factor) => format!(" (x{factor})"),
        None => format!(" {UNSAID}"),
    })
}

/// How far the figures of a plan that rest on the display's may be off, in sentences for below a table; nothing where all of them are
/// sure or nothing was reached.
pub(crate) fn certainty_sentences(summaries: &[&Summary]) -> Option<String> {
    let unsaid: Vec<String> =
        figures(summaries).filter(|(_, factor)| factor.is_none()).map(|(name, _)| name.to_owned()).collect();
    let mut sentences: Vec<String> = estimates_sentence(figures(summaries)).into_iter().collect();
    if !unsaid.is_empty() {
        sentences.push(format!(
            "The display does not say how far its figures for {} may be off.",
            wording::listed(&unsaid, 5)
        ));
    }
    (!sentences.is_empty()).then(|| sentences.join(" "))
}

/// By which factors some figures may be off, in a sentence; nothing where all of them are sure or nobody says it.
pub(super) fn estimates_sentence(figures: impl Iterator<Item = (&'static str, Option<f64>)>) -> Option<String> {
    let estimated = figures.filter_map(|(name, factor)| Some((name, factor.filter(|factor| *factor > 1.0)?)));
    let mut estimates: Vec<String> = estimated.map(|(name, factor)| format!("{name} by {factor}")).collect();
    let first = estimates.first_mut()?;
    *first = first.replacen(" by ", " by a factor of ", 1);
    let listed = wording::listed(&estimates, 5);
    Some(format!("These figures are estimates and may be off in either direction: {listed}."))
}

/// The figures that any of some plans reached, with the factor by which they may be off.
fn figures(summaries: &[&Summary]) -> impl Iterator<Item = (&'static str, Option<f64>)> {
    let any = |reached: fn(&Summary) -> f64| summaries.iter().any(|summary| reached(summary) > 0.0);
    let certainty = summaries.iter().map(|summary| summary.certainty).reduce(Certainty::worse).unwrap_or_default();
    let all = [
        ("residue", any(|summary| summary.worst_residue_l), certainty.residue),
        ("answer times", any(|summary| summary.longest_answer_ms), certainty.first_visible),
        ("driving times", any(|summary| summary.driving_seconds), certainty.durations),
        ("flashes", any(|summary| summary.flashing_updates as f64), certainty.flashes),
        ("energy", any(|summary| summary.energy_mj), certainty.energy),
    ];
    all.into_iter().filter(|(_, is_reached, _)| *is_reached).map(|(name, _, factor)| (name, factor))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_beside_its_limit_is_seen_to_be_another_one() {
        for (value, limit, words) in [
            (1.891, 2.3, "1.89"),
            (2.299, 2.3, "2.299"),
            (2.299_96, 2.3, "2.29996"),
            (2.3, 2.3, "2.3"),
            (999.6, 1000.0, "999.6"),
            (0.0, 3.0, "0"),
        ] {
            assert_eq!(beside(value, limit), words, "{value} of {limit}");
        }
    }
}
