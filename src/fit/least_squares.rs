//! Three figures that make a sum of squares least, by the method of Levenberg and Marquardt.
//!
//! D. W. Marquardt, An Algorithm for Least-Squares Estimation of Nonlinear Parameters, 1963, on the normal equations, each
//! figure in the unit in which it moves the residuals by one. Three unknowns need no library of matrices. Knows sums, not
//! what is summed.

/// The figures, by their places.
pub(super) type Figures = [f64; 3];
/// A figure for each pair of places.
pub(super) type Pairs = [[f64; 3]; 3];

/// What the residuals of all readings come to at some figures.
#[derive(Clone, Debug, Default)]
pub(super) struct Sums {
    /// Their squares.
    pub(super) squares: f64,
    /// Each residual times how it moves with a figure.
    pub(super) slopes: Figures,
    /// How it moves with one figure times how it moves with another.
    pub(super) pairs: Pairs,
}

impl Sums {
    /// Adds a residual, and how it moves with each figure.
    pub(super) fn add(&mut self, residual: f64, slopes: Figures) {
        self.squares += residual * residual;
        for row in 0..3 {
            self.slopes[row] += residual * slopes[row];
            for column in 0..3 {
                self.pairs[row][column] += slopes[row] * slopes[column];
            }
        }
    }
}

/// Rounds after which a start counts as leading nowhere.
const MOST_ROUNDS: usize = 400;
/// How strongly a step is held back at first, and from when on no step is short enough to lead further down.
const FIRST_HOLD: f64 = 1e-3;
const MOST_HOLD: f64 = 1e16;
/// What a step still gains, as a share, where it is the last.
const LEAST_GAIN: f64 = 1e-14;

/// The figures that a start leads down to, and the sums there. `None` if it leads nowhere.
pub(super) fn descend(start: Figures, sums_at: &dyn Fn(Figures) -> Sums) -> Option<(Figures, Sums)> {
    let (mut figures, mut sums) = (start, sums_at(start));
    let mut hold = FIRST_HOLD;
    for _ in 0..MOST_ROUNDS {
        let tried = step(&sums, hold).map(|step| [0, 1, 2].map(|place| figures[place] + step[place]));
        let Some((tried, after)) = tried.map(|tried| (tried, sums_at(tried))) else { return Some((figures, sums)) };
        if after.squares < sums.squares {
            let gain = sums.squares - after.squares;
            let is_last = gain <= LEAST_GAIN * sums.squares;
            (figures, sums) = (tried, after);
            hold /= 10.0;
            if is_last {
                return Some((figures, sums));
            }
        } else {
            hold *= 10.0;
            if !sums.squares.is_finite() {
                return None;
            }
            if hold > MOST_HOLD || tried.map(f64::to_bits) == figures.map(f64::to_bits) {
                return Some((figures, sums));
            }
        }
    }
    None
}

/// The step that the sums call for, held back by a share of their own weight.
fn step(sums: &Sums, hold: f64) -> Option<Figures> {
    let unit = units(&sums.pairs);
    let mut held = scaled(&sums.pairs, unit);
    (0..3).for_each(|place| held[place][place] += hold.max(f64::EPSILON));
    let inverse = inverse(&held)?;
    let step =
        [0, 1, 2].map(|row| -unit[row] * (0..3).map(|at| inverse[row][at] * unit[at] * sums.slopes[at]).sum::<f64>());
    step.iter().any(|part| *part != 0.0 && part.is_finite()).then_some(step)
}

/// By how much each figure moves where the residuals move by one; 1 where they do not move.
pub(super) fn units(pairs: &Pairs) -> Figures {
    [0, 1, 2].map(|place| if pairs[place][place] > 0.0 { pairs[place][place].sqrt().recip() } else { 1.0 })
}

