//! The refresh plan: which screen, when, which windows, in which mode.
//!
//! [`read_plan`] turns the text into a [`Plan`], [`PlanMaker`] makes one in code; [`Plan::steps`] expands it
//! lazily. Knows the display, not the pictures.

mod expand;
mod limits;
mod made;
mod document;
mod recorded;
mod settings;

use std::{collections::BTreeMap, sync::Arc};

use crate::{
    display::{Display, Memory},
    geometry::{Rotation, Size, Window},
    source::Source,
};
pub(crate) use document::{
    Context, LONGEST_MS, accepted_rule, check_draws, figure, head, head_fields, mode, named_mode, read_accept,
    read_boxes, read_display, read_rotation, read_temperature, read_window, resolved, screen, touched, updates,
    window_ask,
};
pub use document::{Surroundings, Trouble, read_plan};
pub(crate) use expand::steps_of;
pub use expand::{PlannedStep, Steps};
pub use limits::{LimitValue, NoDefault, Origin, RuleLimits, TinyTextLimits, display_limit, limits_as_of};
pub use made::{NoPlan, NoPlanReason, PlanHead, PlanMaker};
pub use recorded::{Departure, DepartureKind, OutOfOrder, RecordedPlan, RecordedStep, RecordedUpdate, median};
pub(crate) use settings::rules as read_rules;
pub use settings::{
    FolderSettings, KnownLimit, KnownRule, RuleLevel, RuleSetting, RuleSettings, Set, read_folder_settings, with_outer,
};

/// The most steps of an expanded plan.
pub const MOST_STEPS: u64 = 1_000_000;

/// The figures of a summary that a plan may put a budget on, as they are called in files.
pub const BUDGET_FIGURES: [&str; 13] = [
    "accepted",
    "cleanings",
    "driving_seconds",
    "energy_mj",
    "error",
    "flashing_updates",
    "longest_answer_ms",
    "most_since_cleaning",
    "note",
    "residue_l",
    "seconds",
    "warning",
    "worst_residue_l",
];

/// A screen file of a plan, by its place in the plan's list of distinct screens.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ScreenId(pub usize);

/// A plan, resolved.
///
/// Already true of it: every mode is one of the display's, every screen names a file that exists, windows are at least
/// one pixel wide and high, strokes use changed-only modes, at most [`MOST_STEPS`] steps, labels that `accept` names
/// occur once.
#[derive(Debug)]
pub struct Plan {
    /// Its text.
    pub source: Arc<Source>,
    /// Free text.
    pub title: String,
    /// The display that it is played on.
    pub display: Arc<Display>,
    /// How the screens are turned.
    pub rotation: Rotation,
    /// Degrees C; a step may set another. See [`PlannedStep::temperature_c`].
    pub temperature_c: f64,
    /// Whether that holds whatever the steps say.
    pub temperature_is_held: bool,
    /// The reading distance, mm.
    pub viewing_distance_mm: f64,
    /// The battery's energy, mWh, where known.
    pub battery_mwh: Option<f64>,
    /// Upper limits on the summary's figures, by name.
    pub budgets: BTreeMap<String, f64>,
    /// Whether it starts again when it ends, on the panel as it left it.
    pub loops: bool,
    /// Whether `replan` may insert steps of its own in its pauses.
    pub may_insert: bool,
    /// What is on the glass before the first step.
    pub begins: Begins,
    /// Whether the plan says so itself; otherwise the glass is unknown because the plan does not say.
    pub begins_is_said: bool,
    /// The steps as they are written in the file.
    pub nodes: Vec<Node>,
    /// How many steps there are when everything is expanded.
    pub step_count: u64,
    /// Settings of rules, its own and those of the folders that contain it.
    pub rules: RuleSettings,
    /// The limits of the rules that apply here.
    pub limits: RuleLimits,
    /// Findings that somebody decided to accept.
    pub accept: Vec<Accept>,
    /// What a device recorded of the whole, if the plan was made from its trace.
    pub recorded: Option<RecordedPlan>,
    /// Whether its steps are those of a walk through a flow.
    pub is_walk: bool,
}

/// What the steps of a plan come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlanKind {
    /// A file of steps.
    Plan,
    /// A walk through a flow: every step is a move.
    Walk,
    /// What a device did.
    Trace,
}

impl PlanKind {
    /// What is played, in a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Plan => "plan",
            Self::Walk => "walk",
            Self::Trace => "trace",
        }
    }

    /// A step by its number, in words.
    pub fn step(self, number: u64) -> String {
        match self {
            // A flow has no steps.
            Self::Walk => format!("step {number} of the walk"),
            Self::Plan | Self::Trace => format!("step {number}"),
        }
    }

    /// The file that says it, in a word.
    pub fn file_word(self) -> &'static str {
        match self {
            Self::Plan => "plan",
            Self::Walk => "flow",
            Self::Trace => "trace",
        }
    }
}

