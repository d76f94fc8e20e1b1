//! What a ghost comes from, and the cheapest update of the display that takes it away.

use super::words;
use crate::{
    change::{bits, widened},
    display::{Level, Mode},
    geometry::Rect,
    panel::{Ghost, PlayedStep},
    plan::Plan,
};

/// Which step's ink a ghost is, in words.
pub(super) fn origin(ghost: &Ghost, step: &PlayedStep<'_>, plan: &Plan) -> String {
    let [last, before] = step.glass.moved_by(ghost.worst_tile);
    let drew = before.map_or("what was on the glass before the plan began".to_owned(), |index| {
        format!("what {} drew", step_name(index, plan))
    });
    match last {
        Some(index) => format!("it is left of {drew}, driven over at {}", step_name(index, plan)),
        None => format!("it is left of {drew}"),
    }
}

/// A step by its number and label.
pub(super) fn step_name(index: u64, plan: &Plan) -> String {
    let label = plan.steps().nth(index as usize).and_then(|planned| planned.step.label.clone());
    label.map_or_else(|| format!("step {index}"), |label| format!("step {index} \"{label}\""))
}

/// How to take the ghosts in a box away, of which this is the strongest, in words.
pub(super) fn removal(ghost: &Ghost, rect: Rect, step: &PlayedStep<'_>, plan: &Plan) -> String {
    let limit_l = step.ghost_limits.limit_l;
    let (tile, bit) = (ghost.worst_tile, worst_bit(ghost, step));
    let level = step.glass.levels(tile)[bit as usize];
    let (x, y) = step.grid().origin(tile);
    let residue = step.glass.residue(x + bit % 8, y + bit / 8);
    let median = step.medians[usize::from(level)];
    let display = &plan.display;
    let removes = |mode: &&Mode| {
        let left = step.glass.shown_of(level, mode.residue.keeps * residue) - median;
        !mode.changed_only && mode.from.contains(level) && mode.to.contains(level) && left.abs() < limit_l
    };
    let cost = |mode: &Mode| (mode.flashes > 0, mode.duration_at(plan.temperature_c));
    let cheapest = display.modes.iter().filter(removes).min_by(|one, other| {
        let ((flashes, ms), (other_flashes, other_ms)) = (cost(one), cost(other));
        flashes.cmp(&other_flashes).then(ms.total_cmp(&other_ms))
    });
    let Some(mode) = cheapest else {
        return "no mode of this display takes it away: one that drives every pixel and keeps less residue is needed"
            .into();
    };
    let window = widened(rect.to_window(), display, plan.rotation).filter(|_| mode.windowed);
    let place = window.map_or("the whole panel".to_owned(), |rect| format!("the window {}", words::rect(rect)));
    let flash = match mode.flashes {
        0 => "without a flash",
        1 => "with one flash",
        _ => "with flashes",
    };
    format!(
        "`{}` on {place} takes it away in {} ms, {flash}; best in a pause",
        mode.name,
        words::ms(mode.duration_at(plan.temperature_c))
    )
}

/// The quickest mode, best without a flash, that would bring solid ink to a level and leave less than the limit of it;
/// `around_l` is how much lighter than itself the level looks beside the ink.
pub(super) fn commit_mode(ink: Level, level: Level, around_l: f64, limit_l: f64, plan: &Plan) -> Option<&Mode> {
    let display = &plan.display;
    let swing = display.ink.lightness(ink) - display.ink.lightness(level);
    let leaves = |mode: &Mode| swing * if swing < 0.0 { mode.residue.lighter } else { mode.residue.darker };
    let (darkest, lightest) = display.ink.range_l();
    let own = display.ink.lightness(level);
    let shown = |mode: &Mode| (own + leaves(mode)).clamp(darkest, lightest) - own;
    let takes =
        |mode: &&Mode| mode.from.contains(ink) && mode.to.contains(level) && (shown(mode) - around_l).abs() < limit_l;
    display.modes.iter().filter(takes).min_by(|one, other| {
        let cost = |mode: &Mode| mode.duration_at(plan.temperature_c);
        (one.flashes > 0).cmp(&(other.flashes > 0)).then(cost(one).total_cmp(&cost(other)))
    })
}

fn worst_bit(ghost: &Ghost, step: &PlayedStep<'_>) -> u32 {
    let levels = step.glass.levels(ghost.worst_tile);
    let off = |bit: u32| {
        let median = step.medians[usize::from(levels[bit as usize])];
        (step.glass.shown_residue(ghost.worst_tile, bit) - median).abs()
    };
    let pixels = bits(step.grid().whole(ghost.worst_tile));
    pixels.max_by(|one, other| off(*one).total_cmp(&off(*other))).unwrap_or(0)
}
