//! Plays small pieces of work on a display that ships, and reads what they leave: on the text, beside it, in time and energy.
//!
//! Knows the library as a program would that uses it. What stays is played on a small piece of the panel, as it depends on no size,
//! and segments stand for text there: black is a segment that is on. Energy is played on the whole panel.

use std::sync::Arc;

use stillpage::{
    change::pipeline::ScreenSource,
    display::{Beside, Display, Ink, Level, Segments, ink::InkKind, read_display, shipped},
    geometry::Size,
    panel::{PanelState, PlayedUpdate},
    plan::{PlanMaker, ScreenId, Shows, Step, Update, Updates},
    review,
    rules::known_rules,
    screen::{Picture, ScreenFault, decode_png, draw_segments},
    source::{Fault, Source},
};

use crate::common::png_of;

/// What shipped descriptions are based on, and what they draw.
struct ShippedToo;

impl Beside for ShippedToo {
    fn base(&mut self, name: &str) -> Result<Display, Vec<Fault>> {
        Ok(display(name))
    }

    fn segments(&mut self, path: &str) -> Result<Segments, Fault> {
        let drawing = shipped::drawing_of(path).unwrap_or_else(|| panic!("{path} does not ship"));
        draw_segments(drawing.as_bytes()).map_err(|fault| Fault::of_file(path, fault.message, fault.help))
    }
}

/// A display that ships.
pub(crate) fn display(name: &str) -> Display {
    let text = shipped::text_of(name).unwrap_or_else(|| panic!("{name} does not ship")).to_owned();
    read_display(&Arc::new(Source::new(name, text)), &mut ShippedToo).unwrap()
}

/// All that ship, in the order of the list.
pub(crate) fn displays() -> Vec<Display> {
    shipped::names().map(display).collect()
}

/// Four letters of 5 x 7 squares: strokes, corners inside and outside, and gaps between the letters.
const LETTERS: [[&str; 7]; 4] = [
    ["#####", "..#..", "..#..", "..#..", "..#..", "..#..", "..#.."],
    ["#####", "..#..", "..#..", "..#..", "..#..", "..#..", "#####"],
    ["####.", "#...#", "#...#", "#...#", "#...#", "#...#", "####."],
    ["#####", "#....", "#....", "####.", "#....", "#....", "#####"],
];
/// Pixels of a square of a letter, and of the margin around the text.
const SQUARE_PX: u32 = 2;
const MARGIN_PX: u32 = 8;
/// The piece of a panel on which text is written.
const PIECE: Size = Size { width: 64, height: 32 };

/// Whether a pixel belongs to the text.
fn is_text(x: u32, y: u32) -> bool {
    let (Some(x), Some(y)) = (x.checked_sub(MARGIN_PX), y.checked_sub(MARGIN_PX)) else { return false };
    let (letter, column, row) = (x / (6 * SQUARE_PX), x / SQUARE_PX % 6, y / SQUARE_PX);
    let square = LETTERS.get(letter as usize).and_then(|rows| rows.get(row as usize));
    square.is_some_and(|squares| squares.as_bytes().get(column as usize) == Some(&b'#'))
}

/// What a screen shows: white, or text in a level on white.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Screen {
    White,
    Text(Level),
}

/// The two screens of a piece of work: white, and the text in each level.
struct Screens {
    size: Size,
    ink: Ink,
}

impl ScreenSource for Screens {
    fn picture(&self, screen: ScreenId, buffer: Vec<u8>) -> Result<Picture, ScreenFault> {
        let (ink, Size { width, height }) = (&self.ink, self.size);
        let shade = |x: u32, y: u32| match screen.0.checked_sub(1) {
            Some(level) if is_text(x, y) => (level * 255 / (ink.levels() - 1)) as u8,
            _ => 255,
        };
        decode_png(&png_of(width, height, shade), self.size, ink, buffer)
    }
}

/// One thing that a host asks for: a screen in a mode, by its name.
pub(crate) type Asked<'a> = (Screen, &'a str);

