//! The recording of a played plan: what a page needs to show the panel step by step. Kept as patches, small PNG pictures of the
//! boxes that changed since the step before: the levels on the glass, the levels in memory, and the residue. What a reader
//! sees is worked out from levels and residue, so that no picture holds both.
//!
//! Knows the playback, not the page; bounded in size, however long the plan.

use std::{
    collections::{BTreeMap, BTreeSet, HashMap},
    ops::Range,
};

use png::ColorType;

use super::patch_cache::{PatchCache, key};
use crate::{
    change::bits,
    display::Level,
    geometry::{Rect, Size},
    panel::{Ghost, PlayedStep, PlayedUpdate, WaitsFor},
    plan::{Begins, Cause, Plan},
    recently_used::Key,
    report::{panel_view::Colours, sheet::png_of_samples, story::mode_words},
    units::length_mm,
};

/// A residue byte of a pixel without residue.
pub(super) const NO_RESIDUE: u8 = 128;
/// Residue bytes an L*.
pub(super) const RESIDUE_STEPS: f64 = 4.0;
/// Rows of memory that change no farther apart than this stand in one picture.
const NEAR_ROWS: u32 = 24;
/// More steps of the plan's text than this have no card.
const MOST_CARDS: usize = 80;
/// More boxes than this that no picture shows become one.
const MOST_UNPICTURED: usize = 24;
/// More steps than this are not recorded, however small their pictures are.
const MOST_FRAMES: usize = 2_000;

/// What a page needs of a plan.
#[derive(Debug)]
pub struct Recording {
    pub(super) size: Size,
    /// The physical width of the screen, mm.
    pub(super) width_mm: f64,
    pub(super) limit_l: f64,
    /// The pictures of all patches, each once; the first is the panel before the first step.
    pub(super) pictures: Vec<Vec<u8>>,
    /// The colour in which a level with a residue is seen: level, residue byte, colour.
    pub(super) tones: Vec<Tone>,
    /// What each level is called, by its colour.
    pub(super) levels: Vec<([u8; 3], String)>,
    /// What is to be known of each mode that was used, by its name.
    pub(super) modes: Vec<(String, String)>,
    /// The steps, as far as they are recorded. Figures are small: they go on where there is no room for more pictures.
    pub(super) frames: Vec<Frame>,
    /// The bytes of the pictures of all steps.
    step_bytes: usize,
    /// One for each step of the plan's text, the first of them.
    pub(super) cards: Vec<Card>,
    /// Whether there were more of them.
    pub(super) more_cards: bool,
    /// Steps that the plan played.
    pub(super) steps: u64,
    /// Energy of all of them, mJ.
    pub(super) energy_mj: f64,
}

impl Recording {
    /// How many steps the plan has beyond its first so many.
    pub(super) fn steps_behind(&self, frames: usize) -> u64 {
        self.steps - frames as u64
    }

    /// The first step that shows the strongest ghost.
    pub(super) fn strongest_ghost(&self) -> Option<&Frame> {
        let strongest = self.frames.iter().rev().max_by(|one, other| one.worst_l.total_cmp(&other.worst_l));
        strongest.filter(|frame| frame.worst_l > 0.0)
    }

    /// Whether there is room for the picture of a step.
    pub fn has_picture(&self, step: u64) -> bool {
        usize::try_from(step).ok().and_then(|at| self.frames.get(at)).is_some_and(|frame| frame.patches.is_some())
    }

    /// The first and the last of steps in a row that have pictures.
    pub(super) fn pictured(&self) -> Vec<[u64; 2]> {
        let mut rows: Vec<[u64; 2]> = Vec::new();
        for step in (0..self.frames.len() as u64).filter(|step| self.has_picture(*step)) {
            match rows.last_mut() {
                Some([_, last]) if *last + 1 == step => *last = step,
                _ => rows.push([step, step]),
            }
        }
        rows
    }

    /// How many bytes the pictures of a step take, of those that have some.
    pub fn mean_bytes(&self) -> usize {
        let pictured = self.frames.iter().filter(|frame| frame.patches.is_some()).count();
        self.step_bytes / pictured.max(1)
    }

