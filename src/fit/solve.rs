//! Least squares for the three figures, and their bounds.
//!
//! The law is not linear in `keeps`, and what shows is cut at the panel's black and white: the method of Levenberg and
//! Marquardt goes down from several starts, and the best end is taken. For the same reason the bounds
//! are profile bounds (D. M. Bates and D. G. Watts, Nonlinear Regression Analysis and Its Applications, 1988, chapter 6):
//! a figure is possible for as long as the others can be found again so that the sum of squares grows no more than chance
//! makes it.

use std::ops::{Add, Mul};

use super::{
    Bounded, Fit, PatchHistory, Reading,
    least_squares::{Figures, Sums, descend, determinant, inverse, scaled, units},
    student::t_of_95,
};
use crate::{
    display::{Ink, Mode, ResidueFigures},
    panel::law::{driven, share_left},
};

/// Why no figures come out of a table.
#[derive(Clone, Debug, PartialEq)]
pub enum Unfit {
    /// Three figures need more readings than that.
    TooFew(usize),
    /// The readings leave a figure open, whatever it is.
    Open(&'static str),
    /// No figures near enough to the readings were found.
    NoEnd,
}

/// The figures by their places.
const NAMES: [&str; 3] = ["keeps", "lighter", "darker"];
/// What a description may hold, figure by figure.
const RANGES: [[f64; 2]; 3] = [[0.0, 1.0], [-1.0, 1.0], [-1.0, 1.0]];

/// The figures that meet the readings best, each reading weighed alike.
///
/// # Errors
/// Where the readings are too few, or do not tell the figures apart.
pub fn fit(readings: &[Reading], mode: &Mode, ink: &Ink) -> Result<Fit, Unfit> {
    let free_degrees = readings.len().saturating_sub(3);
    if free_degrees == 0 {
        return Err(Unfit::TooFew(readings.len()));
    }
    let problem = Problem { readings, mode, ink, held: [None; 3] };
    let best = best_within_range(&problem).ok_or(Unfit::NoEnd)?;
    let Sums { squares, pairs, .. } = problem.sums(best.figures);
    for (place, name) in NAMES.into_iter().enumerate() {
        if pairs[place][place] <= 0.0 {
            return Err(Unfit::Open(name));
        }
    }
    let scale = units(&pairs);
    let alike = scaled(&pairs, scale);
    if determinant(&alike) < 1e-8 {
        return Err(Unfit::Open(NAMES[0]));
    }
    let inverse = inverse(&alike).ok_or(Unfit::Open(NAMES[0]))?;
    let variance = squares / free_degrees as f64;
    let student = t_of_95(free_degrees);
    let most_squares = squares + student * student * variance;
    let bounded = |place: usize| {
        // As far as the bound would be, were the law straight.
        let half = student * (variance * inverse[place][place]).sqrt() * scale[place];
        let [least, most] = RANGES[place].map(|edge| bound(&problem, best.figures, place, (half, edge), most_squares));
        Bounded { figure: best.figures[place], least, most }
    };
    Ok(Fit {
        keeps: bounded(0),
        lighter: bounded(1),
        darker: bounded(2),
        scatter_l: variance.sqrt(),
        readings: readings.len(),
    })
}

/// Figures that a start leads to, and the sum of squares there.
#[derive(Clone, Copy)]
struct End {
    figures: Figures,
    squares: f64,
}

/// The best figures of all that a description may hold. From a start where nothing shows no way leads on: several shares
/// that stay, and both signs of both figures, are tried.
fn best_within_range(problem: &Problem<'_>) -> Option<End> {
    let small = [0.003, -0.003];
    let starts = [0.0, 0.3, 0.6, 0.9]
        .into_iter()
        .flat_map(|keeps| small.into_iter().flat_map(move |lighter| small.map(|darker| [keeps, lighter, darker])));
    let ends = starts.filter_map(|start| solved_within_range(problem.clone(), start));
    ends.min_by(|one, other| one.squares.total_cmp(&other.squares))
}

/// The figures that a start leads to. One that ends outside is held at the edge, and the others are found again.
fn solved_within_range(mut problem: Problem<'_>, start: Figures) -> Option<End> {
    let mut end = problem.solved(start)?;
    for _ in NAMES {
        let edge = |place: usize| end.figures[place].clamp(RANGES[place][0], RANGES[place][1]);
        let Some(place) = (0..3).find(|place| edge(*place).to_bits() != end.figures[*place].to_bits()) else {
            break;
        };
        problem.held[place] = Some(edge(place));
        end = problem.solved(end.figures)?;
    }
    Some(end)
}

/// How far a figure can go from the best towards an edge, the others found again for it, until the sum of squares is more
/// than that; `half` is how far it is likely to be.
fn bound(problem: &Problem<'_>, best: Figures, place: usize, (half, edge): (f64, f64), most_squares: f64) -> f64 {
    const ROUNDS: usize = 24;
    let way = edge - best[place];
    let mut figures = best;
    let mut is_possible = |share: f64| {
        let mut problem = problem.clone();
        problem.held[place] = Some(best[place] + share * way);
        let end = solved_within_range(problem, figures);
        figures = end.map_or(best, |end| end.figures);
        end.is_some_and(|end| end.squares <= most_squares)
    };
    // Shares of the way: one that is possible, and one that is not.
    let (mut near, mut far) = (0.0, (half / way.abs()).clamp(1e-6, 1.0));
    while is_possible(far) {
        if far >= 1.0 {
            return edge;
        }
        (near, far) = (far, (2.0 * far).min(1.0));
    }
    for _ in 0..ROUNDS {
        let middle = f64::midpoint(near, far);
        *(if is_possible(middle) { &mut near } else { &mut far }) = middle;
    }
    best[place] + near * way
}

/// How much lighter than a clean patch the law lets a patch look after a history, L*, cut to what the panel can show.
pub fn shows(history: &PatchHistory, residue: &ResidueFigures, mode: &Mode, ink: &Ink) -> f64 {
    traced(history, [residue.keeps, residue.lighter, residue.darker], mode, ink).0
}

/// What shows after a history, L*, and how it moves with each figure. It stands still where the panel's end cuts it.
fn traced(history: &PatchHistory, figures: Figures, mode: &Mode, ink: &Ink) -> (f64, Figures) {
    let [keeps, lighter, darker] = [0, 1, 2].map(|place| Sloped::figure(figures[place], place));
    let (mut level, mut residue) = (history.cleaned_to, Sloped::from(0.0));
    for to in history.drives() {
        if to == level && mode.changed_only {
            continue;
        }
        let difference = ink.lightness(level) - ink.lightness(to);
        let leaves = share_left([lighter, darker], difference) * Sloped::from(difference);
        residue = driven(1.0, keeps, residue, leaves, difference);
        level = to;
    }
    let (least, most) = ink.range_l();
    let lightness = ink.lightness(level);
    let shown = (lightness + residue.value).clamp(least, most) - lightness;
    let is_cut = lightness + residue.value < least || lightness + residue.value > most;
    (shown, if is_cut { [0.0; 3] } else { residue.slopes })
}

/// A value that carries along how it moves with each figure, so that the law of residue gives its own slopes.
#[derive(Clone, Copy, Debug)]
struct Sloped {
    value: f64,
    slopes: Figures,
}

impl Sloped {
    /// The figure of that place.
    fn figure(value: f64, place: usize) -> Self {
        let mut slopes = [0.0; 3];
        slopes[place] = 1.0;
        Self { value, slopes }
    }
}

impl From<f64> for Sloped {
    fn from(value: f64) -> Self {
        Self { value, slopes: [0.0; 3] }
    }
}

impl Add for Sloped {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        let slopes = [0, 1, 2].map(|place| self.slopes[place] + other.slopes[place]);
        Self { value: self.value + other.value, slopes }
    }
}

