//! What the records of a trace mean together: each distinct time of an update is a step, with the frames before it as its
//! memory and the last act of a person as its cause; updates of one time that show different pictures are steps of their own. Knows no texts and no files.

use std::collections::BTreeMap;

use super::clock::{ClockUnit, Moment};
use crate::{
    geometry::Window,
    plan::{
        Cause, OutOfOrder, Power, RecordedStep, RecordedUpdate, ScreenId, Shows, Step, Stroke, StrokePoint, Update,
        Updates,
    },
    source::json::line_of,
};

/// An update as a record asks for it.
#[derive(Debug)]
pub(super) struct Asked {
    pub(super) update: Update,
    pub(super) recorded: RecordedUpdate,
}

/// An act of a person, at a target with its place in the trace.
#[derive(Clone, Debug)]
pub(super) struct Person {
    pub(super) at_ms: f64,
    pub(super) cause: Cause,
    pub(super) touched: Option<(Window, String)>,
}

/// A line of the pen, its times since the first record, and its place in the trace.
#[derive(Debug)]
pub(super) struct Pen {
    pub(super) stroke: Stroke,
    pub(super) pointer: String,
}

impl Pen {
    fn up_ms(&self) -> f64 {
        self.stroke.points.last().map_or(0.0, |point| point.ms)
    }
}

/// What records said before an update, and what its step takes from them.
#[derive(Debug, Default)]
struct Gathered {
    screen: Option<(ScreenId, String)>,
    temperature: Option<(f64, String)>,
    remark: Option<String>,
}

impl Gathered {
    /// The same with what was said later, which goes before where it says another thing; remarks add up.
    fn and(self, later: Self) -> Self {
        let remarks = [self.remark, later.remark].into_iter().flatten();
        Self {
            screen: later.screen.or(self.screen),
            temperature: later.temperature.or(self.temperature),
            remark: remarks.reduce(|before, later| before + "; " + &later),
        }
    }
}

/// Puts steps together from records in their order.
#[derive(Debug, Default)]
pub(super) struct StepsMaker {
    cause_ms: f64,
    clock: ClockUnit,
    drafts: Vec<Draft>,
    /// The picture of the last step.
    shown: Option<ScreenId>,
    /// What belongs to the next step.
    next: Gathered,
    pens: Vec<Pen>,
    /// What belonged to the next step when somebody acted after the pen: it is that of the line, if nothing commits it.
    before_act: Option<Gathered>,
    person: Option<Person>,
    /// Whether a step has answered that person.
    is_answered: bool,
    out_of_order: Vec<OutOfOrder>,
}

/// A step that may still get more updates.
#[derive(Debug)]
struct Draft {
    at_ms: f64,
    /// The count of its first update.
    own: Option<f64>,
    asked: Vec<Asked>,
    gathered: Gathered,
    pens: Vec<Pen>,
    person: Option<Person>,
    /// How long the person had waited by then, if this is the first answer, ms.
    person_before_ms: f64,
    /// How long ago a person acted whom nothing has answered yet, however long ago, ms.
    unanswered_ms: Option<f64>,
    power: Option<Power>,
}

impl StepsMaker {
    pub(super) fn new(cause_ms: f64, clock: ClockUnit) -> Self {
        Self { cause_ms, clock, ..Self::default() }
    }

    /// An update; those of the same moment are one step, as long as they show the same picture.
    pub(super) fn update(&mut self, at: Moment, asked: Asked) {
        self.commit(at.ms);
        let is_other_picture = self.next.screen.as_ref().is_some_and(|(screen, _)| Some(*screen) != self.shown);
        let is_same = |draft: &&mut Draft| draft.own.is_some_and(|own| own.to_bits() == at.own.to_bits());
        if !is_other_picture && let Some(draft) = self.drafts.last_mut().filter(is_same) {
            draft.asked.push(asked);
            let screen = &mut draft.gathered.screen;
            *screen = self.next.screen.take().or(screen.take());
            return;
        }
        self.shown = self.next.screen.as_ref().map(|(screen, _)| *screen).or(self.shown);
        self.begin(at.ms);
        if let Some(draft) = self.drafts.last_mut() {
            draft.own = Some(at.own);
            draft.asked.push(asked);
        }
    }

