//! Files from strangers that want to break the program, and a machine that fails under it. The table in
//! `docs/robustness.md` names each, what happens to it, and the test that holds it.
//!
//! Every review here may take 1 GB of memory and 10 seconds of a processor, or it is killed and the test fails. Knows
//! files, statuses and messages, nothing of the insides.
#![cfg(unix)]

use std::{
    fmt::Write as _,
    fs,
    io::Read,
    os::unix::{
        fs::{FileTypeExt, PermissionsExt, symlink},
        process::ExitStatusExt,
    },
    path::Path,
    process::{Command, Stdio},
    sync::atomic::{AtomicBool, Ordering},
    time::{Duration, Instant},
};

use serde_json::{Value, json};

use crate::common::{Folder, Run, SQUARE, WHITE, example_display, png_of, whole_plan};

const GOOD: &str = r#"{ "steps": [{ "screen": "square.png", "updates": [{ "mode": "full" }] }] }"#;
/// A page of a reader for documents: large enough that a drawing can hurt, small enough that a sound one does not.
const PAGE: [u32; 2] = [1872, 1404];

/// A command that is killed where it takes more than 1 GB of addresses or so many seconds of a processor.
fn limited(folder: &Folder, seconds: u32, arguments: &[&str]) -> Command {
    let mut command = Command::new("sh");
    let script = format!("ulimit -v 1048576; ulimit -t {seconds}; exec \"$@\"");
    command.args(["-c", &script, "sh", env!("CARGO_BIN_EXE_stillpage")]);
    command.args(arguments).current_dir(folder.path()).env_remove("NO_COLOR");
    if arguments[0] == "review" {
        // A stack a thread is taken of the addresses, needed or not.
        command.args(["--threads", "2"]);
    }
    command
}

fn review(folder: &Folder, arguments: &[&str]) -> Run {
    Run::of(limited(folder, 10, &[&["review"], arguments].concat()).output().unwrap())
}

/// A PNG whose samples are all zero, packed by hand; `bytes` are unpacked of its image data.
fn black_png([width, height]: [u32; 2], depth: u8, colour: u8, passes: u8, bytes: u64) -> Vec<u8> {
    let mut header = [width.to_be_bytes(), height.to_be_bytes()].concat();
    header.extend([depth, colour, 0, 0, passes]);
    let chunks = [chunk(*b"IHDR", &header), chunk(*b"IDAT", &packed_zeros(bytes)), chunk(*b"IEND", &[])];
    [b"\x89PNG\r\n\x1a\n".to_vec(), chunks.concat()].concat()
}

/// The bytes of a picture's rows, each with the byte that names its filter.
fn bytes_of_rows([width, height]: [u32; 2], bits_a_pixel: u64) -> u64 {
    u64::from(height) * (1 + (u64::from(width) * bits_a_pixel).div_ceil(8))
}

/// A chunk as the PNG specification lays it out: length, type, data, CRC-32 over type and data.
fn chunk(kind: [u8; 4], data: &[u8]) -> Vec<u8> {
    let body = [&kind, data].concat();
    let crc = body.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| if crc & 1 == 1 { crc >> 1 ^ 0xedb8_8320 } else { crc >> 1 })
    });
    [&(data.len() as u32).to_be_bytes(), body.as_slice(), &(!crc).to_be_bytes()].concat()
}

/// Zeros in the ZLIB format (RFC 1950) with one block of fixed codes (RFC 1951, 3.2.6): a zero, then copies of the 258
/// bytes before, 13 bits each.
fn packed_zeros(count: u64) -> Vec<u8> {
    let mut packed = vec![0x78, 0x01];
    let (mut held, mut bits) = (0_u32, 0);
    let mut put = |value: u32, width: u32, packed: &mut Vec<u8>| {
        held |= value << bits;
        bits += width;
        while bits >= 8 {
            packed.push(held as u8);
            (held, bits) = (held >> 8, bits - 8);
        }
    };
    put(0b011, 3, &mut packed);
    // Codes stand with their first bit first: 00110000 is a zero, 11000101 a length of 258, 00000 a distance of 1.
    (0..=(count - 1) % 258).for_each(|_| put(0b0000_1100, 8, &mut packed));
    (0..(count - 1) / 258).for_each(|_| put(0b0_0000_1010_0011, 13, &mut packed));
    // 0000000 is the end.
    put(0, 7, &mut packed);
    put(0, 7, &mut packed);
    packed.extend(((count % 65_521) as u32).wrapping_shl(16).wrapping_add(1).to_be_bytes());
    packed
}

/// The packing by hand is right: another decoder reads it.
#[test]
fn the_packed_zeros_are_a_picture() {
    for size in [[1, 1], [16, 8], [700, 300]] {
        let png = black_png(size, 8, 0, 0, bytes_of_rows(size, 8));
        let read = image::load_from_memory(&png).unwrap().to_luma8();
        assert_eq!([read.width(), read.height()], size);
        assert!(read.pixels().all(|pixel| pixel.0 == [0]));
    }
}

