//! Plans made in code, without a text: steps are put together and checked like those of a text, and each kind of
//! mistake is an error value.
//!
//! Knows the display that a plan is played on and how many screens there are; no files. Whatever is to be played, from
//! whichever source, becomes a [`Plan`]: by [`super::read_plan`] from a text, or here.

use std::{collections::BTreeMap, sync::Arc};

use super::{
    Accept, Begins, Cause, KnownRule, MOST_STEPS, NoDefault, Node, Plan, RecordedPlan, RuleLimits, RuleSettings,
    ScreenId, Shows, Step, Stroke, Update, Updates, WindowAsk, settings::with_outer, steps_of,
};
use crate::{
    display::Display,
    geometry::{Rotation, Window},
    source::Source,
};

/// The temperature of a plan that gives none, degrees C.
const ROOM_C: f64 = 25.0;
/// The longest time between two steps, and the longest drive, ms.
const LONGEST_MS: f64 = 1e12;
/// The narrowest and the widest line under a pen, px.
const STROKE_WIDTHS_PX: std::ops::RangeInclusive<f64> = 0.1..=1000.0;

/// Why steps do not make a valid plan; the step is the JSON pointer that it would have.
#[derive(Clone, Debug, PartialEq)]
pub struct NoPlan {
    /// The place.
    pub step: String,
    /// What is wrong there.
    pub reason: NoPlanReason,
}

/// The mistakes that steps can have.
#[derive(Clone, Debug, PartialEq)]
pub enum NoPlanReason {
    /// The display has no mode of this number.
    Mode(usize),
    /// There is no screen of this number.
    Screen(ScreenId),
    /// This window is less than a pixel wide or high.
    Window(Window),
    /// A step that a key causes has a touch target.
    TouchedByKey,
    /// An update asks for a list of windows, but the list is empty.
    NoWindow,
    /// A time is outside the range 0 to 1e12 ms, or is not a number.
    Time(f64),
    /// The display has no controller-drawn ink, and a step has strokes.
    NoControllerInk,
    /// A stroke's mode drives every pixel of a window.
    StrokeMode(usize),
    /// A stroke's width is outside the range 0.1 to 1000 px, or is not a number.
    StrokeWidth(f64),
    /// A stroke has no point, or its points are not in order of time.
    StrokePoints,
    /// A repetition is played zero times, or has no step.
    Repetition,
    /// There are this many steps, more than [`MOST_STEPS`].
    Steps(u64),
    /// A rule's limit has no value.
    Limit(NoDefault),
}

impl Update {
    /// An update of the whole panel.
    pub fn of_all(mode: usize) -> Self {
        Self { mode, window: WindowAsk::All, drive_ms: None, with_old: false }
    }

    /// An update of the box around what differs from the glass.
    pub fn of_changed(mode: usize) -> Self {
        Self { mode, window: WindowAsk::Changed, drive_ms: None, with_old: false }
    }

    /// An update of some windows, driven at the same time.
    pub fn of_boxes(mode: usize, boxes: Vec<Window>) -> Self {
        Self { mode, window: WindowAsk::Boxes(boxes), drive_ms: None, with_old: false }
    }
}

impl Step {
    /// A step of the device that puts something into memory and asks for no update; its other fields are set
    /// afterwards. Its pointer is set when it becomes part of a plan, unless it has one by then.
    pub fn new(shows: Shows) -> Self {
        Self {
            pointer: String::new(),
            label: None,
            after_ms: 0.0,
            cause: Cause::System,
            touched: None,
            strokes: Vec::new(),
            updates: Updates::Listed(Vec::new()),
            temperature_c: None,
            power: None,
            shows,
            recorded: None,
        }
    }
}

/// What is said of a plan as a whole.
#[derive(Debug)]
pub struct PlanHead {
    /// The text that it was made from.
    pub source: Arc<Source>,
    /// Free text.
    pub title: String,
    /// How the screens are turned.
    pub rotation: Rotation,
    /// Degrees C.
    pub temperature_c: f64,
    /// Whether what is on the glass at the beginning is said.
    pub begins_is_said: bool,
    /// Its own settings of rules.
    pub rules: RuleSettings,
    /// The settings of the folders that contain it.
    pub folder_rules: RuleSettings,
    /// Findings that somebody decided to accept.
    pub accept: Vec<Accept>,
    /// What a device recorded of the whole.
    pub recorded: Option<RecordedPlan>,
}