    fn begin(&mut self, at_ms: f64) {
        let pens = std::mem::take(&mut self.pens);
        let (committed, still_down) = pens.into_iter().partition::<Vec<Pen>, _>(|pen| pen.up_ms() <= at_ms);
        self.pens = still_down;
        if let Some(pen) = committed.last() {
            self.person = Some(Person { at_ms: pen.up_ms(), cause: Cause::Pen, touched: None });
            self.is_answered = false;
        }
        let person =
            self.person.clone().filter(|person| at_ms - person.at_ms <= self.cause_ms || !committed.is_empty());
        let unanswered = self.person.as_ref().filter(|_| !self.is_answered);
        let unanswered_ms = unanswered.map(|person| (at_ms - person.at_ms).max(0.0));
        let waited_ms = person.as_ref().filter(|_| !self.is_answered).map_or(0.0, |person| at_ms - person.at_ms);
        self.is_answered = true;
        self.drafts.push(Draft {
            at_ms,
            own: None,
            asked: Vec::new(),
            gathered: std::mem::take(&mut self.next),
            pens: committed,
            person,
            person_before_ms: waited_ms.max(0.0),
            unanswered_ms,
            power: None,
        });
    }

    pub(super) fn shows(&mut self, screen: ScreenId, pointer: String) {
        self.next.screen = Some((screen, pointer));
    }

    pub(super) fn temperature(&mut self, celsius: f64, pointer: String) {
        self.next.temperature = Some((celsius, pointer));
    }

    pub(super) fn acts(&mut self, person: Person) {
        if !self.pens.is_empty() && self.before_act.is_none() {
            self.before_act = Some(std::mem::take(&mut self.next));
        }
        (self.person, self.is_answered) = (Some(person), false);
    }

    /// Decides whether an update commits lines that the pen has drawn: not if it comes long after them, and soon after
    /// somebody touched something since. Then the lines are a step of their own, as the host had nothing to send.
    fn commit(&mut self, at_ms: f64) {
        let Some(before) = self.before_act.take() else { return };
        let up_ms = self.pens.iter().map(Pen::up_ms).fold(f64::NEG_INFINITY, f64::max);
        let is_answer = self.person.as_ref().is_some_and(|person| {
            up_ms <= person.at_ms && at_ms - person.at_ms <= self.cause_ms && at_ms - up_ms > self.cause_ms
        });
        if is_answer {
            let act = (self.person.take(), std::mem::take(&mut self.is_answered));
            let later = std::mem::replace(&mut self.next, before);
            self.shown = self.next.screen.as_ref().map(|(screen, _)| *screen).or(self.shown);
            self.begin(up_ms);
            (self.person, self.is_answered) = act;
            self.next = later;
        } else {
            self.next = before.and(std::mem::take(&mut self.next));
        }
    }

    pub(super) fn draws(&mut self, pen: Pen) {
        self.pens.push(pen);
    }

    /// The power after the step before; switched off is more than asleep.
    pub(super) fn power(&mut self, to: Option<Power>) {
        if let Some(draft) = self.drafts.last_mut()
            && draft.power != Some(Power::Off)
        {
            draft.power = to.or(draft.power);
        }
    }

    /// A remark is about the step before it, as somebody speaks of what was just seen.
    pub(super) fn remark(&mut self, text: &str) {
        let gathered = self.drafts.last_mut().map_or(&mut self.next, |draft| &mut draft.gathered);
        let more = Gathered { remark: Some(text.to_owned()), ..Gathered::default() };
        *gathered = std::mem::take(gathered).and(more);
    }

    pub(super) fn runs_back(&mut self, pointer: String, back_ms: f64) {
        self.out_of_order.push(OutOfOrder { step: 0, pointer, back_ms });
    }

    /// The first step with an update on a line of the trace or after it, otherwise the last one.
    pub(super) fn step_at(&self, line: usize) -> u64 {
        let has = |draft: &Draft| draft.asked.iter().any(|asked| line_of(&asked.recorded.pointer) >= Some(line));
        let at = self.drafts.iter().position(has);
        at.unwrap_or(self.drafts.len().saturating_sub(1)) as u64
    }

    /// The time of day of the first record, ms since midnight, if it is known.
    pub(super) fn begins_at_ms(&self) -> Option<f64> {
        self.clock.starts_at_ms
    }

