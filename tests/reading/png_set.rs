//! The PNG reader against a published set of test files: greys and refusals computed apart from the program, and a
//! second decoder. Knows greys, not levels.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

use std::{
    collections::BTreeSet,
    fmt::Write as _,
    fs,
    path::{Path, PathBuf},
};

use lodepng::{ColorType, Decoder, Image};
use sha2::{Digest, Sha256};
use stillpage::{display::Ink, geometry::Size, screen::decode_png};

/// A file that can be decoded: its size, and the SHA-256 of its greys.
struct Good {
    name: String,
    size: Size,
    sha256: String,
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/png-set")
}

fn lines(file: &str) -> Vec<String> {
    fs::read_to_string(folder().join(file)).unwrap().lines().map(str::to_owned).collect()
}

fn good_files() -> Vec<Good> {
    let good = |line: &String| {
        let words: Vec<&str> = line.split(' ').collect();
        let [name, width, height, sha256] = words.as_slice() else { panic!("four words a line: {line}") };
        let size = Size { width: width.parse().unwrap(), height: height.parse().unwrap() };
        Good { name: (*name).into(), size, sha256: (*sha256).into() }
    };
    lines("expected-greys.txt").iter().map(good).collect()
}

/// The names of the files that must be refused.
fn broken_files() -> Vec<String> {
    lines("expected-refusals.txt").iter().map(|line| line.split(' ').next().unwrap_or_default().to_owned()).collect()
}

fn bytes_of(name: &str) -> Vec<u8> {
    fs::read(folder().join(name)).unwrap()
}

#[test]
fn the_lists_name_every_file_once() {
    let on_disk: BTreeSet<String> = fs::read_dir(folder())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| Path::new(name).extension().is_some_and(|ending| ending == "png"))
        .collect();
    let listed: Vec<String> = good_files().into_iter().map(|good| good.name).chain(broken_files()).collect();
    let distinct: BTreeSet<String> = listed.iter().cloned().collect();
    assert_eq!(distinct.len(), listed.len(), "a file is listed twice");
    assert_eq!(distinct, on_disk);
}

/// `expected-greys.txt` comes from a reader written by hand next to it, which shares nothing with the program.
#[test]
fn good_files_give_the_greys_worked_out_beforehand() {
    let mut wrong = String::new();
    for Good { name, size, sha256 } in good_files() {
        match decode_png(&bytes_of(&name), size, &ink(), Vec::new()) {
            Err(fault) => writeln!(wrong, "{name}: {}", fault.message).unwrap(),
            Ok(picture) if hex(&Sha256::digest(picture.shades())) != sha256 => {
                writeln!(wrong, "{name}: other greys").unwrap();
            }
            Ok(_) => {}
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}

#[test]
fn broken_files_are_refused() {
    for name in broken_files() {
        let bytes = bytes_of(&name);
        // The size is the one that the header claims, so that it is not the size that refuses them.
        let claimed = |at: usize| {
            bytes.get(at..at + 4).map_or(0, |four| u32::from_be_bytes([four[0], four[1], four[2], four[3]]))
        };
        let size = Size { width: claimed(16).clamp(1, 256), height: claimed(20).clamp(1, 256) };
        assert!(decode_png(&bytes, size, &ink(), Vec::new()).is_err(), "{name} was taken");
    }
}

#[test]
fn a_buffer_that_was_used_before_leaves_nothing_behind() {
    for Good { name, size, .. } in good_files() {
        let bytes = bytes_of(&name);
        let first = decode_png(&bytes, size, &ink(), Vec::new()).unwrap();
        let again = decode_png(&bytes, size, &ink(), vec![0xa5; 70_000]).unwrap();
        assert_eq!(first.shades(), again.shades(), "{name}");
    }
}

/// A second decoder, asked for red, green, blue and alpha, and the arithmetic of `docs/model.md` done once more on these.
///
/// It applies to every file of the set. Files of 16 bits are asked for at 16, so that samples and transparent colours stay
/// whole; the others at 8, to which samples of 1, 2 and 4 bits stretch by a whole factor (255, 85, 17). Asked for 16 bits
/// of a file with fewer, that decoder would miss transparent colours.
#[test]
fn good_files_agree_with_a_second_decoder() {
    let mut compared = 0;
    for Good { name, size, .. } in good_files() {
        let bytes = bytes_of(&name);
        let (width, height, pixels) =
            second_decoder(&bytes).unwrap_or_else(|error| panic!("{name}: the second decoder says {error}"));
        assert_eq!((width, height), (size.width as usize, size.height as usize), "{name}");
        let ours = decode_png(&bytes, size, &ink(), Vec::new()).unwrap();
        assert_eq!(ours.shades().len(), pixels.len(), "{name}");
        for (at, (grey, pixel)) in ours.shades().iter().zip(pixels).enumerate() {
            assert_eq!(*grey, grey_of(pixel), "{name}: pixel {at}, {pixel:?}");
        }
        compared += 1;
    }
    assert_eq!(compared, 166);
}

/// Width, height, and the pixels as 8-bit red, green, blue and alpha.
type Decoded = (usize, usize, Vec<[u8; 4]>);

fn second_decoder(bytes: &[u8]) -> Result<Decoded, lodepng::Error> {
    let mut decoder = Decoder::new();
    let depth_in_header = bytes[24];
    decoder.info_raw_mut().set_colortype(ColorType::RGBA);
    decoder.info_raw_mut().set_bitdepth(if depth_in_header == 16 { 16 } else { 8 });
    match decoder.decode(bytes)? {
        Image::RGBA(picture) => {
            let pixels = picture.buffer.iter().map(|pixel| [pixel.r, pixel.g, pixel.b, pixel.a]);
            Ok((picture.width, picture.height, pixels.collect()))
        }
        Image::RGBA16(picture) => {
            // It leaves samples of 16 bits in the file's order of bytes.
            let eight = |sample: u16| ((u64::from(u16::from_be(sample)) * 255 + 32_767) / 65_535) as u8;
            let pixels = picture.buffer.iter().map(|pixel| [pixel.r, pixel.g, pixel.b, pixel.a].map(eight));
            Ok((picture.width, picture.height, pixels.collect()))
        }
        _ => panic!("the second decoder gave another kind of picture than it was asked for"),
    }
}

fn grey_of(pixel: [u8; 4]) -> u8 {
    let [red, green, blue, alpha] = pixel.map(u32::from);
    let [red, green, blue] = [red, green, blue].map(|sample| (sample * alpha + 255 * (255 - alpha) + 127) / 255);
    ((2126 * red + 7152 * green + 722 * blue + 5000) / 10_000) as u8
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |text, byte| text + &format!("{byte:02x}"))
}

/// Any grey ink: the greys of a picture do not depend on it.
fn ink() -> Ink {
    Ink::grey_between(16, 0.04, 0.44)
}
