//! Reading a trace: record by record, every fault with its place, every name resolved. What the records mean together is
//! put together in `steps`.

use std::{collections::BTreeMap, sync::Arc};

use super::{
    clock::{Clock, Moment},
    frame_files::FrameFiles,
    frame_screens::{Below, FrameScreen, FrameScreens},
    header::{BeginsWith, Header, LARGEST_COUNT, read_header},
    steps::{Asked, Pen, Person, StepsMaker},
    unknown_names::UnknownNames,
};
use crate::{
    display::Display,
    geometry::{Rect, Size},
    plan::{
        Begins, Cause, Plan, PlanHead, PlanMaker, Power, RecordedPlan, RecordedUpdate, ScreenId, Step, Stroke,
        StrokePoint, Update, WindowAsk, check_draws, read_boxes, read_window,
    },
    source::{
        Fault, Source, did_you_mean,
        json::{BrokenLine, Fields, Item, Reading, line_of, read_json_lines},
    },
};

/// A trace as a plan, and what its screens are made from.
#[derive(Debug)]
pub struct Trace {
    /// What the device was asked to do.
    pub plan: Plan,
    /// The screens of the plan.
    pub screens: FrameScreens,
}

/// Reads a trace.
///
/// # Errors
/// Every fault of the text and of the files that it names, each with its place.
pub fn read_trace(source: &Arc<Source>, files: &mut dyn FrameFiles) -> Result<Trace, Vec<Fault>> {
    let mut reader = Reader::new(files);
    let (broken, faults) = read_json_lines(source, |reading, item| reader.record(reading, item));
    reader.finish(source, broken, faults)
}

/// Points of a pen may be as far away as in a plan.
const FARTHEST_PX: f64 = 1e6;

struct Reader<'f> {
    files: &'f mut dyn FrameFiles,
    first: First,
    clock: Clock,
    steps: StepsMaker,
    screens: Vec<FrameScreen>,
    by_content: BTreeMap<FrameScreen, ScreenId>,
    /// What is in memory now.
    memory: Below,
    begins: Begins,
    unknown_modes: UnknownNames,
    unknown_frames: UnknownNames,
}

/// What stands on the first line.
enum First {
    /// It is still to come.
    Awaited,
    IsNoHeader,
    Is(Box<Header>),
}

impl First {
    fn header(&self) -> Option<&Header> {
        if let Self::Is(header) = self { Some(header) } else { None }
    }
}

impl<'f> Reader<'f> {
    fn new(files: &'f mut dyn FrameFiles) -> Self {
        Self {
            files,
            first: First::Awaited,
            clock: Clock::default(),
            steps: StepsMaker::default(),
            screens: Vec::new(),
            by_content: BTreeMap::new(),
            memory: Below::White,
            begins: Begins::Unknown,
            unknown_modes: UnknownNames::default(),
            unknown_frames: UnknownNames::default(),
        }
    }

    fn record(&mut self, reading: &mut Reading, item: &Item<'_>) {
        if !item.is_object() {
            let message = "every line of a trace is a JSON object, but this one is not";
            reading.fault(item, message, "write the header or the record of this line as `{ ... }`");
            if matches!(self.first, First::Awaited) {
                self.first = First::IsNoHeader;
            }
            return;
        }
        match &self.first {
            First::Awaited => self.begin(reading, item),
            // Without a header, every record would be wrong in the same way.
            First::IsNoHeader => {}
            First::Is(_) => {
                self.one_record(reading, item);
            }
        }
    }

