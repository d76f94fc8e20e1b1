//! `faint-text`: SVG text that stands out too little from its ground on this panel's own reflectances.

use super::{
    Rule, Setup,
    texts::{Followed, Group},
};
use crate::{
    display::{
        Level,
        ink::{InkKind, MOST_LEVELS},
    },
    finding::{Observation, Sink},
    panel::PlayedStep,
    plan::Plan,
    screen::{DrawnText, Picture, TextPaint},
    units::{contrast_ratio, grey_of_rgb, length_pt},
};

/// Text counts as large from this many points on, and from that many where it is bold: WCAG 2.2, large scale.
const LARGE_PT: f64 = 18.0;
const LARGE_BOLD_PT: f64 = 14.0;
/// Where letters cover most of their box, what has this share of it is taken for the ground.
const GROUND_SHARE: f64 = 0.2;

/// Looks at the texts of every distinct screen.
#[derive(Clone)]
pub(super) struct FaintText<'p> {
    plan: &'p Plan,
    small: f64,
    large: f64,
    table: [Level; 256],
    followed: Followed<Faint>,
}

/// Text of one level on another.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Faint {
    ink: Level,
    ground: Level,
    is_large: bool,
}

impl<'p> FaintText<'p> {
    pub(super) fn new(setup: &Setup<'p>) -> Self {
        Self {
            plan: setup.plan,
            small: setup.limits.faint_text.small.value,
            large: setup.limits.faint_text.large.value,
            table: setup.plan.display.ink.level_table(),
            followed: Followed::new(),
        }
    }

    fn limit(&self, is_large: bool) -> f64 {
        if is_large { self.large } else { self.small }
    }

    /// The contrast of two levels, their luminance relative to the panel's white.
    fn contrast(&self, one: Level, other: Level) -> f64 {
        let ink = &self.plan.display.ink;
        contrast_ratio(ink.relative_luminance(one), ink.relative_luminance(other))
    }

    fn faint(&self, text: &DrawnText, picture: &Picture) -> Option<Faint> {
        let (ink, ground) = self.levels(text, picture)?;
        let pt = length_pt(text.size_px, self.plan.display.pixels_per_inch);
        let is_large = pt >= LARGE_PT || (text.bold && pt >= LARGE_BOLD_PT);
        (self.contrast(ink, ground) < self.limit(is_large)).then_some(Faint { ink, ground, is_large })
    }

    /// The level of a text's letters and that of its ground; `None` if nothing is seen of it.
    fn levels(&self, text: &DrawnText, picture: &Picture) -> Option<(Level, Level)> {
        let shares = Shares::of(text, picture, &self.table);
        let (ground, drawn) = shares.largest(None)?;
        let paints = || [text.paint, text.outline].into_iter().flatten();
        let covered = paints().any(|paint| self.level_of(paint, drawn) == ground);
        let (ground, drawn) = match shares.largest(Some(ground)) {
            Some((other, drawn)) if covered && shares.of_level(other) >= GROUND_SHARE => (other, drawn),
            _ => (ground, drawn),
        };
        let seen = paints().map(|paint| self.level_of(paint, drawn)).filter(|level| shares.of_level(*level) > 0.0);
        let best = seen.max_by(|one, other| self.contrast(*one, ground).total_cmp(&self.contrast(*other, ground)));
        Some((best.or_else(|| self.thin(paints().next(), drawn, &shares, ground))?, ground))
    }

    /// The level of letters that have their own colour nowhere: too thin for it, they are judged by it anyway, as
    /// WCAG does with soft edges. Of several colours, or none that is known, a quarter of the letters' pixels stand out as
    /// much or more.
    fn thin(&self, paint: Option<TextPaint>, drawn: [u8; 3], shares: &Shares, ground: Level) -> Option<Level> {
        let others =
            self.plan.display.ink.all().iter().filter(|level| *level != ground && shares.of_level(*level) > 0.0);
        let mut others: Vec<Level> = others.collect();
        if let (Some(paint), false) = (paint, others.is_empty()) {
            return Some(self.level_of(paint, drawn));
        }
        let contrast = |level: Level| self.contrast(level, ground);
        others.sort_by(|one, other| contrast(*other).total_cmp(&contrast(*one)));
        let whole: f64 = others.iter().map(|level| shares.of_level(*level)).sum();
        let mut seen = 0.0;
        others.into_iter().find(|level| {
            seen += shares.of_level(*level);
            seen >= whole / 4.0
        })
    }

    fn level_of(&self, paint: TextPaint, ground: [u8; 3]) -> Level {
        let colour = paint.over(ground);
        let [red, green, blue] = colour;
        let palette = self.plan.display.ink.nearest_colour(colour);
        palette.map_or_else(|| self.table[usize::from(grey_of_rgb(red, green, blue))], |(level, _)| level)
    }

