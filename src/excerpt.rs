//! A part of a review: the findings of the steps between two times. Everything before is played too, because the panel
//! remembers it. Knows plans and reviews, no files.

use crate::{
    plan::Plan,
    review::Review,
    trace::{DAY_MS, ms_of_day},
};

/// A time in a plan or a trace.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TimePoint {
    /// A time of day, ms since midnight.
    OfDay(f64),
    /// Since the beginning, ms.
    SinceBeginning(f64),
}

impl TimePoint {
    /// Reads `09:31`, `09:31:12` or `09:31:12.480`, or seconds since the beginning such as `12.5`.
    ///
    /// # Errors
    /// What is wrong with the text, in words.
    pub fn read(text: &str) -> Result<Self, String> {
        if text.contains(':') {
            // `09:31` is the beginning of that minute.
            let whole = if text.matches(':').count() == 1 { format!("{text}:00") } else { text.to_owned() };
            let ms = ms_of_day(&whole)
                .ok_or("this is not a time of day: write it like `09:31`, `09:31:12` or `09:31:12.480`")?;
            return Ok(Self::OfDay(ms));
        }
        let seconds = text.parse::<f64>().ok().filter(|seconds| (0.0..=LONGEST_SECONDS).contains(seconds));
        let seconds =
            seconds.ok_or("write seconds since the beginning, such as `12.5`, or a time of day, `09:31:12`")?;
        Ok(Self::SinceBeginning(seconds * 1000.0))
    }

    /// How long a time is as it is written, ms: a minute or a second of the day is all of it, any other time a moment.
    pub fn length_ms(text: &str) -> f64 {
        match text.matches(':').count() {
            0 => 0.0,
            1 => 60_000.0,
            _ if text.contains('.') => 0.0,
            _ => 1000.0,
        }
    }

    /// The same as ms since the beginning.
    ///
    /// # Errors
    /// Where it is a time of day and it is not known when the plan began.
    pub fn since_beginning(self, plan: &Plan) -> Result<f64, NoExcerpt> {
        match self {
            Self::SinceBeginning(ms) => Ok(ms),
            Self::OfDay(ms) => {
                let begins_at = plan.recorded.as_ref().and_then(|recorded| recorded.begins_at_ms);
                Ok((ms - begins_at.ok_or(NoExcerpt::NoTimeOfDay)?).rem_euclid(DAY_MS as f64))
            }
        }
    }
}

/// A hundred years.
const LONGEST_SECONDS: f64 = 3.2e9;

/// Why there is no such part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoExcerpt {
    /// It is not known at what time of day it begins.
    NoTimeOfDay,
    /// No step lies between the two times.
    NoStep,
}

/// From when to when findings are reported.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Excerpt {
    /// From the beginning, if it is not given.
    pub from: Option<TimePoint>,
    /// To the end, if it is not given.
    pub to: Option<TimePoint>,
}

impl Excerpt {
    /// Whether it is the whole.
    pub fn is_all(&self) -> bool {
        self.from.is_none() && self.to.is_none()
    }

    /// Leaves out the findings that are about steps outside of the part alone; counts are those of what remains, all other
    /// figures stay those of the whole.
    ///
    /// # Errors
    /// If there is no such part.
    pub fn cut(&self, plan: &Plan, review: &mut Review) -> Result<(), NoExcerpt> {
        if self.is_all() {
            return Ok(());
        }
        let bound = |point: Option<TimePoint>| point.map(|point| point.since_beginning(plan)).transpose();
        let (from, to) = (bound(self.from)?.unwrap_or(0.0), bound(self.to)?.unwrap_or(f64::INFINITY));
        let times = || plan.steps().map(|step| (step.index, step.request_ms + step.step.updates_after_ms()));
        let ends_ms = times().map(|(_, ms)| ms).fold(0.0, f64::max);
        // A time of day a little before the beginning is no time of the next day, unless the trace lasts until then.
        let is_before = matches!(self.from, Some(TimePoint::OfDay(_))) && from > ends_ms && from > DAY_MS as f64 / 2.0;
        let from = if is_before { 0.0 } else { from };
        let mut within = times().filter(|(_, ms)| (from..=to).contains(ms)).map(|(index, _)| index);
        let first = within.next().ok_or(NoExcerpt::NoStep)?;
        let last = within.last().unwrap_or(first);
        let before = review.findings.len();
        review
            .findings
            .retain(|finding| !finding.is_of_a_step() || (finding.last_step >= first && finding.step <= last));
        review.summary.count(&review.findings);
        let left_out = before - review.findings.len();
        review.summary.not_checked.push(format!(
            "{left_out} findings outside of steps {first} to {last}, because `--from` or `--to` leaves them out"
        ));
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_seconds_or_times_of_day() {
        assert_eq!(TimePoint::read("12.5"), Ok(TimePoint::SinceBeginning(12_500.0)));
        assert_eq!(TimePoint::read("09:31:12.480"), Ok(TimePoint::OfDay(34_272_480.0)));
        assert_eq!(TimePoint::read("09:31"), Ok(TimePoint::OfDay(34_260_000.0)));
        for text in ["", "-1", "nan", "inf", "1e300", "24:00:00", "9:61:00", "9:61", "9:0:", "noon"] {
            assert!(TimePoint::read(text).is_err(), "{text}");
        }
    }
}
