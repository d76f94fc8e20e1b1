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
    /// What is added to it because the clock was set back, counts.
    set_back: f64,
    /// The first count, and the last time that it gave, counts.
    first: Option<f64>,
    last: f64,
    /// The last record's own count, with turns.
    own: f64,
    /// Whether that one lay before the time that the clock had given by then.
    is_behind: bool,
}

/// The time of a record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Moment {
    /// Since the first record, ms.
    pub(super) ms: f64,
    /// How far the clock ran back, ms; 0 if it did not.
    pub(super) back_ms: f64,
    /// Its own count with turns, which records of one moment share.
    pub(super) own: f64,
}

impl Clock {
    pub(super) fn new(unit: ClockUnit) -> Self {
        Self { unit, ..Self::default() }
    }

    /// The time of the next record. A count that is lower than the one before is of a clock that began again, if it fell
    /// by more than half of its range (the usual comparison of counters that wrap); otherwise the clock ran back, and the
    /// record takes the time of the one before it. If the next record goes on from there, the clock was set back, and all
    /// that follows counts on from this time.
    pub(super) fn next(&mut self, count: f64) -> Moment {
        let mut own = count + self.turns;
        if self.first.is_none() {
            (self.first, self.last, self.own) = (Some(own), own, own);
        }
        if let Some(range) = self.unit.wraps_at.filter(|range| self.own.max(self.last) - own > range / 2.0) {
            self.turns += range;
            // Added up anew, so that equal counts are equal times to the last bit.
            own = count + self.turns;
        }
        let before = std::mem::replace(&mut self.own, own);
        if self.is_behind && own > before && own + self.set_back < self.last {
            self.set_back = self.last - before;
        }
        let counts = own + self.set_back;
        let back = if self.is_behind && own >= before { 0.0 } else { (self.last - counts).max(0.0) };
        self.is_behind = counts < self.last;
        self.last = self.last.max(counts);
        Moment { ms: self.since_first(self.last), back_ms: self.in_ms(back), own }
    }

    /// The time of a count that comes after the last record's own, ms since the first one; `None` if it lies before that.
    pub(super) fn after(&self, count: f64) -> Option<f64> {
        let mut counts = count + self.turns;
        if counts < self.own {
            counts = count + (self.turns + self.unit.wraps_at?);
        }
        // Where the clock ran back, the record has another time than its own.
        let moved = self.last - self.own;
        Some(self.since_first(if moved > 0.0 { counts + moved } else { counts }))
    }

    /// The time of a count near the last record, ms since the first one.
    pub(super) fn near(&self, count: f64) -> f64 {
        let counts = count + self.turns;
        let turned = match self.unit.wraps_at {
            Some(range) if self.own - counts > range / 2.0 => counts + range,
            Some(range) if counts - self.own > range / 2.0 => counts - range,
            _ => counts,
        };
        self.since_first(turned + self.set_back)
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

/// Reads minutes and seconds since a device was started, `02:16.655`, as ms; the minutes may go beyond 60.
pub(super) fn ms_of_minutes(text: &str) -> Option<f64> {
    let (minutes, seconds) = text.split_once(':')?;
    let is_number = |part: &str| part.starts_with(|first: char| first.is_ascii_digit());
    let digits = seconds.split('.').next().map_or(0, str::len);
    let is_time = is_number(minutes) && is_number(seconds) && digits == 2;
    let (minutes, seconds) = (minutes.parse::<u32>().ok()?, seconds.parse::<f64>().ok()?);
    (is_time && seconds < 60.0).then_some((f64::from(minutes) * 60.0 + seconds) * 1000.0)
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
        // Several records of one moment that ran back.
        assert_eq!(times(plain, &[900.0, 10.0, 10.0, 950.0]), [(0.0, 0.0), (0.0, 890.0), (0.0, 0.0), (50.0, 0.0)]);
    }

    #[test]
    fn a_clock_that_was_set_back_goes_on_from_there() {
        let plain = ClockUnit::default();
        assert_eq!(
            times(plain, &[9000.0, 1000.0, 1500.0, 1600.0, 9100.0]),
            [(0.0, 0.0), (0.0, 8000.0), (500.0, 0.0), (600.0, 0.0), (8100.0, 0.0)]
        );
        let mut clock = Clock::new(plain);
        for count in [9000.0, 1000.0, 1500.0] {
            clock.next(count);
        }
        assert_eq!((clock.after(1520.0), clock.near(1490.0)), (Some(520.0), 490.0));
    }

    #[test]
    fn equal_counts_are_equal_times_whatever_the_clock_adds_up() {
        let seconds = ClockUnit { per_second: 1.0, wraps_at: Some(18.0), starts_at_ms: None };
        let all = times(seconds, &[15.386, 3.636, 9.636, 15.636, 4.636, 4.636]);
        assert_eq!(all[4], all[5]);
        assert!(all.iter().all(|(_, back_ms)| *back_ms == 0.0), "{all:?}");
    }

    #[test]
    fn what_follows_a_record_comes_after_it_however_much_later() {
        let mut clock = Clock::new(ClockUnit { wraps_at: Some(10_000.0), ..ClockUnit::default() });
        clock.next(8000.0);
        assert_eq!(
            [3500.0, 9900.0, 4950.0, 8000.0].map(|count| clock.after(count)),
            [5500.0, 1900.0, 6950.0, 0.0].map(Some)
        );
        let mut clock = Clock::new(ClockUnit::default());
        for count in [500.0, 900.0, 700.0] {
            clock.next(count);
        }
        // The record takes the time of the one before it, and what follows it keeps its distance.
        assert_eq!((clock.after(720.0), clock.after(650.0)), (Some(420.0), None));
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

    #[test]
    fn minutes_since_the_start_are_read() {
        assert_eq!(["02:16.655", "75:12", "0:05.5"].map(ms_of_minutes), [136_655.0, 4_512_000.0, 5500.0].map(Some));
        for wrong in ["02:60", "02:6", "02:16:10", ":16", "-1:10", "1.5:10", "2:1e", "+2:10", "2:", "16"] {
            assert_eq!(ms_of_minutes(wrong), None, "{wrong}");
        }
    }
}