impl Mul for Sloped {
    type Output = Self;

    #[expect(clippy::suspicious_arithmetic_impl, reason = "the rule for the slope of a product is a sum")]
    fn mul(self, other: Self) -> Self {
        let slope = |place: usize| self.slopes[place] * other.value + self.value * other.slopes[place];
        Self { value: self.value * other.value, slopes: [0, 1, 2].map(slope) }
    }
}

/// Readings that figures are to meet.
#[derive(Clone)]
struct Problem<'r> {
    readings: &'r [Reading],
    mode: &'r Mode,
    ink: &'r Ink,
    /// Figures that stay as they are.
    held: [Option<f64>; 3],
}

impl Problem<'_> {
    /// The end that a start leads to.
    fn solved(&self, start: Figures) -> Option<End> {
        let (figures, sums) = descend(self.with_held(start), &|figures| self.sums(figures))?;
        let is_good = sums.squares.is_finite() && figures.iter().all(|figure| figure.is_finite());
        is_good.then_some(End { figures, squares: sums.squares })
    }

    /// Those figures with the held ones in their places.
    fn with_held(&self, figures: Figures) -> Figures {
        [0, 1, 2].map(|place| self.held[place].unwrap_or(figures[place]))
    }

    /// How far all readings are from what the figures give. A held figure moves nothing.
    fn sums(&self, figures: Figures) -> Sums {
        let mut sums = Sums::default();
        for reading in self.readings {
            let (shown, slopes) = traced(&reading.history, figures, self.mode, self.ink);
            let free = |place: usize| if self.held[place].is_some() { 0.0 } else { slopes[place] };
            sums.add(shown - (reading.read_l - reading.clean_l), [0, 1, 2].map(free));
        }
        sums
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::display::LevelSet;

    fn mode() -> Mode {
        Mode {
            name: "quick".into(),
            from: LevelSet::first(4),
            to: LevelSet::first(4),
            changed_only: true,
            windowed: true,
            duration_ms: vec![(0.0, 300.0)],
            ..Mode::blank()
        }
    }

    fn history(cleaned_to: u8, then: &[u8], times: u32) -> PatchHistory {
        PatchHistory { cleaned_to, then: then.to_vec(), times }
    }

    /// By hand, from the law in `docs/model.md`: L* of 0.04 and 0.44 is 23.6714 and 72.2285, a swing 48.5571.
    #[test]
    fn a_history_is_traced_as_the_law_says() {
        let (ink, mode) = (Ink::grey_between(4, 0.04, 0.44), mode());
        let shown = |history: PatchHistory, figures: [f64; 3]| traced(&history, figures, &mode, &ink).0;
        let swing = 48.557_1;
        // Light to dark leaves darker * swing; back leaves keeps of that less lighter * swing.
        assert!((shown(history(3, &[0], 1), [0.5, 0.01, 0.02]) - 0.02 * swing).abs() < 1e-4);
        assert!((shown(history(3, &[0, 3], 1), [0.5, 0.03, 0.02]) + (0.03 - 0.5 * 0.02) * swing).abs() < 1e-4);
        // Nothing is lighter than white: what is left there is cut away.
        assert!(shown(history(3, &[0, 3], 1), [0.5, 0.001, 0.02]).abs() < 1e-12);
        // A level that stays is not driven by a mode that drives changes only.
        assert!((shown(history(3, &[0, 0], 1), [0.5, 0.01, 0.02]) - 0.02 * swing).abs() < 1e-4);
    }

    /// Against central differences, between levels where nothing is cut.
    #[test]
    fn the_slopes_are_those_of_the_law() {
        let (ink, mode, history) = (Ink::grey_between(4, 0.04, 0.44), mode(), history(1, &[2, 1, 3, 2], 3));
        let figures = [0.7, 0.02, 0.015];
        let (_, slopes) = traced(&history, figures, &mode, &ink);
        for place in 0..3 {
            let moved = |by: f64| {
                let mut figures = figures;
                figures[place] += by;
                traced(&history, figures, &mode, &ink).0
            };
            let slope = (moved(1e-6) - moved(-1e-6)) / 2e-6;
            assert!((slope - slopes[place]).abs() < 1e-5 * slope.abs().max(1.0), "{place}: {slope} {slopes:?}");
        }
    }

    #[test]
    fn readings_that_leave_a_figure_open_are_told() {
        let (ink, mode) = (Ink::grey_between(4, 0.04, 0.44), mode());
        let reading = |history: PatchHistory| Reading { history, read_l: 25.0, clean_l: 24.0 };
        assert_eq!(fit(&[], &mode, &ink), Err(Unfit::TooFew(0)));
        let dark = vec![reading(history(3, &[0], 1)); 3];
        assert_eq!(fit(&dark, &mode, &ink), Err(Unfit::TooFew(3)));
        // One update to dark knows nothing of what is kept.
        assert_eq!(fit(&[dark.clone(), dark].concat(), &mode, &ink), Err(Unfit::Open("keeps")));
    }

    /// A figure that ends beyond what a description may hold stays at the edge, and the others are found for it.
    #[test]
    fn figures_stay_within_what_a_description_may_hold() {
        let (ink, mode) = (Ink::grey_between(4, 0.04, 0.44), mode());
        let histories = [history(3, &[0, 3], 1), history(3, &[0, 3], 8), history(0, &[3], 1), history(3, &[0], 1)];
        let over = [1.02, 0.01, 0.004];
        let readings: Vec<Reading> = [&histories[..], &histories[..]]
            .concat()
            .into_iter()
            .map(|history| Reading { read_l: 60.0 + traced(&history, over, &mode, &ink).0, clean_l: 60.0, history })
            .collect();
        let fit = fit(&readings, &mode, &ink).unwrap();
        assert_eq!((fit.keeps.figure, fit.keeps.most), (1.0, 1.0));
        assert!((fit.darker.figure - 0.004).abs() < 0.001 && (fit.lighter.figure - 0.01).abs() < 0.001, "{fit:?}");
    }
}
