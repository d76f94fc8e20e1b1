//! Pages of 1404 x 1872 px in 16 greys, drawn from fixed seeds: texts with soft edges, pictures, and what a reader writes on them.

use std::{
    fs,
    path::{Path, PathBuf},
};

use super::{dice::Dice, picture::Picture, sequence};

pub(crate) const PLAN: &str = "paper.plan.json";
/// The plan of the page turns that drive all pixels.
pub(crate) const ALL_PLAN: &str = "paper-all.plan.json";
/// The plan that shows the pictures in no order.
pub(crate) const MIXED_PLAN: &str = "paper-mixed.plan.json";
pub(crate) const WIDTH: usize = 1404;
pub(crate) const HEIGHT: usize = 1872;
/// The pages of the annotated sequence.
pub(crate) const MARKED: usize = 200;
/// The pages of each sequence of page turns.
pub(crate) const TURNED: usize = 20;
/// The pictures, and the steps over them.
pub(crate) const PICTURES: usize = 20;
pub(crate) const STEPS: usize = 2000;
const LINE: usize = 36;
/// The lines that change in a step of the annotated sequence.
const MARKS: usize = 6;
const MARGIN: usize = 96;
const GLYPHS: usize = 48;
const GLYPH: [usize; 2] = [14, 22];

pub(crate) fn frame_name(frame: usize) -> String {
    format!("{frame:03}.png")
}

/// 200 pages with notes and marks in greys, by quick updates that carry greys. Nothing is ever cleaned after the first page.
pub(crate) fn marked() -> PathBuf {
    sequence::folder("paper-marked", PLAN, |folder| {
        let mut dice = Dice(21);
        let type_case = TypeCase::new(&mut dice);
        let mut page = Picture::white([WIDTH, HEIGHT]);
        type_case.paragraphs(&mut page, 600, &mut dice);
        for frame in 0..MARKED {
            if frame > 0 {
                mark(&mut page, &type_case, &mut dice);
            }
            page.save(&folder.join(frame_name(frame)));
        }
        let steps = (0..MARKED).map(|frame| show(frame, 4000, first_full(frame, "quick-grey", "changed")));
        write(folder, PLAN, "Notes in greys on one page", steps);
    })
}

/// Whole pages that are turned quietly: texts, or pictures in all greys. One plan drives what changes, one every pixel.
pub(crate) fn turned(kind: Kind) -> PathBuf {
    let (name, seed) = match kind {
        Kind::Texts => ("paper-texts", 22),
        Kind::Pictures => ("paper-pictures", 23),
    };
    sequence::folder(name, PLAN, |folder| {
        let mut dice = Dice(seed);
        let type_case = TypeCase::new(&mut dice);
        for frame in 0..TURNED {
            let page = match kind {
                Kind::Texts => type_case.page(&mut dice),
                Kind::Pictures => grey_picture(&mut dice),
            };
            page.save(&folder.join(frame_name(frame)));
        }
        let steps = |mode: &'static str, window: &'static str| {
            (0..TURNED).map(move |frame| show(frame, 5000, first_full(frame, mode, window)))
        };
        write(folder, ALL_PLAN, "Pages turned, every pixel driven", steps("quiet-all", "all"));
        write(folder, PLAN, "Pages turned", steps("grey-quiet", "changed"));
    })
}

/// What is on the pages that are turned.
#[derive(Clone, Copy)]
pub(crate) enum Kind {
    Texts,
    Pictures,
}

/// 20 pages in black and white, shown 2,000 times by quick updates: in turn, and in no order. Nothing is ever cleaned after
/// the first page.
pub(crate) fn never_cleaned() -> PathBuf {
    sequence::folder("paper-never-cleaned", PLAN, |folder| {
        let mut dice = Dice(24);
        let mut page = Picture::white([WIDTH, HEIGHT]);
        for line in (160..HEIGHT - 160).step_by(LINE) {
            page.scribble([MARGIN, line, WIDTH - 2 * MARGIN], &mut dice);
        }
        for frame in 0..PICTURES {
            black_and_white(&page, frame, &mut dice).save(&folder.join(frame_name(frame)));
        }
        let in_turn = (0..STEPS).map(|step| step % PICTURES);
        let mixed: Vec<usize> = (0..STEPS).map(|_| dice.roll(PICTURES)).collect();
        write(folder, MIXED_PLAN, "Twenty pages in no order", quick_steps(mixed.into_iter()));
        write(folder, PLAN, "Twenty pages in turn", quick_steps(in_turn));
    })
}