    fn begin(&mut self, reading: &mut Reading, item: &Item<'_>) {
        let is_record = item.has_field("record") && !item.has_field("format");
        if is_record && line_of(&item.pointer).is_some_and(|line| line > 1) {
            let message = "a trace begins with its header, but the first line that can be read is a record: the header before \
                           it is not JSON";
            reading.fault(item, message, "correct the first line");
        } else if is_record {
            let help = "write the header on the first line: `{\"format\": \"update-trace/1\", \"display\": ...}`";
            reading.fault(item, "a trace begins with its header, but this is a record", help);
        }
        let header = if is_record { None } else { read_header(reading, item, self.files) };
        if let Some(header) = &header {
            self.clock = Clock::new(header.clock);
            self.steps = StepsMaker::new(header.cause_ms, header.clock);
            (self.begins, self.memory) = match header.begins {
                BeginsWith::White => (Begins::White, Below::White),
                BeginsWith::Unknown => (Begins::Unknown, Below::White),
                BeginsWith::Black => (Begins::Black, Below::Black),
                BeginsWith::File(file) => {
                    let screen = self.screen(FrameScreen { file, part: None });
                    (Begins::Screen(screen), Below::Screen(screen))
                }
            };
        }
        self.first = header.map_or(First::IsNoHeader, |header| First::Is(Box::new(header)));
    }

    fn one_record(&mut self, reading: &mut Reading, item: &Item<'_>) -> Option<()> {
        if item.has_field("format") && !item.has_field("record") {
            let help = "put what the device recorded after it was switched on again into a trace of its own";
            reading.fault(item, "this is a second header, but a trace has one, on its first line", help);
            return None;
        }
        let opened = reading.open_object(item, "a record")?;
        let kind_item = reading.required(&opened, "record", "a record")?;
        let kinds = KINDS.map(|(word, fields)| (word, (word, fields)));
        let (kind, known) = reading.word(&kind_item, &kinds)?;
        let known: Vec<&str> = ["record", "at"].into_iter().chain(known.iter().copied()).collect();
        // The fields are those of this kind; a name that appears twice was reported above.
        for (name, field) in opened.iter().filter(|(name, _)| !known.contains(name)) {
            reading.fault(field, format!("a record `{kind}` has no field `{name}`"), did_you_mean(name, known.clone()));
        }
        let at = self.time(reading, &opened, kind)?;
        match kind {
            "update" => self.update(reading, &opened, at),
            "frame" => self.frame(reading, &opened),
            "touch" | "key" => {
                let cause = if kind == "touch" { Cause::Touch } else { Cause::Key };
                self.person(reading, &opened, at.ms, cause);
                Some(())
            }
            "pen" => self.pen(reading, &opened),
            "power" => self.power(reading, &opened),
            "temperature" => self.temperature(reading, &opened),
            _ => self.remark(reading, &opened),
        }
    }

    fn time(&mut self, reading: &mut Reading, fields: &Fields<'_>, kind: &str) -> Option<Moment> {
        let item = reading.required(fields, "at", &format!("a record `{kind}`"))?;
        let count = self.count(reading, &item)?;
        let moment = self.clock.next(count);
        if moment.back_ms > 0.0 {
            self.steps.runs_back(format!("{}/at", fields.pointer), moment.back_ms);
        }
        Some(moment)
    }

    /// A count of the clock, which is below the one at which it begins again.
    fn count(&self, reading: &mut Reading, item: &Item<'_>) -> Option<f64> {
        if item.as_text().is_some() {
            let help = "write the count of the device's clock without quotes; `stillpage trace` turns times of day into \
                        counts";
            reading.fault(item, "this time is a text, but a trace has numbers", help);
            return None;
        }
        let count = reading.number(item, 0.0, LARGEST_COUNT)?;
        match self.clock.unit.wraps_at {
            Some(range) if count >= range => {
                let message = format!("this time is {count}, but the clock begins again at {range}");
                reading.fault(item, message, "correct `wraps_at` of the header's `clock`");
                None
            }
            _ => Some(count),
        }
    }

