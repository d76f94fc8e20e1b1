//! `stillpage prepare` end to end: what is written is what the panel shows, sources stay, and names are kept.

use serde_json::json;
use stillpage::display::shipped;

use crate::common::{Folder, png_of};

/// A picture with a ramp, a surface between levels, a line and a bar: greys, read as colours on a palette.
fn shade(x: u32, y: u32) -> u8 {
    match (x, y) {
        (_, 0..12) => (x * 4) as u8,
        (20, _) | (_, 20) | (8..16, 24..40) => 0,
        (30..50, 24..40) => 119,
        _ => 255,
    }
}

/// Displays that ship with levels or a palette, each cut down to 64 x 48 px.
fn small_displays(folder: &Folder) -> Vec<&'static str> {
    let names: Vec<&str> =
        shipped::names().filter(|name| !name.starts_with("segments") && *name != "flag-red").collect();
    for name in &names {
        let small = json!({ "format": "display/1", "based_on": name, "name": name, "size_px": [64, 48] });
        folder.display(&format!("{name}.display.json"), &small);
    }
    names
}

/// The review finds no shade that the panel lacks, and what is prepared once more is the same file, px for px as drawn: every
/// pixel was read back as the level that was meant.
#[test]
fn a_review_reads_back_every_level_on_every_shipped_display() {
    let folder = Folder::new();
    folder.file("a.png", png_of(64, 48, shade));
    let names = small_displays(&folder);
    assert_eq!(names.len(), 12);
    for name in names {
        let display = format!("{name}.display.json");
        for how in ["threshold", "ordered", "diffusion"] {
            let out = format!("{name}/{how}");
            let run =
                folder.run(&["prepare", "a.png", "--display", &display, "--how", how, "--out", &out]).with_status(0);
            assert!(run.out.starts_with(&format!("{out}/a.png: ")), "{}", run.out);
            let written = std::fs::read(folder.join(&format!("{out}/a.png"))).unwrap();
            let prepared = format!("{out}/a.png");
            let call = ["prepare", &prepared, "--display", &display, "--how", how, "--out", "again", "--force"];
            let again = folder.run(&call);
            let seen = again.with_status(0).out;
            assert!(seen.starts_with("again/a.png: 0 px (0.0 %) differ from the drawing"), "{name}: {seen}");
            assert!(seen.ends_with("mean difference is 0.00 (CIEDE2000)\n"), "{name}: {seen}");
            assert_eq!(std::fs::read(folder.join("again/a.png")).unwrap(), written, "{name}, {how}");
        }
        let plan = json!({
            "format": "refresh-plan/1", "display": display, "begins": "white",
            "steps": [{ "screen": format!("{name}/ordered/a.png"), "updates": [{ "mode": "full" }] }]
        });
        folder.file("a.plan.json", plan.to_string());
        let run =
            folder.run(&["review", "a.plan.json", "--only", "shade-not-on-panel", "--format", "json"]).with_status(0);
        assert_eq!(run.json()["plans"][0]["findings"], json!([]), "{name}");
    }
}

#[test]
fn the_default_is_the_pattern_that_stands_still() {
    let folder = Folder::new();
    let names = small_displays(&folder);
    assert!(names.contains(&"handheld-4in2"));
    // The second screen differs at one place; only that place may differ in what is prepared.
    folder.file("a.png", png_of(64, 48, shade));
    folder.file(
        "b.png",
        png_of(64, 48, |x, y| if (2..6).contains(&x) && (2..6).contains(&y) { 128 } else { shade(x, y) }),
    );
    folder
        .run(&["prepare", "a.png", "b.png", "--display", "handheld-4in2.display.json", "--out", "out"])
        .with_status(0);
    let [a, b] = ["out/a.png", "out/b.png"].map(|name| image::open(folder.join(name)).unwrap().to_luma8());
    let moved =
        a.enumerate_pixels().zip(b.pixels()).filter(|((_, _, one), other)| one != other).map(|((x, y, _), _)| (x, y));
    let moved: Vec<(u32, u32)> = moved.collect();
    assert!(!moved.is_empty());
    // A pixel's surroundings reach two px further.
    assert!(moved.iter().all(|(x, y)| *x < 8 && *y < 8), "{moved:?}");
}

