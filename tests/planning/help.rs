//! The help is played: where a finding says exactly what to change, the change is made, and what comes of it is counted, rule by
//! rule: how many findings say so exactly, and how many of these changes bring about something as bad.
//!
//! Plans are the examples of the rules' pages, the example plans, and random ones; `stillpage mend` makes the changes, and
//! says of each that it takes back why. It also takes back what brings about something less bad, which is counted apart.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

use std::{collections::BTreeMap, fmt::Write as _};

use proptest::{
    strategy::{Strategy, ValueTree},
    test_runner::TestRunner,
};
use stillpage::rules::{pages, rule_named};

use super::mend::{folder_of_random_plans, random_plan};
use crate::{
    common::Folder,
    kept_failures::{nothing_kept, times},
};

/// What happens to the findings of a rule.
#[derive(Clone, Copy, Debug, Default)]
struct Played {
    findings: usize,
    /// So many changes were made, and their findings went.
    done: usize,
    /// So many were taken back, as they would bring about something less bad.
    taken_back: usize,
    /// So many, as they would bring about something as bad or worse.
    as_bad: usize,
}

/// What was played so far.
#[derive(Default)]
struct Help {
    by_rule: BTreeMap<String, Played>,
    /// Why changes were taken back, and how often.
    reasons: BTreeMap<String, usize>,
}

impl Help {
    /// Makes all changes that the findings of a plan say exactly.
    fn play(&mut self, folder: &Folder, plan: &str) {
        let report = folder.run(&["review", plan, "--gate", "never", "--format", "json"]).with_status(0).json();
        let findings = report["plans"][0]["findings"].as_array().unwrap();
        for finding in findings.iter().filter(|finding| finding["accepted"].is_null()) {
            self.of(finding["rule"].as_str().unwrap()).findings += 1;
        }
        let run = folder.run(&["mend", "--dry-run", plan]).with_status(0);
        let mut lines = run.error.lines().peekable();
        while let Some(line) = lines.next() {
            if let Some(rule) = line.strip_suffix("`)").and_then(|line| line.rsplit("(`").next()) {
                self.of(rule).done += 1;
            } else if let Some(rest) = line.strip_prefix("not corrected: `") {
                let rule = rest.split('`').next().unwrap();
                let why = lines.peek().and_then(|line| line.rsplit(": ").next()).unwrap_or_default();
                let why = why.split(" at step ").next().unwrap();
                let comes = why.split('`').nth(1).and_then(rule_named);
                let is_less_bad = comes.is_some_and(|comes| comes.severity < rule_named(rule).unwrap().severity);
                let played = self.of(rule);
                *if is_less_bad { &mut played.taken_back } else { &mut played.as_bad } += 1;
                *self.reasons.entry(format!("{rule}: {why}")).or_default() += 1;
            }
        }
    }

    fn of(&mut self, rule: &str) -> &mut Played {
        self.by_rule.entry(rule.to_owned()).or_default()
    }

    fn lines(&self) -> String {
        let mut text =
            String::from("rule: findings, changes made, taken back for something less bad, for something as bad\n");
        let mut all = Played::default();
        for (rule, Played { findings, done, taken_back, as_bad }) in &self.by_rule {
            writeln!(text, "{rule}: {findings}, {done}, {taken_back}, {as_bad}").unwrap();
            all.done += done;
            all.taken_back += taken_back;
            all.as_bad += as_bad;
        }
        let exact = all.done + all.taken_back + all.as_bad;
        writeln!(text, "\nof {exact} exact changes {} bring about something as bad", all.as_bad).unwrap();
        text.push_str("\ntaken back, why, how often:\n");
        for (why, times) in &self.reasons {
            writeln!(text, "{why} {times}").unwrap();
        }
        text
    }
}

#[test]
fn what_the_help_says_exactly_takes_the_finding_away() {
    let mut help = Help::default();
    for page in pages() {
        for example in &page.examples {
            help.play(&Folder::of_example(example), "example.plan.json");
        }
    }
    // Larger ones are mended whole in the tests of `mend`.
    for fixture in ["alarm-flag", "fuel-gauge", "berth-label", "gangway-count", "pilot-board"] {
        help.play(&Folder::of_fixtures(), &format!("{fixture}/troubled.plan.json"));
    }
    let folder = folder_of_random_plans();
    let mut runner = TestRunner::new(nothing_kept(1));
    for _ in 0..30 * times() {
        folder.plan("a.plan.json", &random_plan().new_tree(&mut runner).unwrap().current().to_string());
        help.play(&folder, "a.plan.json");
    }
    if times() == 1 {
        insta::assert_snapshot!(help.lines());
    } else {
        eprintln!("{}", help.lines());
    }
}
