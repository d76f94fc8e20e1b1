//! `review --watch` sees what changes, and reviews only what rests on it. Nothing is timed here, but nobody waits forever.

use std::{
    io::{BufRead, BufReader},
    process::{Child, Stdio},
    sync::mpsc::{Receiver, channel},
    time::{Duration, Instant},
};

use crate::common::{Folder, SQUARE, WHITE, example_display};

/// A program that stays; it is ended with the test.
struct Staying {
    child: Child,
    lines: Receiver<String>,
}

impl Staying {
    fn begin(folder: &Folder, arguments: &[&str]) -> Self {
        let mut child = folder
            .command(&[&["review", "--watch"], arguments].concat())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let (sender, lines) = channel();
        let (out, error) = (child.stdout.take().unwrap(), child.stderr.take().unwrap());
        for stream in [Box::new(out) as Box<dyn std::io::Read + Send>, Box::new(error)] {
            let sender = sender.clone();
            std::thread::spawn(move || {
                for line in BufReader::new(stream).lines().map_while(Result::ok) {
                    if sender.send(line).is_err() {
                        break;
                    }
                }
            });
        }
        Self { child, lines }
    }

    /// All lines up to one that begins so, and a little longer for what stands on the other stream.
    fn until(&self, beginning: &str, also: &str) -> String {
        let mut lines = Vec::new();
        let mut missing = vec![beginning, also];
        let end = Instant::now() + Duration::from_secs(60);
        while !missing.is_empty() {
            let left = end.saturating_duration_since(Instant::now());
            let line = self.lines.recv_timeout(left).unwrap_or_else(|_| {
                panic!("waited for {missing:?} in vain after:\n{}", lines.join("\n"));
            });
            missing.retain(|words| !line.contains(words));
            lines.push(line);
        }
        lines.join("\n")
    }
}

impl Drop for Staying {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

const PLAN: &str = r#"{ "steps": [
    { "label": "start", "screen": "NAME-1.png", "updates": [{ "mode": "full" }] },
    { "label": "then", "screen": "NAME-2.png", "after_ms": 9000, "updates": [{ "mode": "quick", "window": [0, 0, 8, 8] }] }
  ] }"#;

/// Two plans with two screens each; what changes lies within the second step's window.
fn two_plans() -> Folder {
    let folder = Folder::usual();
    for name in ["a", "b"] {
        folder.plan(&format!("{name}.plan.json"), &PLAN.replace("NAME", name));
        folder.screen(&format!("{name}-1.png"), WHITE);
        folder.screen(&format!("{name}-2.png"), SQUARE);
    }
    folder
}

const END: &str = "predictions from the display description";

#[test]
fn a_screen_that_changes_is_reviewed_again_with_its_plan_alone() {
    let folder = two_plans();
    let staying = Staying::begin(&folder, &[]);
    let first = staying.until(END, "watching 2 plans");
    assert!(first.contains("2 plans reviewed: 0 errors"), "{first}");
    // A square that reaches out of the window.
    folder.screen("b-2.png", &SQUARE.replace("..####..........", "........######.."));
    let again = staying.until(END, "b-2.png changed: 1 of 2 plans reviewed again");
    assert!(again.contains("left-behind (error)") && again.contains("b.plan.json"), "{again}");
    assert!(!again.contains("a.plan.json"), "nothing of it has changed:\n{again}");
    assert!(again.contains("2 plans reviewed: 1 error"), "the other plan still counts:\n{again}");
    // Back again: the old pictures are found by their content.
    folder.screen("b-2.png", SQUARE);
    let mended = staying.until(END, "b-2.png changed: 1 of 2 plans");
    assert!(mended.contains("2 plans reviewed: 0 errors"), "{mended}");
}

#[test]
fn faults_displays_settings_and_new_plans_are_seen() {
    let folder = two_plans();
    let staying = Staying::begin(&folder, &[]);
    staying.until(END, "watching 2 plans");
    folder.plan("a.plan.json", r#"{ "steps": 7 }"#);
    let broken = staying.until(END, "a.plan.json changed: 1 of 2 plans");
    assert!(broken.contains("`steps` must be a list") && broken.contains("1 plan could not be read"), "{broken}");
    folder.plan("a.plan.json", &PLAN.replace("NAME", "a"));
    let mended = staying.until(END, "a.plan.json changed: 1 of 2 plans");
    assert!(mended.contains("2 plans reviewed: 0 errors"), "{mended}");
    // A display counts for all plans that are played on it.
    let mut display = example_display([16, 8]);
    display["modes"][2]["to"] = serde_json::json!([15]);
    folder.display("panel.display.json", &display);
    let both = staying.until(END, "panel.display.json changed: 2 of 2 plans");
    assert!(both.contains("2 plans reviewed: 2 errors"), "{both}");
    folder.file(
        "stillpage.settings.json",
        r#"{ "format": "review-settings/1", "rules": { "grey-in-two-level-mode": "note", "left-behind": "note" } }"#,
    );
    let settings = staying.until(END, "stillpage.settings.json changed: 2 of 2 plans");
    assert!(settings.contains("2 plans reviewed: 0 errors"), "{settings}");
    folder.plan("c.plan.json", &PLAN.replace("NAME", "a"));
    let more = staying.until(END, "c.plan.json changed: 1 of 3 plans");
    assert!(more.contains("c.plan.json") && !more.contains("b.plan.json  "), "{more}");
}

#[test]
fn a_new_screen_of_a_pattern_counts_and_own_reports_do_not() {
    let folder = Folder::usual();
    folder.screen("minutes/1.png", WHITE);
    folder.plan("a.plan.json", r#"{ "steps": [{ "each": "minutes/*.png", "updates": [{ "mode": "full" }] }] }"#);
    let staying = Staying::begin(&folder, &["--html", "minutes/page.html", "--also", "json=minutes/found.json"]);
    let first = staying.until(END, "watching 1 plan");
    assert!(first.contains("  1 step on example"), "{first}");
    folder.screen("minutes/2.png", SQUARE);
    let more = staying.until(END, "2.png changed: 1 of 1 plan reviewed again");
    assert!(more.contains("  2 steps on example"), "{more}");
    // The program's own files lie in the watched folder; had they begun a round, it would be reported before this one.
    folder.screen("minutes/3.png", WHITE);
    let next = staying.until(END, "3.png changed");
    assert!(
        next.contains("  3 steps on example") && !next.contains("page.html") && !next.contains("found.json"),
        "{next}"
    );
}
