//! A few windows of the controller that cover what changes, sending as little beside it as can be.
//!
//! Knows boxes and the controller's grid, not pixels.

use crate::{change::proposed_window, display::Display, geometry::Rect, plan::Plan};

/// Up to so many boxes all ways to put them together are tried; more are put together step by step.
const MOST_TRIED: usize = 7;
/// More boxes than this are first gathered in squares of the panel.
const MOST_BOXES: usize = 40;

/// For 1, 2, ... up to `most` windows, those that cover the boxes and send the fewest pixels; fewer lists where more
/// windows would send no less. Each window is one that the controller takes; none at all where it has no windows.
pub fn covers(boxes: &[Rect], plan: &Plan, most: usize) -> Vec<Vec<Rect>> {
    let boxes = if boxes.len() > MOST_BOXES { gathered(boxes) } else { boxes.to_vec() };
    let mut windows: Vec<Rect> = Vec::new();
    for rect in boxes {
        let Some(window) = proposed_window(rect, &plan.display, plan.rotation) else { return Vec::new() };
        windows.push(window);
    }
    windows.sort_unstable_by_key(|rect| (rect.y, rect.x, rect.width, rect.height));
    windows.dedup();
    let mut found: Vec<Vec<Rect>> = Vec::new();
    for number in 1..=most.min(windows.len()) {
        let cover =
            if windows.len() <= MOST_TRIED { best(&windows, number, plan) } else { merged(&windows, number, plan) };
        if found.last().is_none_or(|fewer| pixels(&cover) < pixels(fewer)) {
            found.push(cover);
        }
    }
    found
}

/// The most windows of one update that are worth asking for.
pub(super) fn most_windows(display: &Display) -> usize {
    const MOST: usize = 4;
    display.windows.map_or(0, |windows| windows.most_in_a_step.unwrap_or(MOST).min(MOST))
}

/// Pixels that are sent: those where windows overlap count for each.
pub(super) fn pixels(windows: &[Rect]) -> u64 {
    windows.iter().copied().map(Rect::pixels).sum()
}

fn around(one: Rect, other: Rect, plan: &Plan) -> Rect {
    let rect = one.around(other);
    proposed_window(rect, &plan.display, plan.rotation).unwrap_or(rect)
}

/// Boxes of the same square of the panel in one.
fn gathered(boxes: &[Rect]) -> Vec<Rect> {
    const SQUARES: u32 = 6;
    let bounds = boxes.iter().copied().reduce(Rect::around);
    let Some(bounds) = bounds else { return Vec::new() };
    let square_of = |rect: &Rect| {
        let column = (rect.x - bounds.x) * SQUARES / bounds.width.max(1);
        let row = (rect.y - bounds.y) * SQUARES / bounds.height.max(1);
        (row * SQUARES + column) as usize
    };
    let mut squares: Vec<Option<Rect>> = vec![None; (SQUARES * SQUARES) as usize];
    for rect in boxes {
        let square = &mut squares[square_of(rect)];
        *square = Some(square.map_or(*rect, |known| known.around(*rect)));
    }
    squares.into_iter().flatten().collect()
}

/// The best way to put boxes together into at most so many windows, of all there are.
fn best(boxes: &[Rect], number: usize, plan: &Plan) -> Vec<Rect> {
    let mut found = vec![boxes.iter().copied().reduce(|one, other| around(one, other, plan)).into_iter().collect()];
    put(boxes, &mut Vec::new(), number, plan, &mut found[0]);
    found.swap_remove(0)
}

/// Puts the first box into each window that was begun, or into one of its own, and goes on with the others.
fn put(boxes: &[Rect], begun: &mut Vec<Rect>, number: usize, plan: &Plan, found: &mut Vec<Rect>) {
    if pixels(begun) >= pixels(found) {
        return;
    }
    let Some((first, others)) = boxes.split_first() else {
        found.clone_from(begun);
        return;
    };
    for at in 0..begun.len() {
        let before = begun[at];
        begun[at] = around(before, *first, plan);
        put(others, begun, number, plan, found);
        begun[at] = before;
    }
    if begun.len() < number {
        begun.push(*first);
        put(others, begun, number, plan, found);
        begun.pop();
    }
}

/// Boxes put together two by two, each time those that add the fewest pixels.
fn merged(boxes: &[Rect], number: usize, plan: &Plan) -> Vec<Rect> {
    let mut windows = boxes.to_vec();
    while windows.len() > number {
        let mut least: Option<(i64, usize, usize)> = None;
        for one in 0..windows.len() {
            for other in one + 1..windows.len() {
                let both = around(windows[one], windows[other], plan);
                let added = both.pixels() as i64 - windows[one].pixels() as i64 - windows[other].pixels() as i64;
                if least.is_none_or(|(known, _, _)| added < known) {
                    least = Some((added, one, other));
                }
            }
        }
        let Some((_, one, other)) = least else { break };
        let taken = windows.swap_remove(other);
        windows[one] = around(windows[one], taken, plan);
    }
    windows
}
