//! Options that several commands share. The options of a single command are in its own file.

use clap::Args;

use super::threads::cores;
use crate::geometry::Rotation;

/// How many threads a command uses.
#[derive(Clone, Copy, Debug, Args)]
pub(crate) struct Threads {
    /// How many threads to use [default: one per core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    threads: Option<u16>,
}

impl Threads {
    /// The requested number; otherwise one per core.
    pub(crate) fn number(self) -> usize {
        self.threads.map_or_else(cores, usize::from)
    }
}

/// The panel that a command works for.
#[derive(Clone, Debug, Args)]
pub(crate) struct ForDisplay {
    /// The panel: the name of a display that comes with the program, or the path of a description
    #[arg(long, value_name = "NAME")]
    pub(crate) display: String,
}

/// How screens lie on a panel.
#[derive(Clone, Copy, Debug, Args)]
pub(crate) struct Turned {
    /// How far the screens must be turned clockwise to fit the panel, in degrees: 0, 90, 180 or 270
    #[arg(long, value_name = "DEGREES", default_value = "0", value_parser = rotation)]
    pub(crate) rotation: Rotation,
}

fn rotation(text: &str) -> Result<Rotation, String> {
    text.parse().ok().and_then(Rotation::from_degrees).ok_or_else(|| "it must be 0, 90, 180 or 270".into())
}
