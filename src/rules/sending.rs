//! What a step of the plan has to send, and how that is said of every step of a correction.
//!
//! Knows corrections that send more, and not whether there is time for them.

use std::collections::BTreeMap;

use super::{
    consequences::Link,
    meant_window::{MeantWindow, meant_window},
    remedy::{self, Missing, step_name},
    wording,
};
use crate::{
    change::proposed_window,
    finding::{Change, ChangeOf, Correction},
    geometry::{Rect, Window},
    plan::{Plan, WindowAsk},
};

/// A step of the file that has to send, with all that its turns have to send.
#[derive(Clone)]
pub(super) struct Sender {
    pub(super) missing: Missing,
    pub(super) rect: Rect,
    /// The number of its first turn that has to, and when that is requested, ms.
    pub(super) first: u64,
    pub(super) request_ms: f64,
}

/// The most further steps that are named in a help.
const MOST_NAMED: usize = 4;

impl Sender {
    pub(super) fn new(link: &Link, rect: Rect) -> Self {
        Self { missing: link.missing.clone(), rect, first: link.index, request_ms: link.request_ms() }
    }

    /// Takes in what another turn of the step has to send.
    pub(super) fn add(&mut self, link: &Link, rect: Rect) {
        self.rect = self.rect.around(rect);
        self.missing.add(&link.missing);
    }

    /// The pixels of the window that is sent.
    pub(super) fn pixels(&self, plan: &Plan) -> u64 {
        let whole = plan.display.size.pixels();
        proposed_window(self.rect, &plan.display, plan.rotation).map_or(whole, Rect::pixels)
    }
}

/// Lets senders of one step, each of its own finding, send one box where theirs overlap.
pub(super) fn join_boxes(senders: Vec<&mut Sender>) {
    let mut of_steps: BTreeMap<String, Vec<&mut Sender>> = BTreeMap::new();
    for sender in senders {
        of_steps.entry(sender.missing.step().to_owned()).or_default().push(sender);
    }
    for mut senders in of_steps.into_values().filter(|senders| senders.len() > 1) {
        let mut places: Vec<(Rect, Missing)> = Vec::new();
        for sender in &senders {
            let (mut rect, mut missing) = (sender.rect, sender.missing.clone());
            // A larger box may overlap others that the smaller one did not.
            while let Some(at) = places.iter().position(|(known, _)| known.overlaps(rect)) {
                let (known, also_missing) = places.swap_remove(at);
                rect = rect.around(known);
                missing.add(&also_missing);
            }
            places.push((rect, missing));
        }
        for sender in &mut senders {
            if let Some((rect, missing)) = places.iter().find(|(rect, _)| rect.overlaps(sender.rect)) {
                (sender.rect, sender.missing) = (*rect, missing.clone());
            }
        }
    }
}

/// What a correction asks of its steps, in words, of which the first is called so; `all` are the corrections that are right.
pub(super) fn words(
    called: &str,
    correction: &Correction,
    all: &[Correction],
    senders: &[Sender],
    plan: &Plan,
) -> String {
    let [first, others @ ..] = senders else { return String::new() };
    let change_of = |sender: &Sender| correction.changes.iter().find(|change| change.step == sender.missing.step());
    let Some(own) = change_of(first) else { return remedy::update_of(first.rect, plan) };
    let more = others.iter().filter_map(|sender| Some((sender, change_of(sender)?)));
    let again: Vec<String> = more.map(|(sender, change)| again_words(sender, change, plan)).collect();
    let quiet = quiet_words(first, called, own, plan);
    let or = if others.is_empty() && quiet.is_empty() { other_way(own, all, plan) } else { "" };
    let (named, rest) = again.split_at(again.len().min(MOST_NAMED));
    let rest = match rest.len() {
        0 => String::new(),
        1 => "; one more step changes this place again: let it send the place in the same way".to_owned(),
        rest => format!("; {rest} more steps change this place again: let each send it in the same way"),
    };
    format!("{quiet}{}{or}{}{rest}", change_words(first, called, own, plan), named.concat())
}

/// That an added update need not flash if the place is drawn otherwise, in words: that is the better way.
fn quiet_words(sender: &Sender, called: &str, change: &Change, plan: &Plan) -> String {
    let ChangeOf::AddUpdate { mode, .. } = change.what else { return String::new() };
    let quiet = sender.missing.quiet_mode(mode, plan);
    quiet.map_or(String::new(), |quiet| {
        let name = &plan.display.modes[quiet].name;
        format!(
            "draw the screen in levels that `{name}` can show and give {called} a `{name}` update {}; otherwise ",
            changed_words(plan)
        )
    })
}

