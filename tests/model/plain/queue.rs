//! When each update is sent, starts and finishes. Knows which pixels an update covers, and nothing of what it does to them.

use super::geometry::{Mask, count, overlap};
use super::reading::Link;

#[derive(Clone, Debug)]
pub(crate) struct Queue {
    link: Link,
    link_free_ms: f64,
    /// When each place of the controller is free.
    places: Vec<f64>,
    earlier: Vec<Earlier>,
}

#[derive(Clone, Debug)]
struct Earlier {
    covered: Mask,
    finish_ms: f64,
    by_pen: bool,
}

#[expect(clippy::struct_field_names, reason = "the unit stands in the name")]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Times {
    pub(crate) send_ms: f64,
    pub(crate) start_ms: f64,
    pub(crate) finish_ms: f64,
    pub(crate) wait_ms: f64,
}

impl Queue {
    pub(crate) fn new(link: Link, places: usize) -> Queue {
        Queue { link, link_free_ms: 0.0, places: vec![0.0; places], earlier: Vec::new() }
    }

    /// Whether an update of the host that is sent at a time would have to wait: for the link, for a place, or for an
    /// earlier update that overlaps it.
    pub(crate) fn is_busy(&self, at_ms: f64, covered: &[bool], pictures: f64) -> bool {
        if self.link_free_ms > at_ms {
            return true;
        }
        let arrives_ms = at_ms + self.transfer_ms(count(covered), pictures);
        if self.places[self.earliest_place()] > arrives_ms {
            return true;
        }
        self.earlier.iter().any(|before| before.finish_ms > arrives_ms && overlap(&before.covered, covered))
    }

    /// An update of the host over at least one pixel, of which so many pictures are sent; tells when its transfer ends.
    pub(crate) fn host(
        &mut self,
        request_ms: f64,
        covered: Mask,
        duration_ms: f64,
        pictures: f64,
        sent_ms: &mut f64,
    ) -> Times {
        let send_ms = request_ms.max(self.link_free_ms);
        let transfer_ms = self.transfer_ms(count(&covered), pictures);
        *sent_ms = send_ms + transfer_ms;
        let place = self.earliest_place();
        let mut start_ms = (send_ms + transfer_ms).max(self.places[place]);
        for before in &self.earlier {
            if overlap(&before.covered, &covered) {
                start_ms = start_ms.max(before.finish_ms);
            }
        }
        let finish_ms = start_ms + duration_ms;
        self.places[place] = finish_ms;
        self.link_free_ms = if self.link.waits_for_panel { finish_ms } else { send_ms + transfer_ms };
        self.earlier.push(Earlier { covered, finish_ms, by_pen: false });
        Times { send_ms, start_ms, finish_ms, wait_ms: start_ms - request_ms - transfer_ms }
    }

    /// An update that sends nothing.
    pub(crate) fn nothing(&self, request_ms: f64) -> Times {
        let at = request_ms.max(self.link_free_ms);
        Times { send_ms: at, start_ms: at, finish_ms: at, wait_ms: 0.0 }
    }

    /// A stroke: its pieces with the time at which the controller would draw each. It takes the earliest free place until
    /// its last piece has finished, but waits for none. Pieces over no pixel are no updates.
    pub(crate) fn stroke(&mut self, pieces: Vec<(f64, Mask)>, duration_ms: f64) {
        let place = self.earliest_place();
        for (wanted_ms, covered) in pieces {
            if count(&covered) == 0 {
                continue;
            }
            let mut start_ms = wanted_ms;
            for before in &self.earlier {
                if !before.by_pen && overlap(&before.covered, &covered) {
                    start_ms = start_ms.max(before.finish_ms);
                }
            }
            let finish_ms = start_ms + duration_ms;
            self.places[place] = self.places[place].max(finish_ms);
            self.earlier.push(Earlier { covered, finish_ms, by_pen: true });
        }
    }

    /// Megabits a second are thousands of bits a millisecond.
    fn transfer_ms(&self, pixels: usize, pictures: f64) -> f64 {
        let bits = pixels as f64 * self.link.bits_per_px * pictures;
        self.link.overhead_ms + bits / (self.link.megabits_per_s * 1000.0)
    }

    fn earliest_place(&self) -> usize {
        let mut earliest = 0;
        for place in 1..self.places.len() {
            if self.places[place] < self.places[earliest] {
                earliest = place;
            }
        }
        earliest
    }
}
