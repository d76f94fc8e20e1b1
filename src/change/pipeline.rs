//! The stream of transitions from screen to screen: decoded and compared on all cores, handed over in order.
//!
//! A bounded number of screens is looked ahead. Each picture is decoded once while there is memory for it, however
//! often it is shown; each pair is compared once. The thread that plays the plan helps where it would have to wait.

use std::{
    collections::{HashMap, VecDeque},
    panic::{AssertUnwindSafe, catch_unwind},
    sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError},
    thread,
};

use super::{Difference, TileGrid, difference};
use crate::{
    display::Level,
    plan::ScreenId,
    screen::{Picture, ScreenFault},
    side_by_side::STACK_BYTES,
};

/// Bytes of pictures that are kept because they are shown again later.
const PICTURE_BYTES: usize = 96 << 20;
/// Bytes of compared pairs that are kept because they come again later.
const PAIR_BYTES: usize = 48 << 20;
/// Buffers of pictures that are kept for those to come.
const MOST_BUFFERS: usize = 4;

/// Where the pictures come from.
pub trait ScreenSource: Sync {
    /// Reads and decodes a screen; `buffer` may be used for its greys.
    ///
    /// # Errors
    /// Where the screen cannot be used.
    fn picture(&self, screen: ScreenId, buffer: Vec<u8>) -> Result<Picture, ScreenFault>;

    /// The same where the source may keep the picture too, so that it need not be copied.
    ///
    /// # Errors
    /// Where the screen cannot be used.
    fn shared(&self, screen: ScreenId, buffer: Vec<u8>) -> Result<Arc<Picture>, ScreenFault> {
        self.picture(screen, buffer).map(Arc::new)
    }
}

/// What pictures are compared by, and with how many threads.
#[derive(Clone, Debug)]
pub struct Setting {
    /// The tiles of the screens.
    pub grid: TileGrid,
    /// The level of each shade.
    pub table: [Level; 256],
    /// How many threads work, the playing one included; at least 1.
    pub threads: usize,
}

/// The picture that memory begins with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum First {
    /// One shade everywhere.
    Shade(u8),
    /// A screen.
    Screen(ScreenId),
}

/// A change of the picture in memory.
#[derive(Clone, Debug)]
pub struct Transition {
    /// What is in memory now.
    pub picture: Arc<Picture>,
    /// What is another than before.
    pub introduced: Arc<Difference>,
}

/// A screen that cannot be used.
#[derive(Clone, Debug)]
pub struct BrokenScreen {
    /// Which.
    pub screen: ScreenId,
    /// Why.
    pub fault: ScreenFault,
}

/// A picture's key: 0 the beginning, otherwise the screen's number and 1.
type Key = usize;
type Pair = (Key, Key);

/// Hands over transitions in the order of the plan; see [`run`].
pub struct Pipeline<'c> {
    shop: &'c Shop<'c>,
    upcoming: Box<dyn Iterator<Item = Key> + 'c>,
    /// Transitions that were asked for and not yet handed over.
    ahead: VecDeque<Pair>,
    look_ahead: usize,
    last_asked: Key,
    now: Key,
}

