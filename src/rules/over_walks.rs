//! The rules whose limits are judged over all walks through a flow, by name: whoever compares a proved figure with a limit
//! takes the name from here, so that a misspelt one does not compile.

/// Something old stays on the glass.
pub(crate) const LEFT_BEHIND: &str = "left-behind";
/// Too many updates since a cleaning.
pub(crate) const TOO_MANY_SINCE_CLEANING: &str = "too-many-since-cleaning";
/// A ghost can be seen.
pub(crate) const VISIBLE_GHOST: &str = "visible-ghost";
/// An outline can be seen.
pub(crate) const OUTLINE_LEFT: &str = "outline-left";
/// An update waits for another one.
pub(crate) const UPDATES_COLLIDE: &str = "updates-collide";
/// Waits grow without end.
pub(crate) const CANNOT_KEEP_UP: &str = "cannot-keep-up";
/// A person waits for an answer.
pub(crate) const SLOW_ANSWER: &str = "slow-answer";
/// Too many flashes within a second.
pub(crate) const FLASHES_TOO_FAST: &str = "flashes-too-fast";
/// A limit was neither proved nor broken.
pub(crate) const NOT_PROVED: &str = "not-proved";
/// An expected rest does not come.
const MISSED_REST: &str = "missed-rest";

/// The rules that find something at a step only when the next step has come.
pub(crate) const SHOWN_BY_THE_NEXT: [&str; 1] = [MISSED_REST];