fn quick_steps(frames: impl Iterator<Item = usize>) -> impl Iterator<Item = String> {
    frames.enumerate().map(|(step, frame)| show(frame, 2000, first_full(step, "quick", "changed")))
}

/// Everything begins with a page that is known.
fn first_full(step: usize, mode: &'static str, window: &'static str) -> [&'static str; 2] {
    if step == 0 { ["full", "all"] } else { [mode, window] }
}

fn show(frame: usize, after_ms: u32, [mode, window]: [&str; 2]) -> String {
    let screen = frame_name(frame);
    format!(
        r#"  {{ "screen": "{screen}", "after_ms": {after_ms}, "cause": "key", "updates": [{{ "mode": "{mode}", "window": "{window}" }}] }},"#
    ) + "\n"
}

/// Writes a plan and its display: a tablet with a quick mode that carries greys, and a quiet one that drives every pixel.
fn write(folder: &Path, plan: &str, title: &str, steps: impl Iterator<Item = String>) {
    fs::write(folder.join("paper.display.json"), DISPLAY).expect("the description can be written");
    let steps: String = steps.collect();
    let text = format!(
        "{{ \"format\": \"refresh-plan/1\", \"title\": \"{title}\", \"display\": \"paper.display.json\", \"rotation\": 90, \"steps\": [\n{steps}] }}\n"
    );
    fs::write(folder.join(plan), text).expect("the plan can be written");
}

/// Figures of the two modes that are not shipped: invented, between those of the modes that ship.
const DISPLAY: &str = r#"{
  "format": "display/1", "based_on": "tablet-10in3", "name": "paper",
  "modes": [
    { "name": "quick-grey", "about": "Greys without a flash, only what changes.", "from": "any", "to": "any", "drives": "changed",
      "windowed": true, "flashes": 0, "duration_ms": 300, "residue": { "keeps": 0.97, "lighter": 0.02, "darker": 0.012 } },
    { "name": "quiet-all", "about": "Greys without a flash, every pixel.", "from": "any", "to": "any", "drives": "all",
      "windowed": true, "flashes": 0, "duration_ms": 400, "residue": { "keeps": 0.5, "lighter": 0.08, "darker": 0.03 } }
  ]
}
"#;

/// The letters of a text that nobody can read, with soft edges.
struct TypeCase(Vec<[[u8; GLYPH[0]]; GLYPH[1]]>);

impl TypeCase {
    fn new(dice: &mut Dice) -> Self {
        Self((0..GLYPHS).map(|_| glyph(dice)).collect())
    }

    /// A page of text.
    fn page(&self, dice: &mut Dice) -> Picture {
        let mut page = Picture::white([WIDTH, HEIGHT]);
        self.paragraphs(&mut page, HEIGHT - 120, dice);
        page
    }

    /// Text from the top of the page to that height.
    fn paragraphs(&self, page: &mut Picture, bottom: usize, dice: &mut Dice) {
        for line in (120..bottom).step_by(LINE) {
            // Some lines are the last of their paragraph.
            let width = if dice.roll(6) == 0 { 200 + dice.roll(600) } else { WIDTH - 2 * MARGIN };
            self.set(page, [MARGIN, line, width], dice);
        }
    }

    /// A line of text.
    fn set(&self, page: &mut Picture, [left, top, width]: [usize; 3], dice: &mut Dice) {
        for x in (left..left + width - GLYPH[0]).step_by(GLYPH[0] + 2) {
            if dice.roll(6) > 0 {
                let glyph = &self.0[dice.roll(GLYPHS)];
                for (row, shades) in glyph.iter().enumerate() {
                    page.pixels[(top + row) * WIDTH + x..][..GLYPH[0]].copy_from_slice(shades);
                }
            }
        }
    }
}

