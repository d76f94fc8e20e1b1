//! The table of `docs/formats.md` that says which findings follow from which, against the list of the program.

use std::collections::{BTreeMap, BTreeSet};

use crate::common::root;

type Causes = BTreeMap<String, BTreeSet<String>>;

fn read(path: &str) -> String {
    std::fs::read_to_string(root().join(path)).unwrap()
}

/// The ids in backticks.
fn quoted(text: &str) -> impl Iterator<Item = String> + '_ {
    text.split('`').skip(1).step_by(2).map(str::to_owned)
}

/// The rows of the table: every rule of the first column follows from every rule of the second.
fn of_the_table() -> Causes {
    let text = read("docs/formats.md");
    let rows = text.split("| finding | follows from |").nth(1).unwrap().lines().skip(2);
    let mut causes = Causes::new();
    for row in rows.take_while(|row| row.starts_with('|')) {
        let cells: Vec<&str> = row.split('|').collect();
        for finding in quoted(cells[1]) {
            // Other places of one trouble are no cause by another rule.
            let others = quoted(cells[2]).filter(|cause| *cause != finding);
            causes.entry(finding.clone()).or_default().extend(others);
        }
    }
    causes
}

/// The entries of `FOLLOWS`: a rule, what both have in common, and its causes.
fn of_the_program() -> Causes {
    let text = read("src/rules/causes.rs");
    let list = text.split("const FOLLOWS").nth(1).unwrap().split("];").next().unwrap();
    let of_entry = |entry: &str| {
        let mut ids = entry.split('"').skip(1).step_by(2).map(str::to_owned);
        (ids.next().unwrap(), ids.collect())
    };
    list.split("Shared::").collect::<Vec<_>>().windows(2).map(|pair| of_entry(&entry_of(pair))).collect()
}

/// The text of one entry: the id before what both have in common, and the causes behind it.
fn entry_of(pair: &[&str]) -> String {
    let id = pair[0].rsplit('(').next().unwrap();
    format!("{id}{}", pair[1].split(']').next().unwrap())
}

#[test]
fn the_table_of_causes_is_that_of_the_program() {
    let (table, program) = (of_the_table(), of_the_program());
    assert!(program.len() > 10 && program["missed-rest"].contains("visible-ghost"), "{program:#?}");
    assert_eq!(table, program);
}
