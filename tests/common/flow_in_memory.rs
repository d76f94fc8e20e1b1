//! What a flow names, without files: one display, and screens that are called by their numbers.

use std::{path::Path, sync::Arc};

use stillpage::{
    display::{Beside, Display, Segments, read_display},
    plan::{KnownRule, ScreenId, Surroundings, Trouble},
    source::{Fault, Source},
};

/// Everything that a flow names, in memory.
pub(crate) struct Around {
    pub(crate) display: String,
    pub(crate) rules: Vec<KnownRule>,
}

impl Surroundings for Around {
    fn display(&mut self, name: &str) -> Result<Display, Vec<Fault>> {
        read_display(&Arc::new(Source::new(name, self.display.clone())), &mut Alone)
    }

    fn screens_folder(&mut self, _path: &str) -> Result<(), Trouble> {
        Ok(())
    }

    fn screen(&mut self, path: &str) -> Result<ScreenId, Trouble> {
        Ok(ScreenId(Path::new(path).file_stem().unwrap().to_str().unwrap().parse().unwrap()))
    }

    fn each(&mut self, pattern: &str) -> Result<Vec<ScreenId>, Trouble> {
        let ends: Vec<usize> = pattern.split('-').filter_map(|part| part.parse().ok()).collect();
        Ok((ends[0]..=ends[1]).map(ScreenId).collect())
    }

    fn font(&mut self, path: &str) -> Result<(), Trouble> {
        panic!("{path} is looked for")
    }

    fn rules(&self) -> &[KnownRule] {
        &self.rules
    }
}

struct Alone;

impl Beside for Alone {
    fn base(&mut self, name: &str) -> Result<Display, Vec<Fault>> {
        panic!("{name} is looked for")
    }

    fn segments(&mut self, path: &str) -> Result<Segments, Fault> {
        panic!("{path} is looked for")
    }
}