    /// The first of these steps, so many at most; none where they have pictures already.
    fn lacking(&self, steps: &[u64], most: usize) -> BTreeSet<u64> {
        let mut first = BTreeSet::new();
        for step in steps.iter().filter(|step| **step < self.frames.len() as u64) {
            if first.len() < most {
                first.insert(*step);
            }
        }
        if first.iter().all(|step| self.has_picture(*step)) { BTreeSet::new() } else { first }
    }

    /// The same recording with the pictures of another one.
    #[must_use]
    pub fn with_pictures_of(mut self, other: Self) -> Self {
        let mut patches = other.frames.into_iter().map(|frame| frame.patches);
        for frame in &mut self.frames {
            frame.patches = patches.next().flatten();
        }
        Self { pictures: other.pictures, tones: other.tones, ..self }
    }
}

/// A step.
#[derive(Debug)]
pub(super) struct Frame {
    pub(super) index: u64,
    pub(super) label: Option<String>,
    pub(super) cause: Cause,
    pub(super) request_ms: f64,
    /// What changes; nothing where there is no room for the picture of the step.
    pub(super) patches: Option<Patches>,
    pub(super) updates: Vec<RecordedUpdate>,
    pub(super) strokes: Vec<RecordedStroke>,
    /// Ghosts in driven pixels, and outlines beside them.
    pub(super) ghosts: Vec<Rect>,
    pub(super) outlines: Vec<Rect>,
    pub(super) worst_l: f64,
    /// The box of the ghost that has its strongest pixel.
    pub(super) strongest: Option<Rect>,
    /// The residue of the smallest area that counts, below the limit too, L*.
    pub(super) residue_l: f64,
    pub(super) left_behind_px: u64,
    /// From the request to the first visible change, ms.
    pub(super) answer_ms: Option<f64>,
}

impl Frame {
    /// When the last of its updates has ended, ms; the request where there is none.
    pub(super) fn ends_ms(&self) -> f64 {
        self.updates.iter().map(|update| update.finish_ms).fold(self.request_ms, f64::max)
    }

    /// Energy of its updates, mJ.
    pub(super) fn energy_mj(&self) -> f64 {
        self.updates.iter().map(|update| update.energy_mj).sum()
    }

    /// From the request to the end of updates and strokes, ms.
    pub(super) fn busy(&self) -> (f64, f64) {
        let strokes = self.strokes.iter().filter_map(|stroke| stroke.points.last()).map(|point| point[2]);
        (self.request_ms, strokes.fold(self.ends_ms(), f64::max))
    }
}

/// What changes in a step.
#[derive(Debug, Default)]
pub(super) struct Patches {
    /// The levels on the glass.
    pub(super) glass: Vec<Patch>,
    /// The levels in memory.
    pub(super) meant: Vec<Patch>,
    pub(super) residue: Vec<Patch>,
}

/// The boxes of each layer that no picture shows yet.
#[derive(Clone, Debug, Default)]
struct Unpictured {
    glass: Vec<Rect>,
    meant: Vec<Rect>,
    residue: Vec<Rect>,
}

/// A picture from a step on, and where its top left corner lies.
#[derive(Clone, Copy, Debug)]
pub(super) struct Patch {
    pub(super) x: u32,
    pub(super) y: u32,
    /// Its number in the list of pictures.
    pub(super) picture: usize,
}

/// The colour in which a level with a residue is seen.
#[derive(Debug)]
pub(super) struct Tone {
    /// The colour of the level alone.
    pub(super) level: [u8; 3],
    /// The residue as it stands in the pictures.
    pub(super) residue: u8,
    pub(super) seen: [u8; 3],
}

/// An update.
#[derive(Debug)]
pub(super) struct RecordedUpdate {
    pub(super) mode: String,
    pub(super) sent: Vec<Rect>,
    pub(super) request_ms: f64,
    pub(super) send_ms: f64,
    pub(super) arrived_ms: f64,
    pub(super) start_ms: f64,
    pub(super) finish_ms: f64,
    pub(super) wait_ms: f64,
    pub(super) waits_for: &'static str,
    pub(super) flashes: u32,
    pub(super) cleans: bool,
    pub(super) energy_mj: f64,
}

