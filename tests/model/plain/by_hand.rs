//! Small cases computed by hand from what `docs/model.md` says.
#![expect(clippy::float_cmp, reason = "what is compared so is a sum of whole numbers or was never touched")]

use super::drawing::Drawing;
use super::driving::{Drive, PanelState, Tally};
use super::eye::{GhostLimit, seen};
use super::facts::facts;
use super::geometry::{Mask, Rect, Size, count};
use super::ink::{Colour, Ink, grey, grey_level, lightness};
use super::pen::pieces;
use super::playing::play;
use super::queue::{Queue, Times};
use super::reading::{
    Beside, Counts, Drives, Impulse, Link, Mode, Otherwise, PenPoint, Residue, Stroke, natural, read_plan,
};
use super::regions::{groups, label, regions};
use super::screens::{over_white, to_8_bits};
use super::segments::{OFF, ON, Segments};
use super::windows::{turned, widened};
use crate::random_plans::write_text;

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() < 5e-5
}

fn two_level_ink() -> Ink {
    Ink::grey(2, &[0.18, 1.0])
}

fn mode(drives: Drives, to: &[usize]) -> Mode {
    Mode {
        name: "quick".into(),
        also_called: Vec::new(),
        from: vec![0, 1],
        to: to.to_vec(),
        drives,
        otherwise: Otherwise::Nearest,
        windowed: true,
        flashes: 0,
        flash_at: None,
        cleans: false,
        duration_ms: vec![(0.0, 900.0), (15.0, 520.0), (25.0, 450.0)],
        residue: vec![(0.0, residue())],
        beside: None,
        impulse: None,
        full_swing_ms: None,
        energy_start_mj: 0.0,
        energy_mj_per_cm2: 0.0,
    }
}

fn residue() -> Residue {
    Residue { keeps: 0.5, lighter: 0.1, darker: 0.05, wrong_start: 3.0, pairs: Vec::new() }
}

/// At 25 degrees C, on a panel of one row.
fn drive<'a>(ink: &'a Ink, mode: &'a Mode, for_ms: f64) -> Drive<'a> {
    Drive { ink, counts: Counts::Drives, mode, for_ms, temperature_c: 25.0, width: 1000 }
}

/// An update of the host that sends one picture.
fn sent(queue: &mut Queue, request_ms: f64, covered: Mask, duration_ms: f64) -> Times {
    queue.host(request_ms, covered, duration_ms, 1.0, &mut 0.0)
}

fn mask(rows: &[&str]) -> Mask {
    rows.iter().flat_map(|row| row.bytes().map(|b| b == b'1')).collect()
}

#[test]
fn lightness_of_reflectances() {
    assert!(near(lightness(0.18), 49.4961));
    assert!(near(lightness(1.0), 100.0));
    assert!(near(lightness(0.0), 0.0));
    // Below (6/29)^3 = 0.008856 the curve is a line of slope (29/3)^3 = 903.2963.
    assert!(near(lightness(0.004), 3.613_185));
    // The two parts meet at L* 8.
    let edge = (6.0_f64 / 29.0).powi(3);
    assert!(near(lightness(edge), 8.0) && near(lightness(edge * 1.000_000_1), 8.0));
}

#[test]
fn levels_between_two_reflectances_are_even_in_lightness() {
    let ink = Ink::grey(4, &[0.18, 1.0]);
    assert!(near(ink.lightness[1], 49.4961 + 50.5039 / 3.0));
    let own = Ink::grey(4, &[0.02, 0.1, 0.3, 0.5]);
    assert!(near(own.lightness[1], lightness(0.1)));
}

#[test]
fn greys_and_levels_in_whole_numbers() {
    assert_eq!((grey([255, 255, 255]), grey([255, 0, 0]), grey([0, 255, 0]), grey([0, 0, 255])), (255, 54, 182, 18));
    assert_eq!((grey_level(127, 2), grey_level(128, 2)), (0, 1));
    // Of four levels 85 apart the borders lie at 42.5, 127.5 and 212.5.
    assert_eq!([42, 43, 127, 128, 212, 213].map(|g| grey_level(g, 4)), [0, 1, 1, 2, 2, 3]);
    // Of sixteen levels 17 apart the first border lies at 8.5.
    assert_eq!([8, 9, 246, 247].map(|g| grey_level(g, 16)), [0, 1, 14, 15]);
}

#[test]
fn samples_and_alpha() {
    assert_eq!([0, 128, 129, 32767, 65535].map(|v| to_8_bits(v, 16)), [0, 0, 1, 127, 255]);
    assert_eq!([to_8_bits(1, 1), to_8_bits(2, 2), to_8_bits(9, 4), to_8_bits(77, 8)], [255, 170, 153, 77]);
    assert_eq!(over_white([0, 100, 255, 0]), [255, 255, 255]);
    // 0 + 255 * 127 + 127 = 32512, by 255 is 127.49; 100 * 128 + 32385 + 127 = 45312, by 255 is 177.69.
    assert_eq!(over_white([0, 100, 255, 128]), [127, 177, 255]);
}

