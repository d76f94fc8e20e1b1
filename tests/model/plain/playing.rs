//! The plan played step by step: what each step changes, drives, leaves behind and shows.

use super::Fault;
use super::driving::{Charge, Drive, PanelState, Tally, time_share};
use super::eye::{GhostLimit, Seen, seen};
use super::geometry::{Mask, Rect, Size, count, mask_of_boxes};
use super::pen::{Piece, pieces};
use super::queue::{Queue, Times};
use super::reading::{Begins, Memory, Mode, Plan, Power, Step, Stroke, Update, WhenBusy, find_mode};
use super::regions::{Region, regions};
use super::screens::{Levels, Screen, read_screen};
use super::segments::SegmentFaults;
use super::windows::{boxes, screen_size};

/// Everything that is known of a step once it is played.
#[derive(Clone, Debug)]
pub(crate) struct Played {
    pub(crate) label: Option<String>,
    pub(crate) request_ms: f64,
    /// Of the screen in memory.
    pub(crate) segment_faults: SegmentFaults,
    pub(crate) changed_px: usize,
    pub(crate) regions: Vec<Region>,
    pub(crate) updates: Vec<PlayedUpdate>,
    pub(crate) left_behind_px: usize,
    pub(crate) seen: Seen,
    pub(crate) most_since_cleaning: u64,
    /// None where there is no limit, or no mode that gives impulses.
    pub(crate) charge: Option<Charge>,
    /// The state at the step's end, for whoever wants to look closer than the facts do.
    pub(crate) glass: PanelState,
}

#[derive(Clone, Debug)]
pub(crate) struct PlayedUpdate {
    pub(crate) mode: String,
    pub(crate) asked: Vec<Rect>,
    pub(crate) sent: Vec<Rect>,
    pub(crate) tally: Tally,
    pub(crate) times: Times,
    pub(crate) duration_ms: f64,
    pub(crate) energy_mj: f64,
    /// Whether the controller took no notice of it.
    pub(crate) is_lost: bool,
    /// The levels on the glass, before and after.
    pub(crate) before: Levels,
    pub(crate) after: Levels,
}

pub(crate) fn play(plan: &Plan) -> Result<Vec<Played>, Fault> {
    let mut player = Player::new(plan)?;
    plan.steps.iter().map(|step| player.step(step)).collect()
}

struct Player<'a> {
    plan: &'a Plan,
    size: Size,
    memory: Screen,
    glass: PanelState,
    queue: Queue,
    /// The last step's request, or its pen-up.
    last_ms: f64,
    temperature_c: f64,
}