impl RecordedUpdate {
    /// Whether it waits so long that it is worth telling.
    pub(super) fn waits(&self) -> bool {
        self.wait_ms > 0.05
    }
}

/// A line that the controller draws under the pen.
#[derive(Debug)]
pub(super) struct RecordedStroke {
    pub(super) width_px: f64,
    pub(super) is_white: bool,
    /// Column, row, and when the controller begins to draw up to there, ms.
    pub(super) points: Vec<[f64; 3]>,
}

/// A step of the plan's text, with the screen after its first round.
#[derive(Debug)]
pub(super) struct Card {
    pub(super) pointer: String,
    pub(super) label: Option<String>,
    pub(super) cause: Cause,
    pub(super) first: u64,
    pub(super) last: u64,
    pub(super) times: u64,
    pub(super) request_ms: f64,
    pub(super) updates: String,
    pub(super) flashes: bool,
    pub(super) answer_ms: Option<f64>,
    pub(super) worst_l: f64,
}

/// Records a recording while a plan is played.
#[derive(Debug)]
pub struct Recorder<'p> {
    plan: &'p Plan,
    colours: Colours<'p>,
    recording: Recording,
    /// The colours of the levels without residue.
    level_colours: Vec<[u8; 3]>,
    /// What the page shows at present: the levels on the glass, the glass and the memory, one or three bytes a pixel, and
    /// the residue.
    levels: Vec<Level>,
    /// Of each tile that was looked at whole and has the same residue everywhere: its levels, and the bits of the residue.
    even_tiles: Vec<Option<([Level; 64], u64)>>,
    glass: Vec<u8>,
    meant: Vec<u8>,
    residue: Vec<u8>,
    /// Which residues each level was seen with, 256 each.
    met: Vec<bool>,
    /// The modes that were used, and how warm it was then first, degrees C.
    used: BTreeMap<usize, f64>,
    /// The number of each picture, by what it shows.
    picture_of: HashMap<Key, usize>,
    cache: Option<&'p PatchCache>,
    bytes_left: usize,
    /// Steps to come whose pictures have room before those of others, and how many bytes are kept for each.
    sought: BTreeSet<u64>,
    kept_for_each: usize,
    has_missed: bool,
    /// Whether what room is left is kept for the sought steps: until the next of them no other gets a picture.
    is_full: bool,
    /// What changed since the last step that has a picture.
    unpictured: Unpictured,
    /// The number of the card of each step of the plan's text.
    card_of: HashMap<String, usize>,
}

impl<'p> Recorder<'p> {
    /// A recorder that keeps pictures of at most so many bytes, packed before or now.
    pub fn new(plan: &'p Plan, bytes: usize, cache: Option<&'p PatchCache>) -> Self {
        let size = plan.screen_size();
        let recording = Recording {
            size,
            width_mm: length_mm(f64::from(size.width), plan.display.pixels_per_inch),
            limit_l: crate::review::ghost_limits(plan).limit_l,
            pictures: Vec::new(),
            tones: Vec::new(),
            levels: Vec::new(),
            modes: Vec::new(),
            frames: Vec::new(),
            step_bytes: 0,
            cards: Vec::new(),
            more_cards: false,
            steps: 0,
            energy_mj: 0.0,
        };
        let mut colours = Colours::against_own_white(&plan.display.ink);
        Self {
            plan,
            level_colours: plan.display.ink.all().iter().map(|level| colours.of(level, 0.0)).collect(),
            colours,
            recording,
            levels: Vec::new(),
            even_tiles: Vec::new(),
            glass: Vec::new(),
            meant: Vec::new(),
            residue: Vec::new(),
            met: vec![false; plan.display.ink.levels() * 256],
            used: BTreeMap::new(),
            picture_of: HashMap::new(),
            cache,
            bytes_left: bytes,
            sought: BTreeSet::new(),
            kept_for_each: 0,
            has_missed: false,
            is_full: false,
            unpictured: Unpictured::default(),
            card_of: HashMap::new(),
        }
    }