#[test]
fn palette_levels() {
    let colour = |name: &str, srgb| Colour { name: name.into(), srgb };
    let ink = Ink::palette(vec![
        colour("white", [255, 255, 255]),
        colour("red", [200, 0, 0]),
        colour("black", [10, 10, 10]),
        colour("again", [200, 0, 0]),
    ]);
    assert_eq!((ink.black, ink.white), (2, 0));
    assert_eq!(ink.level_of([200, 0, 0]), 1);
    assert_eq!(ink.level_of([190, 10, 0]), 1);
    assert_eq!(ink.level_of([250, 240, 245]), 0);
    assert!(near(ink.lightness[0], 100.0));
    // By L*: red (about 41) is nearer to black (about 3) than to white.
    assert_eq!(ink.nearest(1, &[0, 2]), Some(2));
}

#[test]
fn nearest_grey_takes_the_lower_of_two() {
    let ink = Ink::grey(16, &[0.05, 0.5]);
    assert_eq!(ink.nearest(7, &[0, 15]), Some(0));
    assert_eq!(ink.nearest(8, &[0, 15]), Some(15));
    assert_eq!(ink.nearest(5, &[3, 7]), Some(3));
    assert_eq!(ink.nearest(5, &[7, 3]), Some(3));
}

#[test]
fn segments_of_a_drawing() {
    let svg = r##"<svg xmlns="http://www.w3.org/2000/svg" width="6" height="4">
        <rect id="left" width="3" height="2"/>
        <g id="right" transform="translate(2 0)"><rect id="inner" x="1.25" y="0.75" width="2" height="1.5"/></g>
        <polygon id="foot" points="0,2 4,2 4,3 1,3 1,4 0,4" fill="#ffffff"/>
        <rect x="5" y="3" width="1" height="1"/>
    </svg>"##;
    let segments = Segments::of(&Drawing::read(svg).unwrap());
    assert_eq!(segments.names, ["left", "right", "foot"]);
    // From 3.25 to 5.25 and 0.75 to 2.25: three quarters of column 3, all of 4, a quarter of 5; row 1 whole.
    let rows: Vec<String> = segments
        .owners
        .chunks(6)
        .map(|row| row.iter().map(|owner| owner.map_or('.', |segment| ['l', 'r', 'f'][segment])).collect())
        .collect();
    assert_eq!(rows, ["lll...", "lllrr.", "ffff..", "f....."]);
    // Turned clockwise the screen would lie on the panel: its upper left pixel is the panel's upper right one.
    let turned = segments.on_screen(90);
    assert_eq!((turned.size, turned.owners[0], turned.owners[3]), (Size { w: 4, h: 6 }, None, None));
    assert_eq!(turned.owners[4 * 5..], [Some(0), Some(0), Some(2), Some(2)]);
}

#[test]
fn a_segment_is_on_off_or_between() {
    let owners = (0..41).map(|at| (at < 40).then_some(at / 20)).collect();
    let segments = Segments { size: Size { w: 41, h: 1 }, names: vec!["a".into(), "b".into()], owners };
    let settled = |first: usize, second: usize, beside: bool| {
        let dark: Mask =
            (0..41).map(|at| if at == 40 { beside } else { at % 20 < if at < 20 { first } else { second } }).collect();
        let settled = segments.settle(&dark);
        let parts: Vec<_> = settled.faults.parts.iter().map(|part| (part.name.clone(), part.dark)).collect();
        (settled.levels[0], settled.levels[20], parts, settled.faults.outside.map(|(bounds, px)| (bounds.x, px)))
    };
    assert_eq!(settled(19, 1, false), (ON, OFF, vec![], None));
    assert_eq!(settled(18, 2, true), (ON, OFF, vec![("a".into(), 18), ("b".into(), 2)], Some((40, 1))));
    assert_eq!(settled(10, 9, false), (ON, OFF, vec![("a".into(), 10), ("b".into(), 9)], None));
    assert_eq!(segments.settle(&[true; 41]).levels[40], OFF);
}

#[test]
fn cells_are_joined_with_eight_neighbours() {
    let cells = mask(&["11001", "00101", "00010", "10000", "11011"]);
    let (group_of, number) = label(Size { w: 5, h: 5 }, &cells);
    assert_eq!(number, 3);
    let at = |x: usize, y: usize| group_of[y * 5 + x];
    // The upper left pair reaches the third column, the fourth, and from there the fifth.
    assert_eq!((at(0, 0), at(2, 1), at(3, 2), at(4, 0)), (Some(0), Some(0), Some(0), Some(0)));
    assert_eq!((at(0, 3), at(1, 4)), (Some(1), Some(1)));
    assert_eq!((at(3, 4), at(4, 4)), (Some(2), Some(2)));
}

