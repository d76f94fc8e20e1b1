//! Where the random tests of `src` keep the cases that failed once: below this folder, a file for each source file.
//!
//! Knows the place and the number of cases, not what is tested. A test file of `tests` keeps its own beside itself.

use proptest::{
    prelude::ProptestConfig,
    test_runner::{FailurePersistence, FileFailurePersistence},
};

/// The usual number of cases; those that failed before come first.
pub(crate) fn usual() -> ProptestConfig {
    let usual = ProptestConfig::default();
    // Whoever turns the keeping of failures off in the environment has nothing written.
    let kept = usual.failure_persistence.as_ref().map(|_| {
        let below: Box<dyn FailurePersistence> =
            Box::new(FileFailurePersistence::SourceParallel("tests/kept_failures"));
        below
    });
    ProptestConfig { failure_persistence: kept, ..usual }
}

/// So many cases; those that failed before come first.
pub(crate) fn with_cases(cases: u32) -> ProptestConfig {
    ProptestConfig { cases, ..usual() }
}