    /// A recorder that has pictures of these steps before others, where a first recording had no room for all. The steps that
    /// matter most come first; as many of them are sought as have room if each takes so many bytes. Nothing where nothing is
    /// won.
    pub fn again(
        plan: &'p Plan,
        bytes: usize,
        cache: Option<&'p PatchCache>,
        first: &Recording,
        (steps, each): (&[u64], usize),
    ) -> Option<Self> {
        let sought = first.lacking(steps, (bytes / each.max(1)).max(1));
        (!sought.is_empty()).then(|| Self { sought, kept_for_each: each, ..Self::new(plan, bytes, cache) })
    }

    /// Whether a step that was sought got no picture: those before it took more than was thought.
    pub fn has_missed(&self) -> bool {
        self.has_missed || !self.sought.is_empty()
    }

    /// Whether no step to come can have a picture.
    pub fn is_over(&self) -> bool {
        self.bytes_left == 0 || self.recording.frames.len() >= MOST_FRAMES
    }

    /// Takes the next step.
    ///
    /// # Errors
    /// A reason in words, where a picture cannot be encoded.
    pub fn step(&mut self, step: &PlayedStep<'_>) -> Result<(), String> {
        if self.glass.is_empty() {
            self.begin(step)?;
        }
        self.recording.steps += 1;
        for update in &step.updates {
            self.recording.energy_mj += update.energy_mj;
        }
        for update in step.updates.iter().filter(|update| !update.sent.is_empty()) {
            self.used.entry(update.mode).or_insert(step.planned.temperature_c);
        }
        if self.recording.frames.len() < MOST_FRAMES {
            let patches = self.pictured(step)?;
            self.recording.frames.push(frame(self.plan, step, patches));
        }
        self.card(step);
        Ok(())
    }

    /// What the picture of a step needs, if there is room for it.
    fn pictured(&mut self, step: &PlayedStep<'_>) -> Result<Option<Patches>, String> {
        let is_sought = self.sought.remove(&step.planned.index);
        let before = self.bytes_left;
        let patches = match (before > 0, is_sought || self.sought.is_empty()) {
            (true, true) => Some(self.patches(step)?),
            (true, false) => self.patches_that_leave_room(step)?,
            (false, _) => None,
        };
        self.has_missed |= is_sought && patches.is_none();
        if patches.is_some() {
            self.recording.step_bytes += before - self.bytes_left;
        }
        // Those that come after a sought step may be small again.
        self.is_full &= !is_sought;
        Ok(patches)
    }

    /// The same for a step that nobody seeks, if those that are sought have their room behind it.
    fn patches_that_leave_room(&mut self, step: &PlayedStep<'_>) -> Result<Option<Patches>, String> {
        self.pass(step);
        if self.is_full {
            return Ok(None);
        }
        let (number, bytes_left, unpictured) =
            (self.recording.pictures.len(), self.bytes_left, self.unpictured.clone());
        let mut patches = Patches::default();
        self.catch_up(&mut patches)?;
        if self.bytes_left >= self.sought.len() * self.kept_for_each {
            return Ok(Some(patches));
        }
        self.recording.pictures.truncate(number);
        self.picture_of.retain(|_, picture| *picture < number);
        (self.bytes_left, self.unpictured, self.is_full) = (bytes_left, unpictured, true);
        Ok(None)
    }

    /// Remembers what changes in a step that has no picture.
    fn pass(&mut self, step: &PlayedStep<'_>) {
        for rect in touched(step) {
            let (glass, residue) = self.repaint(step, rect);
            add(&mut self.unpictured.glass, glass);
            add(&mut self.unpictured.residue, residue);
        }
        for rect in self.recall(step) {
            add(&mut self.unpictured.meant, Some(rect));
        }
    }