    fn tell(&self, faint: Faint, group: Group, sink: &mut Sink) {
        let ink = &self.plan.display.ink;
        let (contrast, limit) = (self.contrast(faint.ink, faint.ground), self.limit(faint.is_large));
        let size = if faint.is_large { "large text" } else { "text of this size" };
        let message = if faint.ink == faint.ground {
            format!(
                "{} is drawn in {} on {}, so it cannot be seen",
                group.words(),
                ink.name(faint.ink),
                ink.name(faint.ground)
            )
        } else {
            format!(
                "{}: {} on {} has a contrast of {} on this panel; {size} needs {limit}",
                group.words(),
                ink.name(faint.ink),
                ink.name(faint.ground),
                cut(contrast)
            )
        };
        let observation = Observation {
            rect: Some(group.rect),
            message,
            help: self.help(faint),
            figures: vec![("contrast", contrast), ("limit", limit), ("texts", group.count as f64)],
            key: format!("{} {} {}", faint.ink, faint.ground, faint.is_large),
            ..Observation::default()
        };
        sink.report(group.place, observation);
    }

    /// The nearest level that stands out enough, otherwise what else can be done.
    fn help(&self, faint: Faint) -> String {
        let ink = &self.plan.display.ink;
        let limit = self.limit(faint.is_large);
        let enough = ink.all().iter().filter(|level| self.contrast(*level, faint.ground) >= limit);
        let nearest = enough.min_by(|one, other| ink.apart(*one, faint.ink).total_cmp(&ink.apart(*other, faint.ink)));
        let larger = (!faint.is_large && self.contrast(faint.ink, faint.ground) >= self.large).then(|| {
            let px = LARGE_PT * self.plan.display.pixels_per_inch / 72.0;
            format!(", or set it at {} px ({LARGE_PT} pt) or more", px.ceil())
        });
        match nearest {
            Some(level) => format!(
                "draw it in {}, which has a contrast of {} on {}{}",
                ink.name(level),
                cut(self.contrast(level, faint.ground)),
                ink.name(faint.ground),
                larger.unwrap_or_default()
            ),
            None => {
                format!(
                    "no level of this panel stands out enough from {}: change the background",
                    ink.name(faint.ground)
                )
            }
        }
    }
}

/// A contrast with two decimals, cut and not rounded: 4.499 must not read as 4.5.
fn cut(contrast: f64) -> String {
    format!("{:.2}", (contrast * 100.0).floor() / 100.0)
}

/// How much of a text's box each level takes.
#[derive(Clone)]
struct Shares {
    pixels: [u64; MOST_LEVELS],
    /// The colour of a pixel of each level as it was drawn.
    drawn: [[u8; 3]; MOST_LEVELS],
    whole: f64,
}

impl Shares {
    fn of(text: &DrawnText, picture: &Picture, table: &[Level; 256]) -> Self {
        let rect = text.rect;
        let mut shares = Self { pixels: [0; MOST_LEVELS], drawn: [[0; 3]; MOST_LEVELS], whole: rect.pixels() as f64 };
        for y in rect.y..rect.bottom() {
            let row = &picture.row(y)[rect.x as usize..rect.right() as usize];
            for (x, shade) in (rect.x..).zip(row) {
                let level = usize::from(table[usize::from(*shade)]);
                if shares.pixels[level] == 0 {
                    shares.drawn[level] = picture.drawn(x, y);
                }
                shares.pixels[level] += 1;
            }
        }
        shares
    }

    fn of_level(&self, level: Level) -> f64 {
        self.pixels[usize::from(level)] as f64 / self.whole
    }

    /// The level that most pixels have, except for one, and a colour in which it was drawn.
    fn largest(&self, but: Option<Level>) -> Option<(Level, [u8; 3])> {
        let levels = (0..MOST_LEVELS).filter(|level| self.pixels[*level] > 0 && but != Some(*level as Level));
        let level = levels.max_by_key(|level| self.pixels[*level])?;
        Some((level as Level, self.drawn[level]))
    }
}

impl Rule for FaintText<'_> {
    fn step(&mut self, step: &PlayedStep<'_>, _: &mut Sink) {
        if matches!(self.plan.display.ink.kind(), InkKind::Segments(_)) {
            return;
        }
        let mut followed = std::mem::replace(&mut self.followed, Followed::new());
        followed.step(step, |text| self.faint(text, step.memory));
        self.followed = followed;
    }

    fn end(&mut self, sink: &mut Sink) {
        for (faint, group) in self.followed.take() {
            self.tell(faint, group, sink);
        }
    }
}
