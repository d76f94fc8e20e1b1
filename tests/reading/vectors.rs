//! The formulas of `units` against published figures and standards. Knows no panels and no pictures.

use stillpage::units::{
    Lab, colour_difference, contrast_ratio, eight_bits, grey_of_rgb, length_mm, length_pt, level_of_grey,
    lightness_of_reflectance, luminance_of_srgb, over_white, pixel_area_mm2,
};

/// L* of a reflectance, computed with reference colour libraries (scikit-image and colour-science, which agree) from the formula
/// of CIE 15.
const LIGHTNESS: [(f64, f64); 9] = [
    (0.0, 0.0),
    (0.03, 20.0439),
    (0.04, 23.6714),
    (0.10, 37.8424),
    (0.18, 49.4961),
    (0.30, 61.6542),
    (0.40, 69.4695),
    (0.44, 72.2285),
    (1.0, 100.0),
];

#[test]
fn lightness_is_that_of_the_cie() {
    for (reflectance, lightness) in LIGHTNESS {
        let ours = lightness_of_reflectance(reflectance);
        assert!((ours - lightness).abs() < 5e-5, "L* of {reflectance} is {lightness}, not {ours}");
    }
}

/// The two branches of the formula meet at L* 8 exactly with the constants 216/24389 and 24389/27; with the rounded
/// 0.008856 and 903.3 of older texts they would not.
#[test]
fn the_branches_of_lightness_meet() {
    let edge = 216.0 / 24_389.0;
    let (below, above) = (lightness_of_reflectance(edge), lightness_of_reflectance(edge * (1.0 + 1e-12)));
    assert!((below - 8.0).abs() < 1e-12 && (above - 8.0).abs() < 1e-9, "{below} {above}");
    assert!(lightness_of_reflectance(0.0).abs() < f64::EPSILON);
    assert!((lightness_of_reflectance(1.0) - 100.0).abs() < 1e-12);
    let rising: Vec<f64> =
        (0..=1000).map(|thousandth| lightness_of_reflectance(f64::from(thousandth) / 1000.0)).collect();
    assert!(rising.windows(2).all(|pair| pair[0] < pair[1]));
}

/// The inverse by its definition: Y = ((L* + 16) / 116)^3 above L* 8, L* 27 / 24389 below.
#[test]
fn lightness_turned_back_is_the_reflectance() {
    for tenth in 0..=1000 {
        let lightness = f64::from(tenth) / 10.0;
        let reflectance =
            if lightness > 8.0 { ((lightness + 16.0) / 116.0).powi(3) } else { lightness * 27.0 / 24_389.0 };
        assert!((lightness_of_reflectance(reflectance) - lightness).abs() < 1e-10, "L* {lightness}");
    }
}

/// ITU-R BT.709 gives 0.2126, 0.7152 and 0.0722, which sum up to 1; the nearest whole number is taken, halves upward.
#[test]
fn greys_are_weighed_after_rec_709() {
    for red in (0..=255).step_by(5) {
        for green in (0..=255).step_by(5) {
            for blue in (0..=255).step_by(5) {
                let exact = 0.2126 * f64::from(red) + 0.7152 * f64::from(green) + 0.0722 * f64::from(blue);
                let grey = f64::from(grey_of_rgb(red, green, blue));
                assert!((grey - exact).abs() <= 0.5 + 1e-9, "{red} {green} {blue}: {exact} became {grey}");
            }
        }
    }
    assert_eq!([grey_of_rgb(255, 0, 0), grey_of_rgb(0, 255, 0), grey_of_rgb(0, 0, 255)], [54, 182, 18]);
    // 2126 + 7152 * 2 + 722 * 8 = 22206: 2.2; 7152 * 1 + 722 * 4 = 10040: 1.0; 722 * 7 = 5054: 0.5 and a little.
    assert_eq!([grey_of_rgb(1, 2, 8), grey_of_rgb(0, 1, 4), grey_of_rgb(0, 0, 7), grey_of_rgb(0, 0, 6)], [2, 1, 1, 0]);
}