/// What is on the glass before the first step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Begins {
    /// Clean white.
    White,
    /// Clean black.
    Black,
    /// A clean picture.
    Screen(ScreenId),
    /// Assumed to be white, but no pixel is known.
    Unknown,
}

/// A step, or a group of steps that is played several times.
#[derive(Clone, Debug)]
pub enum Node {
    /// A step; it counts as one for each screen if it stands for several files.
    Step(Arc<Step>),
    /// A group, `count` times.
    Repeat {
        /// How often.
        count: u64,
        /// What.
        body: Vec<Node>,
    },
}

impl Node {
    fn with_updates(&self, updates_of: &dyn Fn(&Step) -> Option<Vec<Update>>) -> Self {
        match self {
            Self::Step(step) => Self::Step(match updates_of(step) {
                Some(updates) => Arc::new(step.with_updates(updates)),
                None => step.clone(),
            }),
            Self::Repeat { count, body } => {
                Self::Repeat { count: *count, body: body.iter().map(|node| node.with_updates(updates_of)).collect() }
            }
        }
    }
}

/// A step as it is written in the file.
#[derive(Debug)]
pub struct Step {
    /// The JSON pointer to it.
    pub pointer: String,
    /// The user's name for it.
    pub label: Option<String>,
    /// Milliseconds since the previous step's request or pen-up.
    pub after_ms: f64,
    /// What caused it.
    pub cause: Cause,
    /// The touch target, in screen coordinates.
    pub touched: Option<Window>,
    /// Lines that the controller draws under the pen before the updates.
    pub strokes: Vec<Stroke>,
    /// The updates that it asks for.
    pub updates: Updates,
    /// Degrees C from this step on, if given.
    pub temperature_c: Option<f64>,
    /// What happens to the panel's power afterwards; `None` if it stays on.
    pub power: Option<Power>,
    /// What becomes the picture in memory.
    pub shows: Shows,
    /// What a device recorded of it, if the plan was made from its trace.
    pub recorded: Option<Box<RecordedStep>>,
}

impl Step {
    fn with_updates(&self, updates: Vec<Update>) -> Self {
        let shows = match &self.shows {
            Shows::Same => Shows::Same,
            Shows::Screen(screen) => Shows::Screen(*screen),
            Shows::Each(screens) => Shows::Each(screens.clone()),
        };
        self.with(shows, Updates::Listed(updates))
    }

    /// The same step that shows something else, with other updates.
    pub(crate) fn with(&self, shows: Shows, updates: Updates) -> Self {
        Self {
            pointer: self.pointer.clone(),
            label: self.label.clone(),
            strokes: self.strokes.clone(),
            recorded: self.recorded.clone(),
            updates,
            shows,
            ..*self
        }
    }

    /// Time from the request to the last pen-up, ms; 0 without strokes.
    pub fn pen_up_ms(&self) -> f64 {
        self.strokes.iter().filter_map(|stroke| stroke.points.last()).map(|point| point.ms).fold(0.0, f64::max)
    }

    /// Time from the request of the step to the request of its updates, ms: they are asked for at the last pen-up, or
    /// later if a device recorded that.
    pub fn updates_after_ms(&self) -> f64 {
        self.pen_up_ms() + self.recorded.as_ref().map_or(0.0, |recorded| recorded.after_pen_ms)
    }

    /// What a device recorded of an update.
    pub fn recorded_update(&self, update: usize) -> Option<&RecordedUpdate> {
        self.recorded.as_ref()?.updates.get(update)
    }

    /// The updates that it lists; none if they are still to be chosen.
    pub fn listed_updates(&self) -> &[Update] {
        match &self.updates {
            Updates::Listed(updates) => updates,
            Updates::Choose => &[],
        }
    }

    /// How many steps it stands for.
    pub fn times(&self) -> u64 {
        match &self.shows {
            Shows::Each(screens) => screens.len() as u64,
            Shows::Same | Shows::Screen(_) => 1,
        }
    }
}

/// What happens to the panel's power after a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Power {
    /// It is switched off.
    Off,
    /// It is sent to sleep.
    Sleep,
}

impl Power {
    /// The words that stand in files; `None` if it stays on.
    pub const WORDS: [(&'static str, Option<Self>); 3] =
        [(Self::Off.word(), Some(Self::Off)), (Self::Sleep.word(), Some(Self::Sleep)), ("on", None)];

    /// The word that stands in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Off => "off",
            Self::Sleep => "sleep",
        }
    }

    /// Whether a controller with such memory forgets the picture.
    pub fn loses(self, memory: Memory) -> bool {
        match memory {
            Memory::Kept => false,
            Memory::LostWhenOff => self == Self::Off,
            Memory::LostWhenAsleep => true,
        }
    }
}

/// What a step puts into memory.
#[derive(Debug, PartialEq)]
pub enum Shows {
    /// The picture stays.
    Same,
    /// This screen.
    Screen(ScreenId),
    /// These screens, one per step.
    Each(Vec<ScreenId>),
}

