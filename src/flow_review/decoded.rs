//! The screens of a flow, decoded once: where they differ, and the pictures for every walk that is played.
//!
//! Knows pictures and boxes; files are the caller's.

use std::{
    collections::{BTreeMap, HashMap},
    sync::{Arc, Mutex, PoisonError},
};

use crate::{
    change::{TileGrid, difference, pipeline::ScreenSource, widened},
    display::{Display, Level},
    flow::{Damage, Flow},
    geometry::{Rect, Rotation},
    plan::{Begins, ScreenId},
    proof::{Frame, Frames},
    review::BrokenScreen,
    screen::{Picture, ScreenFault},
    side_by_side::in_order,
};

/// The box around what differs between two screens, by these.
type Boxes = HashMap<(Option<ScreenId>, ScreenId), Option<Rect>>;

/// The decoded screens of a flow.
#[derive(Debug)]
pub struct DecodedScreens {
    pictures: HashMap<ScreenId, Arc<Picture>>,
    /// What is on the glass at the beginning.
    first: Arc<Picture>,
    grid: TileGrid,
    table: [Level; 256],
    display: Arc<Display>,
    rotation: Rotation,
    /// The boxes that were asked for before.
    boxes: Mutex<Boxes>,
}

impl DecodedScreens {
    /// Decodes every screen of a flow.
    ///
    /// # Errors
    /// Every screen that cannot be used, with the field that names it.
    pub fn decode(flow: &Flow, source: &dyn ScreenSource, threads: usize) -> Result<Self, Vec<BrokenScreen>> {
        let named = named_screens(flow);
        let screens: Vec<ScreenId> = named.keys().copied().collect();
        let mut pictures = HashMap::new();
        let mut broken = Vec::new();
        let decoded = in_order(&screens, threads, &|screen| source.picture(*screen, Vec::new()));
        for (screen, decoded) in screens.iter().copied().zip(decoded) {
            match decoded {
                Ok(picture) => {
                    pictures.insert(screen, Arc::new(picture));
                }
                Err(fault) => broken.push(BrokenScreen { screen, fault, pointer: named[&screen].clone() }),
            }
        }
        if !broken.is_empty() {
            return Err(broken);
        }
        let head = &flow.head;
        let ink = &head.display.ink;
        let of_shade = |level| Arc::new(Picture::uniform(head.screen_size(), ink.shade(level)));
        let first = match head.begins {
            Begins::White | Begins::Unknown => of_shade(ink.white()),
            Begins::Black => of_shade(ink.black()),
            Begins::Screen(screen) => pictures[&screen].clone(),
        };
        Ok(Self {
            pictures,
            first,
            grid: TileGrid::new(head.screen_size()),
            table: ink.level_table(),
            display: head.display.clone(),
            rotation: head.rotation,
            boxes: Mutex::default(),
        })
    }

    /// The screens as levels; `None` if their sizes differ from the panel's.
    pub fn frames(&self, flow: &Flow) -> Option<Frames> {
        let levels = Arc::new(self.table);
        let last = self.pictures.keys().max().map_or(0, |last| last.0);
        // A number that no state uses stands for what is on the glass at the beginning.
        let picture = |number: usize| self.pictures.get(&ScreenId(number)).unwrap_or(&self.first);
        Frames::new(&flow.head, (0..=last).map(|number| Frame::new(picture(number), &levels)).collect())
    }

    /// A decoded screen of the flow.
    pub fn of(&self, screen: ScreenId) -> &Arc<Picture> {
        &self.pictures[&screen]
    }

    /// Of a ring, the picture that differs most from the next one.
    pub fn most_different(&self, screens: &[ScreenId]) -> usize {
        let pixels = |at: &usize| {
            let (one, next) = (screens[*at], screens[(at + 1) % screens.len()]);
            difference(self.of(one), self.of(next), &self.grid, &self.table).pixels.count()
        };
        // Of several the first.
        (0..screens.len()).rev().max_by_key(pixels).unwrap_or(0)
    }

    fn differs(&self, before: Option<ScreenId>, after: ScreenId) -> Option<Rect> {
        let one = before.map_or(&self.first, |screen| self.of(screen));
        let pixels = difference(one, self.of(after), &self.grid, &self.table).pixels;
        widened(pixels.bounds(&self.grid)?.to_window(), &self.display, self.rotation)
    }
}

impl Damage for DecodedScreens {
    fn changed(&self, before: Option<ScreenId>, after: ScreenId) -> Option<Rect> {
        let mut boxes = self.boxes.lock().unwrap_or_else(PoisonError::into_inner);
        *boxes.entry((before, after)).or_insert_with(|| self.differs(before, after))
    }
}

impl ScreenSource for DecodedScreens {
    fn picture(&self, screen: ScreenId, _buffer: Vec<u8>) -> Result<Picture, ScreenFault> {
        Ok(Picture::clone(self.of(screen)))
    }

    fn shared(&self, screen: ScreenId, _buffer: Vec<u8>) -> Result<Arc<Picture>, ScreenFault> {
        Ok(self.of(screen).clone())
    }
}

/// The screens of a flow, each with the field that names it first.
fn named_screens(flow: &Flow) -> BTreeMap<ScreenId, String> {
    let mut named = BTreeMap::new();
    if let Begins::Screen(screen) = flow.head.begins {
        named.insert(screen, "/begins/screen".to_owned());
    }
    for state in &flow.states {
        let field = if state.is_ring() { "each" } else { "screen" };
        for screen in &state.screens {
            named.entry(*screen).or_insert_with(|| format!("{}/{field}", state.pointer));
        }
    }
    named
}
