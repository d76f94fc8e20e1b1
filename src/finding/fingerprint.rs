//! Fingerprints of findings: the same finding keeps its own when other parts of the plan are edited.
//!
//! Made from the rule, the step's label, the screen field's place in its step, and the box; never from step numbers.

use std::collections::BTreeMap;

use super::Finding;

/// Gives every finding its fingerprint, 16 hexadecimal digits. Two that would have the same one are numbered.
pub fn add_fingerprints(findings: &mut [Finding]) {
    let mut seen: BTreeMap<String, u64> = BTreeMap::new();
    for finding in findings {
        let name = name_of(finding);
        let before = seen.entry(name.clone()).or_default();
        let hash = blake3::hash(format!("{name}\n{before}").as_bytes());
        *before += 1;
        finding.fingerprint = hash.to_hex()[..16].into();
    }
}

fn name_of(finding: &Finding) -> String {
    let label = finding.label.as_deref().unwrap_or("");
    // Behind the number of a step or of a flow's move, which changes when another one is put in before it.
    let of_a_list = ["/steps/", "/moves/"].into_iter().find_map(|list| finding.pointer.rsplit_once(list));
    let field =
        of_a_list.map_or(finding.pointer.as_str(), |(_, rest)| rest.split_once('/').map_or("", |(_, field)| field));
    // Of a flow a rule has one finding at a move, and which walk leads to it depends on the other moves.
    let is_of_a_move = finding.walk.is_some();
    let field = if is_of_a_move { "" } else { field };
    let rect = finding.rect.filter(|_| !is_of_a_move);
    let rect = rect.map_or(String::new(), |rect| format!("{:?}", rect.to_array()));
    format!("{}\n{label}\n{field}\n{rect}", finding.rule)
}