/// Runs `play` with a pipeline for the screens of a plan. `screens` gives the sequence of screens from its beginning,
/// as often as it is called.
///
/// # Errors
/// Where the first picture cannot be used.
pub fn run<'c, R, I>(
    source: &'c dyn ScreenSource,
    setting: &'c Setting,
    first: First,
    screens: impl Fn() -> I,
    play: impl FnOnce(&mut Pipeline<'_>, Arc<Picture>) -> R,
) -> Result<R, BrokenScreen>
where
    I: Iterator<Item = ScreenId> + 'c,
{
    let begin = match first {
        First::Shade(_) => 0,
        First::Screen(screen) => key_of(screen),
    };
    let shop = Shop {
        source,
        setting,
        board: Mutex::new(Board::for_plan(begin, screens().map(key_of))),
        work: Condvar::new(),
        done: Condvar::new(),
    };
    let first = match first {
        First::Shade(shade) => Ok(Arc::new(Picture::uniform(setting.grid.size(), shade))),
        First::Screen(screen) => shop.decode(key_of(screen), Vec::new()),
    };
    let first = first.map_err(|fault| BrokenScreen { screen: screen_of(begin), fault })?;
    shop.board().pictures.insert(begin, PictureState::Ready(first.clone()));
    thread::scope(|scope| {
        for _ in 1..setting.threads {
            // Where a thread cannot be had, the others do its work.
            let _ = thread::Builder::new().stack_size(STACK_BYTES).spawn_scoped(scope, || shop.work_until_stopped());
        }
        let mut pipeline = Pipeline {
            shop: &shop,
            upcoming: Box::new(screens().map(key_of)),
            ahead: VecDeque::new(),
            // Enough that the others have work while a page turn is played.
            look_ahead: (4 * setting.threads).min(look_ahead_in_memory(setting)),
            last_asked: begin,
            now: begin,
        };
        // The others begin while the panel is still set up.
        pipeline.ask_ahead();
        // A panic while playing must still let the other threads end.
        let result = catch_unwind(AssertUnwindSafe(|| play(&mut pipeline, first)));
        shop.stop();
        Ok(result.unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
    })
}

/// How many screens ahead may be in memory at one time; enough to go on with at least.
fn look_ahead_in_memory(setting: &Setting) -> usize {
    // A palette keeps the colours of every pixel beside its shade.
    const BYTES_A_PIXEL: u64 = 4;
    let picture = BYTES_A_PIXEL * setting.grid.size().pixels();
    (PICTURE_BYTES as u64 / picture.max(1)).max(2) as usize
}

fn key_of(screen: ScreenId) -> Key {
    screen.0 + 1
}

fn screen_of(key: Key) -> ScreenId {
    ScreenId(key.saturating_sub(1))
}

impl Pipeline<'_> {
    /// The transition to the next screen of the plan; `None` if that is the one in memory already.
    ///
    /// # Errors
    /// Where the screen cannot be used.
    pub fn next(&mut self, screen: ScreenId) -> Result<Option<Transition>, BrokenScreen> {
        let key = key_of(screen);
        if key == self.now {
            return Ok(None);
        }
        self.ask_ahead();
        let pair = self.ahead.pop_front().unwrap_or((self.now, key));
        debug_assert_eq!(pair, (self.now, key), "the plan is expanded the same way every time");
        let transition = self.shop.hand_over(pair)?;
        self.now = key;
        self.shop.board().used(pair, &self.ahead);
        Ok(Some(transition))
    }

    /// Takes a picture back whose buffer may be used again.
    pub fn give_back(&self, picture: Arc<Picture>) {
        if let Ok(picture) = Arc::try_unwrap(picture) {
            let mut board = self.shop.board();
            if board.buffers.len() < MOST_BUFFERS {
                board.buffers.push(picture.into_buffer());
            }
        }
    }

    fn ask_ahead(&mut self) {
        while self.ahead.len() < self.look_ahead {
            let Some(key) = self.upcoming.next() else { break };
            if key == self.last_asked {
                continue;
            }
            let pair = (self.last_asked, key);
            // Nobody is woken for what is known already.
            if self.shop.board().ask_for(pair) {
                self.shop.work.notify_all();
            }
            self.ahead.push_back(pair);
            self.last_asked = key;
        }
    }
}

/// The work to be shared, and the threads' ways to wait for it.
struct Shop<'s> {
    source: &'s dyn ScreenSource,
    setting: &'s Setting,
    board: Mutex<Board>,
    /// Notified when there is work.
    work: Condvar,
    /// Notified when a piece of work is done.
    done: Condvar,
}

enum PictureState {
    Queued,
    Ready(Arc<Picture>),
    Broken(ScreenFault),
}