#[test]
fn a_png_that_unpacks_to_a_gigabyte_is_read_or_refused() {
    let size = [16, 8];
    let long = black_png(size, 8, 0, 0, 1 << 30);
    let (head, rest) = long.split_at(8 + 25);
    let small = black_png(size, 8, 0, 0, bytes_of_rows(size, 8));
    let text = chunk(*b"zTXt", &[b"Comment\0\0", packed_zeros(1 << 30).as_slice()].concat());
    let profile = chunk(*b"iCCP", &[b"sRGB\0\0", packed_zeros(1 << 30).as_slice()].concat());
    for (name, bytes) in [
        ("more image data than the picture has", [head, rest].concat()),
        ("a packed comment", [&small[..33], &text, &small[33..]].concat()),
        ("a packed profile", [&small[..33], &profile, &small[33..]].concat()),
    ] {
        let folder = Folder::usual();
        folder.file("square.png", bytes);
        folder.plan("a.plan.json", GOOD);
        let run = review(&folder, &["a.plan.json"]);
        assert!(run.status == 0 && run.error.is_empty(), "{name}: the picture itself is sound: {run:?}");
    }
}

#[test]
fn a_picture_or_a_panel_of_30000_x_30000_px_is_refused() {
    let folder = Folder::usual();
    let size = [30_000, 30_000];
    folder.file("square.png", black_png(size, 1, 0, 0, bytes_of_rows(size, 1)));
    folder.plan("a.plan.json", GOOD);
    let run = review(&folder, &["a.plan.json"]).with_status(2);
    assert!(run.error.contains("30000 x 30000 px"), "{}", run.error);
    folder.display("panel.display.json", &example_display(size));
    let run = review(&folder, &["a.plan.json"]).with_status(2);
    assert!(run.error.contains("out of range: 30000"), "{}", run.error);
}

