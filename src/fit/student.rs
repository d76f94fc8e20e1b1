//! Student's t: how far a mean of few readings may lie beside the true one.
//!
//! For whole degrees of freedom the share between two bounds is a finite sum (M. Abramowitz and I. A. Stegun, Handbook of
//! Mathematical Functions, 1964, 26.7.3 and 26.7.4), so that no library of distributions is needed.

use std::f64::consts::FRAC_2_PI;

/// The t between whose two signs 95 of 100 values lie.
pub(super) fn t_of_95(free_degrees: usize) -> f64 {
    let (mut near, mut far) = (0.0, 1.0);
    while share_within(far, free_degrees) < 0.95 {
        (near, far) = (far, 2.0 * far);
    }
    loop {
        let middle = f64::midpoint(near, far);
        if middle <= near || middle >= far {
            return middle;
        }
        *(if share_within(middle, free_degrees) < 0.95 { &mut near } else { &mut far }) = middle;
    }
}

/// The share of values between -t and t.
fn share_within(t: f64, free_degrees: usize) -> f64 {
    let angle = (t / (free_degrees as f64).sqrt()).atan();
    let (sine, cosine) = angle.sin_cos();
    let is_odd = free_degrees % 2 == 1;
    // Each term is the one before it times cos^2 and a fraction: 1/2, 3/4, 5/6, ... or 2/3, 4/5, 6/7, ...
    let mut term = if is_odd { cosine } else { 1.0 };
    let mut sum = 0.0;
    for at in 0..free_degrees / 2 {
        sum += term;
        let over = (2 * at + 1 + usize::from(is_odd)) as f64;
        term *= cosine * cosine * over / (over + 1.0);
    }
    if is_odd { FRAC_2_PI * (angle + sine * sum) } else { sine * sum }
}

#[cfg(test)]
mod tests {
    /// The column of 0.975 in the table of critical values of Student's t in the NIST/SEMATECH e-Handbook of Statistical
    /// Methods, 1.3.6.7.2.
    #[test]
    fn quantiles_are_those_of_the_published_table() {
        for (free_degrees, t) in [
            (1, 12.706),
            (2, 4.303),
            (3, 3.182),
            (4, 2.776),
            (5, 2.571),
            (10, 2.228),
            (15, 2.131),
            (20, 2.086),
            (30, 2.042),
            (60, 2.000),
            (100, 1.984),
        ] {
            let found = super::t_of_95(free_degrees);
            assert!((found - t).abs() <= 0.0005, "{free_degrees}: {found}");
        }
        // The normal distribution's, for very many.
        assert!((super::t_of_95(100_000) - 1.960).abs() < 0.0005);
    }
}