    fn update(&mut self, reading: &mut Reading, fields: &Fields<'_>, at: Moment) -> Option<()> {
        let mode = reading.required(fields, "mode", "a record `update`").and_then(|item| self.mode(reading, &item));
        let window = fields.get("window").map_or(Some(WindowAsk::All), |item| read_boxes(reading, item));
        let frame = fields.get("frame").map(|item| self.file(reading, item, None));
        let [started, finished] = ["started", "finished"].map(|name| self.measured(reading, fields, name));
        let screen = frame.map_or(Some(None), |screen| screen.map(Some))?;
        if let Some(screen) = screen {
            self.shows(screen, format!("{}/frame", fields.pointer));
        }
        if let (Some(started_ms), Some(finished_ms), Some(item)) = (started, finished, fields.get("finished"))
            && finished_ms < started_ms
        {
            let message = "the update is finished before it is started";
            reading.fault(item, message, "check which of the two times the device writes");
        }
        let update = Update { mode: mode?, window: window?, drive_ms: None, with_old: false };
        let recorded = RecordedUpdate {
            pointer: fields.pointer.clone(),
            at_count: fields.get("at").and_then(Item::as_number).unwrap_or(0.0),
            // Until the step is complete, since the first record.
            started_ms: started,
            finished_ms: finished,
            others_finished: None,
        };
        self.steps.update(at, Asked { update, recorded });
        Some(())
    }

    /// When an update was started or finished, ms since the first record.
    fn measured(&mut self, reading: &mut Reading, fields: &Fields<'_>, name: &str) -> Option<f64> {
        let item = fields.get(name)?;
        let count = self.count(reading, item)?;
        let ms = self.clock.after(count);
        if ms.is_none() {
            let message = format!("the update is {name} before it is asked for, by its field `at`");
            let help = "write into `at` when the device asked for the update";
            reading.fault(item, message, help);
        }
        ms
    }

    /// A mode by the device's own name or number.
    fn mode(&mut self, reading: &mut Reading, item: &Item<'_>) -> Option<usize> {
        let number = item.as_number().map(|number| number.to_string());
        let name = match number {
            Some(number) => number,
            None => reading.text(item)?.value,
        };
        let header = self.first.header()?;
        // Without a display, its own fault has to be fixed first.
        let display = header.display.as_ref()?;
        if let Some(mode) = header.modes.get(&name) {
            return *mode;
        }
        let mode = display.mode_named(&name);
        if mode.is_none() {
            self.unknown_modes.note(&name, reading.place_of(item), || unknown_mode(&name, display));
        }
        mode
    }

    fn frame(&mut self, reading: &mut Reading, fields: &Fields<'_>) -> Option<()> {
        let window = fields.get("window").map(|item| self.part(reading, item));
        let item = reading.required(fields, "file", "a record `frame`")?;
        let part = window.map_or(Some(None), |part| part.map(Some));
        let screen = self.file(reading, &item, part.flatten())?;
        part?;
        self.shows(screen, item.pointer.clone());
        Some(())
    }

    /// The place of a part, which must be on the panel.
    fn part(&self, reading: &mut Reading, item: &Item<'_>) -> Option<Rect> {
        let window = read_window(reading, item)?;
        let size = self.size()?;
        let rect = window.cut(size).filter(|rect| rect.to_window() == window);
        if rect.is_none() {
            let message = format!("this part of a frame leaves the screen, which has {size} px");
            reading.fault(item, message, "check the window, and `rotation` in the header");
        }
        rect
    }

    fn size(&self) -> Option<Size> {
        let header = self.first.header()?;
        Some(header.rotation.turn_size(header.display.as_ref()?.size))
    }

    /// The screen that a file makes of what is in memory.
    fn file(&mut self, reading: &mut Reading, item: &Item<'_>, part: Option<Rect>) -> Option<ScreenId> {
        let path = reading.text(item)?.value;
        let file = match self.files.frame(&path) {
            Ok(file) => file,
            Err(trouble) => {
                self.unknown_frames.note(&path, reading.place_of(item), || (trouble.message, trouble.help));
                return None;
            }
        };
        let part = part.map(|rect| (rect, self.memory));
        Some(self.screen(FrameScreen { file, part }))
    }

