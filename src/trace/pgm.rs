//! Portable graymaps, plain (P2) and raw (P5), as the netpbm documents define them (pgm(5), "PGM Format Specification"):
//! greys of 8 or 16 bits. Knows bytes, not what they are of.

use crate::{geometry::Size, screen::ScreenFault};

/// Reads a graymap of exactly this size as 8-bit greys.
///
/// # Errors
/// Where it is broken, has another size, or holds more than one picture.
pub(super) fn read_pgm(bytes: &[u8], size: Size, mut greys: Vec<u8>) -> Result<Vec<u8>, ScreenFault> {
    let mut text = Tokens { bytes, at: 0 };
    let is_raw = match bytes.get(..2) {
        Some(b"P5") => true,
        Some(b"P2") => false,
        _ => return Err(broken("it begins with neither `P5` nor `P2`")),
    };
    text.at = 2;
    let [width, height] = [text.number("the width")?, text.number("the height")?];
    if (width, height) != (size.width, size.height) {
        return Err(ScreenFault::wrong_size(&format!("{width} x {height}"), size));
    }
    let most = text.number("the largest grey")?;
    if !(1..=65_535).contains(&most) {
        return Err(broken(&format!("its largest grey is {most}, but it must be from 1 to 65535")));
    }
    greys.clear();
    greys.reserve_exact(size.pixels() as usize);
    if is_raw {
        raw_greys(text.raster()?, size, most, &mut greys)?;
    } else {
        for _ in 0..size.pixels() {
            let sample = text.number("a grey")?;
            greys.push(grey(sample, most)?);
        }
    }
    Ok(greys)
}

fn raw_greys(raster: &[u8], size: Size, most: u32, greys: &mut Vec<u8>) -> Result<(), ScreenFault> {
    let bytes_a_sample = if most < 256 { 1 } else { 2 };
    let wanted = size.pixels() as usize * bytes_a_sample;
    if raster.len() != wanted {
        return Err(broken(&format!(
            "{wanted} bytes of greys should follow the header of a picture of {size} px with greys up to {most}, but \
             there are {}",
            raster.len()
        )));
    }
    if most == 255 {
        greys.extend_from_slice(raster);
        return Ok(());
    }
    for sample in raster.chunks_exact(bytes_a_sample) {
        let sample = sample.iter().fold(0, |sample, byte| sample << 8 | u32::from(*byte));
        greys.push(grey(sample, most)?);
    }
    Ok(())
}

/// A sample in 8 bits, to the nearest.
fn grey(sample: u32, most: u32) -> Result<u8, ScreenFault> {
    if sample > most {
        return Err(broken(&format!("it has a grey of {sample}, but says that the largest is {most}")));
    }
    Ok(((sample * 255 + most / 2) / most) as u8)
}

fn broken(reason: &str) -> ScreenFault {
    ScreenFault::new(
        format!("the portable graymap is broken: {reason}"),
        "write it again as P2 or P5, one picture a file",
    )
}

/// More digits than this have no number that a picture may have.
const MOST_DIGITS: usize = 12;

/// Numbers in decimal between white space; from a `#` to the end of its line stands a comment.
struct Tokens<'b> {
    bytes: &'b [u8],
    at: usize,
}

impl<'b> Tokens<'b> {
    fn number(&mut self, what: &str) -> Result<u32, ScreenFault> {
        self.skip_space();
        let mut digits = String::new();
        // A comment may stand in the middle of a number, and ends with its line.
        loop {
            match self.bytes.get(self.at) {
                Some(byte) if byte.is_ascii_digit() && digits.len() < MOST_DIGITS => digits.push(char::from(*byte)),
                Some(b'#') => {
                    let line = self.bytes[self.at..].iter().position(|byte| matches!(byte, b'\n' | b'\r'));
                    self.at = line.map_or(self.bytes.len(), |end| self.at + end);
                }
                _ => break,
            }
            self.at += 1;
        }
        let is_apart = self.bytes.get(self.at).is_none_or(u8::is_ascii_whitespace);
        digits.parse().ok().filter(|_| is_apart).ok_or_else(|| broken(&format!("{what} is missing or is no number")))
    }

    fn skip_space(&mut self) {
        while let Some(byte) = self.bytes.get(self.at) {
            match byte {
                b'#' => {
                    let line = self.bytes[self.at..].iter().position(|byte| matches!(byte, b'\n' | b'\r'));
                    self.at = line.map_or(self.bytes.len(), |end| self.at + end);
                }
                byte if byte.is_ascii_whitespace() => self.at += 1,
                _ => return,
            }
        }
    }

    /// What follows the single white space behind the largest grey.
    fn raster(&self) -> Result<&'b [u8], ScreenFault> {
        match self.bytes.get(self.at) {
            Some(byte) if byte.is_ascii_whitespace() => Ok(&self.bytes[self.at + 1..]),
            _ => Err(broken("no white space follows its header")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIZE: Size = Size { width: 3, height: 2 };

    fn read(bytes: &[u8]) -> Result<Vec<u8>, String> {
        read_pgm(bytes, SIZE, Vec::new()).map_err(|fault| fault.message)
    }

    /// The greys are those of the format's document: linear from 0 to the largest, two bytes from 256 on, the more
    /// significant first.
    #[test]
    fn all_four_kinds_say_the_same() {
        let greys = vec![0, 85, 255, 170, 0, 255];
        assert_eq!(read(b"P2\n# greys\n3 2 3\n0 1 3\n2 0 3\n"), Ok(greys.clone()));
        assert_eq!(read(b"P2 3 2 65535 0 21845 65535 43690 0 65535"), Ok(greys.clone()));
        assert_eq!(read(b"P5 3\n2 # rows\n255\n\x00\x55\xff\xaa\x00\xff"), Ok(greys.clone()));
        let sixteen = b"P5 3 2 65535 \x00\x00\x55\x55\xff\xff\xaa\xaa\x00\x00\xff\xff";
        assert_eq!(read(sixteen), Ok(greys));
    }

    #[test]
    fn what_is_broken_is_refused() {
        for bytes in [
            &b""[..],
            b"P",
            b"P6 3 2 255 \x00\x00\x00\x00\x00\x00",
            b"P5 3 2 255",
            b"P5 3 2 255 \x00",
            b"P5 3 2 255 \x00\x00\x00\x00\x00\x00\x00",
            b"P5 3 2 0 \x00\x00\x00\x00\x00\x00",
            b"P5 3 2 65536 ",
            b"P5 3 2 99999999999 ",
            b"P2 3 2 3 0 1 2 3 4 0",
            b"P2 3 2 3 0 1 2 3 0",
            b"P2 3 2 3 0 1 2 3 0 x",
            b"P2 4000000000 4000000000 3 0",
            b"P2 # no end",
        ] {
            assert!(read(bytes).is_err(), "{bytes:?}");
        }
    }
}
