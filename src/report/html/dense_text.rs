//! Bytes as text that may stand in a script element and in a JSON string as it is: five characters for four bytes, where
//! base64 takes more than five and a third. Knows nothing of what the bytes are.

/// The characters are 85 in a row from this one on.
const FIRST: u8 = b')';

/// What turns such a text into bytes again, in the language of the page; without a character that begins an element.
pub(super) const DECODER: &str = "const bytesOf = (text) => {
  const bytes = new Uint8Array(Math.floor(text.length * 0.8));
  const digit = (at) => ({ 33: 60, 35: 92 })[text.charCodeAt(at)] ?? (text.charCodeAt(at) || 125);
  for (let at = 0, to = 0; text.length > at; at += 5, to += 4) {
    let value = 0;
    for (let next = at; at + 5 > next; next += 1) value = value * 85 + digit(next) - 41;
    for (let byte = 0; 4 > byte; byte += 1) bytes[to + byte] = value / 256 ** (3 - byte);
  }
  return bytes;
};
";

/// The text. Of the last group, which may have fewer than four bytes, there is one character more than it has bytes.
pub(super) fn text_of(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len().div_ceil(4) * 5);
    for group in bytes.chunks(4) {
        let mut whole = [0; 4];
        whole[..group.len()].copy_from_slice(group);
        let value = u32::from_be_bytes(whole);
        let digits = [4, 3, 2, 1, 0].map(|power| (value / 85_u32.pow(power) % 85) as u8);
        text.extend(digits[..=group.len()].iter().map(|digit| character(*digit)));
    }
    text
}

/// The character of a digit. Two characters mean something in JSON and in markup: others stand for them.
fn character(digit: u8) -> char {
    match FIRST + digit {
        b'<' => '!',
        b'\\' => '#',
        character => char::from(character),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As the page does it.
    fn bytes_of(text: &str) -> Vec<u8> {
        let digit = |character: u8| match character {
            b'!' => b'<' - FIRST,
            b'#' => b'\\' - FIRST,
            character => character - FIRST,
        };
        let groups = text.as_bytes().chunks(5).flat_map(|group| {
            let digits = (0..5).map(|at| group.get(at).map_or(84, |character| digit(*character)));
            let value = digits.fold(0_u64, |value, digit| value * 85 + u64::from(digit));
            (value as u32).to_be_bytes()[..group.len() - 1].to_vec()
        });
        groups.collect()
    }

    #[test]
    fn every_text_gives_its_bytes_back() {
        let bytes: Vec<u8> = (0..4_000_u32).map(|number| (number.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
        for length in [0, 1, 2, 3, 4, 5, 8, 3_997, 3_998, 3_999, 4_000] {
            let text = text_of(&bytes[..length]);
            assert_eq!(bytes_of(&text), bytes[..length]);
            assert_eq!(text.len(), length / 4 * 5 + if length % 4 == 0 { 0 } else { length % 4 + 1 });
        }
        for extreme in [[0; 4], [255; 4]] {
            assert_eq!(bytes_of(&text_of(&extreme)), extreme);
        }
    }

    #[test]
    fn no_character_means_anything_in_json_or_markup() {
        let used: String = (0..85).map(character).collect();
        assert!(!used.contains(['"', '\\', '<', '&', '\'', '(']), "{used}");
        assert!(used.chars().all(|character| ('!'..='}').contains(&character)));
    }
}
