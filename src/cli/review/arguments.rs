//! What `review` takes.

use std::path::PathBuf;

use clap::{Args, ValueEnum, ValueHint};

use crate::{
    cli::{files::Outside, offered::Offered, options::Threads},
    excerpt::{Excerpt, TimePoint},
    finding::Severity,
    report::{Gate, GateOn, text::Detail},
    source::did_you_mean,
};

/// What `review` takes.
#[derive(Debug, Args)]
pub(crate) struct ReviewArguments {
    /// Plans, traces or user flows, or folders that are searched for `*.plan.json`, `*.trace.jsonl` and `*.flow.json`
    #[arg(default_value = ".")]
    pub(super) paths: Vec<PathBuf>,
    /// The format of the report
    #[arg(long, value_enum, default_value = "text", ignore_case = true)]
    pub(super) format: Format,
    /// Text report: list every place, in the order of the steps (by default: one entry for each cause, the worst first)
    #[arg(long, conflicts_with = "brief")]
    pub(super) full: bool,
    /// Text report: print one line for each finding, PATH:LINE:COLUMN LEVEL RULE MESSAGE, and nothing else
    #[arg(long)]
    pub(super) brief: bool,
    /// Write the report to a file instead of standard output
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub(super) out: Option<PathBuf>,
    /// Also write the report in another format to a file; may be given several times
    #[arg(long, value_name = "FORMAT=FILE", value_parser = also)]
    pub(super) also: Vec<(Format, PathBuf)>,
    /// Review at this temperature (degrees C) instead of the plans' own; may be given several times
    #[arg(long, value_name = "C", allow_negative_numbers = true, value_parser = temperature)]
    pub(super) temperature: Vec<f64>,
    /// The exit status is 1 if there is a finding of this level or a worse one; `never` ignores findings
    #[arg(long, value_enum, default_value = "error", ignore_case = true)]
    pub(super) gate: GateWord,
    /// Which findings count for the gate. `sure` leaves out those that would vanish if an estimated figure of the
    /// display were off by its stated factor. A figure without a stated factor is taken as exact
    #[arg(long, value_enum, default_value = "all", ignore_case = true)]
    pub(super) gate_on: GateOnWord,
    /// Draw one annotated picture for each step with findings into this folder, and delete the pictures of an earlier run
    /// that are out of date
    #[arg(long, value_name = "DIR", value_hint = ValueHint::DirPath)]
    pub(super) pictures: Option<PathBuf>,
    /// With `--pictures`: draw at most this many pictures of each plan; steps with new findings (those not in the file of
    /// `--known`) come first, then steps with errors
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = clap::value_parser!(u64).range(1..), requires = "pictures")]
    pub(super) pictures_limit: u64,
    /// Write a page to look at: the panel step by step, the findings beside it, and a timeline
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub(super) html: Option<PathBuf>,
    /// With `--html`: compare the plan with this second plan; the first plan is "before", this one is "after"
    #[arg(long, value_name = "PLAN", value_hint = ValueHint::FilePath, requires = "html")]
    pub(super) compare: Option<PathBuf>,
    /// Compare a trace with the plan or the user flow that the device should follow, and report where the device departed
    /// from it
    #[arg(long, value_name = "PLAN|FLOW", value_hint = ValueHint::FilePath)]
    pub(super) against: Option<PathBuf>,
    /// Report only from this time on: seconds since the beginning, or a time of day of a trace (09:31:12). Earlier
    /// steps are played, but their findings are neither reported nor counted. The figures below the findings, and
    /// `--facts`, still cover the whole plan or trace
    #[arg(long, value_name = "TIME", value_parser = TimePoint::read, conflicts_with_all = ["known", "write_known"])]
    pub(super) from: Option<TimePoint>,
    /// Report only up to this time
    #[arg(long, value_name = "TIME", value_parser = TimePoint::read, conflicts_with_all = ["known", "write_known"])]
    pub(super) to: Option<TimePoint>,
    /// Write what the model computed, as JSON Lines: one object for each step of a plan; for a flow, one for each
    /// pair of a state and a number of updates since the last cleaning
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub(super) facts: Option<PathBuf>,
    /// A list of known findings, written by `--write-known`. Findings on it never cause exit status 1
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub(super) known: Option<PathBuf>,
    /// Write all findings that are not accepted to this file, for use with `--known`
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub(super) write_known: Option<PathBuf>,
    /// Run only this rule; may be given several times
    #[arg(long, value_name = "RULE", value_parser = Offered::RULES, hide_possible_values = true)]
    pub(super) only: Vec<String>,
    /// Do not run this rule; may be given several times
    #[arg(long, value_name = "RULE", value_parser = Offered::RULES, hide_possible_values = true)]
    pub(super) without: Vec<String>,
    /// Keep running. When a plan, a screen or a display is saved, review again the plans that use it, and say what is new
    /// and what is gone (with `--full`, everything). Press Ctrl-C to stop
    #[arg(long, conflicts_with = "facts")]
    pub(super) watch: bool,
    #[command(flatten)]
    pub(super) outside: Outside,
    #[command(flatten)]
    pub(super) threads: Threads,
}

