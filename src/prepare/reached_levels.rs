//! Some levels of an ink as an ink of their own: what a mode can show. Knows no modes.

use super::{How, Prepared, prepare};
use crate::{
    display::{
        Ink, Level, LevelSet,
        ink::{Colour, InkKind},
    },
    screen::Picture,
};

/// Levels that screens are brought to.
#[derive(Clone, Debug)]
pub struct Reach {
    /// An ink that has no others.
    ink: Ink,
    /// Which level of the panel each of its levels is.
    levels: Vec<Level>,
}

impl Reach {
    /// These levels of an ink; nothing where they are fewer than two, or where the ink has segments.
    pub fn of(ink: &Ink, levels: LevelSet) -> Option<Self> {
        let kept: Vec<Level> = ink.all().iter().filter(|level| levels.contains(*level)).collect();
        let own = match ink.kind() {
            _ if kept.len() < 2 => return None,
            InkKind::Segments(_) => return None,
            InkKind::Grey => Ink::grey_measured(kept.iter().map(|level| ink.reflectance(*level)).collect()),
            InkKind::Palette(colours) => {
                Ink::palette(kept.iter().map(|level| colours[usize::from(*level)].clone()).collect::<Vec<Colour>>())
            }
        };
        Some(Self { ink: own, levels: kept })
    }

    /// Brings a screen to these levels, as [`prepare`] does; the levels are those of the panel.
    pub fn prepare(&self, picture: &Picture, how: How, blur_px: f64) -> Option<Prepared> {
        let mut prepared = prepare(picture, &self.ink, how, blur_px)?;
        for level in &mut prepared.levels {
            *level = self.levels[usize::from(*level)];
        }
        Some(prepared)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Size;

    fn ramp() -> Picture {
        Picture::from_shades(Size { width: 64, height: 8 }, (0..512).map(|at| (at % 64 * 4) as u8).collect())
    }

    #[test]
    fn only_levels_of_the_mode_are_used_and_they_are_those_of_the_panel() {
        let ink = Ink::grey_between(16, 0.05, 0.5);
        let levels = LevelSet::default().with(0).with(15);
        let reach = Reach::of(&ink, levels).unwrap();
        for how in [How::Threshold, How::Ordered, How::Diffusion] {
            let prepared = reach.prepare(&ramp(), how, 1.0).unwrap();
            assert!(prepared.levels.iter().all(|level| levels.contains(*level)), "{how:?}");
            assert!([0, 15].iter().all(|level| prepared.levels.contains(level)), "{how:?}");
        }
        let all = Reach::of(&ink, ink.all()).unwrap();
        assert_eq!(all.prepare(&ramp(), How::Ordered, 1.0), prepare(&ramp(), &ink, How::Ordered, 1.0));
        assert!(Reach::of(&ink, LevelSet::default().with(3)).is_none());
    }
}
