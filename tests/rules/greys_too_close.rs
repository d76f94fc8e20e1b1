//! The edge cases of `greys-too-close`, beside the examples of its page.

use crate::{
    common::{Folder, example_display, png_of},
    edges::{Edge, hold, screens, told},
};

pub(crate) fn edges() -> Vec<Edge> {
    vec![Edge {
        rule: "greys-too-close",
        limit: "l",
        // Neighbours of 16 levels between reflectances of 0.04 and 0.44 lie (72.2285 - 23.6714) / 15 = 3.2371 L* apart.
        screens: screens(&[("a.png", &two_fields("8", "9"))]),
        display: "",
        plan: r#"{ "rules": { "greys-too-close": { "l": @ } }, "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#,
        silent: "3.237",
        fires: "3.238",
    }]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("greys-too-close", &edges());
}

/// A plan that shows one picture of 120 x 80 px on 16 levels; what the rule says of it.
fn said_of(shade: impl Fn(u32, u32) -> u8) -> Vec<String> {
    let folder = Folder::new();
    folder.display("panel.display.json", &example_display([120, 80]));
    folder.file("a.png", png_of(120, 80, shade));
    folder.plan("a.plan.json", r#"{ "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }] }"#);
    let run = folder.run(&["review", "a.plan.json", "--format", "json", "--only", "greys-too-close"]);
    told(&run.json()["plans"][0], "greys-too-close")
}

/// The shade of one of 16 levels.
fn shade(level: u32) -> u8 {
    17 * level as u8
}

#[test]
fn an_edge_counts_from_20_pairs_of_one_contrast_on() {
    // A field of level 9 in level 8, `height` rows high: all sides of it are one edge.
    let field = |width: u32, height: u32| {
        said_of(|x, y| shade(8 + u32::from((40..40 + width).contains(&x) && (30..30 + height).contains(&y))))
    };
    assert_eq!(field(5, 4), Vec::<String>::new(), "18 pairs");
    let found = field(5, 5);
    assert!(found.len() == 1 && found[0].contains("grey 8 of 15 and grey 9 of 15 touch"), "20 pairs: {found:?}");
    // Many short edges, as photographs have them, make no long one.
    let fields = said_of(|x, y| shade(8 + u32::from(x % 12 < 4 && y % 12 < 4)));
    assert_eq!(fields, Vec::<String>::new(), "70 fields of 16 pairs each");
}

#[test]
fn a_gradient_is_no_pair_of_surfaces() {
    // Across, downwards, from lighter to darker, and round a centre.
    assert_eq!(said_of(|x, _| shade(x / 8)), Vec::<String>::new());
    assert_eq!(said_of(|_, y| shade(15 - y / 5)), Vec::<String>::new());
    let round = |x: u32, y: u32| (x.abs_diff(60).pow(2) + y.abs_diff(40).pow(2)).isqrt();
    assert_eq!(said_of(|x, y| shade(15 - (round(x, y) / 6).min(13))), Vec::<String>::new());
    // Four bands are one; three may be surfaces of a design.
    assert_eq!(said_of(|x, _| shade(6 + x / 30)), Vec::<String>::new());
    assert_eq!(said_of(|x, _| shade(6 + x / 40)).len(), 1);
    // A surface upon a gradient's last band is none of its bands.
    let found = said_of(|x, y| if x < 60 { shade(x / 12) } else { shade(10 + u32::from(x > 80 && y > 40)) });
    assert!(found.len() == 1 && found[0].contains("grey 10 of 15 and grey 11 of 15 touch"), "{found:?}");
}

/// Light and shadow that go up and down in waves, with noise: 16 levels make areas with crooked edges of it.
#[test]
fn a_photograph_is_left_alone() {
    let mut noise = 1_u32;
    let pixels: Vec<u8> = (0..120 * 80)
        .map(|at| {
            let (x, y) = (f64::from(at % 120), f64::from(at / 120));
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let waves = (x / 17.0).sin() + (y / 13.0).cos() + ((x + y) / 29.0).sin();
            (128.0 + 40.0 * waves + f64::from(noise >> 28) - 8.0) as u8
        })
        .collect();
    assert_eq!(said_of(|x, y| pixels[(y * 120 + x) as usize]), Vec::<String>::new());
}

/// Two fields of these digits' shades that touch.
fn two_fields(left: &str, right: &str) -> String {
    let row = format!("....{}{}....", left.repeat(4), right.repeat(4));
    vec![row; 20].join("\n")
}
