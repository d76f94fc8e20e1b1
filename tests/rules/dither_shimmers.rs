//! The edge cases of `dither-shimmers`, beside the examples of its page.

use crate::edges::{Edge, hold, screens};

pub(crate) fn edges() -> Vec<Edge> {
    vec![
        Edge {
            rule: "dither-shimmers",
            limit: "area_mm2",
            screens: screens(&[("a.png", &dithered(0, 0)), ("b.png", &dithered(16, 0))]),
            display: "",
            plan: r#"{ "rules": { "dither-shimmers": { "area_mm2": @ } },
                "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }, { "screen": "b.png", "updates": [{ "mode": "full" }] }] }"#,
            silent: "4.13",
            fires: "4.129",
        },
        Edge {
            rule: "dither-shimmers",
            limit: "tone_l",
            // One black speck of 64 turned white lifts the tile by (72.23 - 23.67) / 64 = 0.7587 L*.
            screens: screens(&[("a.png", &dithered(0, 0)), ("b.png", &dithered(16, 1))]),
            display: "",
            plan: r#"{ "rules": { "dither-shimmers": { "tone_l": @ } },
                "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }, { "screen": "b.png", "updates": [{ "mode": "full" }] }] }"#,
            silent: "0.758",
            fires: "0.759",
        },
        Edge {
            rule: "dither-shimmers",
            limit: "share",
            // Four pairs that change places are 8 of 64 px, a share of 0.125.
            screens: screens(&[("a.png", &dithered(0, 0)), ("b.png", &dithered(4, 0))]),
            display: "",
            plan: r#"{ "rules": { "dither-shimmers": { "share": @ } },
                "steps": [{ "screen": "a.png", "updates": [{ "mode": "full" }] }, { "screen": "b.png", "updates": [{ "mode": "full" }] }] }"#,
            silent: "0.126",
            fires: "0.125",
        },
    ]
}

#[test]
fn the_limits_hold_from_both_sides() {
    hold("dither-shimmers", &edges());
}

/// A dithered tile of 8 x 8 px in which the first `turned` pairs of specks have changed places and the first `whiter`
/// black specks of the last row are white.
fn dithered(turned: usize, whiter: usize) -> String {
    let mut rows: Vec<Vec<u8>> =
        (0..8).map(|y| (0..8).map(|x| if (x + y) % 2 == 0 { b'#' } else { b'.' }).collect()).collect();
    for pair in 0..turned {
        rows[pair / 4].swap(pair % 4 * 2, pair % 4 * 2 + 1);
    }
    let mut left = whiter;
    for pixel in &mut rows[7] {
        if left > 0 && *pixel == b'#' {
            *pixel = b'.';
            left -= 1;
        }
    }
    let rows: Vec<String> = rows.into_iter().map(|row| String::from_utf8(row).unwrap()).collect();
    rows.join("\n")
}
