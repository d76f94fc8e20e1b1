//! What a panel and its controller can do: the display description, checked, and the ones that come with the program.
//!
//! [`Display`]'s fields hold only values that were checked. Knows no plans and no pictures; reads text, not files.

pub mod ink;
mod description;
mod residue;
mod segments;
pub mod shipped;

use crate::geometry::{Size, Window};
pub use description::{Beside, read_display};
pub use ink::{Ink, Level, LevelSet};
pub use residue::{BesideResidue, LevelPair, ResidueFigures, ResidueTable};
pub use segments::{SegmentState, Segments};

/// What a panel and its controller can do.
///
/// Already true of it: the name of every mode is unique, reflectances rise, a mode that cleans drives every pixel,
/// tables by temperature rise and are not empty, no pair of levels stands twice, where `flash_at` is given it has a place
/// for each flash and they rise, all figures are finite and in range.
#[derive(Clone, Debug, PartialEq)]
pub struct Display {
    /// The name by which plans know it.
    pub name: String,
    /// Its title.
    pub title: String,
    /// The kind of panel.
    pub family: Family,
    /// Columns and rows in the panel's own axes.
    pub size: Size,
    /// Pixels in 25.4 mm.
    pub pixels_per_inch: f64,
    /// What its pixels can show.
    pub ink: Ink,
    /// How windows may lie; `None` if the controller knows none.
    pub windows: Option<WindowGrid>,
    /// The transfer from the host.
    pub link: Link,
    /// How many windows can be driven at the same time.
    pub parallel_updates: usize,
    /// Lowest and highest temperature for updates, degrees C.
    pub temperature_c: Option<[f64; 2]>,
    /// Milliseconds from the pen to the line that the controller draws itself.
    pub controller_ink_delay_ms: Option<f64>,
    /// What must not be exceeded.
    pub limits: Limits,
    /// How long the controller remembers what it shows.
    pub memory: Memory,
    /// What happens to an update that comes while the controller is busy.
    pub when_busy: WhenBusy,
    /// The factors by which the figures may be off.
    pub certainty: Certainty,
    /// The reading distance, mm.
    pub viewing_distance_mm: Option<f64>,
    /// Power between updates, mW.
    pub standby_mw: Option<f64>,
    /// The ways to update it.
    pub modes: Vec<Mode>,
    /// Where each figure comes from.
    pub sources: Vec<String>,
}

/// Kinds of panels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Family {
    /// Black and white, controller on the panel.
    TwoLevelBuiltIn,
    /// Greys, controller on the panel.
    GreyBuiltIn,
    /// Colours.
    Colour,
    /// Direct-driven segments.
    Segmented,
    /// A separate controller.
    SeparateController,
}

impl Family {
    /// The words that stand in files.
    pub const WORDS: [(&'static str, Self); 5] = [
        ("two-level-built-in", Self::TwoLevelBuiltIn),
        ("grey-built-in", Self::GreyBuiltIn),
        ("colour", Self::Colour),
        ("segmented", Self::Segmented),
        ("separate-controller", Self::SeparateController),
    ];

    /// The word that stands in files.
    pub fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(_, family)| *family == self).map_or("", |(word, _)| word)
    }
}

/// How long the controller remembers what it shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Memory {
    /// Always.
    #[default]
    Kept,
    /// Until the panel is switched off.
    LostWhenOff,
    /// Until it is sent to sleep, or switched off.
    LostWhenAsleep,
}