/// Three or four strokes, softened by the mean of each pixel and its neighbours.
fn glyph(dice: &mut Dice) -> [[u8; GLYPH[0]]; GLYPH[1]] {
    let mut solid = Picture::white(GLYPH);
    for _ in 0..2 {
        solid.fill([1 + dice.roll(GLYPH[0] - 4), 2, 3, GLYPH[1] - 4 - dice.roll(8)], 0);
        solid.fill([1, 2 + dice.roll(GLYPH[1] - 6), GLYPH[0] - 2 - dice.roll(4), 2], 0);
    }
    let mut soft = [[255; GLYPH[0]]; GLYPH[1]];
    for (y, row) in soft.iter_mut().enumerate().skip(1).take(GLYPH[1] - 2) {
        for (x, shade) in row.iter_mut().enumerate().skip(1).take(GLYPH[0] - 2) {
            let at = y * GLYPH[0] + x;
            let near = [at, at, at - 1, at + 1, at - GLYPH[0], at + GLYPH[0]];
            let sum: usize = near.iter().map(|&near| usize::from(solid.pixels[near])).sum();
            *shade = level_of(sum as f64 / 6.0 / 255.0);
        }
    }
    soft
}

/// The nearest of 16 greys to a share of white.
fn level_of(share: f64) -> u8 {
    17 * (share * 15.0).round().clamp(0.0, 15.0) as u8
}

/// What a reader adds to a page: bent lines with soft edges, marked lines, and lines that are set again.
fn mark(page: &mut Picture, type_case: &TypeCase, dice: &mut Dice) {
    for _ in 0..2 {
        soft_stroke(page, dice);
    }
    for _ in 0..MARKS {
        let line = 120 + LINE * dice.roll(24);
        let (left, width) = (MARGIN + dice.roll(400), 200 + dice.roll(600));
        match dice.roll(4) {
            0 => page.invert([left, line, width, GLYPH[1]]),
            1 => {
                page.fill([left, line, width, GLYPH[1]], 255);
                type_case.set(page, [left, line, width], dice);
            }
            2 => page.fill([left, line, width, GLYPH[1]], 255),
            _ => page.fill([left, line, width, GLYPH[1]], 17 * (4 + dice.roll(11)) as u8),
        }
    }
}

/// A bent line, its edges in greys.
fn soft_stroke(page: &mut Picture, dice: &mut Dice) {
    let (mut x, mut y) = (100.0 + dice.roll(WIDTH - 500) as f64, 100.0 + dice.roll(HEIGHT - 200) as f64);
    let mut down = 0.0;
    for _ in 0..80 {
        down = f64::clamp(down + (dice.roll(100) as f64 - 50.0) / 60.0, -3.0, 3.0);
        (x, y) = (x + 2.0, f64::clamp(y + down, 8.0, HEIGHT as f64 - 8.0));
        for row in y as usize - 4..y as usize + 5 {
            for column in x as usize - 4..x as usize + 5 {
                let distance = (column as f64 + 0.5 - x).hypot(row as f64 + 0.5 - y);
                let pixel = &mut page.pixels[row * WIDTH + column];
                *pixel = (*pixel).min(level_of((distance - 1.8) / 1.6));
            }
        }
    }
}

/// Waves of grey in all directions with a little grain, as of a photograph.
fn grey_picture(dice: &mut Dice) -> Picture {
    let mut page = Picture::white([WIDTH, HEIGHT]);
    let waves: Vec<[f64; 3]> = (0..5)
        .map(|_| [dice.roll(200) as f64 / 20_000.0, dice.roll(200) as f64 / 20_000.0, dice.roll(628) as f64 / 100.0])
        .collect();
    for y in 0..HEIGHT {
        for x in 0..WIDTH {
            let sum: f64 =
                waves.iter().map(|[across, down, begin]| (x as f64 * across + y as f64 * down + begin).sin()).sum();
            let grain = (dice.roll(100) as f64 - 50.0) / 800.0;
            page.pixels[y * WIDTH + x] = level_of(0.5 + sum / 8.0 + grain);
        }
    }
    page
}

/// One of the twenty: a few lines set again, a menu at some of them, a mark.
fn black_and_white(page: &Picture, frame: usize, dice: &mut Dice) -> Picture {
    let mut page = page.clone();
    for _ in 0..3 {
        let line = 160 + LINE * dice.roll((HEIGHT - 360) / LINE);
        page.fill([MARGIN, line, WIDTH - 2 * MARGIN, LINE - 8], 255);
        page.scribble([MARGIN, line, 400 + dice.roll(700)], dice);
    }
    if frame % 4 == 3 {
        page.fill([400, 300, 360, 240], 255);
        for line in 0..5 {
            page.scribble([430, 330 + 42 * line, 300], dice);
        }
    }
    page.invert([MARGIN, 160 + LINE * dice.roll(40), 300, LINE - 8]);
    page
}
