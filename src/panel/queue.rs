//! The controller's queue: when each update is sent, starts and finishes. Times are milliseconds since the plan began.
//!
//! Knows boxes and durations, not pixels.

use std::rc::Rc;

use crate::{
    change::{Mask, TileGrid},
    display::Link,
    geometry::Rect,
};

/// When an update is sent and driven, ms since the plan began.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Times {
    /// When its step asked for it.
    pub request_ms: f64,
    /// Begin of the transfer.
    pub send_ms: f64,
    /// How long the transfer takes.
    pub transfer_ms: f64,
    /// Begin of the drive.
    pub start_ms: f64,
    /// End of the drive.
    pub finish_ms: f64,
    /// What it waited beside its own transfer.
    pub wait_ms: f64,
    /// What it waited for longest.
    pub waits_for: WaitsFor,
}

impl Times {
    /// An update that takes no time at all.
    pub(super) fn all_at(at_ms: f64) -> Self {
        Self { request_ms: at_ms, send_ms: at_ms, start_ms: at_ms, finish_ms: at_ms, ..Self::default() }
    }

    /// The same of an update that its step had asked for at that time: it waited from then on.
    pub(super) fn requested_at(self, request_ms: f64) -> Self {
        let wait_ms = self.start_ms - request_ms - self.transfer_ms;
        Self { request_ms, wait_ms, ..self }
    }
}

/// What an update waits for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum WaitsFor {
    /// It did not wait.
    #[default]
    Nothing,
    /// The link was busy with an earlier transfer, or waited for the panel.
    Link,
    /// All places of the controller were taken.
    Place,
    /// An earlier update still ran over the same pixels.
    Overlap,
}

/// Why a busy controller took no notice of an update.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lost {
    /// What was not free; never [`WaitsFor::Nothing`].
    pub busy: WaitsFor,
    /// Until when, ms since the plan began.
    pub until_ms: f64,
    /// From when on it would have been taken, had it been sent then, ms since the plan began.
    pub free_ms: f64,
}

impl Lost {
    /// How much later than it was requested the update would have been taken, whole ms.
    pub(crate) fn later_ms(self, request_ms: f64) -> f64 {
        (self.free_ms - request_ms).ceil()
    }
}

/// The state of the link and of the controller's places.
#[derive(Clone, Debug)]
pub struct Queue {
    link: Link,
    link_free_ms: f64,
    /// When each of the controller's places is free.
    places: Vec<f64>,
    running: Vec<Running>,
}

#[derive(Clone, Debug)]
struct Running {
    /// Shared with copies of the queue: a line of the pen may cover much of the panel.
    place: Rc<Footprint>,
    finish_ms: f64,
}

/// What a running update covers.
#[derive(Clone, Debug)]
enum Footprint {
    /// The boxes of an update that the host asked for.
    Host(Vec<Rect>),
    /// The pixels of a line that the controller draws under the pen.
    Pen(Mask),
}

impl Queue {
    /// An idle controller with that many places.
    pub fn new(link: Link, places: usize) -> Self {
        Self { link, link_free_ms: 0.0, places: vec![0.0; places], running: Vec::new() }
    }

    /// Whether both are free at the same times.
    pub(super) fn is_like(&self, other: &Self) -> bool {
        self.link_free_ms.to_bits() == other.link_free_ms.to_bits() && self.places == other.places
    }

    /// Whether nothing that was asked for so far can delay what is asked for at that time, or later: the link and every place
    /// are free, and nothing runs.
    pub(crate) fn is_free(&self, at_ms: f64) -> bool {
        let finish_ms = self.running.iter().map(|running| running.finish_ms);
        self.places.iter().copied().chain(finish_ms).chain([self.link_free_ms]).all(|free_ms| free_ms <= at_ms)
    }

    /// How long after a time the link and each place are busy, ms, the link first and the places by that time.
    pub(crate) fn busy_ms(&self, at_ms: f64) -> Vec<f64> {
        let mut places = self.places.clone();
        places.sort_by(f64::total_cmp);
        [self.link_free_ms].into_iter().chain(places).map(|free_ms| (free_ms - at_ms).max(0.0)).collect()
    }

