//! The story of a place as JSON. Knows no words of its own, except those of the findings and answers.

use serde_json::{Value, json};

use super::story::StoryReport;
use crate::{
    explain::{Advice, Complaint, SentHere},
    plan::Power,
};

/// A story as JSON, one object.
pub fn story_json(report: StoryReport<'_>) -> Value {
    let StoryReport { path, plan, story, complaint, walk } = report;
    let mode = |sent: &SentHere| plan.display.modes[sent.mode].name.clone();
    let sent = |sent: &SentHere| {
        json!({
            "mode": mode(sent), "flashes": plan.display.modes[sent.mode].flashes, "sent_px": sent.sent_px,
            "changed_here_px": sent.changed_here_px, "wait_ms": sent.wait_ms, "shows_after_ms": sent.shows_after_ms,
            "ends_after_ms": sent.ends_after_ms, "unknown_px": sent.unknown_px, "lost": sent.is_lost,
        })
    };
    let events: Vec<Value> = story
        .events
        .iter()
        .map(|event| {
            json!({
                "step": event.step, "label": event.label, "at_ms": event.at_ms, "cause": event.cause.word(),
                "after_power": event.after_power.map(Power::word), "drawn_px": event.drawn_px, "left_px": event.left_px, "pen_px": event.pen_px,
                "cleans": event.cleans_all,
                "sent": event.sent.iter().map(sent).collect::<Vec<_>>(),
            })
        })
        .collect();
    let ghost = story.ghost.as_ref().map(|ghost| {
        json!({
            "worst_l": ghost.worst_l, "lighter": ghost.is_lighter, "count": ghost.count, "px": ghost.pixels, "box": ghost.rect.to_array(), "outline": ghost.is_outline,
            "drawn_by": ghost.drawn_by, "drawn_over_by": ghost.drawn_over_by, "first_step": ghost.first.step, "since_step": ghost.since.0,
            "since_ms": ghost.since.1, "updates": ghost.updates, "gone_step": ghost.gone.map(|gone| gone.step),
        })
    });
    let older =
        story.stay.map(|stay| json!({ "since_step": stay.since, "until_step": stay.until, "stays_ms": stay.ms }));
    let findings: Vec<Value> = story
        .findings
        .iter()
        .map(|finding| {
            json!({
                "rule": finding.rule, "level": finding.severity.word(), "step": finding.step, "message": finding.message,
                "help": finding.help, "fingerprint": finding.fingerprint,
            })
        })
        .collect();
    let sure = &plan.display.certainty;
    let certainty = json!({
        "residue": plan.display.least_residue_certainty(), "durations": sure.durations, "first_visible": sure.first_visible,
        "flashes": sure.flashes,
    });
    let Advice { first, also, then, beside, .. } = &story.advice;
    let advice: Vec<&String> = [first, also, then, beside].into_iter().flatten().collect();
    let mut object = json!({
        "format": "story/1", "plan": path, "step": story.step, "label": story.label, "at_ms": story.at_ms,
        "box": story.place.to_array(), "complaint": complaint.map(Complaint::word), "answers": story.answers, "advice": advice,
        "events": events, "earlier_updates": story.earlier_updates, "cleaned_by": story.cleaned_by, "ghost": ghost,
        "most_off_l": story.most_off_l, "limit_l": story.limit_l, "older_px": story.older_px, "older": older,
        "unreached_px": story.unreached_px, "inked_px": story.inked_px, "unknown_px": story.unknown_px,
        "net_impulse_vs": story.most_charge_vs, "certainty": certainty, "findings": findings,
    });
    if let Some(walk) = walk {
        object["walk"] = walk.words.as_str().into();
    }
    object
}
