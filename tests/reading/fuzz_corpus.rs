//! The files that fuzzing kept, read as a fuzzer reads them: each stands for inputs that no other is like, or was once read
//! wrongly. Fuzzing itself needs another toolchain: see `fuzz/README.md`. The plans of `fuzz/corpus/panel` are played in
//! `tests/model/main.rs`.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

use std::{fs, panic, path::Path};

use crate::{bodies, common::example_display};

fn each_kept(target: &str, body: fn(&[u8])) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus").join(target);
    let mut read = 0;
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let bytes = fs::read(&path).unwrap();
        let outcome = panic::catch_unwind(|| body(&bytes));
        assert!(outcome.is_ok(), "{} is read wrongly", path.display());
        read += 1;
    }
    assert!(read > 0, "nothing is kept for {target}");
}

#[test]
fn plans() {
    each_kept("plan", bodies::plan);
}

#[test]
fn flows() {
    each_kept("flow", bodies::flow);
}

#[test]
fn displays() {
    each_kept("display", bodies::display);
}

#[test]
fn segments() {
    each_kept("segments", bodies::segments);
}

#[test]
fn pngs() {
    each_kept("png", bodies::png);
}

#[test]
fn svgs() {
    each_kept("svg", bodies::svg);
}

#[test]
fn known_findings() {
    each_kept("known", bodies::known);
}

#[test]
fn settings() {
    each_kept("settings", bodies::settings);
}

#[test]
fn traces() {
    each_kept("trace", bodies::trace);
}

#[test]
fn log_lines() {
    each_kept("log_lines", bodies::log_lines);
}

#[test]
fn raw_frames() {
    each_kept("raw_frame", bodies::raw_frame);
}

#[test]
fn portable_graymaps() {
    each_kept("pgm", bodies::pgm);
}

/// The bodies have the display of the other tests as a file, since they know no test.
#[test]
fn the_display_is_the_one_of_the_examples() {
    let kept: serde_json::Value = serde_json::from_str(include_str!("../../fuzz/bodies/example.display.json")).unwrap();
    assert_eq!(kept, example_display([16, 8]));
}
