//! How much of the texts of a drawing is left in other levels than it was drawn in, before any plan shows it: what
//! `text-lost` would say of the prepared screen, which no longer knows its texts.

use super::{
    letters::{Letters, letters_of, with_ink},
    rule_named,
    text_lost::STANDS_OUT,
    texts,
};
use crate::{
    change::{TileCover, TileGrid},
    display::{Ink, Level},
    geometry::Rect,
    screen::Picture,
};

/// A text, and how much of it is left.
#[derive(Clone, Debug, PartialEq)]
pub struct TextLeft {
    /// Its first words.
    pub quote: String,
    /// Where it stands.
    pub rect: Rect,
    /// The share of its pixels that stand out from their ground.
    pub share: f64,
    /// The share that must, by the page of the rule.
    pub least: f64,
}

impl TextLeft {
    /// Whether too little of it is left to be read.
    pub fn is_lost(&self) -> bool {
        self.share < self.least
    }
}

/// How much of each text of a drawing is left if its pixels have these levels, row by row.
pub fn texts_left(drawn: &Picture, shown: &[Level], ink: &Ink) -> Vec<TextLeft> {
    let (grid, table) = (TileGrid::new(drawn.size()), ink.level_table());
    let page = rule_named("text-lost");
    let limit = page.and_then(|page| page.limits.iter().find(|limit| limit.name == "lost"));
    let least = limit.and_then(|limit| limit.default).unwrap_or_default();
    let left = |mut letters: Letters| {
        let text = &drawn.texts[letters.text];
        TileCover::new(grid, &[text.rect]).for_each_tile(|tile, covered| {
            let (left, top) = grid.origin(tile);
            for (bit, is_ink) in with_ink(covered, letters.ink.pixels_of(tile)) {
                let (x, y) = (left + bit % 8, top + bit / 8);
                let now = shown[(y * drawn.size().width + x) as usize];
                letters.levels.change(is_ink, table[usize::from(drawn.shade(x, y))], now);
            }
        });
        TextLeft {
            quote: texts::quote(&text.text),
            rect: text.rect,
            share: letters.levels.share_apart(STANDS_OUT, ink),
            least,
        }
    };
    letters_of(drawn, &grid, &table).into_iter().map(left).collect()
}