    /// Takes an update that sends these boxes (`pixels` in all) and drives them for `duration_ms`.
    pub fn update(&mut self, request_ms: f64, boxes: &[Rect], pixels: u64, duration_ms: f64, grid: &TileGrid) -> Times {
        let send_ms = request_ms.max(self.link_free_ms);
        if boxes.is_empty() {
            return Times {
                request_ms,
                send_ms,
                transfer_ms: 0.0,
                start_ms: send_ms,
                finish_ms: send_ms,
                wait_ms: 0.0,
                waits_for: WaitsFor::Nothing,
            };
        }
        self.running.retain(|running| running.finish_ms > request_ms);
        let transfer_ms = self.link.transfer_ms(pixels);
        let arrived_ms = send_ms + transfer_ms;
        let place = self.earliest_place();
        let blocked = self.running.iter().filter(|running| running.overlaps(boxes, grid));
        let overlap_ms = blocked.map(|running| running.finish_ms).fold(0.0, f64::max);
        let place_ms = self.places[place];
        let start_ms = arrived_ms.max(place_ms).max(overlap_ms);
        let waits_for = if start_ms - arrived_ms > send_ms - request_ms {
            // Where both end together, apart from the pixels it would wait just as long for the place.
            if overlap_ms > place_ms { WaitsFor::Overlap } else { WaitsFor::Place }
        } else if send_ms > request_ms {
            WaitsFor::Link
        } else {
            WaitsFor::Nothing
        };
        let finish_ms = start_ms + duration_ms;
        self.places[place] = finish_ms;
        self.link_free_ms = if self.link.waits_for_panel { finish_ms } else { arrived_ms };
        self.running.push(Running { place: Rc::new(Footprint::Host(boxes.to_vec())), finish_ms });
        let wait_ms = start_ms - request_ms - transfer_ms;
        Times { request_ms, send_ms, transfer_ms, start_ms, finish_ms, wait_ms, waits_for }
    }

    /// Sets the last update that was taken to the times that a device recorded of it, ms since the plan began. What it did
    /// not record stays as it is modelled; an end that lies before the modelled start moves that start.
    pub(super) fn correct_last(&mut self, times: Times, start_ms: Option<f64>, finish_ms: Option<f64>) -> Times {
        let duration_ms = times.finish_ms - times.start_ms;
        let early_ms =
            finish_ms.filter(|finish_ms| *finish_ms < times.start_ms).map(|finish_ms| finish_ms - duration_ms);
        let start_ms = start_ms.or(early_ms).unwrap_or(times.start_ms);
        let finish_ms = finish_ms.unwrap_or(start_ms + duration_ms);
        if let Some(last) = self.running.last_mut() {
            last.finish_ms = finish_ms;
        }
        let modelled = |place: &&mut f64| place.to_bits() == times.finish_ms.to_bits();
        if let Some(place) = self.places.iter_mut().find(modelled) {
            *place = finish_ms;
        }
        if self.link.waits_for_panel {
            self.link_free_ms = finish_ms;
        }
        let wait_ms = (start_ms - times.request_ms - times.transfer_ms).max(0.0);
        Times { start_ms, finish_ms, wait_ms, ..times }
    }

    /// When an update is sent, where the controller ignores one that it is not free for. `ready_ms` is when the
    /// host would send it.
    ///
    /// # Errors
    /// Why it is lost; the queue stays as it was.
    pub fn update_if_free(
        &mut self,
        ready_ms: f64,
        boxes: &[Rect],
        pixels: u64,
        duration_ms: f64,
        grid: &TileGrid,
    ) -> Result<Times, Lost> {
        let before = self.clone();
        let times = self.update(ready_ms, boxes, pixels, duration_ms, grid);
        let lost = if times.send_ms > ready_ms && !boxes.is_empty() {
            Some((WaitsFor::Link, times.send_ms))
        } else if times.start_ms > times.send_ms + times.transfer_ms {
            Some((times.waits_for, times.start_ms))
        } else {
            None
        };
        let Some((busy, until_ms)) = lost else { return Ok(times) };
        *self = before;
        Err(Lost { busy, until_ms, free_ms: times.start_ms - times.transfer_ms })
    }