#[test]
fn regions_go_by_tiles_and_are_tight() {
    // 20 x 9: tiles begin at 0, 8 and 16, rows at 0 and 8.
    let size = Size { w: 20, h: 9 };
    let set = |places: &[(i64, i64)]| size.places().map(|p| places.contains(&p)).collect::<Mask>();
    let near_by = regions(size, &set(&[(7, 0), (8, 8)]));
    assert_eq!(near_by.len(), 1);
    assert_eq!((near_by[0].bounds, near_by[0].pixels), (Rect { x: 7, y: 0, w: 2, h: 9 }, 2));
    // A tile between keeps them apart, however near the tiles' far sides.
    assert_eq!(groups(size, &set(&[(0, 0), (16, 0)])).len(), 2);
    let ordered = regions(size, &set(&[(0, 5), (17, 2)]));
    assert_eq!(ordered.iter().map(|r| r.bounds.x).collect::<Vec<_>>(), [17, 0]);
}

#[test]
fn boxes_are_widened_on_the_panels_axes() {
    let panel = Size { w: 20, h: 13 };
    let step = (8, 1);
    let plain = widened(Rect { x: 5, y: 3, w: 4, h: 2 }, step, panel, 0);
    assert_eq!(plain, Rect { x: 0, y: 3, w: 16, h: 2 });
    // Cut at the edge: 17 goes down to 16, and up to 24, past the panel's 20.
    assert_eq!(widened(Rect { x: 17, y: 3, w: 9, h: 2 }, step, panel, 0), Rect { x: 16, y: 3, w: 4, h: 2 });
    // The screen is 13 x 20; turned clockwise its y is the panel's x, and its x counts back from the panel's far edge.
    assert_eq!(turned(Rect { x: 5, y: 3, w: 4, h: 2 }, Size { w: 13, h: 20 }, 90), Rect { x: 15, y: 5, w: 2, h: 4 });
    // Panel x 15..17 widens to 8..20 (24 is cut), so screen y 20 - 20 .. 20 - 8.
    assert_eq!(widened(Rect { x: 5, y: 3, w: 4, h: 2 }, step, panel, 90), Rect { x: 5, y: 0, w: 4, h: 12 });
    assert_eq!(widened(Rect { x: 5, y: 3, w: 4, h: 2 }, step, panel, 270), Rect { x: 5, y: 0, w: 4, h: 8 });
    assert_eq!(widened(Rect { x: 5, y: 3, w: 4, h: 2 }, step, panel, 180), Rect { x: 4, y: 3, w: 8, h: 2 });
    assert_eq!(widened(Rect { x: -3, y: -2, w: 5, h: 4 }, step, panel, 0), Rect { x: 0, y: 0, w: 8, h: 2 });
}

#[test]
fn residue_of_two_steps() {
    let ink = two_level_ink();
    let quick = mode(Drives::Changed, &[0, 1]);
    let mut glass = PanelState::clean(vec![1, 1], false);
    // White to black: D = 100 - 49.4961 = 50.5039, times 0.05.
    let tally = glass.update(drive(&ink, &quick, 450.0), &[true, true], &[0, 1]);
    assert_eq!(tally, Tally { changed: 1, driven: 1, out_of_reach: 0, wrong_start: 0 });
    assert!(near(glass.residue[0], 2.525_195) && glass.residue[1] == 0.0);
    // Back to white: half of it stays, and D = -50.5039 times 0.1 comes on top.
    glass.update(drive(&ink, &quick, 450.0), &[true, true], &[1, 1]);
    assert!(near(glass.residue[0], 1.262_597 - 5.050_39));
    assert_eq!(glass.since_cleaning, [2, 0]);
}

#[test]
fn a_short_drive_goes_a_share_of_the_way() {
    let ink = two_level_ink();
    let mut slow = mode(Drives::Changed, &[0, 1]);
    slow.full_swing_ms = Some(2000.0);
    let mut glass = PanelState::clean(vec![1], false);
    glass.update(drive(&ink, &slow, 500.0), &[true], &[0]);
    // A quarter of (0.05 * 50.5039), and three quarters of the swing that was not made.
    assert!(near(glass.residue[0], 0.25 * 2.525_195 + 0.75 * 50.5039));
    assert_eq!(glass.nominal, [0]);
}

#[test]
fn a_wrong_start_leaves_its_own_mark() {
    let ink = Ink::grey(4, &[0.18, 1.0]);
    let mut quick = mode(Drives::All, &[0, 3]);
    quick.from = vec![0, 3];
    let mut glass = PanelState::clean(vec![1, 2, 2, 3], false);
    let wanted = [0, 3, 2, 3];
    let tally = glass.update(drive(&ink, &quick, 450.0), &[true; 4], &wanted);
    // The third wants level 2, out of reach, and goes to 3.
    assert_eq!(tally, Tally { changed: 2, driven: 4, out_of_reach: 1, wrong_start: 3 });
    let third = 50.5039 / 3.0;
    assert!(near(glass.residue[0], 0.05 * third + 3.0));
    assert!(near(glass.residue[1], -0.1 * third - 3.0));
    assert!(near(glass.residue[2], -0.1 * third - 3.0));
    assert_eq!((glass.residue[3], glass.nominal.as_slice()), (0.0, &[0, 3, 3, 3][..]));
}