/// What `live` reviews, and how.
#[derive(Debug, Args)]
pub(in crate::cli) struct LiveReview {
    /// Plans, traces or user flows, or folders that are searched for `*.plan.json`, `*.trace.jsonl` and `*.flow.json`
    #[arg(default_value = ".")]
    paths: Vec<PathBuf>,
    /// Review at this temperature (degrees C) instead of the plans' own
    #[arg(long, value_name = "C", allow_negative_numbers = true, value_parser = temperature)]
    temperature: Option<f64>,
    /// Run only this rule; may be given several times
    #[arg(long, value_name = "RULE", value_parser = Offered::RULES, hide_possible_values = true)]
    only: Vec<String>,
    /// Do not run this rule; may be given several times
    #[arg(long, value_name = "RULE", value_parser = Offered::RULES, hide_possible_values = true)]
    without: Vec<String>,
    #[command(flatten)]
    outside: Outside,
    #[command(flatten)]
    threads: Threads,
}

impl LiveReview {
    /// The same as a review that is repeated and writes no file.
    pub(in crate::cli) fn as_review(&self) -> ReviewArguments {
        ReviewArguments {
            paths: self.paths.clone(),
            format: Format::Text,
            full: false,
            brief: false,
            out: None,
            also: Vec::new(),
            temperature: self.temperature.into_iter().collect(),
            gate: GateWord::Error,
            gate_on: GateOnWord::All,
            pictures: None,
            pictures_limit: 1,
            html: None,
            compare: None,
            against: None,
            from: None,
            to: None,
            facts: None,
            known: None,
            write_known: None,
            only: self.only.clone(),
            without: self.without.clone(),
            watch: true,
            outside: self.outside,
            threads: self.threads,
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// Text to read
    Text,
    /// For other programs
    Json,
    /// For code hosts and editors: SARIF 2.1.0
    Sarif,
    /// For programs that show test results: JUnit XML
    Junit,
    /// For a comment on a merge request: a table and the worst findings
    Markdown,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum GateWord {
    Error,
    Warning,
    Note,
    Never,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum GateOnWord {
    All,
    Sure,
}

impl From<GateOnWord> for GateOn {
    fn from(word: GateOnWord) -> Self {
        match word {
            GateOnWord::All => Self::All,
            GateOnWord::Sure => Self::Sure,
        }
    }
}

impl ReviewArguments {
    /// How much the text says.
    pub(super) fn detail(&self) -> Detail {
        match (self.full, self.brief) {
            (true, _) => Detail::Full,
            (_, true) => Detail::Brief,
            _ => Detail::Causes,
        }
    }

    /// The part that is reported.
    pub(super) fn excerpt(&self) -> Excerpt {
        Excerpt { from: self.from, to: self.to }
    }

    /// What makes the exit status 1.
    pub(super) fn gate(&self) -> Gate {
        let on = GateOn::from(self.gate_on);
        match self.gate {
            GateWord::Error => Gate::At(Severity::Error, on),
            GateWord::Warning => Gate::At(Severity::Warning, on),
            GateWord::Note => Gate::At(Severity::Note, on),
            GateWord::Never => Gate::Never,
        }
    }
}

fn temperature(text: &str) -> Result<f64, String> {
    let celsius: f64 = text.parse().map_err(|_| "write degrees C as a number, for instance 25 or -5".to_owned())?;
    if (-273.0..=1000.0).contains(&celsius) { Ok(celsius) } else { Err("it must be between -273 and 1000".into()) }
}

fn also(text: &str) -> Result<(Format, PathBuf), String> {
    let (format, file) = text.split_once('=').ok_or("write it as FORMAT=FILE, for instance json=findings.json")?;
    if file.is_empty() {
        return Err("the file name is missing after the equals sign".into());
    }
    let format = Format::from_str(format, true).map_err(|_| {
        let known: Vec<String> = Format::value_variants()
            .iter()
            .filter_map(|known| Some(known.to_possible_value()?.get_name().to_owned()))
            .collect();
        format!("there is no format `{format}`; {}", did_you_mean(format, known.iter().map(String::as_str)))
    })?;
    Ok((format, file.into()))
}