    /// Takes a stroke: each part is drawn at its own time (ms) over its own pixels, or later where an update of the host
    /// still runs there; the stroke takes one place. Gives start and finish of each part.
    pub fn stroke(&mut self, parts: Vec<(f64, Mask)>, duration_ms: f64, grid: &TileGrid) -> Vec<(f64, f64)> {
        let times: Vec<(f64, f64)> = parts
            .iter()
            .map(|(at_ms, pixels)| {
                let blocked = self.running.iter().filter(|running| running.is_host_over(pixels, grid));
                let start_ms = blocked.map(|running| running.finish_ms).fold(*at_ms, f64::max);
                (start_ms, start_ms + duration_ms)
            })
            .collect();
        let place = self.earliest_place();
        for ((_, pixels), (_, finish_ms)) in parts.into_iter().zip(&times) {
            self.places[place] = self.places[place].max(*finish_ms);
            self.running.push(Running { place: Rc::new(Footprint::Pen(pixels)), finish_ms: *finish_ms });
        }
        times
    }

    fn earliest_place(&self) -> usize {
        let mut earliest = 0;
        for (place, free) in self.places.iter().enumerate() {
            if *free < self.places[earliest] {
                earliest = place;
            }
        }
        earliest
    }
}

impl Running {
    fn overlaps(&self, boxes: &[Rect], grid: &TileGrid) -> bool {
        match &*self.place {
            Footprint::Host(mine) => mine.iter().any(|mine| boxes.iter().any(|other| mine.overlaps(*other))),
            Footprint::Pen(pixels) => !pixels.inside(boxes, grid).is_empty(),
        }
    }

    fn is_host_over(&self, pixels: &Mask, grid: &TileGrid) -> bool {
        match &*self.place {
            Footprint::Host(boxes) => !pixels.inside(boxes, grid).is_empty(),
            Footprint::Pen(_) => false,
        }
    }
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "the figures are exact: whole numbers, or the very values put in")]
mod tests {
    use super::*;
    use crate::geometry::Size;
    use proptest::prelude::*;

    fn grid() -> TileGrid {
        TileGrid::new(Size { width: 32, height: 32 })
    }

    fn link(waits_for_panel: bool) -> Link {
        Link { megabits_per_s: 1.0, bits_per_px: 1.0, overhead_ms: 1.0, waits_for_panel }
    }

    const LEFT: Rect = Rect { x: 0, y: 0, width: 8, height: 8 };
    const RIGHT: Rect = Rect { x: 8, y: 0, width: 8, height: 8 };

    #[test]
    fn updates_that_overlap_follow_each_other() {
        let mut queue = Queue::new(link(false), 4);
        let first = queue.update(10.0, &[LEFT], 1000, 100.0, &grid());
        assert_eq!((first.send_ms, first.start_ms, first.finish_ms, first.wait_ms), (10.0, 12.0, 112.0, 0.0));
        let beside = queue.update(10.0, &[RIGHT], 1000, 100.0, &grid());
        assert_eq!((beside.send_ms, beside.start_ms, beside.wait_ms), (12.0, 14.0, 2.0));
        let over = queue.update(10.0, &[LEFT], 1000, 100.0, &grid());
        assert_eq!((over.send_ms, over.start_ms), (14.0, 112.0));
        assert_eq!(
            [first, beside, over].map(|times| times.waits_for),
            [WaitsFor::Nothing, WaitsFor::Link, WaitsFor::Overlap]
        );
        let nothing = queue.update(10.0, &[], 0, 100.0, &grid());
        assert_eq!((nothing.send_ms, nothing.finish_ms, nothing.wait_ms), (16.0, 16.0, 0.0));
    }

    #[test]
    fn a_link_that_waits_is_free_at_the_finish() {
        let mut queue = Queue::new(link(true), 4);
        queue.update(0.0, &[LEFT], 1000, 100.0, &grid());
        assert_eq!(queue.update(0.0, &[RIGHT], 1000, 100.0, &grid()).send_ms, 102.0);
    }

