//! `review --known` and `--write-known`: the list of known findings on the disk, and the paths in it.

use std::path::{Path, PathBuf};

use super::arguments::ReviewArguments;
use crate::cli::{
    files::{folder_of, read_text, real, way_from},
    output::write_file,
};
use crate::{
    finding::Finding,
    known::{KnownFinding, KnownPlan, mark_known, read_known, write_known},
    report::{PlanOutcome, PlanReport},
    rules::{RULES, Selection, is_of_screens},
    source::Fault,
};

/// What is known, and for which plans it is written again.
#[derive(Debug)]
pub(super) struct KnownList {
    /// Whether findings are compared with the list.
    is_compared: bool,
    plans: Vec<KnownPlan>,
    /// The folder that its paths are relative to.
    folder: PathBuf,
    /// The file to which it is written.
    target: Option<PathBuf>,
    /// What was found in this run.
    reviewed: Vec<KnownPlan>,
}

impl KnownList {
    /// Reads the list that the findings are compared with, or if there is none, the list that will be written again.
    pub(super) fn load(arguments: &ReviewArguments) -> Result<Option<Self>, Vec<Fault>> {
        let target = arguments.write_known.clone();
        let Some(place) = arguments.known.as_ref().or(target.as_ref()) else { return Ok(None) };
        let is_compared = arguments.known.is_some();
        let plans = if is_compared || place.exists() { read(place)? } else { Vec::new() };
        let mut list = Self { is_compared, plans, folder: real(folder_of(place)), target, reviewed: Vec::new() };
        list.move_to_target();
        Ok(Some(list))
    }

    /// If the list is written to another folder, its paths are relative to that folder.
    fn move_to_target(&mut self) {
        let Some(folder) = self.target.as_deref().map(|target| real(folder_of(target))) else { return };
        for plan in &mut self.plans {
            plan.plan = way_from(&folder, &real(&self.folder.join(&plan.plan)));
        }
        self.folder = folder;
    }

    /// Whether findings are compared with the list.
    pub(super) fn is_compared(&self) -> bool {
        self.is_compared
    }

    /// Marks the known findings of a plan, and keeps what was found.
    pub(super) fn add(&mut self, report: &mut PlanReport, selection: &Selection) {
        // A plan that could not be read keeps what is known of it.
        let PlanOutcome::Reviewed(reviewed) = &mut report.outcome else { return };
        let plan = way_from(&self.folder, &real(Path::new(&report.path)));
        let known = self.known_of(&plan, report.temperature_c);
        // The findings of a rule that failed do not count as gone.
        let failed = reviewed.failed.clone();
        let left_out = reviewed.screens_reported_before;
        let runs = |rule: &str| selection.takes(rule) && !failed.contains(&rule) && !(left_out && is_of_screens(rule));
        // A bug in the program is never accepted as known.
        let is_listed = |finding: &&Finding| finding.accepted.is_none() && !finding.is_own_fault();
        let mut findings: Vec<KnownFinding> =
            reviewed.findings.iter().filter(is_listed).map(KnownFinding::of).collect();
        findings.extend(known.iter().filter(|known| !runs(&known.rule)).cloned());
        if self.is_compared {
            reviewed.gone = mark_known(&mut reviewed.findings, &known, runs);
        }
        self.reviewed.push(KnownPlan { plan, temperature_c: report.temperature_c, findings });
    }

    /// Marks the known findings of a plan and keeps nothing, for those who need to know early.
    pub(super) fn mark(&self, path: &Path, temperature_c: Option<f64>, findings: &mut [Finding]) {
        if self.is_compared {
            let plan = way_from(&self.folder, &real(path));
            mark_known(findings, &self.known_of(&plan, temperature_c), |_| true);
        }
    }

    fn known_of(&self, plan: &str, temperature_c: Option<f64>) -> Vec<KnownFinding> {
        let of_plan = self.plans.iter().filter(|known| known.plan == plan && known.temperature_c == temperature_c);
        of_plan.flat_map(|known| &known.findings).cloned().collect()
    }

    /// The known plans that are no longer on the disk.
    pub(super) fn gone_plans(&self) -> Vec<KnownPlan> {
        self.plans.iter().filter(|known| !self.folder.join(&known.plan).exists()).cloned().collect()
    }

    /// Writes the list again if requested: what was found in this run, and unchanged whatever this run did not look at.
    pub(super) fn write(&self) -> Result<(), Fault> {
        let Some(target) = &self.target else { return Ok(()) };
        let is_kept = |known: &&KnownPlan| {
            let seen = |plan: &KnownPlan| (&plan.plan, plan.temperature_c) == (&known.plan, known.temperature_c);
            self.folder.join(&known.plan).exists() && !self.reviewed.iter().any(seen)
        };
        let mut plans: Vec<KnownPlan> = self.plans.iter().filter(is_kept).chain(&self.reviewed).cloned().collect();
        plans.sort_by(|one, other| {
            let by_temperature = || one.temperature_c.partial_cmp(&other.temperature_c);
            one.plan.cmp(&other.plan).then_with(|| by_temperature().unwrap_or(std::cmp::Ordering::Equal))
        });
        write_file(target, |out| write_known(&plans, out))
    }
}

fn read(place: &Path) -> Result<Vec<KnownPlan>, Vec<Fault>> {
    if !place.exists() {
        let help = "write it once with `--write-known FILE`, and keep it beside your plans";
        return Err(vec![Fault::of_file(place.display().to_string(), "there is no such file", help)]);
    }
    let rules: Vec<&str> = RULES.iter().map(|rule| rule.id).collect();
    read_known(&read_text(place)?, &rules)
}