#[test]
fn out_of_reach_where_nothing_is_driven() {
    let ink = Ink::grey(4, &[0.18, 1.0]);
    let mut quick = mode(Drives::Changed, &[0, 3]);
    let mut glass = PanelState::clean(vec![0, 0, 1], false);
    // To 1 the nearest is 0, which is there; to 2 it is 3; a grey that stays is no trouble.
    let tally = glass.update(drive(&ink, &quick, 450.0), &[true; 3], &[1, 2, 1]);
    assert_eq!(tally, Tally { changed: 2, driven: 1, out_of_reach: 2, wrong_start: 0 });
    assert_eq!(glass.nominal, [0, 3, 1]);
    quick.otherwise = Otherwise::Skipped;
    let tally = glass.update(drive(&ink, &quick, 450.0), &[true; 3], &[1, 1, 1]);
    assert_eq!(tally, Tally { changed: 2, driven: 0, out_of_reach: 2, wrong_start: 0 });
}

#[test]
fn counts_of_drives_and_of_updates() {
    let ink = two_level_ink();
    let quick = mode(Drives::Changed, &[0, 1]);
    let mut full = mode(Drives::All, &[0, 1]);
    full.cleans = true;
    let mut glass = PanelState::clean(vec![1, 1], true);
    let updates = Drive { counts: Counts::Updates, ..drive(&ink, &quick, 450.0) };
    glass.update(updates, &[true, true], &[0, 1]);
    assert_eq!(glass.since_cleaning, [1, 1]);
    glass.update(drive(&ink, &full, 450.0), &[false, true], &[0, 1]);
    assert_eq!((glass.since_cleaning.as_slice(), glass.unknown.as_slice()), (&[1, 0][..], &[true, false][..]));
}

#[test]
fn durations_hold_up_to_the_next_entry() {
    let mode = mode(Drives::Changed, &[0, 1]);
    assert_eq!([-4.0, 0.0, 14.9, 15.0, 60.0].map(|t| mode.duration_at(t)), [900.0, 900.0, 900.0, 520.0, 450.0]);
}

fn queue(waits_for_panel: bool, places: usize) -> Queue {
    // 1 bit a pixel at 0.001 Mbit/s is 1 ms a pixel.
    Queue::new(Link { megabits_per_s: 0.001, bits_per_px: 1.0, overhead_ms: 5.0, waits_for_panel }, places)
}

#[test]
fn updates_wait_for_a_place_for_one_another_and_for_the_link() {
    let (left, right) = (vec![true, true, false], vec![false, false, true]);
    let mut one = queue(false, 1);
    assert_eq!(
        sent(&mut one, 10.0, left.clone(), 100.0),
        Times { send_ms: 10.0, start_ms: 17.0, finish_ms: 117.0, wait_ms: 0.0 }
    );
    // The link is free at 17; one pixel takes 6; the only place is free at 117.
    assert_eq!(
        sent(&mut one, 10.0, right.clone(), 100.0),
        Times { send_ms: 17.0, start_ms: 117.0, finish_ms: 217.0, wait_ms: 101.0 }
    );
    let mut two = queue(false, 2);
    sent(&mut two, 10.0, left.clone(), 100.0);
    assert_eq!(sent(&mut two, 10.0, right.clone(), 100.0).start_ms, 23.0);
    assert_eq!(sent(&mut two, 10.0, left.clone(), 100.0).start_ms, 117.0);
    let mut waiting = queue(true, 2);
    sent(&mut waiting, 10.0, left, 100.0);
    assert_eq!(
        sent(&mut waiting, 10.0, right, 100.0),
        Times { send_ms: 117.0, start_ms: 123.0, finish_ms: 223.0, wait_ms: 107.0 }
    );
    assert_eq!(waiting.nothing(20.0), Times { send_ms: 223.0, start_ms: 223.0, finish_ms: 223.0, wait_ms: 0.0 });
}

#[test]
fn a_stroke_takes_a_place_and_waits_for_the_host_alone() {
    let (left, right) = (vec![true, false], vec![false, true]);
    let mut queue = queue(false, 2);
    sent(&mut queue, 0.0, left.clone(), 100.0);
    // Data at 6, finished at 106. The first piece overlaps and waits; the second, elsewhere, does not.
    queue.stroke(vec![(20.0, left.clone()), (30.0, right.clone())], 50.0);
    // The stroke's place is taken until 156. A host's update over its second piece waits for 80, and takes the host's place at 106.
    assert_eq!(sent(&mut queue, 60.0, right, 100.0).start_ms, 106.0);
    assert_eq!(sent(&mut queue, 60.0, left, 100.0).start_ms, 156.0);
}