impl Memory {
    /// The words that stand in files.
    pub const WORDS: [(&'static str, Self); 3] =
        [("kept", Self::Kept), ("lost_when_off", Self::LostWhenOff), ("lost_when_asleep", Self::LostWhenAsleep)];
}

/// What happens to an update that comes while the controller is busy.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum WhenBusy {
    /// It waits for its turn.
    #[default]
    Waits,
    /// The controller ignores it.
    Drops,
}

impl WhenBusy {
    /// The words that stand in files.
    pub const WORDS: [(&'static str, Self); 2] = [("waits", Self::Waits), ("drops", Self::Drops)];
}

/// The factors by which figures may be off in either direction, 1 or more; `None` if it is not given.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Certainty {
    /// For the residue of drives, also in neighbouring pixels.
    pub residue: Option<f64>,
    /// For the durations of updates.
    pub durations: Option<f64>,
    /// For the time to the first visible change.
    pub first_visible: Option<f64>,
    /// For how often, and when, a mode flashes.
    pub flashes: Option<f64>,
    /// For energy.
    pub energy: Option<f64>,
}

impl Certainty {
    /// The larger factor for each figure; none where either is not given, because then anything is possible.
    #[must_use]
    pub fn worse(self, other: Self) -> Self {
        let worse = |one: Option<f64>, other: Option<f64>| Some(one?.max(other?));
        Self {
            residue: worse(self.residue, other.residue),
            durations: worse(self.durations, other.durations),
            first_visible: worse(self.first_visible, other.first_visible),
            flashes: worse(self.flashes, other.flashes),
            energy: worse(self.energy, other.energy),
        }
    }
}

/// How windows may lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WindowGrid {
    /// Windows begin and end on multiples of this, px.
    pub step: [u32; 2],
    /// The smallest window, px.
    pub smallest: [u32; 2],
    /// The most windows in one step, where there is a limit.
    pub most_in_a_step: Option<usize>,
}

impl WindowGrid {
    /// The window widened outward to the grid, in the panel's axes; not yet cut at the edge.
    pub fn widen(&self, window: Window) -> Window {
        let [step_x, step_y] = self.step.map(i64::from);
        let (x, y) = (window.x.div_euclid(step_x) * step_x, window.y.div_euclid(step_y) * step_y);
        let right = ceil_to(window.x + window.width, step_x);
        let bottom = ceil_to(window.y + window.height, step_y);
        Window { x, y, width: right - x, height: bottom - y }
    }
}

fn ceil_to(value: i64, step: i64) -> i64 {
    -((-value).div_euclid(step)) * step
}

/// The host's transfer of pixels to the controller.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Link {
    /// Rate, megabits a second.
    pub megabits_per_s: f64,
    /// Bits for each pixel sent.
    pub bits_per_px: f64,
    /// Time before the first pixel, ms.
    pub overhead_ms: f64,
    /// Whether nothing can be sent while the panel is driven.
    pub waits_for_panel: bool,
}

impl Link {
    /// How long a transfer of that many pixels takes, ms.
    pub fn transfer_ms(&self, pixels: u64) -> f64 {
        self.overhead_ms + pixels as f64 * self.bits_per_px / (self.megabits_per_s * 1000.0)
    }
}

/// Limits that must not be exceeded; a limit that is left out is not checked.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Limits {
    /// Updates between two cleanings.
    pub updates_before_cleaning: Option<u32>,
    /// Whether every update that touches a pixel counts, not only those that drive it.
    pub counts_every_update: bool,
    /// Hours between two cleanings of the whole panel.
    pub hours_between_cleanings: Option<f64>,
    /// Milliseconds between two updates.
    pub ms_between_updates: Option<f64>,
    /// Net impulse of a pixel, volt-seconds.
    pub net_impulse_vs: Option<f64>,
    /// The first visible change after a touch, ms, for panels that are slow by nature.
    pub first_ms: Option<f64>,
    /// The last finish after a touch, ms, for panels that are slow by nature.
    pub whole_ms: Option<f64>,
}

