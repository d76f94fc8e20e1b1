//! `outline-left`: the rim of a text or shape stays on the glass, in pixels that were not driven when it went.

use super::{
    Rule, Setup,
    ghost_groups::{GhostGroups, Group, Kind, State, Words},
    remedy, texts, wording,
};
use crate::{
    change::bits,
    finding::{Observation, Sink},
    panel::{Ghost, PlayedStep},
    plan::Plan,
    screen::DrawnText,
};

/// Follows the ghosts that are outlines of what is driven beside them.
#[derive(Clone)]
pub(super) struct OutlineLeft<'p>(GhostGroups<'p>);

impl<'p> OutlineLeft<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        let limits = &setup.limits.outline_left;
        let limit_l = limits.limit_l.value;
        let least_px = limits.area_mm2.value / setup.plan.display.area_mm2(1);
        let kind = Kind::Outlines { limit_l, least_px };
        Self(GhostGroups::new(setup, kind, limit_l, Words { origin: surrounded, observation }))
    }
}

fn observation(group: &Group, groups: &GhostGroups<'_>) -> Observation {
    let State { count, pixels, rim_px, worst_l, ref origin, .. } = group.worst;
    let (worst, area) = (wording::figure(worst_l), wording::area(pixels, &groups.plan.display));
    let seen = |when: &str| match count {
        1 => format!("an outline of {worst} L* on {area}{when} around {origin}"),
        _ => format!("{count} outlines of up to {worst} L* on {area}{when}, the strongest around {origin}"),
    };
    let which = match (rim_px == pixels, count) {
        (true, 1) => "it lies in pixels that changed when".to_owned(),
        (true, _) => "they lie in pixels that changed when".to_owned(),
        (false, _) => format!("{rim_px} of the {pixels} px changed when"),
    };
    let since =
        if rim_px == pixels { "and that no update has driven since" } else { "and no update has driven these since" };
    let message = |when: &str| format!("{}: {which} the pixels beside them were driven, {since}", seen(when));
    let mut observation = groups.observation(group, message, "outlines");
    observation.figures.push(("rim_px", rim_px as f64));
    observation
}

/// What an outline surrounds, and which step left it, in words.
fn surrounded(ghost: &Ghost, step: &PlayedStep<'_>, plan: &Plan) -> String {
    let [last, _] = step.moved_by(ghost.worst_tile);
    let by = last.map_or("before the plan began".to_owned(), |index| format!("at {}", remedy::step_name(index, plan)));
    let text_of = |drawn: &[DrawnText]| {
        let found = drawn.iter().find(|text| text.rect.overlaps(ghost.rect));
        found.map(|text| format!("the text `{}`", texts::quote(&text.text)))
    };
    if let Some(text) = text_of(&step.memory.texts) {
        return format!("{text}, driven {by}");
    }
    // What went at an earlier step is not known any more.
    if last != Some(step.planned.index) {
        return format!("what was driven {by}, in {}", wording::rect(ghost.rect));
    }
    if let Some(text) = text_of(&step.previous.texts) {
        return format!("{text}, erased {by}");
    }
    let inside = step.changed.inside(&[ghost.rect], step.grid());
    let place = wording::rect(inside.bounds(step.grid()).unwrap_or(ghost.rect));
    if is_erased(ghost, step) {
        format!("the shape in {place}, erased {by}")
    } else {
        format!("the shape in {place}, driven {by}")
    }
}

/// Whether most of what changed inside an outline has now the level of the outline itself.
fn is_erased(ghost: &Ghost, step: &PlayedStep<'_>) -> bool {
    let rims = step.glass.rims(ghost.worst_tile);
    let Some(ground) = bits(rims).next().map(|bit| step.glass.levels(ghost.worst_tile)[bit as usize]) else {
        return false;
    };
    let changed = step.changed.inside(&[ghost.rect], step.grid());
    let of_ground = |(tile, pixels): &(u32, u64)| {
        let levels = step.glass.memory_levels(*tile);
        bits(*pixels).filter(|bit| levels[*bit as usize] == ground).count() as u64
    };
    2 * changed.tiles().iter().map(of_ground).sum::<u64>() > changed.count()
}

impl Rule for OutlineLeft<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, sink: &mut Sink) {
        self.0.step(step, sink);
    }

    fn end(&mut self, sink: &mut Sink) {
        self.0.end(sink);
    }
}