    /// The steps, and the records that the clock ran back for.
    pub(super) fn finish(mut self) -> (Vec<Step>, Vec<OutOfOrder>) {
        self.commit(f64::INFINITY);
        if let Some(up_ms) = self.pens.iter().map(Pen::up_ms).reduce(f64::max) {
            // A line that nothing commits is drawn all the same.
            let last_ms = self.drafts.last().map_or(0.0, |draft| draft.at_ms);
            self.begin(up_ms.max(last_ms));
        }
        let finished = finished_by_mode(&self.drafts);
        let mut out_of_order = std::mem::take(&mut self.out_of_order);
        for record in &mut out_of_order {
            record.step = self.step_at(line_of(&record.pointer).unwrap_or(0));
        }
        let clock = self.clock;
        let mut ended_ms = 0.0;
        let steps = self.drafts.into_iter().map(|draft| draft.into_step(&mut ended_ms, clock, &finished)).collect();
        (steps, out_of_order)
    }
}

/// How many updates of each mode have an end.
fn finished_by_mode(drafts: &[Draft]) -> BTreeMap<usize, u64> {
    let mut finished = BTreeMap::new();
    let all = drafts.iter().flat_map(|draft| &draft.asked);
    for asked in all.filter(|asked| asked.recorded.finished_ms.is_some()) {
        *finished.entry(asked.update.mode).or_default() += 1;
    }
    finished
}

impl Draft {
    /// The step; `ended_ms` is when the updates of the step before were requested, and then when its own are.
    fn into_step(self, ended_ms: &mut f64, clock: ClockUnit, finished: &BTreeMap<usize, u64>) -> Step {
        let begin_ms = self.pens.iter().filter_map(|pen| pen.stroke.points.first()).map(|point| point.ms);
        // A step never begins before the one before it has asked for its updates.
        let request_ms = begin_ms.fold(self.at_ms, f64::min).max(*ended_ms);
        let since = |ms: f64| (ms - request_ms).max(0.0);
        let pointer = self.pointer();
        let pen_pointers = self.pens.iter().map(|pen| pen.pointer.clone()).collect();
        let strokes: Vec<Stroke> = self.pens.into_iter().map(|pen| moved(pen.stroke, since)).collect();
        let (mut updates, mut recorded_updates) = (Vec::new(), Vec::new());
        for Asked { update, recorded } in self.asked {
            let others_finished = finished.get(&update.mode).copied().filter(|_| recorded.finished_ms.is_none());
            recorded_updates.push(RecordedUpdate {
                started_ms: recorded.started_ms.map(|ms| ms - request_ms),
                finished_ms: recorded.finished_ms.map(|ms| ms - request_ms),
                others_finished,
                ..recorded
            });
            updates.push(update);
        }
        let (screen, screen_pointer) = self.gathered.screen.unzip();
        let (temperature_c, temperature) = self.gathered.temperature.unzip();
        let (touched, touched_pointer) = self.person.as_ref().and_then(|person| person.touched.clone()).unzip();
        let label =
            [clock.time_of_day(self.at_ms), self.gathered.remark].into_iter().flatten().collect::<Vec<_>>().join(", ");
        let mut step = Step {
            pointer,
            label: Some(label).filter(|label| !label.is_empty()),
            after_ms: request_ms - *ended_ms,
            cause: self.person.as_ref().map_or(Cause::System, |person| person.cause),
            touched,
            strokes,
            updates: Updates::Listed(updates),
            temperature_c,
            power: self.power,
            ..Step::new(screen.map_or(Shows::Same, Shows::Screen))
        };
        let after_pen_ms = (self.at_ms - request_ms - step.pen_up_ms()).max(0.0);
        step.recorded = Some(Box::new(RecordedStep {
            screen: screen_pointer,
            temperature,
            touched: touched_pointer,
            strokes: pen_pointers,
            updates: recorded_updates,
            after_pen_ms,
            person_before_ms: self.person_before_ms,
            unanswered_ms: self.unanswered_ms,
        }));
        *ended_ms = request_ms + step.updates_after_ms();
        step
    }

    /// The place of the step: its first update, or its first line.
    fn pointer(&self) -> String {
        let update = self.asked.first().map(|asked| asked.recorded.pointer.clone());
        update.or_else(|| self.pens.first().map(|pen| pen.pointer.clone())).unwrap_or_default()
    }
}

/// A stroke with other times.
fn moved(stroke: Stroke, time: impl Fn(f64) -> f64) -> Stroke {
    let points = stroke.points.into_iter().map(|point| StrokePoint { ms: time(point.ms), ..point }).collect();
    Stroke { points, ..stroke }
}
