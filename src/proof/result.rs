//! What a proof gives: a bound for every node of the graph, and walks that are likely to reach the largest of them.

use crate::geometry::Rect;

/// A figure that no walk exceeds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Bound {
    /// No walk exceeds it.
    Proved(f64),
    /// Some walks exceed every figure.
    Unbounded,
    /// Nothing was proved.
    NotProved,
}

impl Bound {
    /// The figure, if there is one.
    pub fn figure(self) -> Option<f64> {
        match self {
            Self::Proved(figure) => Some(figure),
            Self::Unbounded | Self::NotProved => None,
        }
    }

    /// The bound that holds for both: what is not proved of one is not proved of both, except that no bound is stronger.
    #[must_use]
    pub fn or_worse(self, other: Self) -> Self {
        match (self, other) {
            (Self::Unbounded, _) | (_, Self::Unbounded) => Self::Unbounded,
            (Self::NotProved, _) | (_, Self::NotProved) => Self::NotProved,
            (Self::Proved(one), Self::Proved(other)) => Self::Proved(one.max(other)),
        }
    }
}

/// What is proved of one node: at the end of every move, and of every start, that leads there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NodeProof {
    /// The most updates of a pixel since its last cleaning.
    pub most_since_cleaning: Bound,
    /// The strongest ghost: the largest difference of a pixel to the median of its level, L*.
    pub ghost_l: Bound,
    /// The longest wait of an update of a move that leads here, without its own transfer, ms.
    pub wait_ms: Bound,
    /// The longest time from the request of a move that leads here to the first visible change, over its updates in which
    /// something changes, ms; 0 where none changes anything.
    pub answer_ms: Bound,
    /// The same to the end of the last of those updates, ms.
    pub finish_ms: Bound,
    /// The pixels that some walk leaves behind here.
    pub left_behind_px: u64,
}

/// Pixels that a move leaves behind at a node: they show an old level, and none of its windows contained them.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftBehind {
    /// The edge that left them; `None` for a start.
    pub edge: Option<usize>,
    /// The start that left them, if no edge did.
    pub start: Option<usize>,
    /// The node that it leads to.
    pub node: usize,
    /// How many pixels some walk leaves.
    pub pixels: u64,
    /// The box around them, in screen coordinates.
    pub rect: Rect,
    /// The least number of moves from then on until all that is left of one cell is right; unbounded if no walk does it.
    pub shortest: Bound,
    /// The largest number of moves until it is right; unbounded if a walk never does it.
    pub longest: Bound,
}

/// A walk that is likely to reach a figure: a start, a way, and perhaps a loop that goes on for ever.
#[derive(Clone, Debug, PartialEq)]
pub struct Witness {
    /// Which of the flow's starts.
    pub start: usize,
    /// The node that the start brings.
    pub at: usize,
    /// The edges until the loop, or until the end.
    pub way: Vec<usize>,
    /// The edges of the loop; empty if there is none.
    pub around: Vec<usize>,
    /// How often the loop should be walked to come near the figure; where the figure grows for ever, each round adds.
    pub rounds: usize,
    /// The edges after the loop.
    pub rest: Vec<usize>,
    /// The figure that is reached at the end, as far as the proof knows.
    pub figure: f64,
}

impl Witness {
    /// All edges in their order, with the loop as often as it says.
    pub fn edges(&self) -> impl Iterator<Item = usize> + '_ {
        let rounds = (0..self.rounds).flat_map(|_| self.around.iter());
        self.way.iter().chain(rounds).chain(&self.rest).copied()
    }
}

/// Walks that are likely to reach the largest figures of a flow; all moves as soon as they may come.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Witnesses {
    /// Of the most updates since a cleaning.
    pub most_since_cleaning: Vec<Witness>,
    /// Of the strongest ghost.
    pub ghost_l: Vec<Witness>,
    /// Of the longest wait.
    pub wait_ms: Option<Witness>,
    /// Of the longest time to an answer, and of moves whose own updates may show too little to answer.
    pub answer_ms: Vec<Witness>,
    /// Of the longest time that something stays left behind.
    pub left_behind_moves: Option<Witness>,
    /// Of the most flashes within a second: to places that come to more than are allowed. The rest of each begins with the
    /// first of these flashes; what is before may be walked slowly.
    pub flashes: Vec<Witness>,
}

/// What is proved of a flow.
#[derive(Clone, Debug, PartialEq)]
pub struct Proof {
    /// Of each node, in the order of the graph's.
    pub nodes: Vec<NodeProof>,
    /// How many cells there are: pixels that behave alike whatever the walk.
    pub cells: usize,
    /// How many cells there would be if none had been joined; bounds of joined cells hold for each of them, but need not be
    /// the least.
    pub unjoined_cells: usize,
    /// Whether queues were joined at some node, so that waits need not be the least bounds.
    pub queues_joined: bool,
    /// Whether some walk makes the waits grow for ever.
    pub cannot_keep_up: bool,
    /// What moves leave behind.
    pub left_behind: Vec<LeftBehind>,
    /// The most moves after which what was left behind is right again, of the whole flow; 0 if nothing is left behind.
    pub left_behind_moves: Bound,
    /// The longest wait of an update of a move, without those that wait for nothing but an earlier update of their move in
    /// another mode over the same place, ms.
    pub collide_ms: Bound,
    /// The longest time from the request of a person's move until enough of its change is seen to answer, of the whole flow,
    /// ms; not proved where the move's own updates may show too little.
    pub answer_of_people_ms: Bound,
    /// The same until the last of its updates that change something has ended, ms.
    pub finish_of_people_ms: Bound,
    /// The most flashes within a second of an area as large as the limit says, of the whole flow.
    pub flashes: Bound,
    /// Walks that are likely to reach the largest figures.
    pub witnesses: Witnesses,
}

impl Proof {
    /// The proof that proves nothing.
    pub(super) fn not_proved(nodes: usize) -> Self {
        let nothing = NodeProof {
            most_since_cleaning: Bound::NotProved,
            ghost_l: Bound::NotProved,
            wait_ms: Bound::NotProved,
            answer_ms: Bound::NotProved,
            finish_ms: Bound::NotProved,
            left_behind_px: 0,
        };
        Self {
            nodes: vec![nothing; nodes],
            cells: 0,
            unjoined_cells: 0,
            queues_joined: false,
            cannot_keep_up: false,
            left_behind: Vec::new(),
            left_behind_moves: Bound::NotProved,
            collide_ms: Bound::NotProved,
            answer_of_people_ms: Bound::NotProved,
            finish_of_people_ms: Bound::NotProved,
            flashes: Bound::NotProved,
            witnesses: Witnesses::default(),
        }
    }

    /// The worst of all nodes.
    pub fn worst(&self, figure: impl Fn(&NodeProof) -> Bound) -> Bound {
        self.nodes.iter().map(figure).fold(Bound::Proved(0.0), Bound::or_worse)
    }
}
