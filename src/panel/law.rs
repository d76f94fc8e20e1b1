//! The law of residue (`docs/model.md`, driving a pixel): what a drive leaves in the pixels that it drives.
//!
//! This is the only place where residue is computed with: the state of the panel, the remedies of the rules and the fit all
//! ask here. Knows the figures of a mode and the lightness of levels; no pixels, no pictures, no time.

use std::ops::{Add, Mul};

use crate::display::{BesideResidue, Ink, Level, LevelSet, Mode};

/// Residue of a pixel, L*: how much lighter than its level it would look if the panel had no limits; negative is darker.
///
/// It can be read by anybody, and computed by the law alone:
///
/// ```compile_fail
/// use stillpage::panel::Residue;
/// let twice = Residue::NONE + Residue::NONE;
/// ```
///
/// ```compile_fail
/// use stillpage::panel::Residue;
/// let invented = Residue(1.5);
/// ```
///
/// ```
/// use stillpage::panel::Residue;
/// assert!(Residue::NONE.lightness().abs() < f64::EPSILON);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Residue(f64);

impl Residue {
    /// What a clean pixel has.
    pub const NONE: Self = Self(0.0);

    /// The figure, L*.
    pub const fn lightness(self) -> f64 {
        self.0
    }

    /// The bits of the figure: two residues with the same bits stay alike, whatever drives them.
    pub(super) const fn bits(self) -> u64 {
        self.0.to_bits()
    }
}

/// How light the levels of an ink look, L*, and the range that the panel can show at all.
#[derive(Clone, Debug)]
pub struct Tones {
    lightness: Vec<f64>,
    darkest: f64,
    lightest: f64,
}

impl Tones {
    /// The tones of an ink.
    pub fn new(ink: &Ink) -> Self {
        let (darkest, lightest) = ink.range_l();
        let lightness = (0..ink.levels() as Level).map(|level| ink.lightness(level)).collect();
        Self { lightness, darkest, lightest }
    }

    /// L* of a level.
    #[inline]
    pub fn of(&self, level: Level) -> f64 {
        self.lightness[usize::from(level)]
    }

    /// How much lighter than its level a pixel with that residue looks, L*, within the panel's own range.
    #[inline]
    pub fn shown(&self, level: Level, residue: Residue) -> f64 {
        self.cut(level, residue.0)
    }

    /// The same of any offset from a level, such as a median.
    #[inline]
    pub(crate) fn cut(&self, level: Level, offset_l: f64) -> f64 {
        self.near(level).cut(offset_l)
    }

    /// The tone of a level, to look at many pixels of it.
    #[inline]
    pub(crate) fn near(&self, level: Level) -> Tone {
        Tone { own: self.of(level), darkest: self.darkest, lightest: self.lightest }
    }

    /// From where to where what shows of a level can lie, L*.
    pub(super) fn shown_range(&self, level: Level) -> (f64, f64) {
        let own = self.of(level);
        (self.darkest - own, self.lightest - own)
    }
}

/// How light one level looks, L*, and the range that the panel can show at all.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Tone {
    own: f64,
    darkest: f64,
    lightest: f64,
}

impl Tone {
    /// How much lighter than the level a pixel with that residue looks, L*, within the panel's own range.
    #[inline]
    pub(super) fn shown(self, residue: Residue) -> f64 {
        self.cut(residue.0)
    }

    #[inline]
    fn cut(self, offset_l: f64) -> f64 {
        // Unlike `clamp` and `max`, which ask for what is no number, these two are one instruction for several pixels.
        let looks = self.own + offset_l;
        let looks = if looks > self.darkest { looks } else { self.darkest };
        (if looks < self.lightest { looks } else { self.lightest }) - self.own
    }
}

/// The law for one mode at one temperature, and for drives that go one share of the way.
#[derive(Clone, Debug)]
pub struct Law {
    tones: Tones,
    share: f64,
    keeps: f64,
    wrong_start: f64,
    /// By level before and level after: what a whole swing leaves behind, L*.
    leaves: Vec<f64>,
    /// By the same: how far it pushes a neighbour, L*; empty where the mode leaves nothing beside what it drives.
    pushes: Vec<f64>,
    beside: Option<BesideResidue>,
}

/// A swing from one level to another, ready to be applied to any residue.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Swing {
    share: f64,
    keeps: f64,
    leaves: f64,
    /// L* of the level before less L* of the level after.
    difference: f64,
    /// What a start from a level out of the mode's reach adds.
    adds: f64,
}

impl Law {
    /// The law for drives of a mode at a temperature (degrees C) that go `share` (0 to 1) of the way.
    pub fn new(mode: &Mode, ink: &Ink, temperature_c: f64, share: f64) -> Self {
        let tones = Tones::new(ink);
        let residue = mode.residue_at(temperature_c);
        let levels = 0..ink.levels() as Level;
        let pairs = || levels.clone().flat_map(|from| levels.clone().map(move |to| (from, to)));
        let leaves = pairs().map(|(from, to)| {
            let difference = tones.of(from) - tones.of(to);
            let by_share = || share_left([residue.lighter, residue.darker], difference) * difference;
            residue.of_pair(from, to).unwrap_or_else(by_share)
        });
        let pushes =
            mode.beside.map(|beside| pairs().map(|(from, to)| push(&tones, share, beside, from, to)).collect());
        Self {
            share,
            keeps: residue.keeps,
            wrong_start: residue.wrong_start,
            leaves: leaves.collect(),
            pushes: pushes.unwrap_or_default(),
            beside: mode.beside,
            tones,
        }
    }

