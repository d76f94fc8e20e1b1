//! Sequences of frames that are drawn once and kept under `target`, each with the plan that shows it.

use std::{
    fs,
    path::{Path, PathBuf},
};

/// The folder of that name; `draw` fills it where it is not whole. The plan comes last: a folder that has it is whole.
pub(crate) fn folder(name: &str, plan: &str, draw: impl FnOnce(&Path)) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    if !folder.join(plan).exists() {
        println!("drawing {name} ...");
        fs::create_dir_all(&folder).expect("the folder can be made");
        draw(&folder);
    }
    folder
}

/// A plan and its display: a shipped one, except for its size.
pub(crate) struct Shown {
    /// The file of the plan.
    pub(crate) plan: &'static str,
    pub(crate) title: &'static str,
    pub(crate) based_on: &'static str,
    pub(crate) size: [usize; 2],
}

impl Shown {
    /// Writes both; `steps` are the plan's, a line each.
    pub(crate) fn write(&self, folder: &Path, steps: &str) {
        let Self { plan, title, based_on, size } = self;
        let display =
            format!(r#"{{ "format": "display/1", "based_on": "{based_on}", "name": "own", "size_px": {size:?} }}"#);
        fs::write(folder.join("own.display.json"), display).expect("the description can be written");
        let text = format!(
            "{{ \"format\": \"refresh-plan/1\", \"title\": \"{title}\", \"display\": \"own.display.json\", \"begins\": \"white\", \"steps\": [\n{steps}] }}\n"
        );
        fs::write(folder.join(plan), text).expect("the plan can be written");
    }
}

/// A step that shows a screen: all of the panel again where a page is turned, otherwise quickly what changes.
pub(crate) fn step(screen: &str, after_ms: u32, cause: &str, turns: bool) -> String {
    let (mode, window) = if turns { ("full", "all") } else { ("quick", "changed") };
    format!(
        r#"  {{ "screen": "{screen}", "after_ms": {after_ms}, "cause": "{cause}", "updates": [{{ "mode": "{mode}", "window": "{window}" }}] }},"#
    ) + "\n"
}
