//! The clock of a device: its unit, where it begins again, and what time of day it was at the beginning. Knows numbers,
//! not records.

/// How a device counts time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct ClockUnit {
    /// How many counts make a second.
    pub(super) per_second: f64,
    /// The count at which it begins again at 0.
    pub(super) wraps_at: Option<f64>,
    /// The time of day of the first record, ms since midnight.
    pub(super) starts_at_ms: Option<f64>,
}

impl Default for ClockUnit {
    /// Milliseconds that never end.
    fn default() -> Self {
        Self { per_second: 1000.0, wraps_at: None, starts_at_ms: None }
    }
}

/// A clock that is read record by record.
#[derive(Clone, Debug, Default)]
pub(super) struct Clock {
    pub(super) unit: ClockUnit,
    /// What is added to a count because the clock began again, counts.
    turns: f64,
    /// The first count and the last one, without turns.
    first: Option<f64>,
    last: f64,
}

/// The time of a record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Moment {
    /// Since the first record, ms.
    pub(super) ms: f64,
    /// How far the clock ran back, ms; 0 if it did not.
    pub(super) back_ms: f64,
}

impl Clock {
    pub(super) fn new(unit: ClockUnit) -> Self {
        Self { unit, ..Self::default() }
    }

    /// The time of the next record. A count that is lower than the one before is of a clock that began again, if it fell
    /// by more than half of its range (the usual comparison of counters that wrap); otherwise the clock ran back, and the
    /// record takes the time of the one before it.
    pub(super) fn next(&mut self, count: f64) -> Moment {
        let mut counts = count + self.turns;
        if self.first.is_none() {
            (self.first, self.last) = (Some(counts), counts);
        }
        if let Some(range) = self.unit.wraps_at.filter(|range| self.last - counts > range / 2.0) {
            self.turns += range;
            counts += range;
        }
        let back = (self.last - counts).max(0.0);
        self.last = self.last.max(counts);
        Moment { ms: self.since_first(self.last), back_ms: self.in_ms(back) }
    }

    /// The time of a count near the last record, ms since the first one.
    pub(super) fn near(&self, count: f64) -> f64 {
        let counts = count + self.turns;
        let turned = match self.unit.wraps_at {
            Some(range) if self.last - counts > range / 2.0 => counts + range,
            Some(range) if counts - self.last > range / 2.0 => counts - range,
            _ => counts,
        };
        self.since_first(turned)
    }

    fn since_first(&self, counts: f64) -> f64 {
        self.in_ms(counts - self.first.unwrap_or(0.0))
    }

    fn in_ms(&self, counts: f64) -> f64 {
        // Counts of milliseconds stay what they are, to the last bit.
        if self.unit.per_second.to_bits() == 1000.0_f64.to_bits() {
            return counts;
        }
        counts * 1000.0 / self.unit.per_second
    }
}

impl ClockUnit {
    /// A time since the first record as a time of day, `09:31:12.480`, if it is known when the first record was.
    pub(super) fn time_of_day(self, ms: f64) -> Option<String> {
        Some(time_of_day(self.starts_at_ms? + ms))
    }
}

/// Milliseconds since a midnight as a time of day, `09:31:12.480`.
pub(crate) fn time_of_day(ms: f64) -> String {
    let all = ms.round() as u64 % DAY_MS;
    let (seconds, ms) = (all / 1000, all % 1000);
    format!("{:02}:{:02}:{:02}.{ms:03}", seconds / 3600, seconds / 60 % 60, seconds % 60)
}

/// A day, ms.
pub(crate) const DAY_MS: u64 = 24 * 3600 * 1000;

/// Reads a time of day, `09:30:00` or `09:30:00.250`, as ms since midnight.
pub(crate) fn ms_of_day(text: &str) -> Option<f64> {
    let mut parts = text.split(':');
    let mut next = |most: f64| {
        let part = parts.next()?;
        let is_number = part.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.');
        part.parse::<f64>().ok().filter(|number| is_number && *number < most)
    };
    let (hours, minutes, seconds) = (next(24.0)?, next(60.0)?, next(60.0)?);
    let is_whole = hours.fract() == 0.0 && minutes.fract() == 0.0 && parts.next().is_none();
    is_whole.then_some(((hours * 60.0 + minutes) * 60.0 + seconds) * 1000.0)
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "whole numbers and quarters are exact")]
mod tests {
    use super::*;

    fn times(unit: ClockUnit, counts: &[f64]) -> Vec<(f64, f64)> {
        let mut clock = Clock::new(unit);
        counts.iter().map(|count| clock.next(*count)).map(|moment| (moment.ms, moment.back_ms)).collect()
    }

    #[test]
    fn a_clock_that_wraps_goes_on_and_one_that_runs_back_stands_still() {
        let range = ClockUnit { wraps_at: Some(1000.0), ..ClockUnit::default() };
        assert_eq!(
            times(range, &[900.0, 990.0, 10.0, 5.0, 20.0]),
            [(0.0, 0.0), (90.0, 0.0), (110.0, 0.0), (110.0, 5.0), (120.0, 0.0)]
        );
        let plain = ClockUnit::default();
        assert_eq!(times(plain, &[900.0, 10.0, 950.0]), [(0.0, 0.0), (0.0, 890.0), (50.0, 0.0)]);
    }

    #[test]
    fn counts_become_milliseconds() {
        let ticks = ClockUnit { per_second: 32_768.0, ..ClockUnit::default() };
        assert_eq!(times(ticks, &[0.0, 32_768.0, 40_960.0]).last(), Some(&(1250.0, 0.0)));
        let micro = ClockUnit { per_second: 1e6, ..ClockUnit::default() };
        assert_eq!(times(micro, &[500.0, 2500.0]).last(), Some(&(2.0, 0.0)));
    }

    #[test]
    fn a_time_near_a_record_is_on_its_side_of_the_wrap() {
        let mut clock = Clock::new(ClockUnit { wraps_at: Some(1000.0), ..ClockUnit::default() });
        clock.next(990.0);
        assert_eq!(clock.near(20.0), 30.0);
        clock.next(10.0);
        assert_eq!((clock.near(995.0), clock.near(40.0)), (5.0, 50.0));
    }

    #[test]
    fn times_of_day_are_read_and_written() {
        let unit = ClockUnit { starts_at_ms: ms_of_day("23:59:59.250"), ..ClockUnit::default() };
        assert_eq!(unit.time_of_day(480.0).as_deref(), Some("23:59:59.730"));
        assert_eq!(unit.time_of_day(1000.0).as_deref(), Some("00:00:00.250"));
        for wrong in ["24:00:00", "9:60:00", "09:30", "09:30:00:00", "-1:00:00", "1e1:00:00", "nan:00:00", "1.5:00:00"]
        {
            assert_eq!(ms_of_day(wrong), None, "{wrong}");
        }
    }
}