/// One way to update the panel.
#[derive(Clone, Debug, PartialEq)]
pub struct Mode {
    /// Its name.
    pub name: String,
    /// What it is good for.
    pub about: String,
    /// Levels that it can start from.
    pub from: LevelSet,
    /// Levels that it can end at.
    pub to: LevelSet,
    /// Whether it drives just the pixels that differ.
    pub changed_only: bool,
    /// Whether it can refresh a window smaller than the panel.
    pub windowed: bool,
    /// How many times a viewer sees the window swing dark and back.
    pub flashes: u32,
    /// When they are seen, as shares of the duration; if empty, they are spread evenly. See [`Mode::flash_shares`].
    pub flash_at: Vec<f64>,
    /// Duration from each temperature up (degrees C, ms), rising.
    pub duration_ms: Vec<(f64, f64)>,
    /// Whether the duration was given as a table by temperature.
    pub duration_is_table: bool,
    /// From the start to the first visible change, ms; a quarter of the duration if it is not given.
    pub first_visible_ms: Option<f64>,
    /// Whether a pixel whose level is out of reach is left as it is, instead of being driven to the nearest level.
    pub skips_out_of_reach: bool,
    /// Whether pixels count as clean after it.
    pub cleans: bool,
    /// The residue that it leaves in a pixel, by temperature.
    pub residue: ResidueTable,
    /// Whether the description gave residue figures.
    pub residue_given: bool,
    /// The factor by which its residue may be off, where that differs from the display's.
    pub residue_certainty: Option<f64>,
    /// The residue that it leaves in the pixels next to those that it drives.
    pub beside: Option<BesideResidue>,
    /// Net impulse in volt-seconds, where known.
    pub impulse: Option<Impulse>,
    /// The user's own other names of the mode.
    pub also_called: Vec<String>,
    /// The time of a full swing if the drive may be shorter (direct drive), ms.
    pub full_swing_ms: Option<f64>,
    /// Energy, where known.
    pub energy: Option<Energy>,
}

/// Net impulse of a drive, volt-seconds.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Impulse {
    /// Of a whole swing to white.
    pub lighter: f64,
    /// Of a whole swing to black.
    pub darker: f64,
    /// Of a pixel that is driven without changing.
    pub same: f64,
}

/// Energy of an update.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Energy {
    /// For every update, mJ.
    pub start_mj: f64,
    /// For each square centimetre sent, mJ.
    pub per_cm2_mj: f64,
}

impl Energy {
    /// That of an update that drives an area for so much of the mode's own time, mJ.
    pub fn of(&self, stretch: f64, mm2: f64) -> f64 {
        self.start_mj + self.per_cm2_mj * stretch * mm2 / 100.0
    }
}

impl Mode {
    /// The duration at a temperature, ms: that of the entry that applies there; below the first entry, that of the first.
    pub fn duration_at(&self, temperature_c: f64) -> f64 {
        let entry = self.duration_ms.iter().rev().find(|(from, _)| *from <= temperature_c);
        entry.or(self.duration_ms.first()).map_or(0.0, |(_, duration)| *duration)
    }

    /// The residue figures at a temperature.
    pub fn residue_at(&self, temperature_c: f64) -> &ResidueFigures {
        self.residue.at(temperature_c)
    }

    /// When its flashes are seen, as shares of the duration, in order: as the description says, otherwise evenly.
    pub fn flash_shares(&self) -> impl Iterator<Item = f64> + '_ {
        let evenly = |flash: u32| (f64::from(flash) + 0.5) / f64::from(self.flashes);
        (0..self.flashes).map(move |flash| self.flash_at.get(flash as usize).copied().unwrap_or_else(|| evenly(flash)))
    }

    /// From the start to the first visible change at a temperature, ms.
    pub fn first_visible_at(&self, temperature_c: f64) -> f64 {
        self.first_visible_ms.unwrap_or_else(|| self.duration_at(temperature_c) / 4.0)
    }

    /// The temperature below which the mode has no duration, where the table ends above `temperature_c`.
    pub fn too_cold_at(&self, temperature_c: f64) -> Option<f64> {
        let lowest = self.duration_ms.first()?.0;
        (self.duration_is_table && temperature_c < lowest).then_some(lowest)
    }
}

impl Display {
    /// The index of the mode of that name (or that other name).
    pub fn mode_named(&self, name: &str) -> Option<usize> {
        let exact = self.modes.iter().position(|mode| mode.name == name);
        exact.or_else(|| self.modes.iter().position(|mode| mode.also_called.iter().any(|other| other == name)))
    }

    /// Whether it is a single segment, which says yes or no.
    pub fn is_indicator(&self) -> bool {
        matches!(self.ink.kind(), ink::InkKind::Segments(segments) if segments.names().len() == 1)
    }

