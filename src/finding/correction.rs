//! Corrections: exact changes of a plan that remove a finding. Places are named by step and update, not by text.

use crate::{geometry::Rect, panel::PlayedStep, plan::WindowAsk};

/// Changes that remove a finding when they are made together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Correction {
    /// At least one.
    pub changes: Vec<Change>,
}

/// A change of one step of the file, or of a field of the plan's own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// The JSON pointer to the step; empty for a field of the plan's own.
    pub step: String,
    /// What happens to it.
    pub what: ChangeOf,
}

/// What happens to a step, or to the plan. Updates are named by their index before any change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ChangeOf {
    /// An update gets other windows.
    Window {
        /// Which update.
        update: usize,
        /// The windows.
        window: WindowAsk,
    },
    /// One box of an update is replaced.
    Box {
        /// Which update.
        update: usize,
        /// Which of its boxes; `None` if it has a single one.
        index: Option<usize>,
        /// The new box.
        rect: Rect,
    },
    /// One box of several is removed.
    RemoveBox {
        /// Which update.
        update: usize,
        /// Which of its boxes.
        index: usize,
    },
    /// An update gets another mode.
    Mode {
        /// Which update.
        update: usize,
        /// The display's mode.
        mode: usize,
    },
    /// An update is removed.
    RemoveUpdate {
        /// Which.
        update: usize,
    },
    /// An update is added after the others of the step.
    AddUpdate {
        /// The display's mode.
        mode: usize,
        /// Its windows.
        window: WindowAsk,
    },
    /// The step comes at another time after the one before it.
    AfterMs {
        /// How long after it, ms.
        ms: u64,
    },
    /// The plan says that the glass is clean white before its first step.
    BeginsWhite,
}

impl ChangeOf {
    /// The update that is changed; `None` for one that is added, and where no update is changed.
    pub fn update(&self) -> Option<usize> {
        match self {
            Self::Window { update, .. }
            | Self::Box { update, .. }
            | Self::RemoveBox { update, .. }
            | Self::Mode { update, .. }
            | Self::RemoveUpdate { update } => Some(*update),
            Self::AddUpdate { .. } | Self::AfterMs { .. } | Self::BeginsWhite => None,
        }
    }
}

impl Correction {
    /// A correction that changes one step.
    pub fn of(step: &PlayedStep<'_>, what: ChangeOf) -> Self {
        Self::at(&step.planned.step.pointer, what)
    }

    /// The same for a step that was already played.
    pub fn at(step: &str, what: ChangeOf) -> Self {
        Self { changes: vec![Change { step: step.to_owned(), what }] }
    }

    /// A correction that changes a field of the plan's own.
    pub fn of_plan(what: ChangeOf) -> Self {
        Self::at("", what)
    }

    /// One correction per mode for an update, in this order.
    pub fn modes(step: &PlayedStep<'_>, update: usize, modes: impl IntoIterator<Item = usize>) -> Vec<Self> {
        modes.into_iter().map(|mode| Self::of(step, ChangeOf::Mode { update, mode })).collect()
    }
}
