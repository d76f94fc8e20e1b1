//! The two tables of `docs/traces.md` say what the program reads: the records with their fields, and the groups that a
//! description of log lines may name.

use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    sync::Arc,
};

use serde_json::{Value, json};
use stillpage::{source::Source, trace::read_log_lines};

use crate::common::root;

/// The cells of the table below this head.
fn rows(head: &str) -> Vec<Vec<String>> {
    let page = fs::read_to_string(root().join("docs/traces.md")).unwrap();
    let table = page.split(head).nth(1).unwrap_or_else(|| panic!("docs/traces.md has no table `{head}`"));
    let cells = |line: &str| line.trim_matches('|').split(" | ").map(|cell| cell.trim().to_owned()).collect();
    table.lines().skip(2).take_while(|line| line.starts_with('|')).map(cells).collect()
}

/// The words in backticks of a cell, each with whether `(needed)` stands behind it.
fn words(cell: &str) -> Vec<(String, bool)> {
    let parts: Vec<&str> = cell.split('`').collect();
    let words = parts.iter().enumerate().skip(1).step_by(2);
    words.map(|(at, word)| ((*word).to_owned(), parts[at + 1].starts_with(" (needed)"))).collect()
}

/// The schema is what the reader of traces reads, which another test checks.
#[test]
fn the_records_are_those_of_the_schema() {
    let schema: Value =
        serde_json::from_str(&fs::read_to_string(root().join("docs/schemas/trace.schema.json")).unwrap()).unwrap();
    let mut in_schema = BTreeSet::new();
    for record in schema["$defs"]["record"]["oneOf"].as_array().unwrap() {
        let kind = &record["properties"]["record"];
        let kinds = kind["enum"].as_array().cloned().unwrap_or_else(|| vec![kind["const"].clone()]);
        let is_needed = |field: &String| record["required"].as_array().unwrap().contains(&json!(field));
        for field in record["properties"].as_object().unwrap().keys().filter(|field| *field != "record") {
            in_schema
                .extend(kinds.iter().map(|kind| (kind.as_str().unwrap().to_owned(), field.clone(), is_needed(field))));
        }
    }
    let kinds: BTreeSet<String> = in_schema.iter().map(|(kind, ..)| kind.clone()).collect();
    let mut in_table = BTreeSet::new();
    let mut of: Vec<String> = Vec::new();
    for row in rows("| record | field | what it says | unit |") {
        match row[0].as_str() {
            "all" => of = kinds.iter().cloned().collect(),
            "" => {}
            cell => of = words(cell).into_iter().map(|(kind, _)| kind).collect(),
        }
        for (field, is_needed) in words(&row[1]) {
            in_table.extend(of.iter().map(|kind| (kind.clone(), field.clone(), is_needed)));
        }
    }
    assert_eq!(in_table, in_schema);
}

/// What is wrong with a pattern that has these groups, for this record.
fn faults(record: &str, groups: &BTreeSet<&str>) -> String {
    let parts: Vec<String> = groups.iter().map(|group| format!("(?<{group}>.)")).collect();
    let matches = parts.concat();
    let lines = json!({ "format": "log-lines/1", "header": {}, "second_corner": "inside",
        "lines": [{ "matches": matches, "record": record }] });
    let source = Arc::new(Source::new("lines.json", lines.to_string()));
    let faults = read_log_lines(&source).err().unwrap_or_default();
    faults.into_iter().map(|fault| fault.message + "\n").collect()
}

#[test]
fn the_groups_are_those_that_patterns_may_have() {
    const RECORDS: [&str; 7] = ["update", "frame", "touch", "key", "power", "temperature", "remark"];
    let mut by_group: BTreeMap<String, BTreeMap<&str, bool>> = BTreeMap::new();
    for row in rows("| group | in lines of | what it is |") {
        let of: BTreeMap<&str, bool> = if row[1] == "all records (needed)" {
            RECORDS.map(|record| (record, true)).into()
        } else {
            let known = |word: String| RECORDS.into_iter().find(|record| *record == word).expect("a record");
            words(&row[1]).into_iter().map(|(word, is_needed)| (known(word), is_needed)).collect()
        };
        by_group.extend(words(&row[0]).into_iter().map(|(group, _)| (group, of.clone())));
    }
    assert!(faults("update", &BTreeSet::from(["at", "mode", "colour"])).contains("a line has no field `colour`"));
    for record in RECORDS {
        let of_record = |group: &str| by_group[group].get(record);
        let needed: BTreeSet<&str> =
            by_group.keys().map(String::as_str).filter(|group| of_record(group) == Some(&true)).collect();
        assert_eq!(faults(record, &needed), "", "{record} needs {needed:?}");
        for group in by_group.keys().map(String::as_str) {
            let without: BTreeSet<&str> = needed.iter().copied().filter(|other| *other != group).collect();
            if needed.contains(group) {
                assert!(faults(record, &without).contains(&format!("no group `{group}`")), "{record}, {group}");
                continue;
            }
            let beside = match group {
                "x" | "y" | "w" | "h" => &["x", "y", "w", "h"][..],
                "x2" | "y2" => &["x", "y", "x2", "y2"],
                _ => &[group],
            };
            let with = needed.iter().copied().chain(beside.iter().copied()).collect();
            let is_refused = faults(record, &with).contains(&format!("has no use for the group `{group}`"));
            assert_eq!(is_refused, of_record(group).is_none(), "{record}, {group}");
        }
    }
    let groups: BTreeSet<&str> = by_group.keys().map(String::as_str).collect();
    // A group that the table leaves out is found in what the program offers for one that it does not know.
    let offered = offered();
    assert_eq!(groups, offered.iter().map(String::as_str).collect());
}

/// The groups that the program lists when it knows none that is near.
fn offered() -> BTreeSet<String> {
    let lines = json!({ "format": "log-lines/1", "header": {},
        "lines": [{ "matches": "(?<at>.)(?<somethingelse>.)", "record": "key" }] });
    let faults = read_log_lines(&Arc::new(Source::new("lines.json", lines.to_string()))).unwrap_err();
    let help = faults[0].help.clone().unwrap();
    words(&help).into_iter().map(|(word, _)| word).collect()
}
