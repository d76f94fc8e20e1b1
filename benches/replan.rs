//! How long choosing the updates of a plan takes against reviewing it, and how that grows with the plan. Run with
//! `cargo bench --bench replan`; nothing here is a test.
//!
//! The frames are those of a note-taking page of 1404 x 1872 px, the display `tablet-10in3`; every step is left to choose.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

mod common;

use std::fs;

use common::{notes, process};
const STEPS: [usize; 4] = [25, 50, 100, 200];
const EFFORTS: [&str; 2] = ["quick", "usual"];
const RUNS: usize = 3;

fn main() {
    let folder = notes::folder();
    for steps in STEPS {
        let plan = folder.join(format!("{steps}-open.plan.json"));
        fs::write(&plan, notes::plan(steps, |_| "\"choose\"".into())).expect("the plan can be written");
        for effort in EFFORTS {
            let mut found: Vec<[f64; 3]> = (0..RUNS)
                .map(|_| {
                    // The review is of the same steps with the updates that were chosen.
                    let chosen = folder.join(format!("{steps}-chosen.plan.json"));
                    fs::copy(&plan, &chosen).expect("the plan can be copied");
                    let command = ["replan", "--threads", "2", "--write", "--effort", effort];
                    let replan = process::run(&command, &chosen).0.as_secs_f64();
                    let review = process::review(&chosen).0.as_secs_f64();
                    [replan / review, replan, review]
                })
                .collect();
            found.sort_by(|one, other| one[0].total_cmp(&other[0]));
            let [ratio, replan, review] = found[RUNS / 2];
            println!("{steps} steps, {effort}: {replan:.2} s, review {review:.2} s, ratio {ratio:.1}");
        }
    }
}