#[test]
fn whole_number_roundings_are_the_nearest() {
    for sample in 0..=u16::MAX {
        let exact = f64::from(sample) * 255.0 / 65_535.0;
        assert!((f64::from(eight_bits(sample)) - exact).abs() <= 0.5 + 1e-9, "sample {sample}");
    }
    for sample in 0..=255 {
        for alpha in 0..=255 {
            let share = f64::from(alpha) / 255.0;
            let exact = f64::from(sample) * share + 255.0 * (1.0 - share);
            assert!((f64::from(over_white(sample, alpha)) - exact).abs() <= 0.5 + 1e-9, "{sample} at {alpha}");
        }
    }
}

/// Every grey takes the level whose own shade, 255 n / (L - 1), is nearest.
#[test]
fn levels_are_the_nearest_shades() {
    for levels in [2_u8, 4, 16] {
        for grey in 0..=255 {
            let far = |level: u8| (f64::from(grey) - 255.0 * f64::from(level) / f64::from(levels - 1)).abs();
            let ours = level_of_grey(grey, levels);
            assert!(
                (0..levels).all(|level| far(ours) <= far(level) + 1e-9),
                "grey {grey} of {levels} levels became {ours}"
            );
        }
    }
}

/// An inch is 25.4 mm by definition.
#[test]
fn a_pixel_has_its_area() {
    assert!((pixel_area_mm2(25.4) - 1.0).abs() < 1e-12);
    assert!((pixel_area_mm2(254.0) - 0.01).abs() < 1e-12);
    assert!((pixel_area_mm2(127.0) * 25.0 - 1.0).abs() < 1e-12);
}

/// Pairs of colours with their contrast after WCAG 2.2, definitions of contrast ratio and relative luminance: colours of
/// the standard's own examples and the neighbours of its limits.
#[test]
fn contrast_is_that_of_wcag() {
    let colour = |text: &str| -> [u8; 3] {
        [1, 3, 5].map(|at| u8::from_str_radix(&text[at..at + 2], 16).expect("two hexadecimal digits"))
    };
    let rows: Vec<Vec<&str>> = include_str!("../data/wcag-contrast.csv")
        .lines()
        .filter(|line| line.starts_with('#') && line.contains(",#"))
        .map(|line| line.split(',').collect())
        .collect();
    assert_eq!(rows.len(), 25, "pairs in the file");
    for row in rows {
        let [one, other] = [row[0], row[1]].map(|text| luminance_of_srgb(colour(text)));
        let published: f64 = row[2].parse().expect("a ratio");
        assert!((contrast_ratio(one, other) - published).abs() < 5e-7, "{row:?}");
        assert!((contrast_ratio(other, one) - published).abs() < 5e-7, "{row:?}, turned round");
    }
}

/// An inch is 25.4 mm and 72 points; a CSS px is 1/96 inch, so that 24 of them are 6.35 mm.
#[test]
fn lengths_follow_from_the_inch() {
    assert!((length_mm(25.0, 100.0) - 6.35).abs() < 1e-12);
    assert!((length_mm(24.0, 96.0) - 6.35).abs() < 1e-12);
    assert!((length_pt(25.0, 100.0) - 18.0).abs() < 1e-12);
}

/// The 34 test pairs of G. Sharma, W. Wu and E. N. Dalal, Color Research and Application 30(1), 2005, 21-30, to half of the
/// fourth decimal that they are published with.
#[test]
fn colour_difference_gives_the_published_pairs() {
    let pairs =
        include_str!("../data/ciede2000.csv").lines().filter(|line| line.starts_with(|c: char| c.is_ascii_digit()));
    let mut checked = 0;
    for line in pairs {
        let figures: Vec<f64> = line.split(',').map(|figure| figure.parse().unwrap()).collect();
        let colour = |at: usize| Lab::new(figures[at], figures[at + 1], figures[at + 2]);
        let found = colour_difference(colour(1), colour(4));
        assert!((found - figures[7]).abs() < 5e-5, "pair {}: {found}", figures[0]);
        checked += 1;
    }
    assert_eq!(checked, 34);
}