#[test]
fn names_and_folders_are_kept_and_an_earlier_result_is_no_screen() {
    let folder = Folder::usual();
    folder.file("screens/minutes/1.png", png_of(16, 8, |x, _| (x * 16) as u8));
    folder.file(
        "screens/open.svg",
        "<svg xmlns='http://www.w3.org/2000/svg' width='16' height='8'><text y='8'>g</text></svg>",
    );
    folder.file("screens/.hidden.png", "no picture");
    let call = ["prepare", "screens", "--display", "panel.display.json", "--out", "screens/prepared", "--full"];
    let first = folder.run(&call).with_status(0);
    assert_eq!(folder.names_below("screens/prepared"), ["minutes/1.png", "open.png"]);
    assert!(first.out.contains("  there is no font `"), "what the drawing lost is told: {}", first.out);
    // Again: the prepared pictures are not taken for screens, and nothing is lost if one of them is something else now.
    assert_eq!(folder.run(&call).with_status(0).out, first.out);
    folder.file("screens/prepared/open.png", "something else");
    let refused = folder.run(&call).with_status(2).error;
    assert!(refused.contains("open.png") && refused.contains("add `--force`"), "{refused}");
    assert_eq!(folder.read("screens/prepared/open.png"), "something else");
    assert_eq!(folder.run(&[&call[..], &["--force"]].concat()).with_status(0).out, first.out);
    assert_eq!(folder.names_below("screens/prepared"), ["minutes/1.png", "open.png"]);
    image::open(folder.join("screens/prepared/open.png")).unwrap();
}

#[test]
fn a_source_is_never_written_over() {
    let folder = Folder::usual();
    folder.file("out/square.png", png_of(16, 8, |_, _| 77));
    let before = ["square.png", "white.png", "out/square.png"].map(|name| std::fs::read(folder.join(name)).unwrap());
    for call in [
        vec!["square.png", "--out", "."],
        vec!["square.png", "--out", "out/.."],
        vec![".", "--out", "."],
        // One that another one would be overwritten, while it is prepared itself.
        vec!["square.png", "out/square.png", "--out", "out"],
    ] {
        let call = [vec!["prepare", "--display", "panel.display.json"], call].concat();
        let run = folder.run(&call).with_status(2);
        assert!(run.error.contains("would be overwritten"), "{}", run.error);
        assert_eq!(run.out, "");
    }
    let after = ["square.png", "white.png", "out/square.png"].map(|name| std::fs::read(folder.join(name)).unwrap());
    assert_eq!(before, after);
    // The same name in another folder is no source, but it is another picture.
    let call = ["prepare", "square.png", "--display", "panel.display.json", "--out", "out"];
    assert!(folder.run(&call).with_status(2).error.contains("add `--force`"));
    folder.run(&[&call[..], &["--force"]].concat()).with_status(0);
}

#[cfg(unix)]
#[test]
fn a_source_behind_a_link_is_not_written_over_either() {
    let folder = Folder::usual();
    std::os::unix::fs::symlink(folder.path(), folder.join("elsewhere")).unwrap();
    let run =
        folder.run(&["prepare", "square.png", "--display", "panel.display.json", "--out", "elsewhere"]).with_status(2);
    assert!(run.error.contains("would be overwritten"), "{}", run.error);
}

/// A fault of one screen is reported, and the others are prepared.
#[test]
fn a_broken_screen_does_not_stop_the_others() {
    let folder = Folder::usual();
    folder.file("broken.png", "no picture");
    let run = folder
        .run(&["prepare", "broken.png", "square.png", "--display", "panel.display.json", "--out", "out"])
        .with_status(2);
    assert!(run.error.contains("broken.png") && run.error.contains("the PNG is broken"), "{}", run.error);
    assert_eq!(folder.names_below("out"), ["square.png"]);
    assert!(run.out.starts_with("out/square.png: 0 px"), "{}", run.out);
}

#[test]
fn a_turned_panel_takes_turned_screens() {
    let folder = Folder::usual();
    folder.file("tall.png", png_of(8, 16, |x, y| (x * 16 + y) as u8));
    let call = ["prepare", "tall.png", "--display", "panel.display.json", "--out", "out", "--rotation"];
    folder.run(&[&call[..], &["90"]].concat()).with_status(0);
    assert_eq!(image::image_dimensions(folder.join("out/tall.png")).unwrap(), (8, 16));
    let run = folder.run(&[&call[..], &["180"]].concat()).with_status(2);
    assert!(run.error.contains("the picture is 8 x 16 px, but the panel shows 16 x 8 px"), "{}", run.error);
}

