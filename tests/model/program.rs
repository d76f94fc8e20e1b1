//! The program as a library that plays a plan from a folder.

use std::{fs, path::Path, path::PathBuf, sync::Arc};

use stillpage::{
    change::pipeline::ScreenSource,
    display::{Beside, Display, Ink, Segments, read_display},
    geometry::Size,
    panel::{FastFlashes, FlashLimits, FlashWatch, PlayedStep},
    plan::{KnownRule, Plan, ScreenId, Surroundings, Trouble, read_plan},
    review,
    rules::known_rules,
    screen::{Faces, Picture, ScreenFault, decode_png, draw_segments, draw_svg},
    source::{Fault, Source},
};

use crate::plain::reading::matching;

/// A step, the display, and the thresholds of flashes that break at it.
type See<'s> = &'s mut dyn FnMut(&PlayedStep<'_>, &Display, &[FastFlashes]);

/// Plays the plan of that path and shows every step.
pub(crate) fn play(path: &Path, threads: usize, see: See<'_>) -> Result<(), String> {
    let mut finder = Finder::new(path.parent().unwrap());
    let plan = read_plan(&source(path), &mut finder).map_err(|faults| told(&faults))?;
    let screens = Screens {
        files: finder.files,
        size: plan.screen_size(),
        ink: plan.display.ink.turned(plan.rotation),
        faces: Faces::new(Vec::new()).unwrap(),
    };
    let mut watch = FlashWatch::new(&plan, flash_limits(&plan));
    review::play(&plan, &screens, threads, &mut |step| see(step, &plan.display, &watch.step(step)))
        .map_err(|broken| format!("{broken:?}"))
}

fn flash_limits(plan: &Plan) -> FlashLimits {
    let limits = &plan.limits.flashes_too_fast;
    FlashLimits { per_second: limits.per_second.value, sr: limits.sr.value }
}

fn source(path: &Path) -> Arc<Source> {
    Arc::new(Source::new(path.display().to_string(), fs::read_to_string(path).unwrap()))
}

fn told(faults: &[Fault]) -> String {
    faults
        .iter()
        .map(|fault| format!("refused: {} ({:?})", fault.message, fault.line_column()))
        .collect::<Vec<_>>()
        .join("; ")
}

/// Finds what a plan names in its folder.
struct Finder {
    folder: PathBuf,
    screens: PathBuf,
    files: Vec<PathBuf>,
    rules: Vec<KnownRule>,
}

impl Finder {
    fn new(folder: &Path) -> Self {
        Self { folder: folder.into(), screens: folder.into(), files: Vec::new(), rules: known_rules() }
    }

    fn add(&mut self, path: &str) -> ScreenId {
        let full = self.screens.join(path);
        let known = self.files.iter().position(|known| *known == full);
        ScreenId(known.unwrap_or_else(|| {
            self.files.push(full);
            self.files.len() - 1
        }))
    }
}

impl Surroundings for Finder {
    fn display(&mut self, name: &str) -> Result<Display, Vec<Fault>> {
        read_display(&source(&self.folder.join(name)), &mut BesideIt(&self.folder))
    }

    fn screens_folder(&mut self, path: &str) -> Result<(), Trouble> {
        self.screens = self.folder.join(path);
        Ok(())
    }

    fn screen(&mut self, path: &str) -> Result<ScreenId, Trouble> {
        Ok(self.add(path))
    }

    fn each(&mut self, pattern: &str) -> Result<Vec<ScreenId>, Trouble> {
        let files = matching(&self.screens, pattern).map_err(|message| Trouble { message, help: String::new() })?;
        Ok(files.iter().map(|file| self.add(file)).collect())
    }

    fn font(&mut self, path: &str) -> Result<(), Trouble> {
        panic!("{path} is looked for")
    }

    fn rules(&self) -> &[KnownRule] {
        &self.rules
    }
}

/// The folder of a description that is based on no other.
struct BesideIt<'f>(&'f Path);

impl Beside for BesideIt<'_> {
    fn base(&mut self, name: &str) -> Result<Display, Vec<Fault>> {
        panic!("{name} is looked for")
    }

    fn segments(&mut self, path: &str) -> Result<Segments, Fault> {
        let drawn = draw_segments(&fs::read(self.0.join(path)).unwrap());
        drawn.map_err(|fault| Fault::of_file("", fault.message, fault.help))
    }
}

/// The screen files of a plan; none of them refers to another.
struct Screens {
    files: Vec<PathBuf>,
    size: Size,
    ink: Ink,
    faces: Faces,
}

impl ScreenSource for Screens {
    fn picture(&self, screen: ScreenId, buffer: Vec<u8>) -> Result<Picture, ScreenFault> {
        let path = &self.files[screen.0];
        let bytes = fs::read(path).unwrap();
        if path.extension().is_some_and(|extension| extension == "svg") {
            let find_image = |name: &str| panic!("{name} is looked for");
            return draw_svg(&bytes, self.size, &self.ink, &self.faces, &find_image, buffer);
        }
        decode_png(&bytes, self.size, &self.ink, buffer)
    }
}