    fn screen(&mut self, screen: FrameScreen) -> ScreenId {
        *self.by_content.entry(screen).or_insert_with(|| {
            self.screens.push(screen);
            ScreenId(self.screens.len() - 1)
        })
    }

    fn shows(&mut self, screen: ScreenId, pointer: String) {
        self.memory = Below::Screen(screen);
        self.steps.shows(screen, pointer);
    }

    fn person(&mut self, reading: &mut Reading, fields: &Fields<'_>, at_ms: f64, cause: Cause) {
        let window = fields.get("box").map(|item| read_window(reading, item));
        if let Some(item) = fields.get("point") {
            reading.numbers::<2>(item, "[x, y]", -FARTHEST_PX, FARTHEST_PX);
        }
        // A key is at no place of the screen.
        let touched = window.flatten().filter(|_| cause == Cause::Touch);
        let pointer = touched.map(|_| format!("{}/box", fields.pointer));
        self.steps.acts(Person { at_ms, cause, touched: touched.zip(pointer) });
    }

    fn pen(&mut self, reading: &mut Reading, fields: &Fields<'_>) -> Option<()> {
        let points = reading.required(fields, "points", "a record `pen`").and_then(|item| self.points(reading, &item));
        let width = reading.required(fields, "width_px", "a record `pen`");
        let width_px = width.and_then(|item| reading.number(&item, 0.1, 1000.0));
        let mode_item = reading.required(fields, "mode", "a record `pen`");
        let mode = mode_item.as_ref().and_then(|item| self.mode(reading, item));
        let shades = [("black", false), ("white", true)];
        let white = fields.get("shade").map_or(Some(false), |item| reading.word(item, &shades));
        let display = self.first.header()?.display.clone()?;
        let mode = mode?;
        can_draw(reading, &mode_item?, &display, mode)?;
        let stroke = Stroke { points: points?, width_px: width_px?, mode, white: white? };
        self.steps.draws(Pen { stroke, pointer: fields.pointer.clone() });
        Some(())
    }

    /// The points of a pen, their times in ms since the first record.
    fn points(&self, reading: &mut Reading, item: &Item<'_>) -> Option<Vec<StrokePoint>> {
        let elements = reading.list(item)?;
        if elements.is_empty() {
            reading.fault(item, "a record `pen` needs at least one point", "write `[[x, y, time], ...]`");
            return None;
        }
        let mut points: Vec<StrokePoint> = Vec::with_capacity(elements.len());
        for element in &elements {
            let [x, y, count] = reading.numbers(element, "[x, y, time]", -FARTHEST_PX, LARGEST_COUNT)?;
            let ms = self.clock.near(count);
            if points.last().is_some_and(|last| ms < last.ms) {
                let help = "write the times in the unit of the header's `clock`";
                reading.fault(element, "the points of a pen must be in order of time", help);
                return None;
            }
            points.push(StrokePoint { x, y, ms });
        }
        Some(points)
    }

    fn power(&mut self, reading: &mut Reading, fields: &Fields<'_>) -> Option<()> {
        let item = reading.required(fields, "to", "a record `power`")?;
        self.steps.power(reading.word(&item, &Power::WORDS)?);
        Some(())
    }

    fn temperature(&mut self, reading: &mut Reading, fields: &Fields<'_>) -> Option<()> {
        let item = reading.required(fields, "celsius", "a record `temperature`")?;
        self.steps.temperature(reading.number(&item, -273.0, 1000.0)?, item.pointer.clone());
        Some(())
    }

    fn remark(&mut self, reading: &mut Reading, fields: &Fields<'_>) -> Option<()> {
        let item = reading.required(fields, "text", "a record `remark`")?;
        self.steps.remark(&reading.text(&item)?.value);
        Some(())
    }