impl PlanHead {
    /// A plan that nothing is said of.
    pub fn new(name: &str) -> Self {
        Self {
            source: Arc::new(Source::new(name, "")),
            title: String::new(),
            rotation: Rotation::default(),
            temperature_c: ROOM_C,
            begins_is_said: true,
            rules: RuleSettings::new(),
            folder_rules: RuleSettings::new(),
            accept: Vec::new(),
            recorded: None,
        }
    }
}

/// Puts a plan together.
#[derive(Debug)]
pub struct PlanMaker {
    display: Arc<Display>,
    screens: usize,
    begins: Begins,
    nodes: Vec<Node>,
    /// The first mistake.
    wrong: Option<NoPlan>,
}

impl PlanMaker {
    /// A plan without steps on a display; its screens have the numbers from 0 to `screens`.
    pub fn new(display: Arc<Display>, screens: usize) -> Self {
        Self { display, screens, begins: Begins::White, nodes: Vec::new(), wrong: None }
    }

    /// What is on the glass before the first step.
    #[must_use]
    pub fn begins(mut self, begins: Begins) -> Self {
        if let Begins::Screen(screen) = begins {
            self.check("/begins/screen", |maker| maker.check_screen(screen));
        }
        Self { begins, ..self }
    }

    /// The next step.
    #[must_use]
    pub fn step(mut self, step: Step) -> Self {
        let pointer = format!("/steps/{}", self.nodes.len());
        let node = self.placed(step, pointer);
        self.nodes.push(node);
        self
    }

    /// The next steps, played this many times.
    #[must_use]
    pub fn repeat(mut self, count: u64, body: Vec<Step>) -> Self {
        let pointer = format!("/steps/{}", self.nodes.len());
        let is_empty = count == 0 || body.is_empty();
        self.check(&pointer, |_| if is_empty { Err(NoPlanReason::Repetition) } else { Ok(()) });
        let places = body.into_iter().enumerate();
        let body = places.map(|(at, step)| self.placed(step, format!("{pointer}/steps/{at}"))).collect();
        self.nodes.push(Node::Repeat { count, body });
        self
    }

    /// The plan, with the limits that the pages of these rules and the display give.
    ///
    /// # Errors
    /// The first mistake.
    pub fn make(self, name: &str, known: &[KnownRule]) -> Result<Plan, NoPlan> {
        self.make_with(PlanHead::new(name), known)
    }

    /// The plan of which that is said, with the limits that its settings, the pages of these rules and the display give.
    ///
    /// # Errors
    /// The first mistake.
    pub fn make_with(self, head: PlanHead, known: &[KnownRule]) -> Result<Plan, NoPlan> {
        if let Some(wrong) = self.wrong {
            return Err(wrong);
        }
        let step_count = steps_of(&self.nodes);
        if step_count > MOST_STEPS {
            return Err(NoPlan { step: "/steps".into(), reason: NoPlanReason::Steps(step_count) });
        }
        let limits = RuleLimits::resolve(known, &head.rules, &head.folder_rules, &self.display)
            .map_err(|missing| NoPlan { step: String::new(), reason: NoPlanReason::Limit(missing) })?;
        Ok(Plan {
            source: head.source,
            title: head.title,
            rotation: head.rotation,
            temperature_c: head.temperature_c,
            temperature_is_held: false,
            viewing_distance_mm: self.display.reading_distance_mm(),
            battery_mwh: None,
            budgets: BTreeMap::new(),
            loops: false,
            may_insert: false,
            begins: self.begins,
            begins_is_said: head.begins_is_said,
            nodes: self.nodes,
            step_count,
            rules: with_outer(head.rules, &head.folder_rules),
            limits,
            accept: head.accept,
            recorded: head.recorded,
            is_walk: false,
            display: self.display,
        })
    }

    fn placed(&mut self, step: Step, pointer: String) -> Node {
        let pointer = if step.pointer.is_empty() { pointer } else { step.pointer.clone() };
        self.check(&pointer, |maker| maker.check_step(&step));
        Node::Step(Arc::new(Step { pointer, ..step }))
    }

    fn check(&mut self, place: &str, check: impl FnOnce(&Self) -> Result<(), NoPlanReason>) {
        let found = check(self).err().map(|reason| NoPlan { step: place.into(), reason });
        self.wrong = self.wrong.take().or(found);
    }

