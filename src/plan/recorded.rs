//! What a device recorded beyond what a plan says: real times, and where the records are. Plain data, filled by the
//! reader of traces.

/// What a device recorded of the whole plan.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RecordedPlan {
    /// The time of day of the first record, ms since midnight, if it is known.
    pub begins_at_ms: Option<f64>,
    /// Lines of the trace that could not be read: the step that follows, the line, and what is wrong with it.
    pub broken: Vec<(u64, crate::source::json::BrokenLine)>,
    /// Records whose time lies before that of the record before them.
    pub out_of_order: Vec<OutOfOrder>,
    /// Where the device departed from the plan that it should follow, if it is held against one.
    pub departures: Vec<Departure>,
    /// How many steps of that plan were done as it asks, and how many there are.
    pub as_planned: Option<[u64; 2]>,
}

/// A difference between what a device did and the plan that it should follow.
#[derive(Clone, Debug, PartialEq)]
pub struct Departure {
    /// Its kind.
    pub kind: DepartureKind,
    /// The step of the trace that it is about, or the next one.
    pub step: u64,
    /// The label of that step.
    pub label: Option<String>,
    /// The JSON pointer into the trace.
    pub pointer: String,
    /// Distinguishes differences at the same place.
    pub key: String,
    /// Where on the screen.
    pub rect: Option<crate::geometry::Rect>,
    /// What is different, with the place in the plan.
    pub message: String,
    /// What to do.
    pub help: String,
}

/// The kinds of departures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DepartureKind {
    /// Something that the plan does not have.
    NotInPlan,
    /// Something of the plan that the device left out.
    NotDone,
    /// Something of the plan that was done in another way, or late.
    DoneOtherwise,
}

/// A record whose time lies before that of the record before it.
#[derive(Clone, Debug, PartialEq)]
pub struct OutOfOrder {
    /// The step that the record belongs to, or the next one.
    pub step: u64,
    /// The JSON pointer to its time.
    pub pointer: String,
    /// How far the clock ran back, ms.
    pub back_ms: f64,
}

/// The middle of sorted measurements; `None` if there are none.
pub fn median(sorted: &[f64]) -> Option<f64> {
    let upper = *sorted.get(sorted.len() / 2)?;
    Some(f64::midpoint(sorted[(sorted.len() - 1) / 2], upper))
}

/// What a device recorded of a step.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RecordedStep {
    /// The JSON pointer to the record of what is in memory, if there is one.
    pub screen: Option<String>,
    /// The JSON pointer to the record of the temperature, if there is one.
    pub temperature: Option<String>,
    /// The JSON pointer to the target of the touch, if there is one.
    pub touched: Option<String>,
    /// The JSON pointers to the records of its strokes.
    pub strokes: Vec<String>,
    /// Its updates, as many as the step lists.
    pub updates: Vec<RecordedUpdate>,
    /// How long after the last pen-up the updates were requested, ms.
    pub after_pen_ms: f64,
    /// How long before the request of the step the person acted who waits for it, ms.
    pub person_before_ms: f64,
    /// How long before the request of the step the last act of a person was that nothing had answered by then, however
    /// long ago, ms.
    pub unanswered_ms: Option<f64>,
}

/// What a device recorded of an update.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RecordedUpdate {
    /// The JSON pointer to its record.
    pub pointer: String,
    /// Its time as the device counts it.
    pub at_count: f64,
    /// When it began, ms since the request of the step.
    pub started_ms: Option<f64>,
    /// When it was finished, ms since the request of the step.
    pub finished_ms: Option<f64>,
    /// How many other updates of its mode have an end, if it has none.
    pub others_finished: Option<u64>,
}

impl RecordedUpdate {
    /// Whether the device measured when it began or ended.
    pub fn has_times(&self) -> bool {
        self.started_ms.is_some() || self.finished_ms.is_some()
    }

    /// How long it took, ms.
    pub fn duration_ms(&self) -> Option<f64> {
        Some(self.finished_ms? - self.started_ms?)
    }
}