/// What an added update covers that covers all that changed.
fn changed_words(plan: &Plan) -> &'static str {
    wording::by_kind(plan, "with the window \"changed\"", "that covers all that changed")
}

/// What a later step has to do, in words.
fn again_words(sender: &Sender, change: &Change, plan: &Plan) -> String {
    let name = step_name(sender.first, plan);
    let number = format!("step {}", sender.first % plan.step_count.max(1));
    format!("; {name} changes this place again, so {} as well", change_words(sender, &number, change, plan))
}

/// One change of a step, in words.
fn change_words(sender: &Sender, step: &str, change: &Change, plan: &Plan) -> String {
    match &change.what {
        ChangeOf::Window { update, window: WindowAsk::Boxes(boxes) } => {
            if let Some((asked, meant)) = replaced_box(sender, *update, boxes, plan) {
                return format!(
                    "the window {} of the {} of {step} misses this place, because {}: write {} instead",
                    wording::window(asked),
                    update_words(sender, *update, plan),
                    meant.why,
                    wording::window(meant.window)
                );
            }
            let added = boxes.last().map_or(String::new(), |window| wording::window(*window));
            format!("add the box {added} to the {} of {step}", update_words(sender, *update, plan))
        }
        ChangeOf::Window { update, .. } => {
            let all = wording::by_kind(plan, "the window \"changed\"", "a window that covers all that changed");
            format!("give the {} of {step} {all}", update_words(sender, *update, plan))
        }
        ChangeOf::AddUpdate { mode, window } => {
            let name = &plan.display.modes[*mode].name;
            let place = match window {
                WindowAsk::All => "of the whole panel".to_owned(),
                WindowAsk::Changed => changed_words(plan).to_owned(),
                WindowAsk::Boxes(boxes) => {
                    let boxes: Vec<String> = boxes.iter().map(|window| wording::window(*window)).collect();
                    format!("with the window {}", boxes.join(", "))
                }
            };
            let flashes = plan.display.modes[*mode].flashes > 0;
            let price = if flashes { wording::price_of_flash(plan) } else { String::new() };
            format!("give {step} a `{name}` update {place}{price}")
        }
        _ => remedy::update_of(sender.rect, plan),
    }
}

/// The box of an update that others take the place of, and what may have been meant by it; nothing where a box is added.
fn replaced_box(sender: &Sender, update: usize, boxes: &[Window], plan: &Plan) -> Option<(Window, MeantWindow)> {
    let WindowAsk::Boxes(asked) = &sender.missing.updates().get(update)?.window else { return None };
    let replaced = asked.iter().zip(boxes).find(|(asked, now)| asked != now);
    let (asked, _) = replaced.filter(|_| asked.len() == boxes.len())?;
    Some((*asked, meant_window(*asked, sender.rect.to_window(), plan)?))
}

/// Which of the updates of a step, in words.
fn update_words(sender: &Sender, update: usize, plan: &Plan) -> String {
    let updates = sender.missing.updates();
    let Some(asked) = updates.get(update) else { return "update".to_owned() };
    let alike: Vec<usize> = (0..updates.len()).filter(|at| updates[*at].mode == asked.mode).collect();
    let which = match alike.iter().position(|at| *at == update) {
        Some(0) if alike.len() > 1 => "first ",
        Some(1) => "second ",
        Some(2..) => "last ",
        _ => "",
    };
    format!("{which}`{}` update", plan.display.modes[asked.mode].name)
}

/// The same with what changed in place of a box, in words, where that is right too.
fn other_way(own: &Change, all: &[Correction], plan: &Plan) -> &'static str {
    let is_right = |what: ChangeOf| all.iter().any(|one| one.changes.iter().all(|change| change.what == what));
    match &own.what {
        ChangeOf::Window { update, window: WindowAsk::Boxes(_) }
            if is_right(ChangeOf::Window { update: *update, window: WindowAsk::Changed }) =>
        {
            wording::by_kind(plan, ", or give it the window \"changed\"", ", or let it cover all that changed")
        }
        ChangeOf::AddUpdate { mode, window: WindowAsk::Boxes(_) }
            if is_right(ChangeOf::AddUpdate { mode: *mode, window: WindowAsk::Changed }) =>
        {
            wording::by_kind(plan, ", or one with the window \"changed\"", ", or one that covers all that changed")
        }
        _ => "",
    }
}