enum PairState {
    /// Waits for that many pictures.
    Waiting(u8),
    Ready(Arc<Difference>),
}

enum Job {
    Decode(Key, Vec<u8>),
    Compare(Pair, Arc<Picture>, Arc<Picture>),
}

#[derive(Default)]
struct Board {
    to_decode: VecDeque<Key>,
    to_compare: VecDeque<Pair>,
    pictures: HashMap<Key, PictureState>,
    waiting: HashMap<Key, Vec<Pair>>,
    pairs: HashMap<Pair, PairState>,
    buffers: Vec<Vec<u8>>,
    /// In how many transitions still to be handed over each picture stands.
    picture_uses: HashMap<Key, u64>,
    /// How many transitions still to be handed over are that pair.
    pair_uses: HashMap<Pair, u64>,
    /// When each picture was used last.
    last_use: HashMap<Key, u64>,
    clock: u64,
    /// Whether there may be too much, and something to let go of.
    has_grown: bool,
    stopped: bool,
}

impl Shop<'_> {
    fn board(&self) -> MutexGuard<'_, Board> {
        self.board.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn stop(&self) {
        self.board().stopped = true;
        self.work.notify_all();
    }

    fn work_until_stopped(&self) {
        let mut board = self.board();
        while !board.stopped {
            match board.take_job() {
                Some(job) => {
                    drop(board);
                    self.perform(job);
                    board = self.board();
                }
                None => board = self.work.wait(board).unwrap_or_else(PoisonError::into_inner),
            }
        }
    }

    fn hand_over(&self, pair: Pair) -> Result<Transition, BrokenScreen> {
        let mut board = self.board();
        loop {
            for key in [pair.0, pair.1] {
                if let Some(PictureState::Broken(fault)) = board.pictures.get(&key) {
                    return Err(BrokenScreen { screen: screen_of(key), fault: fault.clone() });
                }
            }
            if let (Some(PairState::Ready(introduced)), Some(PictureState::Ready(picture))) =
                (board.pairs.get(&pair), board.pictures.get(&pair.1))
            {
                return Ok(Transition { picture: picture.clone(), introduced: introduced.clone() });
            }
            match board.take_job() {
                Some(job) => {
                    drop(board);
                    self.perform(job);
                    board = self.board();
                }
                None => board = self.done.wait(board).unwrap_or_else(PoisonError::into_inner),
            }
        }
    }

    fn perform(&self, job: Job) {
        match job {
            Job::Decode(key, buffer) => {
                let decoded = self.decode(key, buffer);
                self.board().decoded(key, decoded);
            }
            Job::Compare(pair, one, other) => {
                let found = difference(&one, &other, &self.setting.grid, &self.setting.table);
                drop((one, other));
                let mut board = self.board();
                board.pairs.insert(pair, PairState::Ready(Arc::new(found)));
                board.has_grown = true;
            }
        }
        self.work.notify_all();
        self.done.notify_all();
    }

    fn decode(&self, key: Key, buffer: Vec<u8>) -> Result<Arc<Picture>, ScreenFault> {
        let decode = || self.source.shared(screen_of(key), buffer);
        catch_unwind(AssertUnwindSafe(decode)).unwrap_or_else(|_| {
            Err(ScreenFault::new(
                "stillpage itself failed while reading this screen",
                "this is a bug in the program, not in the screen: please report it with the file",
            ))
        })
    }
}

impl Board {
    fn for_plan(begin: Key, screens: impl Iterator<Item = Key>) -> Self {
        let mut board = Self::default();
        let mut last = begin;
        for key in screens.filter(|key| *key != 0) {
            if key != last {
                *board.picture_uses.entry(last).or_default() += 1;
                *board.picture_uses.entry(key).or_default() += 1;
                *board.pair_uses.entry((last, key)).or_default() += 1;
                last = key;
            }
        }
        board
    }