#[test]
fn the_eye_sees_what_is_off_the_median() {
    let ink = two_level_ink();
    let size = Size { w: 4, h: 1 };
    let mut glass = PanelState::clean(vec![1, 1, 0, 0], false);
    // The white cannot show lighter than white; black's median lies between its two.
    glass.residue = vec![4.0, -3.0, 1.0, 9.0];
    // 25.4 pixels an inch is one square millimetre a pixel.
    let limit = GhostLimit { limit_l: 2.3, area_mm2: 0.5, pixels_per_inch: 25.4 };
    let found = seen(size, &ink, &glass, limit);
    // White shows 0 and -3, median -1.5: both are 1.5 off. Black shows 1 and 9, median 5: both are 4 off.
    assert_eq!((found.ghost_px, near(found.worst_residue_l, 4.0)), (2, true));
    assert!(near(found.margin_l, 0.8));
    let large = GhostLimit { area_mm2: 2.5, ..limit };
    assert_eq!(seen(size, &ink, &glass, large).ghost_px, 0);
}

#[test]
fn a_rare_level_has_no_median() {
    let ink = two_level_ink();
    let limit = GhostLimit { limit_l: 2.3, area_mm2: 0.5, pixels_per_inch: 25.4 };
    let ghosts = |pixels: usize| {
        let mut nominal = vec![1; pixels];
        nominal[0] = 0;
        let mut glass = PanelState::clean(nominal, false);
        glass.residue[0] = 4.0;
        seen(Size { w: pixels as i64, h: 1 }, &ink, &glass, limit).ghost_px
    };
    // One in a hundred is not less than 1 %: its own residue is its median.
    assert_eq!((ghosts(100), ghosts(101)), (0, 1));
}

#[test]
fn ink_covers_what_lies_within_half_its_width() {
    let size = Size { w: 8, h: 6 };
    let at = |x, y, ms| PenPoint { x, y, ms };
    let stroke = |points: Vec<PenPoint>, width_px| Stroke { points, width_px, mode: "quick".into(), white: false };
    // A disc of radius 1 around a corner: four centres at 0.707. Around a centre: it and four at exactly 1.
    assert_eq!(count(&pieces(size, &stroke(vec![at(3.0, 3.0, 0.0)], 2.0))[0].covered), 4);
    assert_eq!(count(&pieces(size, &stroke(vec![at(3.5, 3.5, 0.0)], 2.0))[0].covered), 5);
    // Along y = 3 from 2 to 5: rows 2 and 3 are half a pixel off; the ends at 1.5 and 5.5 are too far at width 1.
    let line = pieces(size, &stroke(vec![at(2.0, 3.0, 0.0), at(5.0, 3.0, 9.0), at(5.0, 3.0, 12.0)], 1.0));
    assert_eq!((line.len(), line[0].at_ms, count(&line[0].covered)), (2, 9.0, 6));
    assert_eq!(count(&line[1].covered), 0);
}

#[test]
fn names_in_natural_order() {
    let mut names = vec!["b1.png", "a10.png", "a2.png", "a1.png", "a01.png", "A3.png", "a2b.png"];
    names.sort_by(|a, b| natural(a, b));
    assert_eq!(names, ["A3.png", "a01.png", "a1.png", "a2.png", "a2b.png", "a10.png", "b1.png"]);
}