impl<'a> Player<'a> {
    fn new(plan: &'a Plan) -> Result<Player<'a>, Fault> {
        let size = screen_size(plan.display.size, plan.rotation);
        let ink = &plan.display.ink;
        let memory = match &plan.begins {
            Begins::White | Begins::Unknown => Screen::of_level(ink.white, size),
            Begins::Black => Screen::of_level(ink.black, size),
            Begins::Screen(path) => read_screen(path, size, ink)?,
        };
        let unknown = matches!(plan.begins, Begins::Unknown);
        Ok(Player {
            plan,
            size,
            glass: PanelState::clean(memory.levels.clone(), unknown),
            memory,
            queue: Queue::new(plan.display.link.clone(), plan.display.parallel_updates),
            last_ms: 0.0,
            temperature_c: plan.temperature_c,
        })
    }

    fn step(&mut self, step: &Step) -> Result<Played, Fault> {
        let request_ms = self.last_ms + step.after_ms;
        self.temperature_c = step.temperature_c.unwrap_or(self.temperature_c);
        for stroke in &step.strokes {
            self.stroke(stroke, request_ms)?;
        }
        let commit_ms = request_ms + pen_up_ms(step);
        self.last_ms = commit_ms;
        if let Some(screen) = &step.screen {
            self.memory = read_screen(screen, self.size, &self.plan.display.ink)?;
        }
        let changed = self.differs();
        let mut updates = Vec::new();
        // When the last transfer of the step ends.
        let mut sent_ms = commit_ms;
        for update in &step.updates {
            updates.push(self.update(update, commit_ms, &mut sent_ms)?);
        }
        let left_behind_px = self.left_behind(&updates);
        let forgets = match self.plan.display.memory {
            Memory::Kept => false,
            Memory::LostWhenOff => step.power == Power::Off,
            Memory::LostWhenAsleep => step.power != Power::On,
        };
        if forgets {
            self.glass.forget();
        }
        Ok(Played {
            label: step.label.clone(),
            request_ms,
            segment_faults: self.memory.faults.clone(),
            changed_px: count(&changed),
            regions: regions(self.size, &changed),
            updates,
            left_behind_px,
            seen: seen(self.size, &self.plan.display.ink, &self.glass, self.ghost_limit()),
            most_since_cleaning: self.glass.since_cleaning.iter().copied().max().unwrap_or(0),
            charge: self.charge(),
            glass: self.glass.clone(),
        })
    }

    fn stroke(&mut self, stroke: &Stroke, request_ms: f64) -> Result<(), Fault> {
        let display = &self.plan.display;
        let mode = find_mode(&display.modes, &stroke.mode)?;
        let shade = if stroke.white { display.ink.white } else { display.ink.black };
        let wanted = vec![shade; self.size.pixels()];
        let duration_ms = mode.duration_at(self.temperature_c);
        let parts = pieces(self.size, stroke);
        for part in &parts {
            self.glass.update(self.drive(mode, duration_ms), &part.covered, &wanted);
        }
        let due = |part: Piece| (request_ms + part.at_ms + display.pen_delay_ms, part.covered);
        self.queue.stroke(parts.into_iter().map(due).collect(), duration_ms);
        Ok(())
    }

    fn update(&mut self, update: &Update, request_ms: f64, sent_ms: &mut f64) -> Result<PlayedUpdate, Fault> {
        let display = &self.plan.display;
        let mode = find_mode(&display.modes, &update.mode)?;
        let window = boxes(display, self.plan.rotation, mode, &update.window, &self.differs());
        let covered = mask_of_boxes(self.size, &window.sent);
        let duration_ms = update.drive_ms.unwrap_or_else(|| mode.duration_at(self.temperature_c));
        let before = self.glass.nominal.clone();
        let sends = !window.sent.is_empty();
        let pictures = if update.with_old { 2.0 } else { 1.0 };
        if sends && display.when_busy == WhenBusy::Drops && self.queue.is_busy(*sent_ms, &covered, pictures) {
            return Ok(lost(mode, *sent_ms, duration_ms, before));
        }
        if update.with_old {
            self.glass.remind(&covered);
        }
        let drive = self.drive(mode, duration_ms);
        let tally = self.glass.update(drive, &covered, &self.memory.levels);
        let energy_mj = if sends { self.energy_mj(drive, count(&covered)) } else { 0.0 };
        let times = if sends {
            self.queue.host(request_ms, covered, duration_ms, pictures, sent_ms)
        } else {
            self.queue.nothing(request_ms)
        };
        Ok(PlayedUpdate {
            is_lost: false,
            mode: mode.name.clone(),
            asked: window.asked,
            sent: window.sent,
            tally,
            times,
            duration_ms,
            energy_mj,
            before,
            after: self.glass.nominal.clone(),
        })
    }

    fn drive(&self, mode: &'a Mode, for_ms: f64) -> Drive<'a> {
        let display = &self.plan.display;
        let (temperature_c, width) = (self.temperature_c, self.size.w as usize);
        Drive { ink: &display.ink, counts: display.counts, mode, for_ms, temperature_c, width }
    }

    fn differs(&self) -> Mask {
        self.memory.levels.iter().zip(&self.glass.nominal).map(|(m, n)| m != n).collect()
    }

    fn left_behind(&self, updates: &[PlayedUpdate]) -> usize {
        let sent: Vec<Rect> = updates.iter().flat_map(|u| u.sent.iter().copied()).collect();
        let covered = mask_of_boxes(self.size, &sent);
        self.differs().iter().zip(covered).filter(|&(&differs, covered)| differs && !covered).count()
    }

    fn energy_mj(&self, drive: Drive<'_>, pixels: usize) -> f64 {
        let pixel_cm = 2.54 / self.plan.display.pixels_per_inch;
        let per_cm2 = drive.mode.energy_mj_per_cm2 * time_share(drive);
        drive.mode.energy_start_mj + per_cm2 * (pixels as f64 * pixel_cm * pixel_cm)
    }

    fn charge(&self) -> Option<Charge> {
        let display = &self.plan.display;
        let is_given = display.modes.iter().any(|mode| mode.impulse.is_some());
        display.net_impulse_vs.filter(|_| is_given).map(|limit_vs| self.glass.charge(limit_vs))
    }

    fn ghost_limit(&self) -> GhostLimit {
        GhostLimit {
            limit_l: self.plan.ghost_limit_l,
            area_mm2: self.plan.ghost_area_mm2,
            pixels_per_inch: self.plan.display.pixels_per_inch,
        }
    }
}

/// An update that came at a time when the controller was not free for it.
fn lost(mode: &Mode, at_ms: f64, duration_ms: f64, levels: Levels) -> PlayedUpdate {
    PlayedUpdate {
        mode: mode.name.clone(),
        asked: Vec::new(),
        sent: Vec::new(),
        tally: Tally::default(),
        times: Times { send_ms: at_ms, start_ms: at_ms, finish_ms: at_ms, wait_ms: 0.0 },
        duration_ms,
        energy_mj: 0.0,
        is_lost: true,
        before: levels.clone(),
        after: levels,
    }
}

/// When the last stroke is lifted, since the step's request; 0 where there is none.
fn pen_up_ms(step: &Step) -> f64 {
    step.strokes.iter().filter_map(|s| s.points.last()).map(|p| p.ms).fold(0.0, f64::max)
}