    #[test]
    fn where_all_places_are_taken_the_earliest_free_one_is_waited_for() {
        let mut queue = Queue::new(link(false), 1);
        queue.update(0.0, &[LEFT], 1000, 100.0, &grid());
        let second = queue.update(0.0, &[RIGHT], 1000, 100.0, &grid());
        assert_eq!((second.start_ms, second.wait_ms, second.waits_for), (102.0, 100.0, WaitsFor::Place));
        assert_eq!(queue.update(0.0, &[RIGHT], 1000, 100.0, &grid()).waits_for, WaitsFor::Place);
    }

    #[test]
    fn what_is_lost_says_what_was_busy_and_leaves_the_queue_alone() {
        let mut queue = Queue::new(link(false), 1);
        let mut send = |ready_ms, rect| queue.update_if_free(ready_ms, &[rect], 1000, 100.0, &grid());
        assert_eq!(send(0.0, LEFT).unwrap().finish_ms, 102.0);
        let lost = |busy, until_ms, free_ms| Err(Lost { busy, until_ms, free_ms });
        // The transfer of 2 ms is over at 2, the place is free at 102: what is sent at 100 comes when it is free.
        assert_eq!(send(1.0, RIGHT), lost(WaitsFor::Link, 2.0, 100.0));
        assert_eq!(send(50.0, RIGHT), lost(WaitsFor::Place, 102.0, 100.0));
        assert_eq!(send(100.0, RIGHT).map(|times| times.start_ms), Ok(102.0));
        let mut queue = Queue::new(link(false), 2);
        queue.update(0.0, &[LEFT], 1000, 100.0, &grid());
        let mut send = |rect| queue.update_if_free(50.0, &[rect], 1000, 100.0, &grid());
        assert_eq!(send(LEFT), lost(WaitsFor::Overlap, 102.0, 100.0));
        assert_eq!(send(RIGHT).map(|times| times.start_ms), Ok(52.0));
    }

    /// The queue against a simulation that moves time forward from event to event.
    fn simulate(requests: &[(f64, Rect, f64)], places: usize) -> Vec<(f64, f64)> {
        let mut done: Vec<(f64, f64)> = Vec::new();
        let mut link_free = 0.0_f64;
        for (index, (request, rect, duration)) in requests.iter().enumerate() {
            // Sums in the order of the equation: another order may differ in the last bit.
            let transfer = 1.0 + rect.pixels() as f64 / 1000.0;
            let arrived = request.max(link_free) + transfer;
            link_free = arrived;
            let mut moments: Vec<f64> =
                done.iter().map(|(_, finish)| *finish).filter(|finish| *finish > arrived).collect();
            moments.push(arrived);
            moments.sort_by(f64::total_cmp);
            let start = moments.into_iter().find(|moment| {
                let running = done.iter().filter(|(_, finish)| finish > moment).count();
                let clear =
                    (0..index).all(|earlier| !requests[earlier].1.overlaps(*rect) || done[earlier].1 <= *moment);
                running < places && clear
            });
            let start = start.unwrap();
            done.push((start, start + duration));
        }
        done
    }

    proptest! {
        #![proptest_config(crate::kept_failures::usual())]
        #[test]
        fn the_queue_agrees_with_an_event_simulation(
            requests in prop::collection::vec((0_u32..60, 0_u32..4, 0_u32..4, 1_u32..80), 1..25), places in 1_usize..4,
        ) {
            let mut at = 0.0;
            let requests: Vec<(f64, Rect, f64)> = requests.into_iter().map(|(after, x, y, duration)| {
                at += f64::from(after);
                (at, Rect { x: x * 4, y: y * 4, width: 6, height: 6 }, f64::from(duration))
            }).collect();
            let mut queue = Queue::new(link(false), places);
            let times: Vec<(f64, f64)> = requests.iter().map(|(request, rect, duration)| {
                let times = queue.update(*request, &[*rect], rect.pixels(), *duration, &grid());
                (times.start_ms, times.finish_ms)
            }).collect();
            prop_assert_eq!(times, simulate(&requests, places));
        }
    }
}