#[test]
fn a_whole_plan_drawn_over_and_wiped() {
    let display = r#"{
        "size_px": [16, 8], "pixels_per_inch": 25.4, "ink": { "levels": 2, "reflectance": [0.18, 1.0] },
        "windows": { "step_px": [8, 1] }, "parallel_updates": 2, "controller_ink": { "delay_ms": 4 },
        "link": { "megabits_per_s": 0.001, "bits_per_px": 1, "overhead_ms": 5, "waits_for_panel": false },
        "modes": [{ "name": "quick", "from": "any", "to": "two-level", "drives": "changed", "windowed": true,
            "duration_ms": 450, "residue": { "keeps": 0.5, "lighter": 0.1, "darker": 0.05 },
            "energy_mj": { "start": 1, "per_cm2": 2 } }]
    }"#;
    let plan = r#"{ "display": "d.json", "steps": [
        { "after_ms": 10, "label": "wipe", "updates": [{ "mode": "quick", "window": "changed" }],
          "strokes": [{ "points": [[2, 4, 0], [6, 4, 50]], "width_px": 2, "mode": "quick", "shade": "black" }] },
        { "after_ms": 100, "updates": [{ "mode": "quick", "window": "changed" }] }
    ] }"#;
    let lines = facts_of(display, plan);
    // Rows 3 and 4 lie half a pixel off the line, columns 1 to 6 within its round ends.
    let first = &lines[0];
    assert_eq!(first["regions"], serde_json::json!([[1, 3, 6, 2, 12]]));
    assert_eq!((&first["changed_px"], &first["left_behind_px"]), (&12.into(), &0.into()));
    let update = &first["updates"][0];
    assert_eq!(update["asked"], serde_json::json!([[1, 3, 6, 2]]));
    assert_eq!(update["sent"], serde_json::json!([[0, 3, 8, 2]]));
    assert_eq!((&update["changed_px"], &update["driven_px"]), (&12.into(), &12.into()));
    // Requested at the pen-up, 60; 16 px and the overhead take 21; the ink began at 64 and finishes at 514.
    let times = ["send_ms", "start_ms", "finish_ms", "wait_ms"].map(|t| update[t].as_f64().unwrap());
    assert!(times.iter().zip([60.0, 514.0, 964.0, 433.0]).all(|(&a, b)| near(a, b)));
    // A pixel is 0.01 square centimetres.
    assert!(near(update["energy_mj"].as_f64().unwrap(), 1.0 + 2.0 * 0.16));
    // 2.5252 kept by half, less 5.0504: darker than the white around it.
    assert!(near(first["worst_residue_l"].as_f64().unwrap(), 3.787_792));
    assert_eq!((&first["ghost_px"], &first["most_since_cleaning"]), (&12.into(), &2.into()));
    // The second step counts from the pen-up, changes nothing and sends nothing; the link was free at 81.
    let second = &lines[1];
    assert_eq!((second["request_ms"].as_f64(), &second["label"]), (Some(160.0), &serde_json::Value::Null));
    assert_eq!(
        (&second["updates"][0]["asked"], &second["updates"][0]["sent"]),
        (&serde_json::json!([]), &serde_json::json!([]))
    );
    assert_eq!(second["updates"][0]["finish_ms"].as_f64(), Some(160.0));
}

fn facts_of(display: &str, plan: &str) -> Vec<serde_json::Value> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("p.json");
    write_text(&folder.path().join("d.json"), display).unwrap();
    write_text(&path, plan).unwrap();
    let read = read_plan(&path).unwrap();
    facts("p.json", &play(&read).unwrap())
}

#[test]
fn residue_goes_by_temperature_and_by_pair() {
    let ink = two_level_ink();
    let mut quick = mode(Drives::All, &[0, 1]);
    let cold = Residue { darker: 0.1, pairs: vec![(0, 1, -1.25), (0, 0, 0.5)], ..residue() };
    quick.residue = vec![(0.0, cold), (20.0, residue())];
    let at = |temperature_c| Drive { temperature_c, ..drive(&ink, &quick, 450.0) };
    let mut glass = PanelState::clean(vec![1, 1], false);
    // Below the first entry the first holds: 50.5039 times 0.1. From 20 degrees on it is 0.05.
    glass.update(at(-7.0), &[true, false], &[0, 0]);
    glass.update(at(20.0), &[false, true], &[0, 0]);
    assert!(near(glass.residue[0], 5.050_39) && near(glass.residue[1], 2.525_195));
    // From black to black 0.5 is left beside half of what was there; from black to white -1.25 in place of 0.1 * -50.5039.
    glass.update(at(19.9), &[true, true], &[0, 1]);
    assert!(near(glass.residue[0], 2.525_195 + 0.5) && near(glass.residue[1], 1.262_597 - 1.25));
}

#[test]
fn a_pair_goes_with_the_share_of_the_way() {
    let ink = two_level_ink();
    let mut slow = mode(Drives::Changed, &[0, 1]);
    slow.full_swing_ms = Some(1000.0);
    slow.from = vec![0];
    slow.residue[0].1.pairs = vec![(1, 0, 2.0)];
    let mut glass = PanelState::clean(vec![1], false);
    glass.update(drive(&ink, &slow, 250.0), &[true], &[0]);
    // A quarter of 2, three quarters of the swing, and the wrong start whole.
    assert!(near(glass.residue[0], 0.5 + 0.75 * 50.5039 + 3.0));
}