    fn check_step(&self, step: &Step) -> Result<(), NoPlanReason> {
        check_time(step.after_ms)?;
        step.touched.iter().try_for_each(|window| check_window(*window))?;
        if step.touched.is_some() && step.cause == Cause::Key {
            return Err(NoPlanReason::TouchedByKey);
        }
        match &step.shows {
            Shows::Same => {}
            Shows::Screen(screen) => self.check_screen(*screen)?,
            Shows::Each(screens) => screens.iter().try_for_each(|screen| self.check_screen(*screen))?,
        }
        if !step.strokes.is_empty() && self.display.controller_ink_delay_ms.is_none() {
            return Err(NoPlanReason::NoControllerInk);
        }
        step.strokes.iter().try_for_each(|stroke| self.check_stroke(stroke))?;
        step.listed_updates().iter().try_for_each(|update| self.check_update(update))
    }

    fn check_update(&self, update: &Update) -> Result<(), NoPlanReason> {
        self.check_mode(update.mode)?;
        update.drive_ms.map_or(Ok(()), check_time)?;
        match &update.window {
            WindowAsk::All | WindowAsk::Changed => Ok(()),
            WindowAsk::Boxes(boxes) if boxes.is_empty() => Err(NoPlanReason::NoWindow),
            WindowAsk::Boxes(boxes) => boxes.iter().try_for_each(|window| check_window(*window)),
        }
    }

    fn check_stroke(&self, stroke: &Stroke) -> Result<(), NoPlanReason> {
        self.check_mode(stroke.mode)?;
        if !self.display.modes[stroke.mode].changed_only {
            return Err(NoPlanReason::StrokeMode(stroke.mode));
        }
        if !STROKE_WIDTHS_PX.contains(&stroke.width_px) {
            return Err(NoPlanReason::StrokeWidth(stroke.width_px));
        }
        stroke.points.iter().try_for_each(|point| check_time(point.ms))?;
        let is_in_order = stroke.points.is_sorted_by(|one, next| one.ms <= next.ms);
        if is_in_order && !stroke.points.is_empty() { Ok(()) } else { Err(NoPlanReason::StrokePoints) }
    }

    fn check_mode(&self, mode: usize) -> Result<(), NoPlanReason> {
        if mode < self.display.modes.len() { Ok(()) } else { Err(NoPlanReason::Mode(mode)) }
    }

    fn check_screen(&self, screen: ScreenId) -> Result<(), NoPlanReason> {
        if screen.0 < self.screens { Ok(()) } else { Err(NoPlanReason::Screen(screen)) }
    }
}

fn check_time(ms: f64) -> Result<(), NoPlanReason> {
    if (0.0..=LONGEST_MS).contains(&ms) { Ok(()) } else { Err(NoPlanReason::Time(ms)) }
}

