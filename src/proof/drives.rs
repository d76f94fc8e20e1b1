//! In which drives of a move something changes: of one cell over all that it may show, and of all cells together.

use super::{behaviour::Effect, waits::Changes};

/// In which drives of an edge some cell differs from memory, in which one is driven, and in which one gets another level: a bit
/// for each drive.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Drives {
    /// On some walk.
    pub(super) may: [u32; 3],
    /// On every walk.
    pub(super) surely: [u32; 3],
}

impl Drives {
    pub(super) fn join(&mut self, other: Self) {
        for at in 0..3 {
            self.may[at] |= other.may[at];
            self.surely[at] |= other.surely[at];
        }
    }

    /// What that comes to: as for a step that is played, what differs need not be what is driven, and what does not differ may
    /// get another level.
    pub(super) fn changes(self) -> Changes {
        let ([may_differ, may_drive, may_show], [differ, surely_drive, _]) = (self.may, self.surely);
        Changes { may: may_differ & may_drive, surely: differ & surely_drive, may_show, surely_drive }
    }
}

/// The same of one cell, over all that it may show.
pub(super) struct OfOneCell {
    may: [u32; 3],
    always: [u32; 3],
}

impl OfOneCell {
    pub(super) fn new() -> Self {
        Self { may: [0; 3], always: [u32::MAX; 3] }
    }

    pub(super) fn see(&mut self, effect: &Effect) {
        for (at, bits) in [effect.changes, effect.driven, effect.moves].into_iter().enumerate() {
            self.may[at] |= bits;
            self.always[at] &= bits;
        }
    }

    pub(super) fn drives(self) -> Drives {
        Drives { may: self.may, surely: [0, 1, 2].map(|at| self.always[at] & self.may[at]) }
    }
}