    /// The factor by which the residue of a mode may be off; `None` if it is not given.
    pub fn residue_certainty(&self, mode: &Mode) -> Option<f64> {
        mode.residue_certainty.or(self.certainty.residue)
    }

    /// The same of the least certain mode; `None` if it is not given for some mode.
    pub fn least_residue_certainty(&self) -> Option<f64> {
        let factors = self.modes.iter().map(|mode| self.residue_certainty(mode));
        factors.reduce(|one, other| Some(one?.max(other?))).flatten()
    }

    /// The other names of its modes, in their order.
    pub fn other_mode_names(&self) -> impl Iterator<Item = &str> + Clone {
        self.modes.iter().flat_map(|mode| mode.also_called.iter().map(String::as_str))
    }

    /// The names of all modes.
    pub fn mode_names(&self) -> impl Iterator<Item = &str> + Clone {
        self.modes.iter().map(|mode| mode.name.as_str())
    }

    /// The default reading distance, mm: common practice for something held in the hand, no source.
    pub fn reading_distance_mm(&self) -> f64 {
        self.viewing_distance_mm.unwrap_or(350.0)
    }

    /// The area of that many pixels, mm2.
    pub fn area_mm2(&self, pixels: u64) -> f64 {
        pixels as f64 * crate::units::pixel_area_mm2(self.pixels_per_inch)
    }
}

#[cfg(test)]
impl Mode {
    /// A mode that can do nothing, for tests to begin with.
    pub(crate) fn blank() -> Self {
        Self {
            name: String::new(),
            about: String::new(),
            from: LevelSet::default(),
            to: LevelSet::default(),
            changed_only: false,
            windowed: false,
            flashes: 0,
            flash_at: Vec::new(),
            duration_ms: Vec::new(),
            duration_is_table: false,
            first_visible_ms: None,
            skips_out_of_reach: false,
            cleans: false,
            residue: ResidueTable::default(),
            residue_given: false,
            residue_certainty: None,
            beside: None,
            impulse: None,
            also_called: Vec::new(),
            full_swing_ms: None,
            energy: None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn windows_widen_outward_to_the_grid() {
        let grid = WindowGrid { step: [8, 4], smallest: [8, 4], most_in_a_step: None };
        let widened = grid.widen(Window { x: 3, y: -1, width: 6, height: 2 });
        assert_eq!(widened, Window { x: 0, y: -4, width: 16, height: 8 });
        let aligned = Window { x: 8, y: 4, width: 8, height: 8 };
        assert_eq!(grid.widen(aligned), aligned);
    }

    /// Frames by temperature of a published two-level waveform: the entry holds from its temperature up to the next.
    #[test]
    fn durations_hold_from_their_temperature_to_the_next() {
        let mode = Mode {
            duration_ms: vec![(0.0, 900.0), (15.0, 520.0), (25.0, 450.0)],
            duration_is_table: true,
            ..Mode::blank()
        };
        let durations = [-5.0, 0.0, 14.9, 15.0, 24.99, 25.0, 60.0].map(|t| mode.duration_at(t) as u32);
        assert_eq!(durations, [900, 900, 900, 520, 520, 450, 450]);
        assert_eq!(mode.too_cold_at(-0.1), Some(0.0));
        assert_eq!(mode.too_cold_at(0.0), None);
    }

    #[test]
    fn flashes_stand_evenly_where_nobody_says_when() {
        let evenly = Mode { flashes: 4, ..Mode::blank() };
        assert_eq!(evenly.flash_shares().collect::<Vec<_>>(), [0.125, 0.375, 0.625, 0.875]);
        let early = Mode { flashes: 2, flash_at: vec![0.0, 0.1], ..Mode::blank() };
        assert_eq!(early.flash_shares().collect::<Vec<_>>(), [0.0, 0.1]);
        assert_eq!(Mode::blank().flash_shares().count(), 0);
    }

    #[test]
    fn a_transfer_takes_its_overhead_and_its_bits() {
        let link = Link { megabits_per_s: 8.0, bits_per_px: 4.0, overhead_ms: 1.5, waits_for_panel: false };
        assert!((link.transfer_ms(16_000) - 9.5).abs() < 1e-12);
    }
}