fn check_window(window: Window) -> Result<(), NoPlanReason> {
    if window.width >= 1 && window.height >= 1 { Ok(()) } else { Err(NoPlanReason::Window(window)) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        display::{Beside, Segments, read_display, shipped},
        plan::{StrokePoint, limits::rules_with_limits},
        source::Fault,
    };

    struct Nothing;

    impl Beside for Nothing {
        /// Displays that change another are left out.
        fn base(&mut self, _name: &str) -> Result<Display, Vec<Fault>> {
            Err(Vec::new())
        }

        fn segments(&mut self, path: &str) -> Result<Segments, Fault> {
            panic!("{path} is looked for")
        }
    }

    /// A shipped display whose controller draws ink under the pen, or one whose controller does not.
    fn display(draws_ink: bool) -> Arc<Display> {
        let read = |name: &str| {
            let text = shipped::text_of(name).expect("it ships").to_owned();
            read_display(&Arc::new(Source::new(name, text)), &mut Nothing).ok()
        };
        let mut displays =
            shipped::names().filter(|name| !name.starts_with("segments") && !name.starts_with("flag")).filter_map(read);
        let found = displays.find(|display| display.controller_ink_delay_ms.is_some() == draws_ink);
        Arc::new(found.expect("one of each kind ships"))
    }

    fn made(step: Step) -> Result<Plan, NoPlan> {
        PlanMaker::new(display(true), 1).step(step).make("made", &rules_with_limits())
    }

    fn refused(step: Step) -> NoPlanReason {
        let no_plan = made(step).expect_err("this is no plan");
        assert_eq!(no_plan.step, "/steps/0");
        no_plan.reason
    }

    fn asks(update: Update) -> Step {
        Step { updates: Updates::Listed(vec![update]), ..Step::new(Shows::Same) }
    }

    fn draws(stroke: Stroke) -> Step {
        Step { strokes: vec![stroke], ..Step::new(Shows::Same) }
    }

    #[test]
    fn what_no_text_may_say_no_code_may_make() {
        let modes = display(true).modes.len();
        let empty = Window { x: 0, y: 0, width: 0, height: 4 };
        assert_eq!(refused(asks(Update::of_all(modes))), NoPlanReason::Mode(modes));
        assert_eq!(refused(asks(Update::of_boxes(0, vec![empty]))), NoPlanReason::Window(empty));
        assert_eq!(refused(asks(Update::of_boxes(0, Vec::new()))), NoPlanReason::NoWindow);
        let longest = Update { drive_ms: Some(1e13), ..Update::of_all(0) };
        assert_eq!(refused(asks(longest)), NoPlanReason::Time(1e13));
        assert_eq!(refused(Step::new(Shows::Screen(ScreenId(1)))), NoPlanReason::Screen(ScreenId(1)));
        assert_eq!(refused(Step { after_ms: -1.0, ..Step::new(Shows::Same) }), NoPlanReason::Time(-1.0));
        assert_eq!(refused(Step { touched: Some(empty), ..Step::new(Shows::Same) }), NoPlanReason::Window(empty));
        let target = Some(Window { width: 4, ..empty });
        let pressed = Step { touched: target, cause: Cause::Key, ..Step::new(Shows::Same) };
        assert_eq!(refused(pressed), NoPlanReason::TouchedByKey);
        let begins =
            PlanMaker::new(display(true), 0).begins(Begins::Screen(ScreenId(0))).make("made", &rules_with_limits());
        assert_eq!(begins.expect_err("there is no screen").step, "/begins/screen");
    }

    #[test]
    fn strokes_are_as_a_text_may_have_them() {
        let of = |is_quick: bool| {
            let mode = display(true).modes.iter().position(|mode| mode.changed_only == is_quick);
            mode.expect("a panel for pens has modes of both kinds")
        };
        let point = |ms: f64| StrokePoint { x: 1.0, y: 1.0, ms };
        let stroke = Stroke { points: vec![point(0.0), point(5.0)], width_px: 2.0, mode: of(true), white: false };
        assert!(made(draws(stroke.clone())).is_ok());
        let other = Stroke { mode: of(false), ..stroke.clone() };
        assert_eq!(refused(draws(other)), NoPlanReason::StrokeMode(of(false)));
        assert_eq!(refused(draws(Stroke { width_px: 0.0, ..stroke.clone() })), NoPlanReason::StrokeWidth(0.0));
        let backwards = Stroke { points: vec![point(5.0), point(0.0)], ..stroke.clone() };
        assert_eq!(refused(draws(backwards)), NoPlanReason::StrokePoints);
        assert_eq!(refused(draws(Stroke { points: Vec::new(), ..stroke.clone() })), NoPlanReason::StrokePoints);
        let no_ink = PlanMaker::new(display(false), 0).step(draws(stroke)).make("made", &rules_with_limits());
        assert_eq!(no_ink.expect_err("nothing draws it").reason, NoPlanReason::NoControllerInk);
    }

    #[test]
    fn repetitions_have_steps_and_an_end() {
        let again = |count: u64, body: Vec<Step>| {
            PlanMaker::new(display(true), 0).repeat(count, body).make("made", &rules_with_limits())
        };
        let step = || vec![Step::new(Shows::Same)];
        assert_eq!(again(0, step()).expect_err("no time").reason, NoPlanReason::Repetition);
        assert_eq!(again(2, Vec::new()).expect_err("no step").reason, NoPlanReason::Repetition);
        assert_eq!(again(MOST_STEPS, step()).map(|plan| plan.step_count).ok(), Some(MOST_STEPS));
        assert_eq!(again(MOST_STEPS + 1, step()).expect_err("too many").reason, NoPlanReason::Steps(MOST_STEPS + 1));
    }
}
