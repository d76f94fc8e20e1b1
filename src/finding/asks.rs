//! What the help of a finding asks for, where another finding of the same plan may ask for more of the same.
//!
//! Knows how that is said, so that it can be said anew when several findings agree on one figure or one box.

use crate::{geometry::Rect, plan::PlanKind};

/// What a help asks for.
#[derive(Clone, Debug, PartialEq)]
pub enum Asks {
    /// A step is to come later.
    Later(Later),
    /// A place is to be cleaned.
    Cleaning(Cleaning),
    /// An update is to use a mode that does not flash, of this name.
    Quiet(String),
}

/// A step that is to come later after the one before it.
#[derive(Clone, Debug, PartialEq)]
pub struct Later {
    /// What the step is of.
    pub kind: PlanKind,
    /// The JSON pointer to the step.
    pub step: String,
    /// Its number and label, in words.
    pub name: String,
    /// The least `after_ms` that this finding needs.
    pub own_ms: u64,
    /// The least one that all findings of the step need, and the rule that needs it, where that is more.
    pub most: Option<(u64, &'static str)>,
}

/// A place that is to be cleaned.
#[derive(Clone, Debug, PartialEq)]
pub struct Cleaning {
    /// What the steps are of.
    pub kind: PlanKind,
    /// The name of the mode.
    pub mode: String,
    /// Where; the whole panel if that is nothing.
    pub window: Option<Rect>,
    /// The step after which the cleaning fits.
    pub after_step: u64,
    /// How it must be cleaned so that there is nothing to see before that, where several updates add up.
    pub prevention: Option<Prevention>,
    /// Whether what is there is to be accepted until then.
    pub is_seen_until: bool,
}

/// Cleaning again and again, before what adds up is seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Prevention {
    /// What the steps are of.
    pub kind: PlanKind,
    /// After so many updates of the place.
    pub updates: u64,
    /// For the first time after this step.
    pub latest_step: u64,
    /// So long after the last touch, key or pen, ms; `None` where no person asks for anything.
    pub quiet_ms: Option<u64>,
}

impl Prevention {
    /// What is to be done, in words: they stand in the help as they are.
    pub fn words(self) -> String {
        let Self { kind, latest_step, quiet_ms, .. } = self;
        let each_time =
            quiet_ms.map_or("in a pause".to_owned(), |ms| format!("at least {ms} ms after the last touch, key or pen"));
        format!(
            "clean this place for the first time after {} at the latest, then after every {} of it, each time {each_time}",
            kind.step(latest_step),
            self.updates()
        )
    }

    /// How many updates, in words that follow "every".
    fn updates(self) -> String {
        if self.updates == 1 { "update".to_owned() } else { format!("{} updates", self.updates) }
    }
}

impl Asks {
    /// What is asked, in a few words.
    pub fn in_short(&self) -> String {
        match self {
            Self::Later(later) => later.in_short(),
            Self::Cleaning(cleaning) => cleaning.in_short(),
            Self::Quiet(_) => self.words(),
        }
    }

    /// What is asked, in words: they stand in the help as they are.
    pub fn words(&self) -> String {
        match self {
            Self::Later(later) => later.words(),
            Self::Cleaning(cleaning) => cleaning.words(),
            Self::Quiet(mode) => format!("use `{mode}` here"),
        }
    }
}

impl Later {
    /// The `after_ms` that is enough for every finding of the step.
    pub fn after_ms(&self) -> u64 {
        self.most.map_or(self.own_ms, |(ms, _)| ms)
    }

    fn in_short(&self) -> String {
        let (ms, why) = (self.after_ms(), self.why());
        match self.kind {
            PlanKind::Plan => format!("set `after_ms` to at least {ms}{why}"),
            PlanKind::Walk => format!("set `soonest_ms` to at least {ms}{why}"),
            // A firmware has no such field.
            PlanKind::Trace => format!("send it at least {ms} ms after the step before{why}"),
        }
    }

    /// Which rule needs more than this finding, in words that follow the time.
    fn why(&self) -> String {
        let words = |(ms, rule)| format!(" ({} would be enough for this rule, but `{rule}` needs {ms})", self.own_ms);
        self.most.map_or(String::new(), words)
    }

    fn words(&self) -> String {
        let (name, why) = (&self.name, self.why());
        let ms = self.after_ms();
        match self.kind {
            PlanKind::Plan => format!("set `after_ms` of {name} to at least {ms}{why}"),
            PlanKind::Walk => format!("set `soonest_ms` of this move to at least {ms}{why}"),
            PlanKind::Trace => {
                format!("send the updates of {name} at least {ms} ms after those of the step before{why}")
            }
        }
    }
}

impl Cleaning {
    /// The step after which it is cleaned for the first time, at the latest.
    pub fn first_after(&self) -> u64 {
        self.prevention.map_or(self.after_step, |prevention| prevention.latest_step)
    }

    /// The place, in words.
    pub fn place(&self) -> String {
        let window = |rect: Rect| format!("the window {:?}", rect.to_array());
        self.window.map_or("the whole panel".to_owned(), window)
    }

    fn words(&self) -> String {
        format!("`{}` on {}", self.mode, self.place())
    }

    fn in_short(&self) -> String {
        let until = if self.is_seen_until { "; accept the ghost until then" } else { "" };
        let when = match self.prevention {
            Some(prevention) => format!(
                "for the first time after {} at the latest, then after every {} of it",
                self.kind.step(prevention.latest_step),
                prevention.updates()
            ),
            None => format!("after {}{until}", self.kind.step(self.after_step)),
        };
        format!("{} {when}", self.words())
    }
}