    /// The recording.
    pub fn finish(mut self) -> Recording {
        let met: Vec<usize> = (0..self.met.len()).filter(|at| self.met[*at]).collect();
        let tone = |at: usize| {
            let (level, residue) = ((at / 256) as Level, (at % 256) as u8);
            let residue_l = (f64::from(residue) - f64::from(NO_RESIDUE)) / RESIDUE_STEPS;
            Tone { level: self.colours.of(level, 0.0), residue, seen: self.colours.of(level, residue_l) }
        };
        self.recording.tones = met.into_iter().map(tone).collect();
        let display = &self.plan.display;
        let named = display.ink.all().iter().map(|level| (self.colours.of(level, 0.0), display.ink.name(level)));
        self.recording.levels = named.collect();
        let words =
            |(mode, celsius): (&usize, &f64)| (display.modes[*mode].name.clone(), mode_words(display, *mode, *celsius));
        self.recording.modes = self.used.iter().map(words).collect();
        self.recording
    }

    fn begin(&mut self, step: &PlayedStep<'_>) -> Result<(), String> {
        let (ink, size) = (&self.plan.display.ink, self.recording.size);
        let table = ink.level_table();
        let white = self.plan.begins == Begins::Unknown;
        let samples = self.samples();
        let level = |shade: &u8| if white { ink.white() } else { table[usize::from(*shade)] };
        self.levels = step.previous.shades().iter().map(level).collect();
        self.glass = vec![0; self.levels.len() * samples];
        for (at, level) in self.levels.iter().enumerate() {
            paint(&mut self.glass, at, samples, self.level_colours[usize::from(*level)]);
        }
        self.even_tiles = vec![None; step.grid().tiles()];
        self.meant = self.glass.clone();
        self.residue = vec![NO_RESIDUE; size.pixels() as usize];
        self.picture(Layer::Glass, size.whole())?;
        Ok(())
    }

    /// Bytes a pixel of the glass and of the memory.
    fn samples(&self) -> usize {
        if self.plan.display.ink.colours().is_some() { 3 } else { 1 }
    }

    /// What is another now than a step before.
    fn patches(&mut self, step: &PlayedStep<'_>) -> Result<Patches, String> {
        let mut patches = Patches::default();
        for rect in touched(step) {
            let (glass, residue) = self.repaint(step, rect);
            if let Some(rect) = glass {
                let patch = self.picture(Layer::Glass, rect)?;
                patches.glass.push(patch);
                if self.follows(step, rect) {
                    patches.meant.push(patch);
                }
            }
            if let Some(rect) = residue {
                patches.residue.push(self.picture(Layer::Residue, rect)?);
            }
        }
        for rect in self.recall(step) {
            patches.meant.push(self.picture(Layer::Meant, rect)?);
        }
        self.catch_up(&mut patches)?;
        Ok(patches)
    }

    /// Adds what changed at steps without pictures.
    fn catch_up(&mut self, patches: &mut Patches) -> Result<(), String> {
        let Unpictured { glass, meant, residue } = std::mem::take(&mut self.unpictured);
        for (layer, rects, patches) in [
            (Layer::Glass, glass, &mut patches.glass),
            (Layer::Meant, meant, &mut patches.meant),
            (Layer::Residue, residue, &mut patches.residue),
        ] {
            for rect in rects {
                patches.push(self.picture(layer, rect)?);
            }
        }
        Ok(())
    }

    /// Brings the pixels of a box to what the glass shows; gives the boxes around what changed.
    fn repaint(&mut self, step: &PlayedStep<'_>, rect: Rect) -> (Option<Rect>, Option<Rect>) {
        let mut boxes = [Bounds::default(), Bounds::default()];
        let grid = step.grid();
        // A tile has 8 x 8 px.
        for row in rect.y / 8..=(rect.bottom() - 1) / 8 {
            for column in rect.x / 8..=(rect.right() - 1) / 8 {
                let (tile, _) = grid.locate(8 * column, 8 * row);
                self.repaint_tile(step, tile, grid.cover(tile, rect), &mut boxes);
            }
        }
        let [glass_box, residue_box] = boxes;
        (glass_box.rect(), residue_box.rect())
    }