#[test]
fn any_number_of_threads_writes_the_same_and_tells_it_in_order() {
    let folder = Folder::usual();
    for at in 0..7_u32 {
        folder.file(&format!("in/{at}.png"), png_of(16, 8, |x, y| (x * 13 + y * 29 + at * 31) as u8));
    }
    let lines = |threads: &str| {
        let run = folder.run(&[
            "prepare",
            "in",
            "--display",
            "panel.display.json",
            "--out",
            "out",
            "--full",
            "--threads",
            threads,
        ]);
        let bytes: Vec<Vec<u8>> =
            (0..7).map(|at| std::fs::read(folder.join(&format!("out/{at}.png"))).unwrap()).collect();
        (run.with_status(0).out, bytes)
    };
    let (one, three) = (lines("1"), lines("3"));
    assert_eq!(one, three);
    let names: Vec<&str> = one.0.lines().map(|line| line.split_once(':').unwrap().0).collect();
    assert_eq!(names, (0..7).map(|at| format!("out/{at}.png")).collect::<Vec<_>>());
}

#[test]
fn the_distance_changes_what_is_seen_and_not_what_is_written() {
    let folder = Folder::usual();
    folder.display(
        "two.display.json",
        &json!({
            "format": "display/1", "based_on": "label-2in1", "name": "two", "size_px": [32, 32]
        }),
    );
    folder.file("grey.png", png_of(32, 32, |_, _| 188));
    let seen = |distance: &str| {
        let run = folder.run(&[
            "prepare",
            "grey.png",
            "--display",
            "two.display.json",
            "--out",
            "out",
            "--distance",
            distance,
        ]);
        let words = run.with_status(0).out;
        let figure = words.split("mean difference is ").nth(1).unwrap().split(' ').next().unwrap().to_owned();
        (figure.parse::<f64>().unwrap(), std::fs::read(folder.join("out/grey.png")).unwrap())
    };
    let (near, far) = (seen("10"), seen("2000"));
    assert_eq!(near.1, far.1);
    assert!(near.0 > 20.0 * far.0.max(0.01), "{} near, {} far", near.0, far.0);
}

/// A whole page of letters keeps every stroke: black on white stays what the drawing's own threshold makes of it.
#[test]
fn letters_on_white_are_what_a_plain_threshold_makes_of_them() {
    let folder = Folder::usual();
    let two = json!({ "format": "display/1", "based_on": "label-2in1", "name": "two", "size_px": [120, 40] });
    folder.display("two.display.json", &two);
    folder.file(
        "a.svg",
        "<svg xmlns='http://www.w3.org/2000/svg' width='120' height='40' font-family='Arimo' font-size='14'>\
         <rect width='120' height='40' fill='#fff'/><text x='3' y='16'>Skerry Haven 07</text><text x='3' y='34'>berth 2</text></svg>",
    );
    for how in ["threshold", "ordered", "diffusion"] {
        folder.run(&["prepare", "a.svg", "--display", "two.display.json", "--how", how, "--out", how]).with_status(0);
    }
    // The review reads the drawing itself at half of black and white.
    folder.file(
        "a.plan.json",
        json!({ "format": "refresh-plan/1", "display": "two.display.json", "begins": { "screen": "a.svg" }, "steps": [
            { "screen": "threshold/a.png", "updates": [{ "mode": "full" }] },
            { "screen": "a.svg", "updates": [{ "mode": "full" }] },
            { "screen": "ordered/a.png", "updates": [{ "mode": "full" }] },
            { "screen": "a.svg", "updates": [{ "mode": "full" }] },
            { "screen": "diffusion/a.png", "updates": [{ "mode": "full" }] }
        ] })
        .to_string(),
    );
    folder.run(&["review", "a.plan.json", "--gate", "never", "--facts", "facts.jsonl"]).with_status(0);
    for line in folder.read("facts.jsonl").lines() {
        let facts: serde_json::Value = serde_json::from_str(line).unwrap();
        assert_eq!(facts["changed_px"], 0, "{line}");
    }
    let ordered = image::open(folder.join("ordered/a.png")).unwrap().to_luma8();
    assert!(ordered.pixels().any(|pixel| pixel.0[0] == 0), "there are letters");
}

/// Three texts: black on white, light grey on white, and dark grey on a dark ground that `quick` can show no nearer than black.
const TEXTS: &str = r##"<svg xmlns="http://www.w3.org/2000/svg" width="240" height="240"><rect width="240" height="240" fill="#fff"/>
    <g font-family="Arimo" font-size="30"><text x="20" y="60" fill="#000">High</text><text x="20" y="120" fill="#ddd">Low</text>
    <rect y="150" width="240" height="90" fill="#333"/><text x="20" y="200" fill="#222">moon</text></g></svg>"##;