/// The largest panel that may be described, in colour, and a PNG of that size with 16 bits a sample. Half a gigabyte of
/// samples takes its time in a build that is made for tests, some times what an optimised one needs.
#[test]
fn the_largest_picture_takes_less_than_a_gigabyte() {
    let folder = Folder::usual();
    let size = [16_384, 3_900];
    let mut display = example_display(size);
    display["family"] = json!("colour");
    display["ink"] = json!({ "colours": [
        { "name": "black", "srgb": "#000000" }, { "name": "white", "srgb": "#ffffff" }, { "name": "red", "srgb": "#ff0000" }
    ] });
    for mode in display["modes"].as_array_mut().unwrap() {
        mode["to"] = json!("any");
    }
    folder.display("panel.display.json", &display);
    folder.plan("a.plan.json", r#"{ "begins": { "screen": "large.png" }, "steps": [{}] }"#);
    folder.file("large.png", black_png(size, 16, 6, 0, bytes_of_rows(size, 64)));
    let run = Run::of(limited(&folder, 90, &["review", "a.plan.json"]).output().unwrap());
    assert_eq!(run.with_status(0).error, "");
    folder.file("large.png", black_png(size, 16, 6, 1, bytes_of_rows(size, 64)));
    let run = review(&folder, &["a.plan.json"]).with_status(2);
    assert!(run.error.contains("interlaced"), "{}", run.error);
}

/// Pictures of a panel as large, or as long, as may be described: a build that is made for tests takes its time for them.
#[test]
fn pictures_of_the_largest_panels_take_less_than_a_gigabyte() {
    for size in [[16_384, 3_900], [16_384, 1], [1, 16_384]] {
        let folder = Folder::usual();
        folder.display("panel.display.json", &example_display(size));
        folder.plan("a.plan.json", r#"{ "begins": "white", "steps": [{ "screen": "large.png" }] }"#);
        folder.file("large.png", black_png(size, 8, 0, 0, bytes_of_rows(size, 8)));
        let run = |arguments: &[&str]| Run::of(limited(&folder, 90, arguments).output().unwrap());
        run(&["review", "a.plan.json", "--pictures", "pictures"]).with_status(1);
        run(&["glass", "a.plan.json", "--out", "glass.png"]).with_status(0);
        run(&["glass", "a.plan.json", "--difference", "--out", "residue.png"]).with_status(0);
        run(&["explain", "a.plan.json", "--out", "story.png"]).with_status(0);
        let glass = image::image_dimensions(folder.path().join("glass.png")).unwrap();
        assert_eq!([glass.0, glass.1], size);
        for picture in ["pictures/a/step-0000.png", "residue.png"] {
            let (width, height) = image::image_dimensions(folder.path().join(picture)).unwrap();
            assert!(width > size[0] && height > size[1], "{picture}: {width} x {height} px around {size:?}");
        }
    }
}

/// A drawing of a page.
fn drawing(inside: &str) -> String {
    let [width, height] = PAGE;
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" width=\"{width}\" \
         height=\"{height}\">{inside}</svg>"
    )
}

fn folder_of_drawing(svg: &str) -> Folder {
    let folder = Folder::new();
    folder.display("panel.display.json", &example_display(PAGE));
    folder.file("s.svg", svg);
    folder.plan("a.plan.json", r#"{ "begins": { "screen": "s.svg" }, "steps": [{}] }"#);
    folder
}

/// A drawing is refused, with these words in the reason.
fn refused(name: &str, svg: &str, words: &str) {
    let run = review(&folder_of_drawing(svg), &["a.plan.json"]);
    assert!(run.status == 2 && run.error.contains(words), "{name}: {run:?}");
}

/// A drawing is drawn, whatever comes of it.
fn drawn(name: &str, svg: &str) {
    let run = review(&folder_of_drawing(svg), &["a.plan.json"]);
    assert!(run.status == 0 && run.error.is_empty(), "{name}: {run:?}");
}

/// The part of a drawing with a number.
type OneOfMany<'a> = &'a dyn Fn(usize) -> String;

fn repeated(count: usize, part: impl Fn(usize) -> String) -> String {
    (0..count).fold(String::new(), |text, at| text + &part(at))
}

const WHOLE: &str = "<rect width=\"1872\" height=\"1404\"";

#[test]
fn drawings_that_nest_without_end_are_refused() {
    let groups = |count: usize| format!("{}{}", "<g>".repeat(count), "</g>".repeat(count));
    refused("groups", &drawing(&groups(5000)), "nests deeper");
    drawn("as deep as it may be", &drawing(&groups(250)));
    // Each is shallow by itself, and all together are one deep drawing.
    let chain = |count: usize, one: &dyn Fn(usize) -> String| format!("<defs>{}</defs>", repeated(count, one));
    let pattern = |at: usize| {
        format!(
            "<pattern id=\"p{}\" width=\"9\" height=\"9\" patternUnits=\"userSpaceOnUse\">{WHOLE} fill=\"url(#p{at})\"/></pattern>",
            at + 1
        )
    };
    let mask = |at: usize| format!("<mask id=\"p{}\" mask=\"url(#p{at})\">{WHOLE}/></mask>", at + 1);
    let clip = |at: usize| format!("<clipPath id=\"p{}\" clip-path=\"url(#p{at})\">{WHOLE}/></clipPath>", at + 1);
    let uses = |at: usize| format!("<g id=\"p{}\"><use xlink:href=\"#p{at}\"/></g>", at + 1);
    let ways: [(&str, OneOfMany<'_>, &str, usize); 4] = [
        ("patterns", &pattern, "fill", 100),
        ("masks", &mask, "mask", 5),
        ("clips", &clip, "clip-path", 5),
        ("uses", &uses, "id=\"u\"/><use xlink:href", 100),
    ];
    for (name, one, attribute, few) in ways {
        for (count, is_deep) in [(20_000, true), (few, false)] {
            let last = if name == "uses" { format!("#p{count}") } else { format!("url(#p{count})") };
            let svg = drawing(&format!("{}{WHOLE} {attribute}=\"{last}\"/>", chain(count, one)));
            if is_deep {
                refused(name, &svg, "nests deeper");
            } else {
                drawn(name, &svg);
            }
        }
    }
}

#[test]
fn drawings_that_grow_by_references_are_refused() {
    // Each is ten of the one before.
    let tenfold = |one: &dyn Fn(usize) -> String| format!("<defs>{}</defs>", repeated(9, one));
    let uses = |at: usize| {
        let inside = "<use xlink:href=\"#u".to_owned() + &at.to_string() + "\"/>";
        format!("<g id=\"u{}\">{}</g>", at + 1, inside.repeat(10))
    };
    let svg = drawing(&format!("<g id=\"u0\">{WHOLE}/></g>{}<use xlink:href=\"#u9\"/>", tenfold(&uses)));
    refused("uses", &svg, "when every reference is expanded");
    for (kind, attribute) in [("pattern", "fill"), ("mask", "mask"), ("clipPath", "clip-path")] {
        let extra =
            if kind == "pattern" { "width=\"1872\" height=\"1404\" patternUnits=\"userSpaceOnUse\"" } else { "" };
        let one = |at: usize| {
            let inside = format!("{WHOLE} {attribute}=\"url(#u{at})\"/>").repeat(10);
            format!("<{kind} id=\"u{}\" {extra}>{inside}</{kind}>", at + 1)
        };
        let first = format!("<{kind} id=\"u0\" {extra}><rect width=\"5\" height=\"5\" fill=\"white\"/></{kind}>");
        let svg = drawing(&format!("{first}{}{WHOLE} {attribute}=\"url(#u9)\"/>", tenfold(&one)));
        refused(kind, &svg, "when every reference is expanded");
        // The same by a style sheet.
        let style = format!("{attribute}=\"url(#u");
        let by_class = svg.replace(&style, "class=\"u");
        let by_class = (0..10).fold(by_class, |text, at| text.replace(&format!("\"u{at})\""), &format!("\"u{at}\"")));
        let rules = repeated(10, |at| format!(".u{at} {{ {attribute}: url(#u{at}) }}\n"));
        assert!(by_class.contains("class=\"u9\""), "{kind}");
        let by_class = by_class.replacen('>', &format!("><style>{rules}</style>"), 1);
        refused(kind, &by_class, "when every reference is expanded");
    }
}

#[test]
fn drawings_with_too_much_to_paint_are_refused() {
    let much = "than any screen should";
    refused("shapes over shapes", &drawing(&format!("{WHOLE} fill-opacity=\".9\"/>").repeat(40_000)), much);
    refused("groups over groups", &drawing(&format!("<g opacity=\".9\">{WHOLE}/>{WHOLE}/></g>").repeat(10_000)), much);
    let nested = 240;
    let layers = format!("{}{WHOLE}/>{WHOLE}/>{}", "<g opacity=\".9\">".repeat(nested), "</g>".repeat(nested));
    refused("groups in groups", &drawing(&layers), "too many layers");
    let corners = "L1e3 1e3L0 9".repeat(600_000);
    refused("corners", &drawing(&format!("<path stroke=\"#000\" stroke-width=\"3\" d=\"M0 0{corners}\"/>")), much);
    let filtered = |steps: &str| {
        drawing(&format!(
            "<filter id=\"f\" x=\"0\" y=\"0\" width=\"1\" height=\"1\">{steps}</filter>{WHOLE} filter=\"url(#f)\"/>"
        ))
    };
    let kernel = format!("<feConvolveMatrix order=\"99\" kernelMatrix=\"{}\"/>", "1 ".repeat(9801));
    for (name, steps, words) in [
        ("octaves", "<feTurbulence baseFrequency=\".01\" numOctaves=\"1000000\"/>", much),
        ("a radius", "<feMorphology operator=\"dilate\" radius=\"500\"/>", much),
        ("a kernel", &kernel, much),
        ("blurs", &"<feGaussianBlur stdDeviation=\"9\"/>".repeat(3000), much),
    ] {
        refused(name, &filtered(steps), words);
    }
    refused("results", &filtered(&"<feFlood result=\"a\"/>".repeat(22)), "too many layers");
    drawn("a blur without end", &filtered("<feGaussianBlur stdDeviation=\"100000\"/>"));
    let pattern = "<pattern id=\"p\" width=\"30000\" height=\"30000\" patternUnits=\"userSpaceOnUse\"><rect width=\"9\" height=\"9\"/></pattern>";
    refused("a large pattern", &drawing(&format!("{pattern}{WHOLE} fill=\"url(#p)\"/>")), "too many layers");
    drawn("dashes", &drawing(&"<path stroke=\"#000\" stroke-dasharray=\".001\" d=\"M0 0L1800 1400\"/>".repeat(5)));
}

#[test]
fn drawings_of_endless_lists_are_refused() {
    let attributes = repeated(700_000, |at| format!("a{at}=\"\" "));
    refused("attributes", &drawing(&format!("<g {attributes}/>")), "more than 1000 attributes");
    let sheet = "rect g g g rect { fill: red }\n".repeat(20_000);
    refused(
        "styles",
        &drawing(&format!("<style>{sheet}</style>{}", "<rect class=\"a\"/>".repeat(40_000))),
        "style sheets",
    );
    refused("a long text", &drawing(&format!("<text y=\"50\">{}</text>", "W".repeat(2_000_000))), "characters");
    refused(
        "parts",
        &drawing(&format!("<text y=\"50\">{}</text>", "<tspan dx=\"1\">W</tspan>".repeat(20_000))),
        "characters",
    );
    drawn(
        "a text of a page",
        &drawing(&"<text y=\"50\" font-size=\"9\"><tspan>Low water at the quay</tspan></text>".repeat(300)),
    );
    let marker = "<marker id=\"m\" markerWidth=\"9\" markerHeight=\"9\" overflow=\"visible\"><rect width=\"9\" height=\"9\"/></marker>";
    let corners = "L9 9L0 0".repeat(100_000);
    refused("markers", &drawing(&format!("{marker}<path marker-mid=\"url(#m)\" d=\"M0 0{corners}\"/>")), "has markers");
    refused("bytes", &drawing(&format!("<!--{}-->", "x".repeat(17 << 20))), "more than 16 MB");
    refused("elements", &drawing(&"<g/>".repeat(60_000)), "more than 50000 elements");
}

#[test]
fn drawings_with_huge_figures_end() {
    for length in ["1e9", "1e30", "3e38", "1e39", "NaN", "-1e30"] {
        let shapes = format!(
            "<path stroke=\"#000\" stroke-width=\"{length}\" d=\"M-{length} 0L{length} {length}Q{length} 0 0 {length}z\"/>\
             <circle r=\"{length}\" stroke=\"red\"/><text x=\"{length}\" y=\"9\" font-size=\"{length}\">A</text>\
             <rect width=\"{length}\" height=\"9\" transform=\"scale({length})\"/>"
        );
        let run = review(&folder_of_drawing(&drawing(&shapes)), &["a.plan.json"]);
        assert!(run.status == 0 || run.status == 2 && run.error.contains("s.svg"), "{length}: {run:?}");
    }
}

#[test]
fn entities_are_refused() {
    let nested = repeated(9, |at| format!("<!ENTITY e{} \"{}\">", at + 1, format!("&e{at};").repeat(10)));
    let bomb = format!("<!DOCTYPE svg [<!ENTITY e0 \"harbour\">{nested}]>{}", drawing("<text y=\"50\">&e9;</text>"));
    refused("a bomb", &bomb, "DOCTYPE");
    let file = format!("<!DOCTYPE svg [<!ENTITY e SYSTEM \"/etc/hostname\">]>{}", drawing("<text y=\"50\">&e;</text>"));
    refused("a file", &file, "DOCTYPE");
}

#[test]
fn drawings_that_refer_outside_are_refused() {
    let outside = Folder::new();
    outside.screen("secret.png", SQUARE);
    let secret = outside.join("secret.png").display().to_string();
    let address = format!("file://{secret}");
    for href in [secret.as_str(), &address, "//example.org/a.png", "https://example.org/a.png"] {
        let svg = drawing(&format!("<image width=\"9\" height=\"9\" xlink:href=\"{href}\"/>"));
        let run = review(&folder_of_drawing(&svg), &["a.plan.json"]).with_status(2);
        assert!(run.error.contains("cannot be used"), "{href}: {}", run.error);
    }
    // A drawing inside a drawing could be nested without end.
    for data in ["data:image/svg+xml,<svg xmlns='http://www.w3.org/2000/svg'/>", "data:text/html,x"] {
        let svg = drawing(&format!("<image width=\"9\" height=\"9\" href=\"{}\"/>", data.replace('<', "&lt;")));
        let run = review(&folder_of_drawing(&svg), &["a.plan.json"]);
        assert!(run.status == 2 && run.error.contains("must be a PNG"), "{data}: {run:?}");
    }
    // A picture that is named many times is unpacked as often.
    let folder = folder_of_drawing(&drawing(&"<image width=\"9\" height=\"9\" href=\"large.png\"/>".repeat(3000)));
    folder.file("large.png", black_png([8000, 7900], 1, 0, 0, bytes_of_rows([8000, 7900], 1)));
    let run = review(&folder, &["a.plan.json"]).with_status(2);
    assert!(run.error.contains("too large or too many"), "{}", run.error);
}

#[test]
fn plans_and_descriptions_of_millions_of_values_are_refused() {
    let head = r#"{ "format": "refresh-plan/1", "display": "panel.display.json", "steps": ["#;
    for (name, part) in [("numbers", "0,"), ("steps", "{},"), ("lists", "[],"), ("texts", "\"\",")] {
        let folder = Folder::usual();
        folder.file("a.plan.json", format!("{head}{}0] }}", part.repeat((60 << 20) / part.len())));
        let run = review(&folder, &["a.plan.json"]).with_status(2);
        assert!(run.error.contains("more than 2000000 values"), "{name}: {}", run.error);
        // As many as may be, and not one of them right.
        folder.file("a.plan.json", format!("{head}{}0] }}", part.repeat(900_000)));
        let run = review(&folder, &["a.plan.json"]);
        assert!(run.error.len() < 200_000, "{name}: {} bytes", run.error.len());
        let is_right = name == "steps";
        assert!(
            run.status == 2 && (is_right || run.error.contains("more faults are not reported")),
            "{name}: {}",
            run.status
        );
    }
    let folder = Folder::usual();
    folder.plan("a.plan.json", GOOD);
    folder.file(
        "panel.display.json",
        format!("{{ \"format\": \"display/1\", \"sources\": [{}\"\"] }}", "\"\",".repeat(9 << 20)),
    );
    let run = review(&folder, &["a.plan.json"]).with_status(2);
    assert!(run.error.contains("values"), "{}", run.error);
    folder.file("panel.display.json", " ".repeat(65 << 20));
    let run = review(&folder, &["a.plan.json"]).with_status(2);
    assert!(run.error.contains("more than 64 MB"), "{}", run.error);
}

/// A folder `mine` with a plan and all that it needs, and a folder `other` beside it with the same.
fn beside_each_other() -> Folder {
    let folder = Folder::new();
    for place in ["mine", "other"] {
        folder.display(&format!("{place}/panel.display.json"), &example_display([16, 8]));
        folder.screen(&format!("{place}/square.png"), SQUARE);
        folder.screen(&format!("{place}/white.png"), WHITE);
    }
    folder.file("other/face.ttf", include_bytes!("../../src/screen/fonts/Arimo-subset.ttf"));
    folder.file("other/bars.svg", BARS);
    folder.display("other/bars.display.json", &segments("bars.svg"));
    folder
}

const BARS: &str = r#"<svg xmlns="http://www.w3.org/2000/svg" width="16" height="8"><rect id="left" x="2" y="2" width="4" height="4"/><rect id="right" x="10" y="2" width="4" height="4"/></svg>"#;

/// A description of segments, which are drawn in that file.
fn segments(file: &str) -> Value {
    let mut display = example_display([16, 8]);
    display["family"] = json!("segmented");
    display["ink"] = json!({ "segments": file, "reflectance": [0.04, 0.44] });
    display
}

/// `stillpage` called from another folder, so that nothing but the plan's own folder is inside.
fn from_elsewhere(arguments: &[&str]) -> Run {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
    Run::of(command.args(arguments).current_dir("/").env_remove("NO_COLOR").output().unwrap())
}

/// Every field that names a file, and every way out of the folder.
#[test]
fn a_plan_that_climbs_out_of_its_folder_is_refused() {
    let folder = beside_each_other();
    let plan = |text: &str| format!("{{ \"format\": \"refresh-plan/1\", {text} }}");
    let shown =
        r#""display": "panel.display.json", "steps": [{ "screen": "square.png", "updates": [{ "mode": "full" }] }]"#;
    let whole = folder.join("other/square.png").canonicalize().unwrap().display().to_string();
    symlink("../other", folder.join("mine/link")).unwrap();
    symlink("../other/square.png", folder.join("mine/link.png")).unwrap();
    folder.display(
        "mine/based.display.json",
        &json!({ "format": "display/1", "based_on": "../other/panel.display.json" }),
    );
    folder.display("mine/bars.display.json", &segments("../other/bars.svg"));
    for (name, text) in [
        ("screen", shown.replace("square", "../other/square")),
        ("a whole path", shown.replace("square.png", &whole)),
        ("by way of a folder", shown.replace("square", "../mine/../other/square")),
        ("a link to a file", shown.replace("square", "link")),
        ("a link to a folder", shown.replace("square", "link/square")),
        ("screens", format!("\"screens\": \"../other\", {shown}")),
        ("screens by a link", format!("\"screens\": \"link\", {shown}")),
        ("begins", format!("\"begins\": {{ \"screen\": \"../other/white.png\" }}, {shown}")),
        ("each", shown.replace(r#""screen": "square.png""#, r#""each": "link/*.png""#)),
        ("each, wherever", shown.replace(r#""screen": "square.png""#, r#""each": "**/*.png""#)),
        ("each, a link", shown.replace(r#""screen": "square.png""#, r#""each": "link*.png""#)),
        ("display", shown.replace("panel", "../other/panel")),
        ("based on", shown.replace("panel", "based")),
        ("segments", shown.replace("panel", "bars").replace("\"full\"", "\"grey\"")),
        ("fonts", format!("\"fonts\": [\"../other/face.ttf\"], {shown}")),
        ("a folder of fonts", format!("\"fonts\": [\"../other\"], {shown}")),
        ("what is not there", shown.replace("square", "../other/none")),
    ] {
        folder.file("mine/a.plan.json", plan(&text));
        let path = folder.join("mine/a.plan.json").display().to_string();
        let run = from_elsewhere(&["review", &path]).with_status(2);
        let told = run.error.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(told.contains("outside") && told.contains("--allow-outside"), "{name}: {}", run.error);
        let run = from_elsewhere(&["review", &path, "--allow-outside"]);
        assert!(!run.error.contains("outside"), "{name}: {}", run.error);
        assert_eq!(run.status == 2, name == "what is not there", "{name}: {}", run.error);
    }
}

/// What is named on the command line counts, and so do the folders that hold the plan.
#[test]
fn a_plan_may_share_what_lies_in_the_same_project() {
    let folder = beside_each_other();
    folder.file("mine/a.plan.json", whole_plan(GOOD).replace("\"panel", "\"../other/panel"));
    let plan = folder.join("mine/a.plan.json").display().to_string();
    let whole = folder.path().display().to_string();
    from_elsewhere(&["review", &plan]).with_status(2);
    // The folder that is named holds both.
    from_elsewhere(&["review", &whole]).with_status(0);
    // The folder that the program is called in does.
    folder.run(&["review", "mine/a.plan.json"]).with_status(0);
    // And one that has settings for the plan.
    folder.file("stillpage.settings.json", r#"{ "format": "review-settings/1" }"#);
    from_elsewhere(&["review", &plan]).with_status(0);
    folder.file("mine/stillpage.settings.json", r#"{ "format": "review-settings/1", "outermost": true }"#);
    from_elsewhere(&["review", &plan]).with_status(2);
}

#[test]
fn every_command_that_reads_plans_or_descriptions_stays_inside() {
    let folder = beside_each_other();
    folder.file("mine/a.plan.json", whole_plan(GOOD).replace("square", "../other/square"));
    folder.display(
        "mine/based.display.json",
        &json!({ "format": "display/1", "based_on": "../other/panel.display.json" }),
    );
    let path = |name: &str| folder.join(name).display().to_string();
    let (plan, based, screens) = (path("mine/a.plan.json"), path("mine/based.display.json"), path("other/square.png"));
    let (out, shots) = (path("out"), path("other"));
    let picture = path("glass.png");
    for command in [
        &["review", &plan][..],
        &["mend", &plan, "--dry-run"],
        &["replan", &plan],
        &["glass", &plan, "--out", &picture],
        &["explain", &plan],
        &["rules", "--for", &plan],
        &["draft", &shots, "--display", &based],
        &["prepare", &screens, "--display", &based, "--out", &out],
        &["fit", "--display", &based, "--mode", "quick", "--print-sequence", &out],
    ] {
        let run = from_elsewhere(command).with_status(2);
        assert!(run.error.contains("--allow-outside"), "{command:?}: {}", run.error);
        from_elsewhere(&[command, &["--allow-outside"]].concat()).with_status(0);
        let _ = fs::remove_dir_all(folder.join("out"));
    }
}

/// A link to a large folder of the machine would have all of it walked.
#[test]
fn links_out_of_a_folder_that_is_walked_are_told_and_not_followed() {
    let folder = Folder::usual();
    folder.plan("z-good.plan.json", GOOD);
    symlink("/usr", folder.join("machine")).unwrap();
    symlink("/etc/passwd", folder.join("a.plan.json")).unwrap();
    symlink("/etc/passwd", folder.join("notes.txt")).unwrap();
    let run = review(&folder, &["."]).with_status(2);
    assert!(run.out.contains("1 step on"), "the good plan is reviewed: {}", run.out);
    for name in ["machine", "a.plan.json"] {
        assert!(run.error.contains(&format!("`{name}` (/")), "{name}: {}", run.error);
    }
    assert!(!run.error.contains("notes.txt"), "nobody would read it: {}", run.error);
    folder.plan("each.plan.json", r#"{ "steps": [{ "each": "**/*.png" }] }"#);
    let run = review(&folder, &["each.plan.json"]).with_status(2);
    assert!(run.error.contains("(/"), "{}", run.error);
}

#[test]
fn links_in_a_circle_end() {
    let folder = Folder::usual();
    folder.plan("z-good.plan.json", GOOD);
    symlink(".", folder.join("round")).unwrap();
    symlink("b.plan.json", folder.join("a.plan.json")).unwrap();
    symlink("a.plan.json", folder.join("b.plan.json")).unwrap();
    let run = review(&folder, &["."]).with_status(2);
    assert!(run.out.contains("1 step on") && run.error.contains("in a circle"), "{run:?}");
    let run = review(&folder, &["a.plan.json"]).with_status(2);
    assert!(run.error.contains("a.plan.json"), "{}", run.error);
    symlink("loop.png", folder.join("loop.png")).unwrap();
    for (plan, status) in [
        (r#"{ "steps": [{ "screen": "loop.png" }] }"#, 2),
        (r#"{ "steps": [{ "screen": "round/round/round/square.png", "updates": [{ "mode": "full" }] }] }"#, 0),
        (r#"{ "steps": [{ "each": "**/square.png", "updates": [{ "mode": "full" }] }] }"#, 0),
    ] {
        folder.plan("c.plan.json", plan);
        review(&folder, &["c.plan.json"]).with_status(status);
    }
    folder.display("panel.display.json", &json!({ "format": "display/1", "based_on": "panel.display.json" }));
    let run = review(&folder, &["c.plan.json"]).with_status(2);
    assert!(run.error.contains("based on each other"), "{}", run.error);
}

/// Pipes would be waited for without end, devices read without end.
#[test]
fn what_is_no_file_is_not_read() {
    let folder = Folder::usual();
    assert!(Command::new("mkfifo").arg(folder.join("pipe.png")).status().unwrap().success());
    symlink("/dev/zero", folder.join("zero.png")).unwrap();
    for name in ["pipe.png", "zero.png"] {
        folder.plan("a.plan.json", &GOOD.replace("square.png", name));
        let run = review(&folder, &["a.plan.json", "--allow-outside"]).with_status(2);
        assert!(run.error.contains(name), "{}", run.error);
    }
    let run = review(&folder, &["/dev/zero"]).with_status(2);
    assert!(run.error.contains("this is not a file"), "{}", run.error);
}

/// Whatever is on the disk at the moment: a verdict on it, or a fault; never a crash, never half a report.
#[test]
fn files_that_change_while_they_are_read_are_reviewed_or_refused() {
    let folder = Folder::usual();
    let pages: Vec<String> =
        (0..40).map(|at| format!("{{ \"screen\": \"p{}.png\", \"after_ms\": 5000 }}", at % 4)).collect();
    let plan = format!("{{ \"steps\": [{}] }}", pages.join(", "));
    let screen = |shade: u8| png_of(16, 8, |x, _| if x < 8 { shade } else { 255 });
    let write = |round: usize| {
        for at in 0..4 {
            let bytes = screen((round * 16 + at) as u8);
            // Cut short every now and then, as while it is being saved.
            let end = if round % 3 == at % 3 { bytes.len() / 2 } else { bytes.len() };
            folder.file(&format!("p{at}.png"), &bytes[..end]);
        }
        let text = whole_plan(&plan);
        folder.file("a.plan.json", &text[..if round % 5 == 4 { text.len() / 2 } else { text.len() }]);
    };
    write(0);
    let is_over = AtomicBool::new(false);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let mut round = 1;
            while !is_over.load(Ordering::Relaxed) {
                write(round);
                round += 1;
            }
        });
        for _ in 0..12 {
            let run = review(&folder, &["a.plan.json", "--format", "json", "--pictures", "pictures"]);
            assert!((0..=2).contains(&run.status), "{run:?}");
            assert!(run.status != 2 || !run.error.is_empty(), "a fault is told: {run:?}");
            assert!(run.out.is_empty() || run.json()["format"] == "refresh-findings/1", "{run:?}");
        }
        is_over.store(true, Ordering::Relaxed);
    });
}

/// Enough steps for some hundred kilobytes of facts.
fn long_plan(steps: u64) -> String {
    format!(
        r#"{{ "steps": [{{ "repeat": {steps}, "steps": [{{ "screen": "square.png", "after_ms": 900 }}, {{ "screen": "white.png", "after_ms": 900, "updates": [{{ "mode": "quick" }}] }}] }}] }}"#
    )
}

/// The names of all files of a folder, hidden ones too.
fn names(folder: &Folder) -> Vec<String> {
    folder.names_below(".")
}

/// A file system that takes no more, by a limit on the size of files.
#[test]
fn a_full_disk_leaves_no_half_file() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", &long_plan(500));
    folder.file("old.jsonl", "as it was");
    let before = names(&folder);
    for outputs in [
        &["--facts", "facts.jsonl"][..],
        &["--facts", "old.jsonl"],
        &["--format", "json", "--out", "out.json"],
        &["--html", "page.html"],
    ] {
        let mut command = Command::new("sh");
        // The signal that would end the program is left out: the write fails, as on a full disk.
        command.args(["-c", "trap '' XFSZ; ulimit -f 1; exec \"$@\"", "sh", env!("CARGO_BIN_EXE_stillpage")]);
        command.args(["review", "a.plan.json"]).args(outputs).current_dir(folder.path());
        let run = Run::of(command.output().unwrap());
        assert!(run.status == 2 && run.error.contains("cannot be written"), "{outputs:?}: {run:?}");
        assert_eq!(names(&folder), before, "{outputs:?}");
        assert_eq!(folder.read("old.jsonl"), "as it was");
    }
}

/// An output that is a pipe or a device is written to; a file in its place would break what reads from it.
#[test]
fn a_pipe_that_is_named_as_output_stays_one() {
    let folder = Folder::usual();
    folder.plan("a.plan.json", GOOD);
    let pipe = folder.join("pipe");
    assert!(Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let reader = std::thread::spawn({
        let pipe = pipe.clone();
        move || fs::read_to_string(pipe).unwrap()
    });
    folder.run(&["review", "a.plan.json", "--format", "json", "--out", "pipe"]).with_status(0);
    let read = reader.join().unwrap();
    assert_eq!(read, folder.run(&["review", "a.plan.json", "--format", "json"]).out);
    assert!(fs::symlink_metadata(&pipe).unwrap().file_type().is_fifo());
}

/// The command of a user without rights; `None` if there is no such user to be had.
fn without_rights(folder: &Folder, arguments: &[&str]) -> Option<Run> {
    let is_root = Command::new("id").arg("-u").output().is_ok_and(|output| output.stdout == b"0\n");
    let mut command = if is_root {
        // What root may read nobody can take away; the program must lie where others may read it, too.
        folder.file("stillpage", fs::read(env!("CARGO_BIN_EXE_stillpage")).unwrap());
        fs::set_permissions(folder.join("stillpage"), fs::Permissions::from_mode(0o755)).unwrap();
        let mut command = Command::new("setpriv");
        command.args(["--reuid", "65534", "--regid", "65534", "--clear-groups"]).arg(folder.join("stillpage"));
        command
    } else {
        Command::new(env!("CARGO_BIN_EXE_stillpage"))
    };
    let run = command.args(arguments).current_dir(folder.path()).output();
    if run.is_err() {
        eprintln!("skipped: the tests run as root, and there is no `setpriv`");
    }
    run.ok().map(Run::of)
}

#[test]
fn folders_and_files_without_rights_are_told() {
    let folder = Folder::usual();
    folder.plan("z-good.plan.json", GOOD);
    folder.plan("locked.plan.json", GOOD);
    folder.plan("shut/a.plan.json", GOOD);
    folder.plan("each.plan.json", r#"{ "steps": [{ "each": "**/*.png", "updates": [{ "mode": "full" }] }] }"#);
    let rights = |name: &str, mode| fs::set_permissions(folder.join(name), fs::Permissions::from_mode(mode)).unwrap();
    rights("", 0o755);
    rights("locked.plan.json", 0o000);
    rights("shut", 0o000);
    let run = without_rights(&folder, &["review", "."]);
    let written = without_rights(&folder, &["review", "z-good.plan.json", "--out", "shut/report.txt"]);
    rights("shut", 0o755);
    let (Some(run), Some(written)) = (run, written) else { return };
    let run = run.with_status(2);
    assert!(run.out.contains("\nz-good.plan.json  passes "), "{}", run.out);
    for name in ["locked.plan.json", "shut", "each.plan.json"] {
        assert!(run.error.contains(name), "{name}: {}", run.error);
    }
    assert!(run.error.contains("check the path and its rights"), "{}", run.error);
    assert!(written.status == 2 && written.error.contains("cannot be written"), "{written:?}");
}

/// Ctrl-C, and the polite request to end, while a file is being written.
#[test]
fn a_stop_in_the_middle_leaves_no_half_file() {
    for signal in [2, 15] {
        let folder = Folder::usual();
        folder.plan("a.plan.json", &long_plan(400_000));
        folder.file("old.jsonl", "as it was");
        let before = names(&folder);
        let mut command = folder.command(&["review", "a.plan.json", "--facts", "old.jsonl"]);
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let begun = Instant::now();
        let grows = || {
            let hidden = names(&folder).into_iter().find(|name| !before.contains(name));
            hidden.is_some_and(|name| fs::metadata(folder.join(&name)).is_ok_and(|found| found.len() > 10_000))
        };
        while !grows() {
            assert!(begun.elapsed() < Duration::from_secs(120), "nothing was written");
            std::thread::sleep(Duration::from_millis(5));
        }
        let sent = Command::new("kill").args([format!("-{signal}"), child.id().to_string()]).status().unwrap();
        assert!(sent.success());
        let status = child.wait().unwrap();
        assert_eq!(status.signal(), Some(signal), "it ends as if it had not listened: {status}");
        assert_eq!(names(&folder), before);
        assert_eq!(folder.read("old.jsonl"), "as it was");
        let mut told = String::new();
        child.stderr.take().unwrap().read_to_string(&mut told).unwrap();
        assert_eq!(told, "");
    }
}

/// Every test that the page names is in the file that it names.
#[test]
fn the_tests_that_the_page_on_hostile_files_names_exist() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let page = fs::read_to_string(root.join("docs/robustness.md")).unwrap();
    let rows = page.lines().filter(|line| line.starts_with("| ") && line.contains(".rs`"));
    let mut missing = String::new();
    let mut count = 0;
    for row in rows {
        let (_, held) = row.trim_end_matches(" |").rsplit_once("| ").unwrap();
        let quoted: Vec<&str> = held.split('`').skip(1).step_by(2).collect();
        let (files, tests): (Vec<&str>, Vec<&str>) = quoted.into_iter().partition(|quoted| quoted.contains('/'));
        let texts: String = files.iter().map(|file| fs::read_to_string(root.join(file)).unwrap()).collect();
        assert!(!tests.is_empty(), "a row names its test: {row}");
        for test in tests {
            count += 1;
            if !texts.contains(&format!("fn {test}(")) {
                writeln!(missing, "{test} in {files:?}").unwrap();
            }
        }
    }
    assert!(missing.is_empty() && count > 20, "{count} named; missing:\n{missing}");
    let own = fs::read_to_string(root.join("tests/reading/hostile.rs")).unwrap();
    let tests = own.split("#[test]\nfn ").skip(1).filter_map(|rest| rest.split('(').next());
    let unnamed: Vec<&str> = tests.filter(|test| !page.contains(test) && !test.starts_with("the_")).collect();
    assert!(unnamed.is_empty(), "the page does not name {unnamed:?}");
}
