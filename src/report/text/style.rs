//! How text is drawn, and how much of it there is.

/// How text is drawn.
#[derive(Clone, Copy, Debug)]
pub struct TextStyle {
    /// Whether colours are used.
    pub colour: bool,
    /// Columns of the terminal.
    pub width: usize,
    /// How much is said.
    pub detail: Detail,
}

impl TextStyle {
    /// How text is written into files: without colours, 100 columns wide.
    pub fn of_files(detail: Detail) -> Self {
        Self { colour: false, width: 100, detail }
    }
}

/// How much a report says of each finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Detail {
    /// The causes, the worst first, each with its first place; of several plans the worst causes of each, and a table.
    #[default]
    Causes,
    /// Every place, in the order of the steps.
    Full,
    /// A line for each finding and nothing else, for editors and for programs that search lines.
    Brief,
}