#[test]
fn a_mode_gets_only_the_levels_that_it_can_show_and_lost_texts_are_named() {
    let folder = Folder::new();
    folder.file("a.svg", TEXTS);
    folder.file("b.png", png_of(240, 240, |x, _| x as u8));
    let call = [
        "prepare",
        "a.svg",
        "b.png",
        "--display",
        "watch-1in3",
        "--mode",
        "quick",
        "--out",
        "out",
        "--look",
        "look.png",
    ];
    let run = folder.run(&call).with_status(0);
    let begin = "2 screens prepared in the levels that `quick` can show: black and white\n";
    assert!(run.out.starts_with(begin), "{}", run.out);
    assert!(
        run.out.contains("2 of 3 texts are lost in the levels of `quick`:\n  out/a.png: `Low` at ["),
        "{}",
        run.out
    );
    assert!(run.out.contains("  out/a.png: `moon` at [") && !run.out.contains("`High`"), "{}", run.out);
    assert!(run.out.contains("look.png: "), "{}", run.out);
    for name in ["out/a.png", "out/b.png"] {
        let picture = image::open(folder.join(name)).unwrap().to_luma8();
        assert!(picture.pixels().all(|pixel| [0, 255].contains(&pixel.0[0])), "{name}");
        assert!([0, 255].iter().all(|grey| picture.pixels().any(|pixel| pixel.0[0] == *grey)), "{name}");
    }
    // A review finds nothing that the mode could not show.
    let plan = json!({
        "format": "refresh-plan/1", "display": "watch-1in3", "begins": "white",
        "steps": [{ "screen": "out/b.png", "updates": [{ "mode": "quick" }] }]
    });
    folder.file("a.plan.json", plan.to_string());
    let found = folder.run(&["review", "a.plan.json", "--only", "grey-in-two-level-mode", "--format", "json"]);
    assert_eq!(found.with_status(0).json()["plans"][0]["findings"], json!([]));
    // Three pictures side by side, each twice as large; the first is the drawing, the last has the greys of the panel.
    let look = image::open(folder.join("look.png")).unwrap().to_luma8();
    assert_eq!(look.dimensions(), (20 + 3 * 500, 30 + 480 + 20));
    let darkest = |from: u32| {
        (from..from + 480).flat_map(|x| (30..510).map(move |y| (x, y))).map(|(x, y)| look.get_pixel(x, y).0[0]).min()
    };
    let lightest = |from: u32| {
        (from..from + 480).flat_map(|x| (30..510).map(move |y| (x, y))).map(|(x, y)| look.get_pixel(x, y).0[0]).max()
    };
    assert_eq!((darkest(520), lightest(520)), (Some(0), Some(255)), "prepared");
    assert!(
        darkest(1020) > Some(20) && lightest(1020) < Some(230),
        "panel black is a dark grey, panel white a light one"
    );
}

#[test]
fn one_screen_or_all_in_full_is_a_line_each_and_a_picture_is_not_overwritten() {
    let folder = Folder::new();
    for name in ["a.png", "b.png"] {
        folder.file(name, png_of(240, 240, |x, _| x as u8));
    }
    let with = |more: &[&str]| {
        folder.run(&[&["prepare", "a.png", "b.png", "--display", "watch-1in3", "--out", "out"], more].concat())
    };
    let summary = with(&[]).with_status(0).out;
    assert!(summary.starts_with("2 screens prepared\n") && !summary.contains("b.png"), "{summary}");
    let full = with(&["--full"]).with_status(0).out;
    assert!(full.starts_with("out/a.png: ") && full.contains("\nout/b.png: ") && full.lines().count() == 2, "{full}");
    folder.file("look.png", "somebody's own");
    let refused = with(&["--look", "look.png"]).with_status(2);
    assert!(refused.error.contains("look.png: this file exists already"), "{}", refused.error);
    assert_eq!(folder.read("look.png"), "somebody's own");
    with(&["--look", "look.png", "--force"]).with_status(0);
    assert!(image::open(folder.join("look.png")).is_ok());
    let unknown = with(&["--mode", "quik"]).with_status(2).error;
    assert!(
        unknown.contains("`watch-1in3` has no mode `quik`") && unknown.contains("did you mean `quick`"),
        "{unknown}"
    );
    // PNGs do not say where their texts are.
    let judged = with(&["--mode", "quick", "--force"]).with_status(0).out;
    assert!(judged.contains("no texts were judged: only drawings (SVG) say where their texts are"), "{judged}");
}
