//! Files that are broken, lying or hostile: each gets a clear message with its place and status 2, and a good plan
//! beside it is still reviewed. Nothing panics (every run is checked for that).

use std::io::Write;

use proptest::prelude::*;
use stillpage::{
    display::Ink,
    geometry::Size,
    screen::{Faces, decode_png, draw_segments, draw_svg},
};

use crate::{
    bodies,
    common::{Folder, SQUARE, example_display, png_of, whole_plan},
};

const GOOD: &str = r#"{ "steps": [{ "label": "open", "screen": "square.png", "updates": [{ "mode": "full" }] }] }"#;

/// Reviews a folder with a bad plan and a good one. Gives standard error, after checking that the good one was reviewed.
fn beside_a_good_plan(folder: &Folder) -> String {
    folder.plan("z-good.plan.json", GOOD);
    let run = folder.run(&["review", "."]).with_status(2);
    assert!(
        ["z-good.plan.json  passes ", "z-good.plan.json\n  1 step on example: passes"]
            .iter()
            .any(|good| run.out.contains(good)),
        "the good plan is reviewed: {}",
        run.out
    );
    assert!(!run.error.is_empty(), "the fault is told");
    run.error
}

fn with_screen(name: &str, bytes: &[u8]) -> String {
    let folder = Folder::usual();
    folder.file(name, bytes);
    folder.plan("a.plan.json", &format!(r#"{{ "steps": [{{ "screen": "{name}" }}] }}"#));
    let error = beside_a_good_plan(&folder);
    assert!(error.contains(name) && error.contains("a.plan.json:"), "file and place are named: {error}");
    error
}

/// A chunk as the PNG specification lays it out: length, type, data, CRC-32 over type and data.
fn chunk(kind: [u8; 4], data: &[u8]) -> Vec<u8> {
    let mut body = kind.to_vec();
    body.extend_from_slice(data);
    let mut crc = u32::MAX;
    for byte in &body {
        crc ^= u32::from(*byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 { crc >> 1 ^ 0xedb8_8320 } else { crc >> 1 };
        }
    }
    let mut chunk = (data.len() as u32).to_be_bytes().to_vec();
    chunk.extend_from_slice(&body);
    chunk.extend_from_slice(&(!crc).to_be_bytes());
    chunk
}

fn header(width: u32, height: u32, depth: u8, colour: u8) -> Vec<u8> {
    let mut data = [width.to_be_bytes(), height.to_be_bytes()].concat();
    data.extend([depth, colour, 0, 0, 0]);
    chunk(*b"IHDR", &data)
}

const SIGNATURE: &[u8] = b"\x89PNG\r\n\x1a\n";

#[test]
fn a_truncated_png_is_refused() {
    let whole = png_of(16, 8, |x, y| (x * 16 + y) as u8);
    for length in [0, 7, 20, 40, whole.len() - 13, whole.len() - 1] {
        with_screen("cut.png", &whole[..length]);
    }
}

#[test]
fn a_lying_png_is_refused() {
    let whole = png_of(16, 8, |x, y| (x * 16 + y) as u8);
    let mut wrong_crc = whole.clone();
    let at = wrong_crc.len() - 20;
    wrong_crc[at] ^= 0x55;
    with_screen("crc.png", &wrong_crc);
    // The header tells of more rows than there are data for.
    let image_data = {
        let at = whole.windows(4).position(|window| window == b"IDAT").unwrap() - 4;
        whole[at..].to_vec()
    };
    let taller = [SIGNATURE, &header(16, 9, 8, 0), &image_data].concat();
    assert!(with_screen("tall.png", &taller).contains("16 x 9"), "the size is told");
    let deeper = [SIGNATURE, &header(16, 8, 16, 2), &image_data].concat();
    with_screen("deep.png", &deeper);
    for (width, height) in [(0, 8), (16, 0), (u32::MAX, u32::MAX), (30_000, 30_000)] {
        with_screen("huge.png", &[SIGNATURE, &header(width, height, 8, 6), &image_data].concat());
    }
    with_screen("colour.png", &[SIGNATURE, &header(16, 8, 3, 7), &image_data].concat());
}

/// A palette of 4 bytes holds a colour and a third of one.
#[test]
fn a_png_with_a_part_of_a_colour_is_refused() {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, 16, 8);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_palette(vec![0, 0, 0, 255, 255, 255]);
    encoder.write_header().unwrap().write_image_data(&[1; 128]).unwrap();
    let at = bytes.windows(4).position(|four| four == b"PLTE").unwrap() - 4;
    let cut = [&bytes[..at], &chunk(*b"PLTE", &[0, 0, 0, 255]), &bytes[at + 18..]].concat();
    assert!(with_screen("palette.png", &cut).contains("4 bytes, which is not three per colour"));
    let folder = Folder::usual();
    folder.file("palette.png", &cut);
    folder.file("a.svg", svg("<image width=\"16\" height=\"8\" href=\"palette.png\"/>"));
    folder.plan("a.plan.json", r#"{ "steps": [{ "screen": "a.svg" }] }"#);
    assert!(beside_a_good_plan(&folder).contains("not three per colour"));
}

/// Text chunks are skipped, however many there are and however they are packed: the picture is read.
#[test]
fn a_bomb_of_text_chunks_is_skipped() {
    let whole = png_of(16, 8, |_, _| 255);
    let (head, rest) = whole.split_at(8 + 25);
    let mut bomb = head.to_vec();
    for _ in 0..2000 {
        bomb.extend(chunk(*b"tEXt", &[b"Comment\0".as_slice(), &[b'a'; 4000]].concat()));
    }
    bomb.extend_from_slice(rest);
    let picture = decode_png(&bomb, Size { width: 16, height: 8 }, &grey(), Vec::new()).unwrap();
    assert!(picture.shades().iter().all(|shade| *shade == 255));
}

/// A transparent grey may be written with more bits than the samples have. The lowest count: "decoders must mask the other
/// bits to 0 before the value is used" (PNG Specification, Third Edition, W3C, section 11.3.1.1).
#[test]
fn of_a_transparent_grey_the_lowest_bits_count() {
    for (depth, key, greys) in [
        (png::BitDepth::One, [0xb8, 2], [255, 255, 255, 255]),
        (png::BitDepth::One, [0, 3], [0, 255, 0, 255]),
        (png::BitDepth::Two, [1, 0xfd], [0, 255, 170, 255]),
        (png::BitDepth::Four, [7, 0x71], [0, 255, 34, 51]),
        (png::BitDepth::Eight, [7, 1], [0, 255, 2, 3]),
    ] {
        let samples: Vec<u8> = match depth {
            png::BitDepth::One => vec![0b0101_0000],
            png::BitDepth::Two => vec![0b0001_1011],
            png::BitDepth::Four => vec![0x01, 0x23],
            _ => vec![0, 1, 2, 3],
        };
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, 4, 1);
        encoder.set_depth(depth);
        encoder.set_trns(key.to_vec());
        encoder.write_header().unwrap().write_image_data(&samples).unwrap();
        let picture = decode_png(&bytes, Size { width: 4, height: 1 }, &grey(), Vec::new()).unwrap();
        assert_eq!(picture.shades(), greys, "{depth:?}, key {key:?}");
    }
}

fn svg(inside: &str) -> String {
    format!("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"16\" height=\"8\">{inside}</svg>")
}

#[test]
fn an_svg_that_refers_outside_is_refused() {
    for inside in [
        "<image width=\"9\" height=\"9\" href=\"../secret.png\"/>",
        "<image width=\"9\" height=\"9\" href=\"/etc/hostname\"/>",
        "<image width=\"9\" height=\"9\" href=\"https://example.org/a.png\"/>",
        "<image width=\"9\" height=\"9\" href=\"data:image/gif;base64,R0lGODlhAQABAAAAACw=\"/>",
        "<use href=\"other.svg#mark\"/>",
        "<filter id=\"f\"><feImage href=\"https://example.org/a.png\"/></filter><rect width=\"9\" height=\"9\" filter=\"url(#f)\"/>",
    ] {
        with_screen("outside.svg", svg(inside).as_bytes());
    }
}

/// A picture in the plan's own folder may stand in an SVG, and one that a link brings in from outside may not.
#[test]
fn an_svg_may_show_a_picture_of_its_folder() {
    let folder = Folder::usual();
    folder.file("inside.svg", svg("<image width=\"16\" height=\"8\" href=\"square.png\"/>"));
    folder.plan("a.plan.json", r#"{ "steps": [{ "screen": "inside.svg", "updates": [{ "mode": "full" }] }] }"#);
    let run = folder.run(&["review", "a.plan.json", "--facts", "facts.jsonl"]).with_status(0);
    assert_eq!(run.error, "");
    assert!(folder.read("facts.jsonl").contains("\"changed_px\":16"), "{}", folder.read("facts.jsonl"));
    #[cfg(unix)]
    {
        let outside = Folder::new();
        outside.screen("secret.png", SQUARE);
        std::os::unix::fs::symlink(outside.join("secret.png"), folder.join("link.png")).unwrap();
        folder.file("linked.svg", svg("<image width=\"16\" height=\"8\" href=\"link.png\"/>"));
        folder.plan("a.plan.json", r#"{ "steps": [{ "screen": "linked.svg" }] }"#);
        assert!(beside_a_good_plan(&folder).contains("outside the plan's folder"));
    }
}

#[test]
fn a_hostile_svg_is_refused() {
    with_screen("entities.svg", b"<!DOCTYPE svg [<!ENTITY a \"aaaa\"><!ENTITY b \"&a;&a;\">]><svg xmlns=\"http://www.w3.org/2000/svg\">&b;</svg>");
    with_screen("deep.svg", svg(&format!("{}{}", "<g>".repeat(800), "</g>".repeat(800))).as_bytes());
    with_screen("many.svg", svg(&"<g/>".repeat(60_000)).as_bytes());
    with_screen("text.svg", &[0xff, 0xfe, 0x00, 0x41]);
    with_screen("empty.svg", b"");
    with_screen("size.svg", svg("").replace("16", "1e30").as_bytes());
}

/// What refers to what refers to something, a thousand times over, is refused before it is drawn: by its depth, which would
/// overflow a stack, and by how often it is drawn.
#[test]
fn an_svg_that_grows_with_its_references_is_refused() {
    let chain =
        |first: &str, next: &dyn Fn(usize) -> String| (0..4000).fold(first.to_owned(), |text, at| text + &next(at));
    let use_of = |at: usize| format!("<g id=\"x{}\"><use href=\"#x{at}\"/></g>", at + 1);
    let mask = |at: usize| format!("<mask id=\"x{}\"><path d=\"M0 0h9v9\" mask=\"url(#x{at})\"/></mask>", at + 1);
    let pattern = |at: usize| {
        format!(
            "<pattern id=\"x{}\" width=\"9\" height=\"9\"><path d=\"M0 0h9v9\" style=\"fill:url('#x{at}')\"/></pattern>",
            at + 1
        )
    };
    let clip = |at: usize| {
        format!(
            "<style>.y{at}{{clip-path:url(#x{at})}}</style><clipPath id=\"x{}\"><path class=\"y{at}\" d=\"M0 0h9v9\"/></clipPath>",
            at + 1
        )
    };
    for (name, inside) in [
        ("use.svg", chain("<g id=\"x0\"/>", &use_of)),
        ("mask.svg", chain("<mask id=\"x0\"/>", &mask)),
        ("pattern.svg", chain("<pattern id=\"x0\"/>", &pattern)),
        ("clip.svg", chain("<clipPath id=\"x0\"/>", &clip)),
    ] {
        let inside = format!("<defs>{inside}</defs><path id=\"top\" d=\"M0 0h9v9\" mask=\"url(#x4000)\"/>");
        with_screen(name, svg(&inside).as_bytes());
        draw_segments(svg(&inside).as_bytes()).unwrap_err();
    }
    let ten = |at: usize| format!("<g id=\"x{}\">{}</g>", at + 1, format!("<use href=\"#x{at}\"/>").repeat(10));
    let bomb = (0..7).fold("<path id=\"x0\" d=\"M0 0h9v9\"/>".to_owned(), |text, at| text + &ten(at));
    with_screen("bomb.svg", svg(&bomb).as_bytes());
}

#[test]
fn a_picture_of_the_wrong_size_tells_both_sizes() {
    let error = with_screen("wide.png", &png_of(17, 8, |_, _| 0));
    assert!(error.contains("17 x 8") && error.contains("16 x 8"), "{error}");
}

#[test]
fn every_broken_screen_of_a_plan_is_told() {
    let folder = Folder::usual();
    folder.file("wide.png", png_of(17, 8, |_, _| 0));
    folder.file("tall.png", png_of(16, 9, |_, _| 0));
    folder.plan(
        "a.plan.json",
        r#"{ "steps": [{ "screen": "wide.png" }, { "screen": "square.png" }, { "screen": "tall.png" }] }"#,
    );
    let error = beside_a_good_plan(&folder);
    assert!(error.contains("17 x 8") && error.contains("16 x 9"), "{error}");
}

#[test]
fn a_folder_without_plans_and_a_link_in_a_circle_are_told() {
    let folder = Folder::usual();
    folder.file("empty/notes.txt", "");
    let run = folder.run(&["review", "empty"]).with_status(2);
    assert!(run.error.contains("there is no plan in this folder"), "{}", run.error);
    #[cfg(unix)]
    {
        folder.file("deep/er/notes.txt", "");
        std::os::unix::fs::symlink(folder.path(), folder.join("deep/er/round")).unwrap();
        let error = beside_a_good_plan(&folder);
        assert!(error.contains("in a circle") && error.contains("round"), "{error}");
    }
}

#[test]
fn plans_beyond_all_measure_are_told_at_once() {
    let plans = [
        r#"{ "steps": [{ "repeat": 10000000, "steps": [{}] }] }"#.to_owned(),
        r#"{ "steps": [{ "repeat": 1000000, "steps": [{ "repeat": 1000000, "steps": [{ "repeat": 1000000000, "steps": [{}, {}] }] }] }] }"#.to_owned(),
        format!("{{ \"steps\": {} }}", "[".repeat(200_000)),
        format!("{{ \"steps\": [{}{{}}{}] }}", "{ \"repeat\": 2, \"steps\": [".repeat(400), "] }".repeat(400)),
    ];
    for plan in plans {
        let folder = Folder::usual();
        folder.plan("a.plan.json", &plan);
        beside_a_good_plan(&folder);
    }
    // Repeating nothing is fine and takes no time.
    let folder = Folder::usual();
    folder.plan(
        "a.plan.json",
        r#"{ "steps": [{ "repeat": 9000000000000000, "steps": [{ "repeat": 9000000000000000, "steps": [] }] }] }"#,
    );
    assert!(folder.run(&["review", "a.plan.json"]).with_status(0).out.contains("0 steps"));
}

#[test]
fn odd_numbers_are_refused() {
    for number in ["NaN", "Infinity", "1e999", "-1e999", "0x10", "+1", ".5", "1.", "\"25\""] {
        let folder = Folder::usual();
        folder.plan("a.plan.json", &format!("{{ \"temperature_c\": {number}, \"steps\": [{{}}] }}"));
        let error = beside_a_good_plan(&folder);
        assert!(error.contains("a.plan.json:3:"), "{number}: {error}");
    }
    for number in ["-0", "1e-400", "25.000", "2.5e1"] {
        let folder = Folder::usual();
        folder.plan("a.plan.json", &format!("{{ \"temperature_c\": {number}, \"steps\": [{{}}] }}"));
        folder.run(&["review", "a.plan.json"]).with_status(0);
    }
}

#[test]
fn files_that_are_no_text_are_told() {
    let folder = Folder::usual();
    folder.file("a.plan.json", [b"{ \"title\": \"".as_slice(), &[0xc3, 0x28], b"\" }"].concat());
    assert!(beside_a_good_plan(&folder).contains("not UTF-8"));
    folder.file("a.plan.json", "");
    assert!(beside_a_good_plan(&folder).contains("a.plan.json"));
    // A byte order mark is no fault.
    folder.file("a.plan.json", format!("\u{feff}{}", whole_plan(GOOD)));
    folder.run(&["review", "a.plan.json"]).with_status(0);
}

#[cfg(unix)]
#[test]
fn a_folder_under_a_plans_name_is_walked_like_any_other() {
    let folder = Folder::usual();
    std::fs::create_dir(folder.join("a.plan.json")).unwrap();
    folder.plan("a.plan.json/b.plan.json", &GOOD.replace("square.png", "../square.png"));
    folder.display("a.plan.json/panel.display.json", &example_display([16, 8]));
    let run = folder.run(&["review", "."]).with_status(0);
    assert!(run.out.contains("a.plan.json/b.plan.json"), "{}", run.out);
}

/// A few words of SVG that ask for more work, or for a larger tile, than any page: refused before anything is drawn.
#[test]
fn an_svg_that_would_be_drawn_for_hours_is_refused() {
    let filtered = |filter: &str| {
        format!(
            "<filter id=\"f\" x=\"-9\" y=\"-9\" width=\"30\" height=\"30\">{filter}</filter><rect width=\"16\" height=\"8\" filter=\"url(#f)\"/>"
        )
    };
    let tile = |width: u32| {
        format!(
            "<pattern id=\"p\" width=\"{width}\" height=\"{width}\" patternUnits=\"userSpaceOnUse\"><path d=\"M0 0h9v9\"/></pattern><rect width=\"16\" height=\"8\" fill=\"url(#p)\"/>"
        )
    };
    let pattern = |at: usize| {
        let shapes = "<path d=\"M0 0h9v9\"/>".repeat(9);
        format!(
            "<pattern id=\"p{}\" width=\"9\" height=\"9\" patternUnits=\"userSpaceOnUse\"><g fill=\"url(#p{at})\">{shapes}</g></pattern>",
            at + 1
        )
    };
    let nested = (0..20).map(pattern).collect::<Vec<_>>().concat();
    for (name, inside) in [
        ("octaves.svg", filtered("<feTurbulence baseFrequency=\"0.5\" numOctaves=\"2000000000\"/>")),
        (
            "kernel.svg",
            filtered(&format!("<feConvolveMatrix order=\"1500\" kernelMatrix=\"{}\"/>", "1 ".repeat(2_250_000))),
        ),
        ("tile.svg", tile(100_000)),
        ("nested.svg", format!("{nested}<rect width=\"16\" height=\"8\" fill=\"url(#p20)\"/>")),
    ] {
        with_screen(name, svg(&inside).as_bytes());
    }
    for (name, inside) in [
        ("far.svg", "<circle r=\"20000000000\"/>".to_owned()),
        ("arc.svg", "<path d=\"M9 9A1e83 2 0 0 1 3 4z\"/>".to_owned()),
        ("scaled-arc.svg", "<path d=\"M9 9A1 2 0 0 1 3 4e83z\"/>".to_owned()),
        ("em.svg", "<g font-size=\"1e38\"><circle r=\"9em\"/></g>".to_owned()),
        ("per-cent.svg", "<svg viewBox=\"0 0 1e38 1e38\"><circle r=\"50%\"/></svg>".to_owned()),
        ("arcs.svg", format!("<path d=\"M9 9{}z\"/>", "a1e6 1e6 0 111 1".repeat(300_000))),
        (
            "uses.svg",
            format!("<path id=\"p\" d=\"M9 9{}z\"/>{}", "h1v1".repeat(30_000), "<use href=\"#p\"/>".repeat(5000)),
        ),
        ("text.svg", format!("<text y=\"9\" font-size=\"9\">{}</text>", "ab ".repeat(5000))),
        ("styles.svg", format!("<style>{}</style>{}", ".a .b{fill:red}".repeat(3000), "<g/>".repeat(3000))),
        (
            "markers.svg",
            format!(
                "<marker id=\"m\">{}</marker><path d=\"M0 0{}\" marker-mid=\"url(#m)\"/>",
                "<path d=\"M0 0h3\"/>".repeat(500),
                "h1v1".repeat(500)
            ),
        ),
    ] {
        with_screen(name, svg(&inside).as_bytes());
    }
    // The same in small is drawn.
    for inside in [
        filtered(
            "<feTurbulence baseFrequency=\"0.5\" numOctaves=\"5\"/><feMorphology radius=\"2\"/><feGaussianBlur stdDeviation=\"3\"/>",
        ),
        tile(300),
        "<circle r=\"2000000\"/>".to_owned(),
        "<circle cx=\"50%\" cy=\"50%\" r=\"50%\"/><rect rx=\"2mm\" width=\"9\" height=\"9\"/><path d=\"M0 0a900 900 0 0 1 9 9z\"/>"
            .to_owned(),
        format!("<text y=\"9\" font-size=\"9\">{}</text>", "ab ".repeat(100)),
        nested[..nested.find("<pattern id=\"p3").unwrap()].to_owned()
            + "<rect width=\"16\" height=\"8\" fill=\"url(#p2)\"/>",
    ] {
        let faces = Faces::new(Vec::new()).unwrap();
        draw_svg(svg(&inside).as_bytes(), SIZE, &grey(), &faces, &|_| Err("no".into()), Vec::new()).unwrap();
    }
    let arc = svg("<path id=\"a\" d=\"M1 1h9v9a2000000000000000000000000000000000000000000 2 0 0 1-9-9z\"/>");
    assert!(draw_segments(arc.as_bytes()).is_err());
    // Many segments, each as large as the whole drawing.
    let shape = |at: usize| format!("<path id=\"s{at}\" d=\"M{at} 0h4000v4000h-4000z\"/>");
    let shapes = (0..2000).map(shape).collect::<Vec<_>>().concat();
    let drawing = svg(&shapes).replace("width=\"16\" height=\"8\"", "width=\"4000\" height=\"4000\"");
    assert!(draw_segments(drawing.as_bytes()).is_err());
}

fn some_bytes(of: Vec<u8>) -> impl Strategy<Value = Vec<u8>> {
    let length = of.len();
    let changes = prop::collection::vec((0..length, prop::num::u8::ANY), 0..12);
    (changes, 0..=length).prop_map(move |(changes, cut)| {
        let mut bytes = of.clone();
        for (at, value) in changes {
            bytes[at] = value;
        }
        bytes.truncate(if cut % 3 == 0 { cut } else { length });
        bytes
    })
}

const SIZE: Size = Size { width: 16, height: 8 };

fn grey() -> Ink {
    Ink::grey_between(16, 0.04, 0.44)
}

const BARS: &[u8] = include_bytes!("../../fuzz/bodies/bars.svg");

proptest! {
    #![proptest_config(crate::kept_failures::with_cases(100))]

    #[test]
    fn changed_pngs_are_read_or_refused(bytes in some_bytes(png_of(16, 8, |x, y| (x * y * 3) as u8))) {
        bodies::png(&bytes);
    }

    #[test]
    fn changed_svgs_are_drawn_or_refused(bytes in some_bytes(svg("<g opacity=\"0.5\"><text x=\"1\" y=\"7\" font-size=\"7\">12:30</text><path d=\"M0 0L9 9\" stroke=\"#000\"/></g>").into_bytes())) {
        bodies::svg(&bytes);
    }

    #[test]
    fn changed_segments_are_read_or_refused(bytes in some_bytes(BARS.to_vec())) {
        bodies::segments(&bytes);
    }

    #[test]
    fn changed_displays_are_read_or_refused(bytes in some_bytes(example_display([16, 8]).to_string().into_bytes())) {
        bodies::display(&bytes);
    }
}

proptest! {
    #![proptest_config(crate::kept_failures::with_cases(16))]

    /// The whole program on changed plans: it ends with a status of its own, and what it does not read it tells.
    #[test]
    fn changed_plans_are_reviewed_or_refused(bytes in some_bytes(whole_plan(GOOD).into_bytes())) {
        let folder = Folder::usual();
        folder.file("a.plan.json", &bytes);
        let run = folder.run(&["review", "a.plan.json"]);
        prop_assert!((0..=2).contains(&run.status));
        prop_assert_eq!(run.status == 2, !run.error.is_empty());
    }
}

/// What a file says never steers the terminal, and is never repeated without end.
#[test]
fn wild_words_of_a_file_are_tamed() {
    let folder = Folder::usual();
    folder.plan(
        "a.plan.json",
        &format!("{{ \"begins\": \"\\u001b[31mred\\u0007{}\", \"steps\": [{{}}] }}", "x".repeat(2_000_000)),
    );
    let error = beside_a_good_plan(&folder);
    assert!(!error.contains(['\u{1b}', '\u{7}']) && error.len() < 20_000, "{} bytes", error.len());
    folder.plan(
        "a.plan.json",
        r#"{ "title": "\u001b[31mred", "steps": [{ "label": "\u001b[2J", "screen": "square.png" }] }"#,
    );
    let out = folder.run(&["review", "a.plan.json"]).with_status(1).out;
    assert!(out.contains("[31mred") && !out.contains('\u{1b}'), "{out}");
}

/// Half a file is never left behind: where the output cannot be written, nothing stands under its name.
#[test]
fn an_output_that_cannot_be_written_is_told() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", GOOD);
    let run = folder.run(&["review", "a.plan.json", "--out", "no/such/folder/report.json"]).with_status(2);
    assert!(run.error.contains("report.json"), "{}", run.error);
    let mut file = tempfile::NamedTempFile::new().unwrap();
    file.write_all(b"x").unwrap();
    let below_a_file = format!("{}/report.json", file.path().display());
    folder.run(&["review", "a.plan.json", "--facts", &below_a_file]).with_status(2);
}