    /// The tones that it works with.
    pub fn tones(&self) -> &Tones {
        &self.tones
    }

    /// A swing between two levels; `is_wrong_start` where the mode cannot start from the first.
    pub fn swing(&self, from: Level, to: Level, is_wrong_start: bool) -> Swing {
        let difference = self.tones.of(from) - self.tones.of(to);
        Swing {
            share: self.share,
            keeps: self.keeps,
            leaves: self.leaves[usize::from(from) * self.tones.lightness.len() + usize::from(to)],
            difference,
            adds: if is_wrong_start && difference != 0.0 { self.wrong_start.copysign(difference) } else { 0.0 },
        }
    }

    /// How far a pixel that goes from one level to another pushes a side neighbour that is not driven, L*.
    #[inline]
    pub(crate) fn push(&self, from: Level, to: Level) -> f64 {
        let at = usize::from(from) * self.tones.lightness.len() + usize::from(to);
        self.pushes.get(at).copied().unwrap_or(0.0)
    }

    /// The residue of a pixel that its driven neighbours push by so much in all, L*. A push leads no further than the mode's
    /// most, and takes nothing back of what lies beyond.
    pub(super) fn pushed(&self, before: Residue, push_l: f64) -> Residue {
        Residue(pushed_at_most(before.0, push_l, self.most_pushed_l()))
    }

    /// How far pushes lead at most, L*.
    pub(crate) fn most_pushed_l(&self) -> f64 {
        self.beside.map_or(0.0, |beside| beside.most_l)
    }

    /// How much lighter than its level a pixel looks that has this residue, or shows this median, after it was driven
    /// where it is, L*.
    pub fn shown_after_redriving(&self, level: Level, offset_l: f64) -> f64 {
        self.tones.cut(level, self.swing(level, level, false).applied_to(offset_l))
    }

    /// How much lighter than its level a clean pixel looks after a swing, L*.
    pub fn shown_after(&self, from: Level, to: Level) -> f64 {
        self.tones.shown(to, self.swing(from, to, false).after(Residue::NONE))
    }

    /// The largest residue, either way, that swings between any of these levels can leave on a residue of at most
    /// `before_l`, L*.
    pub fn most_after(&self, levels: LevelSet, before_l: f64) -> f64 {
        let swings = levels.iter().flat_map(|from| levels.iter().map(move |to| self.swing(from, to, false)));
        swings.map(|swing| (swing.keeps * before_l).abs() + swing.leaves.abs()).fold(0.0, f64::max)
    }
}

impl Swing {
    /// The residue after it.
    #[inline]
    pub fn after(&self, before: Residue) -> Residue {
        Residue(self.applied_to(before.0))
    }

    /// The same of a figure that may be any pixel's residue, L*; it never falls where that rises.
    #[inline]
    pub(crate) fn applied_to(&self, before_l: f64) -> f64 {
        driven(self.share, self.keeps, before_l, self.leaves, self.difference) + self.adds
    }
}

/// How far a pixel that goes from one level to another pushes a side neighbour that is not driven, L*: the share of the way,
/// times the share of the swing that goes over the edge, times the swing.
fn push(tones: &Tones, share: f64, beside: BesideResidue, from: Level, to: Level) -> f64 {
    let swing = tones.of(to) - tones.of(from);
    share * share_left([beside.lighter, beside.darker], -swing) * swing
}

/// The residue of a pixel whose driven neighbours push it by so much, at most to a limit, L*. It never falls where the
/// residue or the push rises.
pub(crate) fn pushed_at_most(e: f64, push_l: f64, most_l: f64) -> f64 {
    if push_l > 0.0 {
        e.max((e + push_l).min(most_l))
    } else if push_l < 0.0 {
        e.min((e + push_l).max(-most_l))
    } else {
        e
    }
}

/// What stays of each L* of a swing: `left` are the shares where it became lighter and darker.
pub(crate) fn share_left<N: Figure>([lighter, darker]: [N; 2], difference: f64) -> N {
    if difference < 0.0 {
        lighter
    } else if difference > 0.0 {
        darker
    } else {
        N::from(0.0)
    }
}

/// The law itself, source: a model of this project. `e' = f (keeps e + leaves) + (1 - f) (D + e)`, with f the share of the
/// way, and D = L* of the level before less L* of the level after. It works with plain figures, and with any others that add
/// and multiply, such as figures that carry their slopes along.
#[inline]
pub(crate) fn driven<N: Figure>(share: f64, keeps: N, before: N, leaves: N, difference: f64) -> N {
    N::from(share) * (keeps * before + leaves) + N::from(1.0 - share) * (N::from(difference) + before)
}

/// What the law can be computed with.
pub(crate) trait Figure: Copy + From<f64> + Add<Output = Self> + Mul<Output = Self> {}

impl<N: Copy + From<f64> + Add<Output = N> + Mul<Output = N>> Figure for N {}
