//! The arguments of `replan`.

use std::path::PathBuf;

use clap::{Args, ValueEnum, ValueHint};

use crate::{
    cli::{files::Outside, options::Threads},
    planner::Effort,
};

/// What `replan` takes.
#[derive(Debug, Args)]
pub(crate) struct ReplanArguments {
    /// The plan
    #[arg(value_hint = ValueHint::FilePath)]
    pub(super) plan: PathBuf,
    /// Choose for every step, not only for those with `"updates": "choose"`
    #[arg(long)]
    pub(super) all: bool,
    /// Insert new steps in long pauses where that makes the plan better; the same as `"may_insert": true` in the plan. Later
    /// steps keep their times
    #[arg(long, conflicts_with = "as_policy")]
    pub(super) may_insert: bool,
    /// Write the updates into the plan; everything else in the file stays as it is
    #[arg(long)]
    pub(super) write: bool,
    /// Print one rule for the firmware instead of updates for each step: which mode for which kind of change, and when to
    /// clean. It covers all steps, including those that already have updates
    #[arg(long, conflicts_with_all = ["all", "write"])]
    pub(super) as_policy: bool,
    /// With `--as-policy`: write the rule to this file, as JSON if its name ends in `.json`, as a C header if it ends in `.h`
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath, requires = "as_policy")]
    pub(super) emit: Option<PathBuf>,
    /// Write a page that shows, side by side and step by step, the plan as it was and the updates that were chosen, with the figures of both
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub(super) html: Option<PathBuf>,
    /// How thoroughly to search
    #[arg(long, value_enum, default_value = "usual", ignore_case = true)]
    pub(super) effort: EffortWord,
    #[command(flatten)]
    pub(super) outside: Outside,
    #[command(flatten)]
    pub(super) threads: Threads,
}

/// How thoroughly to search, as it is written.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum EffortWord {
    /// Choose the best updates step by step
    Quick,
    /// Follow a few alternatives side by side
    Usual,
    /// Follow many alternatives; small plans are searched exhaustively
    Thorough,
}

impl From<EffortWord> for Effort {
    fn from(word: EffortWord) -> Self {
        match word {
            EffortWord::Quick => Self::Quick,
            EffortWord::Usual => Self::Usual,
            EffortWord::Thorough => Self::Thorough,
        }
    }
}