    fn repaint_tile(&mut self, step: &PlayedStep<'_>, tile: u32, covered: u64, boxes: &mut [Bounds; 2]) {
        let levels = step.glass.levels(tile);
        // Most of a page is blank and stays as it is, however often all of it is driven.
        let even = step.glass.even_residue(tile).filter(|_| covered == step.grid().whole(tile));
        let now = even.map(|residue| (*levels, residue.lightness().to_bits()));
        let seen = &mut self.even_tiles[tile as usize];
        if now.is_some() && *seen == now {
            return;
        }
        *seen = now;
        let shown = step.glass.shown_residues(tile);
        let ((left, top), samples) = (step.grid().origin(tile), self.samples());
        for bit in bits(covered) {
            let (x, y) = (left + bit % 8, top + bit / 8);
            let at = (y * self.recording.size.width + x) as usize;
            let (level, residue_l) = (levels[bit as usize], shown[bit as usize]);
            if self.levels[at] != level {
                self.levels[at] = level;
                paint(&mut self.glass, at, samples, self.level_colours[usize::from(level)]);
                boxes[0].take(x, y);
            }
            let value = if residue_l == 0.0 { NO_RESIDUE } else { residue_byte(residue_l) };
            if value != NO_RESIDUE {
                self.met[usize::from(level) * 256 + usize::from(value)] = true;
            }
            if self.residue[at] != value {
                self.residue[at] = value;
                boxes[1].take(x, y);
            }
        }
    }

    /// Whether the memory is in a box what the glass is; if so, it is brought there.
    fn follows(&mut self, step: &PlayedStep<'_>, rect: Rect) -> bool {
        if !step.glass.unlike_memory().inside(&[rect], step.grid()).is_empty() {
            return false;
        }
        for y in rect.y..rect.bottom() {
            let bytes = self.bytes_of(rect, y);
            self.meant[bytes.clone()].copy_from_slice(&self.glass[bytes]);
        }
        true
    }

    /// Brings the memory to what it is; gives boxes around what changed, one for each group of rows.
    fn recall(&mut self, step: &PlayedStep<'_>) -> Vec<Rect> {
        let table = self.plan.display.ink.level_table();
        let (size, samples, is_first) = (self.recording.size, self.samples(), self.recording.frames.is_empty());
        let mut boxes: Vec<Rect> = Vec::new();
        let touched: BTreeSet<u32> =
            step.introduced.tiles().iter().map(|(tile, _)| step.grid().origin(*tile).1 / 8).collect();
        for y in (0..size.height).filter(|y| is_first || touched.contains(&(y / 8))) {
            let shades = step.memory.row(y);
            let mut changed = Bounds::default();
            for (x, shade) in (0..).zip(shades) {
                let colour = self.level_colours[usize::from(table[usize::from(*shade)])];
                if paint(&mut self.meant, (y * size.width + x) as usize, samples, colour) {
                    changed.take(x, y);
                }
            }
            let Some(row) = changed.rect() else { continue };
            match boxes.last_mut() {
                Some(last) if y < last.bottom() + NEAR_ROWS => *last = last.around(row),
                _ => boxes.push(row),
            }
        }
        boxes
    }

    /// Where a row of a box lies in the glass and in the memory.
    fn bytes_of(&self, rect: Rect, y: u32) -> Range<usize> {
        let at = (y * self.recording.size.width + rect.x) as usize;
        at * self.samples()..(at + rect.width as usize) * self.samples()
    }

    /// A box of a layer as a patch. Steps that come again bring the same pictures: each is kept once.
    fn picture(&mut self, layer: Layer, rect: Rect) -> Result<Patch, String> {
        let (pixels, samples) = match layer {
            Layer::Glass => (&self.glass, self.samples()),
            Layer::Meant => (&self.meant, self.samples()),
            Layer::Residue => (&self.residue, 1),
        };
        let cut = cut(pixels, self.recording.size, rect, samples);
        let size = Size { width: rect.width, height: rect.height };
        let key = key(&cut, size, samples);
        if let Some(picture) = self.picture_of.get(&key) {
            return Ok(Patch { x: rect.x, y: rect.y, picture: *picture });
        }
        let pack = || encode(&cut, size, samples);
        let png = self.cache.map_or_else(pack, |cache| cache.packed(key, pack))?;
        self.bytes_left = self.bytes_left.saturating_sub(png.len());
        let picture = self.recording.pictures.len();
        self.recording.pictures.push(png);
        self.picture_of.insert(key, picture);
        Ok(Patch { x: rect.x, y: rect.y, picture })
    }