/// What causes a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// A finger.
    Touch,
    /// A pen.
    Pen,
    /// A key or button.
    Key,
    /// The time.
    Clock,
    /// Anything else.
    System,
}

impl Cause {
    /// All there are.
    pub const ALL: [Self; 5] = [Self::Touch, Self::Pen, Self::Key, Self::Clock, Self::System];

    /// Its name, in a plan and for people.
    pub fn word(self) -> &'static str {
        match self {
            Self::Touch => "touch",
            Self::Pen => "pen",
            Self::Key => "key",
            Self::Clock => "clock",
            Self::System => "system",
        }
    }

    /// Whether a person causes it and waits for an answer.
    pub fn is_person(self) -> bool {
        matches!(self, Self::Touch | Self::Pen | Self::Key)
    }
}

/// The updates of a step.
#[derive(Debug, PartialEq)]
pub enum Updates {
    /// In this order.
    Listed(Vec<Update>),
    /// Still to be chosen.
    Choose,
}

/// An update as the plan asks for it.
#[derive(Clone, Debug, PartialEq)]
pub struct Update {
    /// Index of the display's mode.
    pub mode: usize,
    /// Which windows.
    pub window: WindowAsk,
    /// A duration that overrides the mode's, ms.
    pub drive_ms: Option<f64>,
    /// Whether the host also sends the old picture.
    pub with_old: bool,
}

/// The windows that an update asks for.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum WindowAsk {
    /// The whole panel.
    All,
    /// The box around what differs from the glass.
    Changed,
    /// These, driven at the same time; at least one.
    Boxes(Vec<Window>),
}

/// A line that the controller draws under the pen.
#[derive(Clone, Debug, PartialEq)]
pub struct Stroke {
    /// Points in screen coordinates, at least one, in time order.
    pub points: Vec<StrokePoint>,
    /// Width, px.
    pub width_px: f64,
    /// Index of the display's mode, a changed-only one.
    pub mode: usize,
    /// Whether it draws white instead of black.
    pub white: bool,
}

/// A point of a stroke.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StrokePoint {
    /// Column, px.
    pub x: f64,
    /// Row, px.
    pub y: f64,
    /// Milliseconds since the step's request.
    pub ms: f64,
}

/// A finding that somebody decided to accept.
#[derive(Clone, Debug, PartialEq)]
pub struct Accept {
    /// The rule's id.
    pub rule: String,
    /// Which steps; all if it is not given.
    pub steps: Option<Vec<StepName>>,
    /// The reason.
    pub because: String,
    /// The JSON pointer to it.
    pub pointer: String,
}

/// How `accept` names a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StepName {
    /// By its label.
    Label(String),
    /// By its number in the expanded plan, from 0.
    Index(u64),
}

impl Plan {
    /// The size of its screens, as the reader sees the panel.
    pub fn screen_size(&self) -> Size {
        self.rotation.turn_size(self.display.size)
    }

    /// The same panel and the same limits for other steps; without budgets and accepted findings, which name what the
    /// other steps do not have. The steps must name modes and screens of this plan.
    #[must_use]
    pub(crate) fn with_steps(&self, nodes: Vec<Node>, step_count: u64) -> Self {
        Self {
            source: self.source.clone(),
            title: self.title.clone(),
            display: self.display.clone(),
            budgets: BTreeMap::new(),
            loops: false,
            may_insert: false,
            nodes,
            step_count,
            rules: self.rules.clone(),
            accept: Vec::new(),
            recorded: None,
            is_walk: false,
            ..*self
        }
    }

    /// The same plan with other updates at some steps: `updates_of` gives them, or nothing where a step stays as it is.
    #[must_use]
    pub(crate) fn with_updates(&self, updates_of: &dyn Fn(&Step) -> Option<Vec<Update>>) -> Self {
        let nodes = self.nodes.iter().map(|node| node.with_updates(updates_of)).collect();
        let (budgets, accept) = (self.budgets.clone(), self.accept.clone());
        let Self { loops, is_walk, .. } = *self;
        Self { budgets, loops, accept, is_walk, ..self.with_steps(nodes, self.step_count) }
    }

    /// Whether it switches a rule off, itself or by the settings of its folders.
    pub fn switches_off(&self, rule: &str) -> bool {
        let level = self.rules.get(rule).and_then(|setting| setting.level.as_ref());
        level.is_some_and(|level| level.value == RuleLevel::Off)
    }

    /// What its steps come from.
    pub fn kind(&self) -> PlanKind {
        match (&self.recorded, self.is_walk) {
            (Some(_), _) => PlanKind::Trace,
            (None, true) => PlanKind::Walk,
            (None, false) => PlanKind::Plan,
        }
    }

    /// Sets the temperature at which it is played, whatever it says itself.
    pub fn hold_temperature(&mut self, celsius: f64) {
        (self.temperature_c, self.temperature_is_held) = (celsius, true);
    }
}