/// A row of five: the one in the middle is written and erased, each way by a drive of changed pixels only.
#[test]
fn what_was_written_and_erased_leaves_its_outline() {
    let ink = two_level_ink();
    let mut quick = mode(Drives::Changed, &[0, 1]);
    quick.beside = Some(Beside { lighter: 0.01, darker: 0.02, most_l: 2.0 });
    let mut glass = PanelState::clean(vec![1; 5], false);
    let (only, written) = ([false, false, true, false, false], [1, 1, 0, 1, 1]);
    glass.update(drive(&ink, &quick, 450.0), &only, &written);
    // L* of the middle fell by 50.5039: its neighbours are 0.02 of that darker, outside the window too, and nobody else.
    let outline = 0.02 * 50.5039;
    assert!(near(glass.residue[1], -outline) && near(glass.residue[3], -outline));
    assert_eq!((glass.residue[0], glass.residue[4], glass.since_cleaning.as_slice()), (0.0, 0.0, &[0, 0, 1, 0, 0][..]));
    // Erased, 0.01 of the way comes back.
    glass.update(drive(&ink, &quick, 450.0), &[true; 5], &[1; 5]);
    assert!(near(glass.residue[1], -0.505_039));
    // Four more times would be 2.5252: it stops at 2, and what is lighter begins from there.
    for _ in 0..4 {
        glass.update(drive(&ink, &quick, 450.0), &only, &written);
        glass.update(drive(&ink, &quick, 450.0), &only, &[1; 5]);
    }
    assert!(near(glass.residue[1], -2.0 + 0.505_039));
}

#[test]
fn neighbours_add_up_and_none_takes_what_is_there_back() {
    let ink = two_level_ink();
    let mut slow = mode(Drives::Changed, &[0, 1]);
    slow.full_swing_ms = Some(900.0);
    slow.beside = Some(Beside { lighter: 0.0, darker: 0.04, most_l: 5.0 });
    // Three columns, two rows; the pixel above in the middle has three neighbours, those beside and that below it.
    let shape = Drive { width: 3, ..drive(&ink, &slow, 450.0) };
    let mut glass = PanelState::clean(vec![1; 6], false);
    glass.residue[1] = -9.0;
    glass.update(shape, &[true, false, true, false, true, false], &[0; 6]);
    // What is beyond the most already stays.
    assert_eq!(glass.residue[1], -9.0);
    // Lower left and lower right have two each; half of the way, 0.04 of 50.5039 from each of them.
    assert!(near(glass.residue[3], -2.0 * 0.5 * 0.04 * 50.5039) && near(glass.residue[5], glass.residue[3]));
    // The left end of the lower row is no neighbour of the right end of the upper one.
    let mut glass = PanelState::clean(vec![1; 6], false);
    glass.update(shape, &[false, false, true, false, false, false], &[0; 6]);
    assert_eq!(glass.residue[3], 0.0);
}

#[test]
fn half_a_square_millimetre_reaches_what_its_weakest_pixel_does() {
    let ink = two_level_ink();
    let size = Size { w: 4, h: 1 };
    let mut glass = PanelState::clean(vec![1; 4], false);
    glass.residue = vec![-1.0, -4.0, -2.0, -2.0];
    // The median is -2: off by 1, 2, 0, 0.
    let reached = |pixels_per_inch| {
        let limit = GhostLimit { limit_l: 2.3, area_mm2: 0.5, pixels_per_inch };
        let found = seen(size, &ink, &glass, limit);
        (found.residue_l, found.worst_residue_l)
    };
    // One pixel is a square millimetre; a quarter of one, so that two make it; a hundredth, of which there are too few.
    assert_eq!([25.4, 50.8, 254.0].map(reached), [(2.0, 0.0), (1.0, 0.0), (0.0, 0.0)]);
}

/// Swings that are driven for 2 s one way and for 0.2 s back: six times 10 V s, less six times 1 V s.
#[test]
fn short_drives_back_let_charge_gather() {
    let ink = two_level_ink();
    let mut direct = mode(Drives::Changed, &[0, 1]);
    direct.duration_ms = vec![(0.0, 2000.0)];
    direct.full_swing_ms = Some(2000.0);
    direct.impulse = Some(Impulse { lighter: -10.0, darker: 10.0, same: 1.0 });
    let mut glass = PanelState::clean(vec![1], false);
    for _ in 0..6 {
        glass.update(drive(&ink, &direct, 2000.0), &[true], &[0]);
        glass.update(drive(&ink, &direct, 200.0), &[true], &[1]);
    }
    assert!(near(glass.impulse[0], 54.0));
    // Longer than the mode's own duration is more; a mode without a full swing is driven as it is.
    glass.update(drive(&ink, &direct, 3000.0), &[true], &[0]);
    assert!(near(glass.impulse[0], 69.0));
    direct.full_swing_ms = None;
    glass.update(drive(&ink, &direct, 200.0), &[true], &[1]);
    assert!(near(glass.impulse[0], 59.0));
}