    /// Asks for a pair; gives whether that brought work.
    fn ask_for(&mut self, pair: Pair) -> bool {
        let waiting = self.to_decode.len() + self.to_compare.len();
        let mut missing = 0;
        let known = self.pairs.contains_key(&pair);
        for key in [pair.0, pair.1] {
            let ready = matches!(self.pictures.get(&key), Some(PictureState::Ready(_)));
            if ready || (known && key == pair.0) {
                continue;
            }
            if let std::collections::hash_map::Entry::Vacant(vacant) = self.pictures.entry(key) {
                vacant.insert(PictureState::Queued);
                self.to_decode.push_back(key);
            }
            if !known {
                missing += 1;
                self.waiting.entry(key).or_default().push(pair);
            }
        }
        if !known {
            self.pairs.insert(pair, PairState::Waiting(missing));
            if missing == 0 {
                self.to_compare.push_back(pair);
            }
        }
        self.to_decode.len() + self.to_compare.len() > waiting
    }

    fn take_job(&mut self) -> Option<Job> {
        while let Some(pair) = self.to_compare.pop_front() {
            if let (Some(PictureState::Ready(one)), Some(PictureState::Ready(other))) =
                (self.pictures.get(&pair.0), self.pictures.get(&pair.1))
            {
                return Some(Job::Compare(pair, one.clone(), other.clone()));
            }
        }
        let key = self.to_decode.pop_front()?;
        Some(Job::Decode(key, self.buffers.pop().unwrap_or_default()))
    }

    fn decoded(&mut self, key: Key, decoded: Result<Arc<Picture>, ScreenFault>) {
        let ready = decoded.is_ok();
        let state = match decoded {
            Ok(picture) => PictureState::Ready(picture),
            Err(fault) => PictureState::Broken(fault),
        };
        self.pictures.insert(key, state);
        self.has_grown = true;
        for pair in self.waiting.remove(&key).unwrap_or_default() {
            if let Some(PairState::Waiting(missing)) = self.pairs.get_mut(&pair) {
                *missing -= 1;
                if *missing == 0 && ready {
                    self.to_compare.push_back(pair);
                }
            }
        }
    }

    /// Counts a transition as handed over and lets go of what is not needed again.
    fn used(&mut self, pair: Pair, ahead: &VecDeque<Pair>) {
        self.clock += 1;
        if let Some(uses) = self.pair_uses.get_mut(&pair) {
            *uses -= 1;
            if *uses == 0 {
                self.pair_uses.remove(&pair);
                self.pairs.remove(&pair);
            }
        }
        for key in [pair.0, pair.1] {
            self.last_use.insert(key, self.clock);
            let Some(uses) = self.picture_uses.get_mut(&key) else { continue };
            *uses -= 1;
            if *uses == 0 {
                self.picture_uses.remove(&key);
                self.last_use.remove(&key);
                self.let_go(key);
            }
        }
        if self.has_grown {
            self.shrink(pair.1, ahead);
        }
    }

    /// Lets go of a picture; the next one that is decoded takes its buffer.
    fn let_go(&mut self, key: Key) {
        if let Some(PictureState::Ready(picture)) = self.pictures.remove(&key)
            && let Ok(picture) = Arc::try_unwrap(picture)
            && self.buffers.len() < MOST_BUFFERS
        {
            self.buffers.push(picture.into_buffer());
        }
    }

