//! The program as a process of its own: its wall time, and the most memory that it took.

use std::{
    fs,
    path::Path,
    process::{Command, Stdio},
    time::{Duration, Instant},
};

/// Wall time of a review, and the most memory that it was seen to take, KB.
pub(crate) fn review(plan: &Path) -> (Duration, u64) {
    run(&["review", "--threads", "2", "--gate", "never", "--format", "json"], plan)
}

/// Wall time of a command on a plan, and the most memory that it was seen to take, KB.
pub(crate) fn run(command: &[&str], plan: &Path) -> (Duration, u64) {
    let begin = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_stillpage"))
        .args(command)
        .arg(plan)
        .stdout(Stdio::null())
        .spawn()
        .expect("the program runs");
    let mut most = 0;
    let status = loop {
        most = most.max(peak_kilobytes(child.id()));
        if let Some(status) = child.try_wait().expect("the program can be waited for") {
            break status;
        }
        std::thread::sleep(Duration::from_millis(2));
    };
    assert!(status.success(), "{} {} failed", command[0], plan.display());
    (begin.elapsed(), most)
}

/// The peak of a process, where the system tells it; else 0.
fn peak_kilobytes(process: u32) -> u64 {
    let status = fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.trim().trim_end_matches(" kB").parse().ok()).unwrap_or(0)
}

/// The middle one of some figures.
pub(crate) fn middle(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}