/// What is read of a panel after the last step, L*.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Left {
    /// How far the pixels of the text are off their level, the furthest.
    pub(crate) on_text: f64,
    /// How far the white pixels beside the text are off, the middle one of them.
    pub(crate) outline: f64,
    /// The furthest of all pixels.
    pub(crate) most: f64,
}

/// Does some work once, then some work again and again, at a temperature, and tells what is left.
pub(crate) fn left(display: &Display, celsius: f64, first: &[Asked<'_>], again: u64, body: &[Asked<'_>]) -> Left {
    let piece = piece_of(display);
    let last = first.len() + body.len() * usize::try_from(again).unwrap();
    let (mut played, mut found) = (0, None);
    play(&piece, celsius, first, again, body, &mut |glass, _| {
        played += 1;
        found = (played == last).then(|| read(glass));
    });
    found.unwrap()
}

/// A small piece of a panel. A piece of a gauge has pixels in place of segments, of the same two lightnesses.
pub(crate) fn piece_of(display: &Display) -> Display {
    let ink = match display.ink.kind() {
        InkKind::Segments(_) => Ink::grey_between(2, display.ink.reflectance(0), display.ink.reflectance(1)),
        _ => display.ink.clone(),
    };
    Display { size: PIECE, ink, ..display.clone() }
}

/// The updates of some work on a panel.
pub(crate) fn updates(display: &Display, celsius: f64, asked: &[Asked<'_>]) -> Vec<PlayedUpdate> {
    let mut played = Vec::new();
    play(display, celsius, asked, 0, &[], &mut |_, updates| played.extend_from_slice(updates));
    played
}

fn play(
    display: &Display,
    celsius: f64,
    first: &[Asked<'_>],
    again: u64,
    body: &[Asked<'_>],
    see: &mut dyn FnMut(&PanelState, &[PlayedUpdate]),
) {
    let step = |(screen, mode): &Asked<'_>| {
        let mode = display.mode_named(mode).unwrap_or_else(|| panic!("{} has no {mode}", display.name));
        let screen = match screen {
            Screen::White => 0,
            Screen::Text(level) => 1 + usize::from(*level),
        };
        let updates = Updates::Listed(vec![Update::of_all(mode)]);
        Step { after_ms: 600_000.0, updates, ..Step::new(Shows::Screen(ScreenId(screen))) }
    };
    let maker = PlanMaker::new(Arc::new(display.clone()), 1 + display.ink.levels());
    let maker = first.iter().fold(maker, |maker, asked| maker.step(step(asked)));
    let maker = if again == 0 { maker } else { maker.repeat(again, body.iter().map(step).collect()) };
    let mut plan = maker.make("work", &known_rules()).unwrap();
    plan.hold_temperature(celsius);
    let screens = Screens { size: display.size, ink: display.ink.clone() };
    review::play(&plan, &screens, 1, &mut |step| see(step.glass, &step.updates)).unwrap();
}

fn read(glass: &PanelState) -> Left {
    let Size { width, height } = glass.grid().size();
    let shown = |x: u32, y: u32| glass.tones().shown(glass.level(x, y), glass.residue(x, y)).abs();
    let sides = |x: u32, y: u32| [(x.wrapping_sub(1), y), (x + 1, y), (x, y.wrapping_sub(1)), (x, y + 1)];
    let all = (0..height).flat_map(|y| (0..width).map(move |x| (x, y)));
    let (text, rest): (Vec<_>, Vec<_>) = all.partition(|(x, y)| is_text(*x, *y));
    let mut rim: Vec<f64> = rest
        .iter()
        .filter(|(x, y)| sides(*x, *y).into_iter().any(|(x, y)| is_text(x, y)))
        .map(|(x, y)| shown(*x, *y))
        .collect();
    rim.sort_by(f64::total_cmp);
    let farthest = |places: &[(u32, u32)]| places.iter().map(|(x, y)| shown(*x, *y)).fold(0.0, f64::max);
    let on_text = farthest(&text);
    Left { on_text, outline: rim.get(rim.len() / 2).copied().unwrap_or(0.0), most: on_text.max(farthest(&rest)) }
}
