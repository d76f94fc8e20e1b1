//! The screens of a plan as an index that can be opened: a step of the plan's text each, groups that repeat folded into
//! one. The script draws the pictures. Knows the recording.

use maud::{Markup, html};

use super::{
    names::when,
    recording::{Card, Recording},
};
use crate::report::sentences::{count, ms};

/// The index.
pub(super) fn screens(recording: &Recording) -> Markup {
    let groups: Vec<&[Card]> = recording.cards.chunk_by(|one, other| group_of(one) == group_of(other)).collect();
    html! {
        details.screens {
            summary { "Screens, in order (" (recording.cards.len()) @if recording.more_cards { " of more" } ")" }
            ol.strip {
                @for group in groups {
                    @if let ([_, _, ..], Some(_)) = (group, group_of(&group[0])) {
                        li.group { p { (count(group[0].times, "time", "times")) " in turn:" } ol.strip { @for card in group { (card_of(card, recording)) } } }
                    } @else { @for card in group { (card_of(card, recording)) } }
                }
            }
            @if recording.more_cards { p.faint { "The plan continues; only its first " (recording.cards.len()) " kinds of step are shown small." } }
        }
    }
}

/// The group that a step stands in; nothing for a step of the plan itself.
fn group_of(card: &Card) -> Option<&str> {
    let (group, _) = card.pointer.rsplit_once("/steps/")?;
    (!group.is_empty()).then_some(group)
}

fn card_of(card: &Card, recording: &Recording) -> Markup {
    let name = card.label.as_deref().unwrap_or("no label");
    let steps = if card.times > 1 {
        format!("steps {} to {}, {} times", card.first, card.last, card.times)
    } else {
        format!("step {}", card.first)
    };
    let has_picture = recording.has_picture(card.first);
    html! {
        li {
            @if has_picture { a href={ "#step=" (card.first) } data-step=(card.first) { canvas data-step=(card.first) aria-hidden="true" {} (name) } }
            @else { strong { (name) } p.faint { "no room for its picture" } }
            p.faint {
                (steps) br; (when(card.request_ms, card.cause)) br; (card.updates) @if card.flashes { ", flashes" }
                @if let Some(answer_ms) = card.answer_ms { br; "seen after " (ms(answer_ms)) " ms" }
                @if card.worst_l > 0.0 { br; "ghost of " (format!("{:.1}", card.worst_l)) " L*" }
            }
        }
    }
}
