//! What is built beside our own code: `docs/dependencies.md` names each crate with its features, and every licence and source
//! is one that it allows. Licences are read by the rules of SPDX (the `spdx` crate). Works without a network.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

use std::{collections::BTreeMap, collections::BTreeSet, fs, process::Command};

use serde_json::Value;
use spdx::{Expression, ParseMode};

use crate::common::root;

const REGISTRY: &str = "registry+https://github.com/rust-lang/crates.io-index";

#[test]
fn the_tables_name_every_crate_with_its_features() {
    let page = page();
    let mut named: BTreeMap<(bool, String), String> = BTreeMap::new();
    let mut is_for_tests = false;
    for line in page.lines() {
        if line.starts_with("## ") {
            is_for_tests = line == "## In tests and benches";
        }
        let cells: Vec<&str> = line.split(" | ").collect();
        if let [name, features, _] = cells[..]
            && let Some(name) = name.strip_prefix("| `")
        {
            let before = named.insert((is_for_tests, name.trim_end_matches('`').to_owned()), features.to_owned());
            assert_eq!(before, None, "{name} is named twice");
        }
    }
    let metadata = metadata();
    let own = packages(&metadata).find(|package| package["name"] == "stillpage").unwrap();
    let mut wanted = BTreeMap::new();
    for dependency in own["dependencies"].as_array().unwrap() {
        let is_for_tests = dependency["kind"] == "dev";
        let default = (dependency["uses_default_features"] == true).then(|| "default".to_owned());
        let features = dependency["features"].as_array().unwrap().iter();
        let features: Vec<String> =
            default.into_iter().chain(features.map(|name| format!("`{}`", name.as_str().unwrap()))).collect();
        let features = if features.is_empty() { "none".to_owned() } else { features.join(", ") };
        wanted.insert((is_for_tests, dependency["name"].as_str().unwrap().to_owned()), features);
    }
    assert_eq!(named, wanted, "docs/dependencies.md and Cargo.toml");
}

#[test]
fn every_licence_is_allowed() {
    let page = page();
    let (_, rest) = page.split_once("## Licences").unwrap();
    let (sentence, _) = rest.split_once(". All of them").unwrap();
    let allowed: BTreeSet<&str> = sentence.split('`').skip(1).step_by(2).collect();
    let metadata = metadata();
    let mut looked_at = 0;
    let mut needed = BTreeSet::new();
    for package in packages(&metadata) {
        let (name, licence) = (package["name"].as_str().unwrap(), package["license"].as_str().unwrap_or_default());
        let expression =
            Expression::parse_mode(licence, ParseMode::LAX).unwrap_or_else(|error| panic!("{name}: {error}"));
        let is_allowed =
            |requirement: &spdx::LicenseReq| requirement.license.id().is_some_and(|id| allowed.contains(id.name));
        assert!(expression.evaluate(is_allowed), "{name} is licensed under {licence}");
        for only in &allowed {
            let others = |requirement: &spdx::LicenseReq| {
                requirement.license.id().is_some_and(|id| id.name != *only && allowed.contains(id.name))
            };
            if !expression.evaluate(others) {
                needed.insert(*only);
            }
        }
        looked_at += 1;
    }
    assert!(looked_at > 100, "only {looked_at} crates were looked at");
    assert!(needed.contains("MIT") && needed.contains("Apache-2.0"), "the check tells licences apart: {needed:?}");
}

/// Those of other systems too.
#[test]
fn every_crate_comes_from_the_registry_with_its_checksum() {
    let lock = fs::read_to_string(root().join("Cargo.lock")).unwrap();
    let mut crates = 0;
    for package in lock.split("[[package]]").skip(1) {
        let field = |name: &str| {
            let line = package.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(" = "));
            line.map(|value| value.trim_matches('"'))
        };
        if field("name") == Some("stillpage") {
            assert_eq!(field("source"), None);
            continue;
        }
        assert_eq!(field("source"), Some(REGISTRY), "{:?}", field("name"));
        assert!(field("checksum").is_some_and(|sum| sum.len() == 64), "{:?}", field("name"));
        crates += 1;
    }
    assert!(crates > 100, "only {crates} crates were looked at");
}

fn page() -> String {
    fs::read_to_string(root().join("docs/dependencies.md")).unwrap()
}

/// What cargo knows of the crates that are built on this machine.
fn metadata() -> Value {
    let rustc = Command::new("rustc").arg("-vV").output().unwrap();
    let rustc = String::from_utf8(rustc.stdout).unwrap();
    let host = rustc.lines().find_map(|line| line.strip_prefix("host: ")).unwrap();
    let cargo = Command::new(env!("CARGO"))
        .args(["metadata", "--locked", "--offline", "--format-version", "1", "--filter-platform", host])
        .current_dir(root())
        .output()
        .unwrap();
    assert!(cargo.status.success(), "{}", String::from_utf8_lossy(&cargo.stderr));
    serde_json::from_slice(&cargo.stdout).unwrap()
}

fn packages(metadata: &Value) -> impl Iterator<Item = &Value> {
    metadata["packages"].as_array().unwrap().iter()
}
