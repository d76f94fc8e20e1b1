//! How many cases the random tests try, and where those that failed once are kept: below this folder, a file for each source
//! file, those of `tests` in `of_tests`.
//!
//! Every day the tests try a sample that is always the same: its seed stands here. `tests/long` sets `STILLPAGE_LONG`, which is
//! read here and nowhere else; then they try ten times as many, which nobody has seen before. Knows not what is tested.
#![allow(dead_code, reason = "every test binary takes its own part of these helpers")]

use proptest::{
    prelude::ProptestConfig,
    test_runner::{FailurePersistence, FileFailurePersistence, RngSeed},
};

/// The sample of every day. Any number does; another one gives another sample.
const SEED: u64 = 20_261_128;

/// How many times as long the long series are.
const LONGER: u32 = 10;

/// The usual number of cases; those that failed before come first.
pub(crate) fn usual() -> ProptestConfig {
    with_cases(ProptestConfig::default().cases)
}

/// So many cases every day, and ten times as many in the long series; those that failed before come first.
pub(crate) fn with_cases(cases: u32) -> ProptestConfig {
    let usual = ProptestConfig::default();
    // Whoever turns the keeping of failures off in the environment has nothing written.
    let kept = usual.failure_persistence.as_ref().map(|_| {
        let below: Box<dyn FailurePersistence> = Box::new(FileFailurePersistence::SourceParallel(place()));
        below
    });
    // Whoever gives a seed in the environment gets it.
    let rng_seed = match usual.rng_seed {
        RngSeed::Random if !is_long() => RngSeed::Fixed(SEED),
        asked => asked,
    };
    ProptestConfig { cases: cases * times(), failure_persistence: kept, rng_seed, ..usual }
}

/// The same for tests that are given a closure and no source file to keep failures for.
pub(crate) fn nothing_kept(cases: u32) -> ProptestConfig {
    ProptestConfig { failure_persistence: None, ..with_cases(cases) }
}

/// How many times as many cases as every day are tried.
pub(crate) fn times() -> u32 {
    if is_long() { LONGER } else { 1 }
}

fn is_long() -> bool {
    std::env::var_os("STILLPAGE_LONG").is_some()
}

/// This folder, seen from beside `src`, or from beside the folder of a test binary.
fn place() -> &'static str {
    if env!("CARGO_CRATE_NAME") == "stillpage" { "tests/kept_failures" } else { "kept_failures/of_tests" }
}