#[test]
fn a_busy_controller_takes_no_notice() {
    let display = r#"{
        "size_px": [16, 8], "pixels_per_inch": 25.4, "ink": { "levels": 2, "reflectance": [0.18, 1.0] },
        "windows": { "step_px": [8, 1] }, "parallel_updates": 2, "when_busy": "drops",
        "link": { "megabits_per_s": 0.001, "bits_per_px": 1, "overhead_ms": 5, "waits_for_panel": false },
        "modes": [{ "name": "quick", "from": "any", "to": "two-level", "drives": "all", "windowed": true,
            "duration_ms": 100, "energy_mj": { "start": 1 } }]
    }"#;
    let plan = r#"{ "display": "d.json", "steps": [
        { "after_ms": 10, "updates": [
            { "mode": "quick", "window": [0, 0, 8, 1] }, { "mode": "quick", "window": [8, 0, 8, 1] },
            { "mode": "quick", "window": [0, 4, 8, 1] }, { "mode": "quick", "window": "changed" }] },
        { "after_ms": 100, "updates": [{ "mode": "quick", "window": [0, 0, 8, 1], "with_old": true }] },
        { "after_ms": 20, "updates": [{ "mode": "quick", "window": [0, 0, 8, 2] }] }
    ] }"#;
    let lines = facts_of(display, plan);
    let times = |step: usize, update: usize| {
        let update = &lines[step]["updates"][update];
        let ms = ["send_ms", "start_ms", "finish_ms", "wait_ms"].map(|name| update[name].as_f64().unwrap());
        (ms, update["lost"] == true, update["driven_px"].as_u64().unwrap(), update["energy_mj"].as_f64().unwrap())
    };
    // 8 px and the overhead take 13: sent at 10, and at 23 when the first transfer ends; both places are taken.
    assert_eq!(times(0, 0), ([10.0, 23.0, 123.0, 0.0], false, 8, 1.0));
    assert_eq!(times(0, 1), ([23.0, 36.0, 136.0, 13.0], false, 8, 1.0));
    // The third would have to wait for a place. The fourth has nothing to send and is none that gets lost.
    assert_eq!(times(0, 2), ([36.0, 36.0, 36.0, 0.0], true, 0, 0.0));
    assert_eq!(times(0, 3), ([36.0, 36.0, 36.0, 0.0], false, 0, 0.0));
    assert_eq!(lines[0]["updates"][2]["asked"], serde_json::json!([]));
    // Both pictures, 16 bits and the overhead, take 21: from 110 to 131, when the first, which it overlaps, is done.
    assert_eq!(times(1, 0), ([110.0, 131.0, 231.0, 0.0], false, 8, 1.0));
    // From 130 on the link is not free.
    assert_eq!(times(2, 0), ([130.0, 130.0, 130.0, 0.0], true, 0, 0.0));
}

/// Where nothing can be sent while the panel is driven, all but the first of a step are lost.
#[test]
fn a_link_that_waits_loses_the_rest_of_a_step() {
    let mut waiting = queue(true, 2);
    let mut sent_ms = 10.0;
    waiting.host(10.0, vec![true, false], 100.0, 1.0, &mut sent_ms);
    assert_eq!(sent_ms, 16.0);
    assert!(waiting.is_busy(sent_ms, &[false, true], 1.0));
    // Free at that very moment is free.
    assert!(!waiting.is_busy(116.0, &[true, true], 1.0));
}

#[test]
fn an_old_picture_tells_what_sleep_forgot_and_not_what_was_never_known() {
    let ink = two_level_ink();
    let mut full = mode(Drives::All, &[0, 1]);
    full.cleans = true;
    let mut glass = PanelState::clean(vec![1, 1, 1], true);
    glass.update(drive(&ink, &full, 450.0), &[true, true, false], &[1; 3]);
    glass.forget();
    glass.remind(&[true, false, true]);
    assert_eq!(glass.unknown, [false, true, true]);
}

#[test]
fn a_temperature_of_a_step_holds_until_the_next() {
    let display = r#"{
        "size_px": [8, 8], "pixels_per_inch": 25.4, "ink": { "levels": 2, "reflectance": [0.18, 1.0] },
        "link": { "megabits_per_s": 0.001, "bits_per_px": 0, "overhead_ms": 0, "waits_for_panel": false },
        "modes": [{ "name": "full", "drives": "all", "duration_ms": { "0": 900, "20": 500 }, "full_swing_ms": 500,
            "energy_mj": { "start": 1, "per_cm2": 2 } }]
    }"#;
    let plan = r#"{ "display": "d.json", "steps": [
        { "updates": [{ "mode": "full" }] },
        { "repeat": 2, "steps": [
            { "after_ms": 5000, "updates": [{ "mode": "full" }] },
            { "after_ms": 5000, "temperature_c": 3, "updates": [{ "mode": "full", "drive_ms": 450 }] }] }
    ] }"#;
    let took = |line: &serde_json::Value| {
        let update = &line["updates"][0];
        let [start, finish, mj] = ["start_ms", "finish_ms", "energy_mj"].map(|name| update[name].as_f64().unwrap());
        (finish - start, (mj * 100.0).round() / 100.0)
    };
    // 64 pixels of 0.01 square centimetres: 1 + 2 * 0.64, of which the second part goes with the time driven.
    let (warm, half, cold) = ((500.0, 2.28), (450.0, 1.64), (900.0, 2.28));
    assert_eq!(facts_of(display, plan).iter().map(took).collect::<Vec<_>>(), [warm, warm, half, cold, half]);
}