    fn card(&mut self, step: &PlayedStep<'_>) {
        let planned = step.planned;
        if let Some(number) = self.card_of.get(&planned.step.pointer) {
            let card = &mut self.recording.cards[*number];
            (card.last, card.times) = (planned.index, card.times + 1);
            card.worst_l = card.worst_l.max(step.worst_residue_l());
            return;
        }
        if self.recording.cards.len() == MOST_CARDS {
            self.recording.more_cards = true;
            return;
        }
        self.card_of.insert(planned.step.pointer.clone(), self.recording.cards.len());
        self.recording.cards.push(Card {
            pointer: planned.step.pointer.clone(),
            label: planned.step.label.clone(),
            cause: planned.step.cause,
            first: planned.index,
            last: planned.index,
            times: 1,
            request_ms: planned.request_ms,
            updates: updates_in_words(self.plan, step),
            flashes: step.updates.iter().any(|update| flashes_of(self.plan, update) > 0),
            answer_ms: answer_ms(step),
            worst_l: step.worst_residue_l(),
        });
    }
}

/// The boxes in which the glass may change: those that were driven, and a pixel around them, since driven pixels leave something
/// on their neighbours.
fn touched(step: &PlayedStep<'_>) -> Vec<Rect> {
    let sent = step.updates.iter().flat_map(|update| update.sent.iter().copied());
    let driven = sent.chain(step.strokes.iter().filter_map(|stroke| stroke.pixels.bounds(step.grid())));
    driven.map(|rect| rect.with_edge(step.memory.size())).collect()
}

/// Adds a box to others; boxes that overlap become one, and too many of them, too.
fn add(rects: &mut Vec<Rect>, rect: Option<Rect>) {
    let Some(mut rect) = rect else { return };
    while let Some(at) = rects.iter().position(|other| other.overlaps(rect)) {
        rect = rect.around(rects.swap_remove(at));
    }
    rects.push(rect);
    if rects.len() > MOST_UNPICTURED {
        let all = rects.drain(..).reduce(Rect::around);
        rects.extend(all);
    }
}

fn frame(plan: &Plan, step: &PlayedStep<'_>, patches: Option<Patches>) -> Frame {
    let planned = step.planned;
    let (outlines, ghosts): (Vec<&Ghost>, Vec<&Ghost>) = step.ghosts.iter().partition(|ghost| ghost.is_outline());
    let boxes = |ghosts: Vec<&Ghost>| ghosts.into_iter().map(|ghost| ghost.rect).collect();
    Frame {
        index: planned.index,
        label: planned.step.label.clone(),
        cause: planned.step.cause,
        request_ms: planned.request_ms,
        patches,
        updates: step.updates.iter().map(|update| recorded_update(plan, update)).collect(),
        strokes: recorded_strokes(plan, step),
        ghosts: boxes(ghosts),
        outlines: boxes(outlines),
        worst_l: step.worst_residue_l(),
        strongest: step
            .ghosts
            .iter()
            .rev()
            .max_by(|one, other| one.worst_l.total_cmp(&other.worst_l))
            .map(|ghost| ghost.rect),
        residue_l: step.residue_l,
        left_behind_px: step.left_behind.count(),
        answer_ms: answer_ms(step),
    }
}

fn recorded_update(plan: &Plan, update: &PlayedUpdate) -> RecordedUpdate {
    let mode = &plan.display.modes[update.mode];
    let times = update.times;
    RecordedUpdate {
        mode: mode.name.clone(),
        sent: update.sent.clone(),
        request_ms: times.request_ms,
        send_ms: times.send_ms,
        arrived_ms: times.send_ms + times.transfer_ms,
        start_ms: times.start_ms,
        finish_ms: times.finish_ms,
        wait_ms: times.wait_ms,
        waits_for: match times.waits_for {
            WaitsFor::Nothing => "",
            WaitsFor::Link => "the link",
            WaitsFor::Place => "a free place in the controller",
            WaitsFor::Overlap => "an update that overlaps it",
        },
        flashes: flashes_of(plan, update),
        cleans: mode.cleans,
        energy_mj: update.energy_mj,
    }
}

