//! The panel and its time as empty markup, once for all plans of a page: the script fills it for the plan that is open.
//! Knows nothing of any plan.

use maud::{Markup, html};

/// The view.
pub(super) fn view() -> Markup {
    html! {
        div.view {
            section.panel aria-label="The panel" {
                (looks())
                div.stage tabindex="0" role="group" aria-label="The panel, may be scrolled" { (stage(false)) (stage(true)) }
                label.edge hidden { span.left {} input type="range" min="0" max="100" value="50" name="edge"; span.right {} }
                p.legend.faint hidden {}
                p.chosen-line { button type="button" name="previous" { "Previous finding" } button type="button" name="next" { "Next finding" } " " span.what {} }
                (controls())
                p.said aria-live="polite" {}
            }
            (time())
            (help())
        }
    }
}

fn looks() -> Markup {
    html! {
        div.looks role="group" aria-label="What the panel shows" {
            @for (value, name) in [("meant", "Meant"), ("seen", "Seen"), ("left", "Left")] {
                button type="button" name="look" value=(value) aria-pressed="false" { span { (name) } " " kbd { (&name[..1]) } }
            }
            button type="button" name="beside" value="meant" aria-pressed="false" { span.second { "Meant beside it" } " " kbd { "B" } }
            button type="button" name="beside" value="edge" aria-pressed="false" { span.second { "Meant over it" } " " kbd { "E" } }
            button type="button" name="closer" aria-pressed="false" { span { "Closer" } " " kbd { "C" } }
            button type="button" name="link" { "Copy link to this view" }
            span.reading {}
        }
    }
}

fn stage(hidden: bool) -> Markup {
    html! {
        figure hidden[hidden] {
            div.pane tabindex="-1" role="group" aria-label=(if hidden { "The second picture, may be scrolled" } else { "The picture, may be scrolled" }) {
                div.sheet {
                    canvas role="img" aria-label="The panel" {}
                    @if !hidden { canvas.upper hidden aria-hidden="true" {} }
                    svg.over aria-hidden="true" {}
                    p.blank { "Unpacking the pictures." }
                }
            }
            figcaption {}
        }
    }
}

fn controls() -> Markup {
    html! {
        div.controls {
            label.steps { "Step " span.rail { input type="range" min="0" value="0" name="step"; i.filmed hidden {} } }
            span.count {}
            span.pictured {}
            button type="button" name="back" { "Back a step" }
            button type="button" name="forward" { "Forward a step" }
            button type="button" name="play" { "Play" }
            button type="button" name="flash" { "Show its flashes, once" }
        }
    }
}

fn time() -> Markup {
    html! {
        section.time aria-label="Time" {
            div.paper {
                div.lanes {}
                div.scroll tabindex="0" role="group" aria-label="Time, may be scrolled" {}
            }
            ul.key {
                @for (mark, name) in [
                    ("person", "by a person"), ("machine", "by the device"), ("pen", "pen"), ("wait", "waits"), ("drive", "drives"),
                    ("cleans", "cleans"), ("limit", "from here on a ghost"),
                ] { li { span class={ "mark " (mark) } {} (name) } }
                li { button type="button" name="zoom-out" { "Zoom out" } " " button type="button" name="zoom-in" { "Zoom in" } }
            }
        }
    }
}

fn help() -> Markup {
    html! {
        details.help { summary { "Keys, and what is shown" }
            p { "M meant, S seen, L left, B meant beside it, E meant over it up to an edge that you move, C closer, \
                 arrows step, N and P go to the next and the previous finding. Click on the panel, or press H, to read what \
                 happened at that place; Shift with an arrow moves the place. The address, which a button copies, leads \
                 back to what is shown. " label { input type="checkbox" name="keys" checked; " keys are on" } }
            p { "All this is what the model predicts. Nothing moves until you start it. Playing is ten times slower than \
                 the panel, and flashes are only marked, because flashing can trigger seizures in people with \
                 photosensitive epilepsy." }
            p { "A ghost has two figures. Its strongest pixel is named with each step. The residue of a noticeable size is \
                 what as much area has that eyes take it in: the limit and the line in the time are of that one." }
        }
    }
}