    /// Lets go of the pictures used longest ago while there are too many, and of pairs beyond their share of memory.
    fn shrink(&mut self, now: Key, ahead: &VecDeque<Pair>) {
        let needed = |key: Key| key == now || ahead.iter().any(|pair| pair.0 == key || pair.1 == key);
        let mut sizes: Vec<(u64, Key, usize)> = self
            .pictures
            .iter()
            .filter_map(|(key, state)| match state {
                PictureState::Ready(picture) => {
                    Some((self.last_use.get(key).copied().unwrap_or(0), *key, picture.bytes()))
                }
                PictureState::Queued | PictureState::Broken(_) => None,
            })
            .collect();
        let mut bytes: usize = sizes.iter().map(|(_, _, bytes)| bytes).sum();
        if bytes > PICTURE_BYTES {
            sizes.sort_unstable();
            for (_, key, size) in sizes {
                if bytes <= PICTURE_BYTES {
                    break;
                }
                if !needed(key) {
                    self.let_go(key);
                    bytes -= size;
                }
            }
        }
        let pair_bytes: usize = self
            .pairs
            .values()
            .map(|state| match state {
                PairState::Ready(found) => found.bytes(),
                PairState::Waiting(_) => 0,
            })
            .sum();
        if pair_bytes > PAIR_BYTES {
            self.pairs.retain(|pair, state| matches!(state, PairState::Waiting(_)) || ahead.contains(pair));
        }
        // What is needed now may be let go of later.
        self.has_grown = bytes > PICTURE_BYTES || pair_bytes > PAIR_BYTES;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Size;
    use proptest::prelude::*;
    use std::sync::atomic::{AtomicUsize, Ordering};

    const SIZE: Size = Size { width: 9, height: 9 };

    struct Numbered {
        decoded: AtomicUsize,
        broken: Option<usize>,
    }

    impl ScreenSource for Numbered {
        fn picture(&self, screen: ScreenId, buffer: Vec<u8>) -> Result<Picture, ScreenFault> {
            drop(buffer);
            self.decoded.fetch_add(1, Ordering::Relaxed);
            if self.broken == Some(screen.0) {
                return Err(ScreenFault::new("broken", ""));
            }
            Ok(Picture::uniform(SIZE, (screen.0 * 17) as u8))
        }
    }

    fn setting(threads: usize) -> Setting {
        let ink = crate::display::Ink::grey_between(16, 0.04, 0.44);
        Setting { grid: TileGrid::new(SIZE), table: ink.level_table(), threads }
    }

    proptest! {
        #![proptest_config(crate::kept_failures::with_cases(60))]
        #[test]
        fn transitions_come_in_order_and_pictures_are_decoded_once(
            screens in prop::collection::vec(0_usize..8, 0..60), threads in 1_usize..4,
        ) {
            let source = Numbered { decoded: AtomicUsize::new(0), broken: None };
            let order = screens.clone();
            let sequence = move || order.clone().into_iter().map(ScreenId);
            let setting = setting(threads);
            let shades = run(&source, &setting, First::Shade(255), sequence, |pipeline, first| {
                let mut now = first;
                screens.iter().map(|screen| {
                    if let Some(transition) = pipeline.next(ScreenId(*screen)).unwrap() {
                        let differs = transition.picture.shade(0, 0) != now.shade(0, 0);
                        assert_eq!(transition.introduced.pixels.count(), if differs { 81 } else { 0 });
                        pipeline.give_back(std::mem::replace(&mut now, transition.picture));
                    }
                    usize::from(now.shade(0, 0) / 17)
                }).collect::<Vec<usize>>()
            }).unwrap();
            prop_assert_eq!(&shades, &screens);
            let distinct: std::collections::BTreeSet<usize> = screens.iter().copied().collect();
            prop_assert_eq!(source.decoded.load(Ordering::Relaxed), distinct.len());
        }
    }

    #[test]
    fn a_broken_screen_is_told_where_it_is_shown() {
        let source = Numbered { decoded: AtomicUsize::new(0), broken: Some(2) };
        let setting = setting(2);
        let failed = run(
            &source,
            &setting,
            First::Shade(0),
            || (0..5).map(ScreenId),
            |pipeline, _| {
                (0..5).find_map(|screen| pipeline.next(ScreenId(screen)).err().map(|broken| (screen, broken.screen.0)))
            },
        );
        assert_eq!(failed.unwrap(), Some((2, 2)));
    }
}