    fn finish(
        mut self,
        source: &Arc<Source>,
        broken: Vec<BrokenLine>,
        mut faults: Vec<Fault>,
    ) -> Result<Trace, Vec<Fault>> {
        faults.extend(std::mem::take(&mut self.unknown_modes).faults(source, "mode"));
        faults.extend(std::mem::take(&mut self.unknown_frames).faults(source, "frame"));
        let header = match self.first {
            First::Is(header) => *header,
            First::IsNoHeader => return Err(faults),
            First::Awaited => return Err(vec![no_record(source, &broken)]),
        };
        if !faults.is_empty() {
            // What is said about the others stands behind them.
            faults.sort_by_key(|fault| fault.place.as_ref().map_or(usize::MAX, |(_, span)| span.start));
            return Err(faults);
        }
        let Some(display) = header.display else { return Err(faults) };
        let size = header.rotation.turn_size(display.size);
        let broken = broken.into_iter().map(|broken| (self.steps.step_at(broken.line), broken)).collect();
        let begins_at_ms = self.steps.begins_at_ms();
        let (steps, out_of_order) = self.steps.finish();
        let head = PlanHead {
            source: source.clone(),
            title: header.title,
            rotation: header.rotation,
            temperature_c: header.temperature_c,
            begins_is_said: header.begins_is_said,
            rules: header.rules,
            folder_rules: self.files.settings(),
            accept: header.accept,
            recorded: Some(RecordedPlan { begins_at_ms, broken, out_of_order, ..RecordedPlan::default() }),
        };
        let maker = PlanMaker::new(display, self.screens.len()).begins(self.begins);
        let maker = steps.into_iter().fold(maker, |maker, step: Step| maker.step(step));
        let plan = maker.make_with(head, self.files.rules()).map_err(|no_plan| vec![not_played(source, &no_plan)])?;
        Ok(Trace { plan, screens: FrameScreens { packing: header.packing, size, screens: self.screens } })
    }
}

/// The kinds of records, and the fields that they have beside `record` and `at`.
const KINDS: [(&str, &[&str]); 8] = [
    ("update", &["mode", "window", "frame", "started", "finished"]),
    ("frame", &["file", "window"]),
    ("touch", &["box", "point"]),
    ("key", &["box", "point"]),
    ("pen", &["points", "width_px", "mode", "shade"]),
    ("power", &["to"]),
    ("temperature", &["celsius"]),
    ("remark", &["text"]),
];

/// Checks that the controller draws ink, and that it can do so in a mode.
fn can_draw(reading: &mut Reading, item: &Item<'_>, display: &Display, mode: usize) -> Option<()> {
    if display.controller_ink_delay_ms.is_none() {
        let message = format!("the display `{}` has no controller-drawn ink", display.name);
        let help = "remove the record, or describe `controller_ink` in a display description of your own";
        reading.fault(item, message, help);
        return None;
    }
    check_draws(reading, item, &display.modes[mode], "a pen")
}

fn unknown_mode(name: &str, display: &Display) -> (String, String) {
    let message = format!("neither the header's `modes` nor the display knows the mode `{name}`");
    let known = did_you_mean(name, display.modes.iter().map(|mode| mode.name.as_str()));
    let help = format!("say in the header which mode of the display it is, `\"modes\": {{\"{name}\": ...}}`: {known}");
    (message, help)
}

fn no_record(source: &Arc<Source>, broken: &[BrokenLine]) -> Fault {
    let message = match broken.first() {
        None => "the file is empty".to_owned(),
        Some(first) => format!("no line of this file is JSON: {} in line {}", first.reason, first.line),
    };
    Fault::of_file(&source.name, message, "a trace has one JSON object on each line, the header first")
}

/// The reader checks everything that a plan is refused for.
fn not_played(source: &Arc<Source>, no_plan: &crate::plan::NoPlan) -> Fault {
    let message = match &no_plan.reason {
        crate::plan::NoPlanReason::Steps(count) => {
            format!("the trace has {count} steps, but at most {} can be reviewed", crate::plan::MOST_STEPS)
        }
        reason => format!("the trace cannot be played: {reason:?} at {}", no_plan.step),
    };
    Fault::of_file(&source.name, message, "divide the trace; if it is short, please report this")
}
