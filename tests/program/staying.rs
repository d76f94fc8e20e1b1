//! A program that stays until it is ended, and the lines that it prints. Nothing is timed here, but nobody waits forever.

use std::{
    io::{BufRead, BufReader, Read},
    process::{Child, ExitStatus, Stdio},
    sync::mpsc::{Receiver, channel},
    time::{Duration, Instant},
};

use crate::common::Folder;

/// A program that stays; it is ended with the test.
pub(crate) struct Staying {
    child: Child,
    lines: Receiver<String>,
}

impl Staying {
    pub(crate) fn begin(folder: &Folder, arguments: &[&str]) -> Self {
        Self::of(folder.command(arguments))
    }

    pub(crate) fn of(mut command: std::process::Command) -> Self {
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let (sender, lines) = channel();
        let (out, error) = (child.stdout.take().unwrap(), child.stderr.take().unwrap());
        for stream in [Box::new(out) as Box<dyn Read + Send>, Box::new(error)] {
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

    /// All lines up to those that contain the words, on whichever stream.
    pub(crate) fn until(&self, words: &[&str]) -> String {
        let mut lines = Vec::new();
        let mut missing = words.to_vec();
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

    /// What it prints within a time.
    pub(crate) fn within(&self, time: Duration) -> Vec<String> {
        let end = Instant::now() + time;
        std::iter::from_fn(|| self.lines.recv_timeout(end.saturating_duration_since(Instant::now())).ok()).collect()
    }

    /// Ends it as Ctrl-C does.
    #[cfg(unix)]
    pub(crate) fn interrupt(&mut self) -> ExitStatus {
        let ended = std::process::Command::new("kill").args(["-INT", &self.child.id().to_string()]).status();
        assert!(ended.unwrap().success());
        self.child.wait().unwrap()
    }
}

impl Drop for Staying {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

pub(crate) const PLAN: &str = r#"{ "steps": [
    { "label": "start", "screen": "NAME-1.png", "updates": [{ "mode": "full" }] },
    { "label": "then", "screen": "NAME-2.png", "after_ms": 9000, "updates": [{ "mode": "quick", "window": [0, 0, 8, 8] }] }
  ] }"#;