/// The pairs in these units: 1 on the diagonal, so that what they tell does not rest on the figures' own units.
pub(super) fn scaled(pairs: &Pairs, unit: Figures) -> Pairs {
    [0, 1, 2].map(|row| [0, 1, 2].map(|column| pairs[row][column] * unit[row] * unit[column]))
}

/// The determinant.
pub(super) fn determinant(pairs: &Pairs) -> f64 {
    (0..3).map(|column| pairs[0][column] * cofactor(pairs, 0, column)).sum()
}

/// The inverse of symmetric pairs; `None` if there is none.
pub(super) fn inverse(pairs: &Pairs) -> Option<Pairs> {
    let determinant = determinant(pairs);
    let is_there = determinant.is_finite() && determinant != 0.0;
    is_there.then(|| [0, 1, 2].map(|row| [0, 1, 2].map(|column| cofactor(pairs, column, row) / determinant)))
}

/// The signed determinant of what is left without a row and a column.
fn cofactor(pairs: &Pairs, row: usize, column: usize) -> f64 {
    // Taken in a circle, the sign comes by itself.
    let at = |down: usize, right: usize| pairs[(row + down) % 3][(column + right) % 3];
    at(1, 1) * at(2, 2) - at(1, 2) * at(2, 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: the determinant of this matrix is 2 (3 * 4 - 1) - 1 (4 - 0) + 0 = 18.
    #[test]
    fn an_inverse_gives_one_back() {
        let pairs = [[2.0, 1.0, 0.0], [1.0, 3.0, 1.0], [0.0, 1.0, 4.0]];
        assert!((determinant(&pairs) - 18.0).abs() < 1e-12);
        let inverse = inverse(&pairs).expect("it has one");
        for (row, of_row) in pairs.iter().enumerate() {
            for column in 0..3 {
                let product: f64 = of_row.iter().zip(&inverse).map(|(one, other)| one * other[column]).sum();
                let wanted = if row == column { 1.0 } else { 0.0 };
                assert!((product - wanted).abs() < 1e-12, "{row} {column}: {product}");
            }
        }
        assert_eq!(super::inverse(&[[1.0, 1.0, 0.0], [1.0, 1.0, 0.0], [0.0, 0.0, 1.0]]), None);
    }

    /// The problem `Misra1a` of the NIST Statistical Reference Datasets (nonlinear regression, lower difficulty), data and
    /// certified values as published: y = b1 (1 - exp(-b2 x)). The third figure moves nothing and stays.
    #[test]
    fn a_certified_problem_is_solved() {
        const READ: [[f64; 2]; 14] = [
            [10.07, 77.6],
            [14.73, 114.9],
            [17.94, 141.1],
            [23.93, 190.8],
            [29.61, 239.9],
            [35.18, 289.0],
            [40.02, 332.8],
            [44.82, 378.4],
            [50.76, 434.8],
            [55.05, 477.3],
            [61.01, 536.8],
            [66.40, 593.1],
            [75.47, 689.1],
            [81.78, 760.0],
        ];
        let sums_at = |[b1, b2, _]: Figures| {
            let mut sums = Sums::default();
            for [y, x] in READ {
                let left = (-b2 * x).exp();
                sums.add(b1 * (1.0 - left) - y, [1.0 - left, b1 * x * left, 0.0]);
            }
            sums
        };
        for start in [[500.0, 0.0001, 7.0], [250.0, 0.0005, 7.0]] {
            let (figures, sums) = descend(start, &sums_at).expect("it has an end");
            assert!((figures[0] / 2.389_421_291_8e2 - 1.0).abs() < 1e-8, "{figures:?}");
            assert!((figures[1] / 5.501_564_318_1e-4 - 1.0).abs() < 1e-8, "{figures:?}");
            assert!((sums.squares / 1.245_513_889_4e-1 - 1.0).abs() < 1e-9, "{sums:?}");
            assert!((figures[2] - 7.0).abs() < 1e-12, "{figures:?}");
        }
    }
}
