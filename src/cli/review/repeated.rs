//! Reviews that are repeated whenever a file changes that matters, each reusing what still holds of the one before. Knows
//! what a round rests on, not who waits for it.

use std::{
    collections::BTreeSet,
    path::{Path, PathBuf},
    time::{Duration, Instant},
};

use super::{
    arguments::ReviewArguments,
    review_run::{Before, ReviewRun, Task},
};
use crate::cli::{
    files::{is_reviewed, real},
    watched::Watched,
};
use crate::source::Fault;

/// Plans that are reviewed again and again.
pub(in crate::cli) struct Repeated<'t> {
    task: &'t Task<'t>,
    watched: Watched,
    named: Vec<PathBuf>,
    /// The last round; nothing after one that failed as a whole.
    run: Option<ReviewRun>,
}

/// What began a round, when the first of it changed, and how long the round took.
#[derive(Debug)]
pub(in crate::cli) struct Again {
    pub(in crate::cli) changed: BTreeSet<PathBuf>,
    pub(in crate::cli) since: Instant,
    pub(in crate::cli) took: Duration,
}

impl<'t> Repeated<'t> {
    /// The first round. Changes during it are noticed too. Changes within `burst` begin one round.
    pub(in crate::cli) fn begin(task: &'t Task<'t>, burst: Duration) -> Result<Self, Vec<Fault>> {
        let paths = &task.arguments.paths;
        let mut watched = Watched::new(paths, burst)?;
        let run = task.run(None)?;
        watched.follow(run.places());
        Ok(Self { task, watched, named: paths.iter().map(|path| real(path)).collect(), run: Some(run) })
    }

    /// The last round.
    pub(in crate::cli) fn run(&mut self) -> Option<&mut ReviewRun> {
        self.run.as_mut()
    }

    /// Waits for a change, and reviews what it affects. After a failure, the next call waits again.
    pub(in crate::cli) fn next(&mut self) -> Result<Again, Vec<Fault>> {
        let Self { task, watched, named, run } = self;
        let matters = |file: &Path| {
            let is_new = || is_reviewed(file) && named.iter().any(|named| file.starts_with(named));
            let is_touched = run.as_ref().is_none_or(|run| run.is_touched_by(file));
            !is_output(file, task.arguments) && (is_touched || is_new())
        };
        let (changed, since) = watched.next(&matters);
        let begun = Instant::now();
        let before = run.take().map(|run| Before { run, changed: &changed });
        let round = task.run(before)?;
        watched.follow(round.places());
        *run = Some(round);
        Ok(Again { changed, since, took: begun.elapsed() })
    }
}

/// Whether this program writes the file: its own reports must not start a new round.
fn is_output(file: &Path, arguments: &ReviewArguments) -> bool {
    let also = arguments.also.iter().map(|(_, file)| file);
    let outputs = arguments.out.iter().chain(&arguments.html).chain(&arguments.write_known).chain(also);
    outputs.into_iter().any(|output| real(output) == file)
        || arguments.pictures.iter().any(|folder| file.starts_with(real(folder)))
}
