//! What a day is expected to take, from how often moves are made: updates, flashes, energy, and days per charge.
//!
//! Knows what moves send, and no walks: no bound rests on it.

use super::map::FlowMap;
use crate::{
    display::{Display, Mode},
    flow::Flow,
    panel::Driving,
    plan::{Plan, Update},
};

const SECONDS_A_DAY: f64 = 86_400.0;

/// What a day is expected to take.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ADay {
    /// How many of the moves say how often a day they are made; the others are left out.
    pub moves: usize,
    /// Updates that send something, those of cleanings included.
    pub updates: f64,
    /// How often a mode is seen to flash, on whatever area.
    pub flashes: f64,
    /// Energy of all updates, mJ.
    pub energy_mj: f64,
    /// Mean power, standby included, mW; `None` if the display gives no standby power.
    pub mean_mw: Option<f64>,
    /// Days per charge of the flow's battery, where both are known.
    pub days: Option<f64>,
    /// The factor by which energy may be off, if the display says that.
    pub energy_factor: Option<f64>,
}

/// What updates take, on average.
#[derive(Clone, Copy, Debug, Default)]
struct Takes {
    updates: f64,
    flashes: f64,
    energy_mj: f64,
    /// The share of requests in which something is sent.
    sends: f64,
}

/// The figures of a day; `None` if no move says how often it is made.
///
/// Every way in which a move can be made, from each of its states and pictures, counts alike. A rule of cleaning runs once for
/// every so many moves that send something.
pub(super) fn a_day(flow: &Flow, map: &FlowMap) -> Option<ADay> {
    let mut all = Takes::default();
    let mut moves = 0;
    for (number, one) in flow.moves.iter().enumerate() {
        let Some(per_day) = one.per_day else { continue };
        moves += 1;
        all.add(&of_move(flow, map, number), per_day);
    }
    if moves == 0 {
        return None;
    }
    let sending = all.sends;
    for (number, rule) in flow.cleanings.iter().enumerate() {
        let mut run = Takes::default();
        run.take(&flow.head, &Update::of_all(rule.mode), map.sent.pixels_of_cleaning(number));
        all.add(&run, sending / f64::from(rule.after_updates));
    }
    let mean_mw = flow.head.display.standby_mw.map(|standby_mw| standby_mw + all.energy_mj / SECONDS_A_DAY);
    let battery_mwh = flow.head.battery_mwh;
    let days = mean_mw.filter(|mean_mw| *mean_mw > 0.0).and_then(|mean_mw| Some(battery_mwh? / mean_mw / 24.0));
    let energy_factor = flow.head.display.certainty.energy;
    Some(ADay {
        moves,
        updates: all.updates,
        flashes: all.flashes,
        energy_mj: all.energy_mj,
        mean_mw,
        days,
        energy_factor,
    })
}

/// What a move takes on average, over all ways in which it can be made.
fn of_move(flow: &Flow, map: &FlowMap, number: usize) -> Takes {
    let ways = map.sent.ways_of_move(flow, number);
    let mut all = Takes::default();
    for way in &ways {
        let mut one = Takes::default();
        for (update, pixels) in way {
            one.take(&flow.head, update, *pixels);
        }
        one.sends = f64::from(u8::from(one.updates > 0.0));
        all.add(&one, 1.0 / ways.len() as f64);
    }
    all
}

impl Takes {
    fn add(&mut self, other: &Self, times: f64) {
        self.updates += times * other.updates;
        self.flashes += times * other.flashes;
        self.energy_mj += times * other.energy_mj;
        self.sends += times * other.sends;
    }

    /// Adds an update that sends so many pixels; one that sends nothing takes nothing.
    fn take(&mut self, head: &Plan, update: &Update, pixels: u64) {
        if pixels == 0 {
            return;
        }
        let mode = &head.display.modes[update.mode];
        self.updates += 1.0;
        self.flashes += f64::from(mode.flashes);
        self.energy_mj += energy_mj(&head.display, mode, update, head.temperature_c, pixels);
    }
}

fn energy_mj(display: &Display, mode: &Mode, update: &Update, temperature_c: f64, pixels: u64) -> f64 {
    let duration_ms = update.drive_ms.unwrap_or_else(|| mode.duration_at(temperature_c));
    let driving = Driving::new(mode, duration_ms, temperature_c);
    mode.energy.map_or(0.0, |energy| energy.of(driving.stretch, display.area_mm2(pixels)))
}
