//! Corrections: exact changes of a plan that take a finding away. Places are named by step and update, not by text.

use crate::{geometry::Rect, panel::PlayedStep, plan::WindowAsk};

/// Changes that take a finding away when they are made together.
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
    /// What becomes of it.
    pub what: ChangeOf,
}

/// What becomes of a step, or of the plan. Updates are meant by their index before any change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ChangeOf {
    /// An update asks for other windows.
    Window {
        /// Which update.
        update: usize,
        /// The windows.
        window: WindowAsk,
    },
    /// One box of an update is another one.
    Box {
        /// Which update.
        update: usize,
        /// Which of its boxes; nothing where it has a single one.
        index: Option<usize>,
        /// The new box.
        rect: Rect,
    },
    /// One box of several is taken away.
    RemoveBox {
        /// Which update.
        update: usize,
        /// Which of its boxes.
        index: usize,
    },
    /// An update is made in another mode.
    Mode {
        /// Which update.
        update: usize,
        /// The display's mode.
        mode: usize,
    },
    /// An update is taken away.
    RemoveUpdate {
        /// Which.
        update: usize,
    },
    /// An update is made after the others of the step.
    AddUpdate {
        /// The display's mode.
        mode: usize,
        /// Its windows.
        window: WindowAsk,
    },
    /// The plan says that the glass is clean white before its first step.
    BeginsWhite,
}

impl ChangeOf {
    /// The update that is changed; nothing for one that is to come.
    pub fn update(&self) -> Option<usize> {
        match self {
            Self::Window { update, .. }
            | Self::Box { update, .. }
            | Self::RemoveBox { update, .. }
            | Self::Mode { update, .. }
            | Self::RemoveUpdate { update } => Some(*update),
            Self::AddUpdate { .. } | Self::BeginsWhite => None,
        }
    }
}

impl Correction {
    /// A correction that changes one step.
    pub fn of(step: &PlayedStep<'_>, what: ChangeOf) -> Self {
        Self::at(&step.planned.step.pointer, what)
    }

    /// The same for a step that was played before.
    pub fn at(step: &str, what: ChangeOf) -> Self {
        Self { changes: vec![Change { step: step.to_owned(), what }] }
    }

    /// A correction that changes a field of the plan's own.
    pub fn of_plan(what: ChangeOf) -> Self {
        Self::at("", what)
    }

    /// One correction a mode for an update, in this order.
    pub fn modes(step: &PlayedStep<'_>, update: usize, modes: impl IntoIterator<Item = usize>) -> Vec<Self> {
        modes.into_iter().map(|mode| Self::of(step, ChangeOf::Mode { update, mode })).collect()
    }
}
