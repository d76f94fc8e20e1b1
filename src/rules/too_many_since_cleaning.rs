//! `too-many-since-cleaning`: more updates since the last cleaning, at some spot, than there may be.

use super::{
    Rule, Setup,
    pauses::{Pause, Pauses},
    wording,
};
use crate::{
    change::{Region, proposed_window, regions},
    finding::{Asks, Cleaning, Observation, Sink, StepField, Where},
    geometry::Rect,
    panel::PlayedStep,
    plan::{LimitValue, Plan},
};

/// Follows the count of the spot that is worst off, from the step where it passes the limit to its cleaning.
#[derive(Clone)]
pub(super) struct TooManySinceCleaning<'p> {
    plan: &'p Plan,
    limit: Option<LimitValue>,
    area_mm2: f64,
    open: Option<Open>,
    /// Where cleanings were, newest last.
    cleanings: Vec<(u64, Vec<Rect>)>,
    round: u64,
    pauses: Pauses,
}

#[derive(Clone)]
struct Open {
    place: Where,
    spot: Region,
    most: u32,
    cleaned_at: Option<u64>,
    /// The last pause before it passes the limit, and the first one after, each by the step before it.
    pause_before: Option<u64>,
    pause: Option<u64>,
}

/// As many cleanings are remembered, to say since when a spot has not had one.
const CLEANINGS: usize = 64;

impl<'p> TooManySinceCleaning<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            limit: setup.limits.too_many_since_cleaning.updates,
            area_mm2: setup.limits.too_many_since_cleaning.area_mm2.value,
            plan: setup.plan,
            open: None,
            cleanings: Vec::new(),
            round: 0,
            pauses: Pauses::new(setup),
        }
    }

    fn look(&mut self, step: &PlayedStep<'_>, limit: u32) {
        let spots = regions(&step.glass.counted_above(limit), step.grid());
        let large = spots.into_iter().filter(|spot| self.plan.display.area_mm2(spot.pixels) >= self.area_mm2);
        let Some(spot) = large.max_by_key(|spot| spot.pixels) else { return };
        let cleaned = self.cleanings.iter().rev().find(|(_, boxes)| boxes.iter().any(|rect| rect.overlaps(spot.rect)));
        self.open = Some(Open {
            place: Where::of(step, StepField::Updates),
            spot,
            most: step.glass.most_since_cleaning(),
            cleaned_at: cleaned.map(|(step, _)| *step),
            pause_before: self.pauses.last(),
            pause: None,
        });
    }

    /// The cleaning that keeps the count low, where the display has one.
    fn asks_for(&self, open: &Open) -> Option<Cleaning> {
        let display = &self.plan.display;
        let mode = display.modes.iter().find(|mode| mode.cleans)?;
        let window = proposed_window(open.spot.rect, display, self.plan.rotation).filter(|_| mode.windowed);
        let last_step = self.pauses.last_step();
        Some(Cleaning {
            kind: self.plan.kind(),
            mode: mode.name.clone(),
            window,
            after_step: open.pause.unwrap_or(last_step),
            prevention: None,
            is_seen_until: false,
        })
    }

    fn help(&self, open: &Open, cleaning: &Cleaning, most: u32) -> String {
        let does = format!("{} resets the count", Asks::Cleaning(cleaning.clone()).words());
        // Counted from that pause on, the limit is not passed before the next one.
        let until = open.pause.unwrap_or(self.pauses.last_step());
        if let Some(before) = open.pause_before.filter(|before| until - before <= u64::from(most)) {
            let when = self.pauses.words(Pause::After(before));
            return format!("{does}: use it {when}, the last pause before the count exceeds {most}");
        }
        let kind = self.plan.kind();
        let first = match open.pause {
            Some(pause) => format!(" (the first one comes after {})", kind.step(pause)),
            None => String::new(),
        };
        let again =
            if open.most > 2 * most { format!(", and again after every {most} updates") } else { String::new() };
        format!(
            "{does}: use it after {} at the latest, so that the count does not exceed {most}{again}. The {kind} has no \
             pause before that{first}: if a flash at that moment is worse than leaving the place uncleaned, accept this \
             finding",
            kind.step(open.latest()),
            kind = kind.word(),
        )
    }

    fn close(&mut self, limit: LimitValue, sink: &mut Sink) {
        let Some(open) = self.open.take() else { return };
        let (display, kind) = (&self.plan.display, self.plan.kind());
        let since = open
            .cleaned_at
            .map_or("since the plan began".to_owned(), |step| format!("since the cleaning at {}", kind.step(step)));
        let most = whole(limit);
        let asks = self.asks_for(&open);
        let help = asks.as_ref().map_or_else(
            || wording::cleaning_help(display, |modes| format!("clean the place with {modes} in time")),
            |cleaning| self.help(&open, cleaning, most) + wording::cleanings_of_flow(self.plan),
        );
        let observation = Observation {
            rect: Some(open.spot.rect),
            message: format!(
                "{} have had up to {} updates {since}; {}",
                wording::area(open.spot.pixels, display),
                open.most,
                wording::passed(limit, &most.to_string(), "the display needs a cleaning after")
            ),
            help,
            in_short: asks.is_some().then(|| format!("clean after {} at the latest", kind.step(open.latest()))),
            asks: asks.map(Asks::Cleaning),
            figures: vec![
                ("updates", f64::from(open.most)),
                ("limit", f64::from(most)),
                ("px", open.spot.pixels as f64),
                ("mm2", display.area_mm2(open.spot.pixels)),
            ],
            // A spot that is cleaned and passes the limit again is a finding of its own.
            key: self.round.to_string(),
            ..Observation::default()
        };
        self.round += 1;
        sink.report(open.place, observation);
    }
}

impl Open {
    /// The last step after which a cleaning is in time.
    fn latest(&self) -> u64 {
        self.place.step.saturating_sub(1)
    }
}

/// Updates are counted one by one: a limit between two counts is passed where the lower one is.
fn whole(limit: LimitValue) -> u32 {
    limit.value as u32
}

impl Rule for TooManySinceCleaning<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        let Some(limit) = self.limit else { return };
        if let (Some(pause), Some(open)) = (self.pauses.see(step), &mut self.open) {
            open.pause.get_or_insert(pause);
        }
        let most = step.glass.most_since_cleaning();
        if most <= whole(limit) {
            self.close(limit, sink);
        } else if let Some(open) = &mut self.open {
            open.most = open.most.max(most);
            open.place.last_step = step.planned.index;
        } else {
            self.look(step, whole(limit));
        }
        for update in step.updates.iter().filter(|update| self.plan.display.modes[update.mode].cleans) {
            self.cleanings.push((step.planned.index, update.sent.clone()));
        }
        let old = self.cleanings.len().saturating_sub(CLEANINGS);
        self.cleanings.drain(..old);
    }

    fn end(&mut self, sink: &mut Sink) {
        if let Some(limit) = self.limit {
            self.close(limit, sink);
        }
    }
}
