//! The program as a process of its own: its wall time, and the most memory that it took.

use std::{
    fs,
    path::Path,
    process::{Command, Stdio},
    time::{Duration, Instant},
};

const REVIEW: [&str; 7] = ["review", "--threads", "2", "--gate", "never", "--format", "json"];

/// Wall time of a review, and the most memory that it was seen to take, KB.
pub(crate) fn review(plan: &Path) -> (Duration, u64) {
    run(&REVIEW, plan)
}

/// The same of another program than the one that was just built.
pub(crate) fn review_by(program: &Path, plan: &Path) -> (Duration, u64) {
    run_by(program, &REVIEW, plan)
}

/// Wall time of a command on a plan, and the most memory that it was seen to take, KB.
pub(crate) fn run(command: &[&str], plan: &Path) -> (Duration, u64) {
    run_by(Path::new(env!("CARGO_BIN_EXE_stillpage")), command, plan)
}

fn run_by(program: &Path, command: &[&str], plan: &Path) -> (Duration, u64) {
    let begin = Instant::now();
    let mut child =
        Command::new(program).args(command).arg(plan).stdout(Stdio::null()).spawn().expect("the program runs");
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

/// The peak of a process, where the system tells it; otherwise 0.
fn peak_kilobytes(process: u32) -> u64 {
    let status = fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.trim().trim_end_matches(" kB").parse().ok()).unwrap_or(0)
}

/// The peak of this process so far, KB.
pub(crate) fn own_peak_kilobytes() -> u64 {
    peak_kilobytes(std::process::id())
}

/// The processor time of this process so far, all threads, s.
pub(crate) fn processor_seconds() -> f64 {
    ticks([13, 14])
}

/// The processor time of all processes that this one has started and that have ended, s.
pub(crate) fn processor_seconds_of_children() -> f64 {
    ticks([15, 16])
}

/// The sum of two fields of `/proc/self/stat` (`proc_pid_stat(5)`, counted from 0), in s: 100 ticks make one on Linux.
fn ticks(fields: [usize; 2]) -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").expect("processor time is read from /proc");
    // The second field is a name in brackets that may hold spaces.
    let rest = stat.rsplit_once(')').expect("the name ends").1;
    let ticks = fields.map(|field| rest.split_whitespace().nth(field - 2).and_then(|field| field.parse::<u64>().ok()));
    ticks.into_iter().map(|ticks| ticks.expect("the field is a number") as f64 / 100.0).sum()
}

/// The middle one of some figures.
pub(crate) fn middle(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}
