//! Which update a line of a log belongs to that reports only that the panel has started, or has finished. Knows records, not
//! logs.

use serde_json::{Map, Value};

/// The updates of a log so far.
#[derive(Debug, Default)]
pub(super) struct UpdateEnds {
    /// The records that are updates.
    updates: Vec<usize>,
    /// How many updates there were at the last end.
    at_last_end: usize,
    /// Those before this one have a start, or an end.
    first_without: [usize; 2],
}

/// What a line reports of an update.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reports {
    Started,
    Finished,
}

impl Reports {
    /// What a record reports of an earlier one.
    pub(super) fn of(record: &Map<String, Value>) -> Option<Self> {
        match record.get("record")?.as_str()? {
            "started" => Some(Self::Started),
            "finished" => Some(Self::Finished),
            _ => None,
        }
    }

    fn field(self) -> &'static str {
        match self {
            Self::Started => "started",
            Self::Finished => "finished",
        }
    }

    /// In words, in front of what it belongs to.
    pub(super) fn words(self) -> &'static str {
        match self {
            Self::Started => "the start",
            Self::Finished => "the end",
        }
    }
}

impl UpdateEnds {
    /// Notes a record that is an update.
    pub(super) fn add(&mut self, record: usize) {
        self.updates.push(record);
    }

    /// Gives the time of a line to the update that it belongs to, and says which record that is; `None` if there is none. That
    /// is the first one since the last end, because a controller that is busy may have ignored those before it; where there is
    /// none, the controller has kept one that came earlier, and it is the first of these without such a time.
    pub(super) fn report(
        &mut self,
        reports: Reports,
        at: Option<&Value>,
        records: &mut [Map<String, Value>],
    ) -> Option<usize> {
        let field = reports.field();
        let lacks = |update: &usize| !records[self.updates[*update]].contains_key(field);
        let first = self.first_without[reports as usize];
        let since_end = (self.at_last_end.max(first)..self.updates.len()).find(lacks);
        let update = since_end.or_else(|| (first..self.at_last_end).find(lacks))?;
        if update == first {
            self.first_without[reports as usize] += 1;
        }
        if reports == Reports::Finished {
            self.at_last_end = self.updates.len();
        }
        let record = self.updates[update];
        records[record].insert(field.to_owned(), at?.clone());
        Some(record)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The updates that the ends of a log belong to: `u` is an update, `e` an end.
    fn ends(log: &str) -> Vec<Option<usize>> {
        let (mut ends, mut records) = (UpdateEnds::default(), Vec::new());
        let mut of = Vec::new();
        for (at, letter) in log.chars().enumerate() {
            if letter == 'u' {
                ends.add(records.len());
                records.push(Map::new());
            } else {
                of.push(ends.report(Reports::Finished, Some(&at.into()), &mut records));
            }
        }
        of
    }

    #[test]
    fn an_end_belongs_to_the_first_update_since_the_last_end() {
        assert_eq!(ends("ueue"), [Some(0), Some(1)]);
        // The second one came while the controller was busy, and was ignored.
        assert_eq!(ends("uueue"), [Some(0), Some(2)]);
    }

    #[test]
    fn where_none_came_since_then_the_controller_has_kept_an_earlier_one() {
        assert_eq!(ends("uueuee"), [Some(0), Some(2), Some(1)]);
        assert_eq!(ends("uueee"), [Some(0), Some(1), None]);
        assert_eq!(ends("eue"), [None, Some(0)]);
    }
}