fn flashes_of(plan: &Plan, update: &PlayedUpdate) -> u32 {
    if update.sent.is_empty() { 0 } else { plan.display.modes[update.mode].flashes }
}

fn recorded_strokes(plan: &Plan, step: &PlayedStep<'_>) -> Vec<RecordedStroke> {
    let delay_ms = plan.display.controller_ink_delay_ms.unwrap_or(0.0);
    let begins_ms = step.planned.request_ms + delay_ms;
    let strokes = step.planned.step.strokes.iter();
    let recorded = strokes.map(|stroke| RecordedStroke {
        width_px: stroke.width_px,
        is_white: stroke.white,
        points: stroke.points.iter().map(|point| [point.x, point.y, begins_ms + point.ms]).collect(),
    });
    recorded.collect()
}

/// From the request of the updates to the first visible change; nothing where nothing changes.
fn answer_ms(step: &PlayedStep<'_>) -> Option<f64> {
    step.first_visible_ms().map(|first| first - step.updates_request_ms())
}

fn updates_in_words(plan: &Plan, step: &PlayedStep<'_>) -> String {
    let mut words: Vec<String> = Vec::new();
    for update in step.updates.iter().filter(|update| !update.sent.is_empty()) {
        let name = &plan.display.modes[update.mode].name;
        let share = 100.0 * update.sent_px as f64 / plan.screen_size().pixels() as f64;
        let place = if share >= 99.95 {
            "the whole panel".to_owned()
        } else {
            format!("{} % of it", if share < 1.0 { "under 1".to_owned() } else { format!("{share:.0}") })
        };
        words.push(format!("{name} on {place}"));
    }
    match words.len() {
        0 => "nothing is sent".into(),
        1..=3 => words.join("; "),
        count => format!("{count} updates, first {}", words[0]),
    }
}

fn residue_byte(residue_l: f64) -> u8 {
    (f64::from(NO_RESIDUE) + residue_l * RESIDUE_STEPS).round().clamp(0.0, 255.0) as u8
}

/// Gives a pixel a colour; returns whether it had another one.
fn paint(pixels: &mut [u8], at: usize, samples: usize, colour: [u8; 3]) -> bool {
    if samples == 1 {
        return std::mem::replace(&mut pixels[at], colour[0]) != colour[0];
    }
    let pixel = &mut pixels[at * samples..][..samples];
    let is_other = pixel != &colour[..samples];
    pixel.copy_from_slice(&colour[..samples]);
    is_other
}

/// Which of the three pictures of a step.
#[derive(Clone, Copy, Debug)]
enum Layer {
    Glass,
    Meant,
    Residue,
}

/// The box around pixels that are met row by row.
#[derive(Default)]
struct Bounds(Option<(u32, u32, u32, u32)>);

impl Bounds {
    fn take(&mut self, x: u32, y: u32) {
        let (left, top, right, bottom) = self.0.unwrap_or((x, y, x, y));
        self.0 = Some((left.min(x), top.min(y), right.max(x), bottom.max(y)));
    }

    fn rect(&self) -> Option<Rect> {
        let (left, top, right, bottom) = self.0?;
        Some(Rect { x: left, y: top, width: right - left + 1, height: bottom - top + 1 })
    }
}

/// The pixels of a box.
fn cut(pixels: &[u8], size: Size, rect: Rect, samples: usize) -> Vec<u8> {
    let rows = (rect.y..rect.bottom()).flat_map(|y| {
        let at = (y * size.width + rect.x) as usize * samples;
        &pixels[at..at + rect.width as usize * samples]
    });
    rows.copied().collect()
}

fn encode(pixels: &[u8], size: Size, samples: usize) -> Result<Vec<u8>, String> {
    png_of_samples(pixels, size, if samples == 3 { ColorType::Rgb } else { ColorType::Grayscale })
}
