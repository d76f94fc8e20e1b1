//! The loader: finds plans in folders, and what a plan names on the disk: displays, screens, fonts.

use std::{
    collections::{BTreeSet, HashMap, HashSet},
    fs,
    io::{self, Read},
    path::{Component, Path, PathBuf},
    sync::{
        Arc, Mutex, PoisonError,
        atomic::{AtomicBool, Ordering},
    },
};

use walkdir::WalkDir;

use super::{
    allowed_roots::{AllowedRoots, Outside},
    decoded_cache::DecodedCache,
    inputs::Inputs,
    settings::SettingsStore,
};
use crate::{
    change::pipeline::ScreenSource,
    display::{Beside, Display, Ink, Segments, read_display, shipped},
    geometry::Size,
    plan::{KnownRule, Plan, RuleSettings, ScreenId, Surroundings, Trouble, read_plan},
    rules::known_rules,
    screen::{Faces, Picture, ScreenFault, decode_png, draw_segments, draw_svg},
    source::{Fault, Source, did_you_mean, pattern::Pattern, text_of_bytes},
};

/// The largest text file that is read, bytes.
const LARGEST_TEXT: u64 = 64 << 20;
/// The largest PNG, bytes.
const LARGEST_SCREEN: u64 = 256 << 20;
/// The largest SVG, bytes: what is drawn takes many times as much memory.
const LARGEST_DRAWING: u64 = 16 << 20;
/// A screen of fewer bytes is not looked for under another name.
const SMALL_SCREEN: u64 = 4096;
/// As many descriptions may be based on each other.
const LONGEST_CHAIN: usize = 8;

/// The plans that some paths name, and the faults on the way. They are in the order of their names, whatever that of the
/// paths: so the same plans give the same bytes.
pub(super) fn find_plans(paths: &[PathBuf], settings: &mut SettingsStore) -> (Vec<PathBuf>, Vec<Fault>) {
    let (mut plans, mut faults) = (Vec::new(), Vec::new());
    for path in paths {
        match fs::metadata(path) {
            Err(error) => faults.push(no_such(path, &error)),
            Ok(found) if found.is_dir() => walk(path, settings, &mut plans, &mut faults),
            Ok(_) if is_named(path, ".flow.json") => faults.push(Fault::of_file(
                path.display().to_string(),
                "user flows cannot be reviewed yet",
                "name a plan (`*.plan.json`), or a folder with plans",
            )),
            Ok(_) => plans.push(path.clone()),
        }
    }
    let name = |path: &Path| without_dot(path.to_owned()).to_string_lossy().into_owned();
    let in_order = |one: &PathBuf, other: &PathBuf| natural_order(&name(one), &name(other));
    let shorter = |one: &PathBuf, other: &PathBuf| one.as_os_str().len().cmp(&other.as_os_str().len());
    plans.sort_by(|one, other| in_order(one, other).then(shorter(one, other)).then(one.cmp(other)));
    // A plan that is named twice, or by its folder too, is reviewed once.
    let mut known = HashSet::new();
    plans.retain(|path| known.insert(real(path)));
    (plans, faults)
}

pub(super) fn no_such(path: &Path, error: &io::Error) -> Fault {
    let name = path.display().to_string();
    if error.kind() == io::ErrorKind::NotFound {
        let folder = folder_of(path);
        let wanted = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        return Fault::of_file(name, "there is no such file or folder", name_help(folder, &wanted));
    }
    Fault::of_file(name, format!("cannot be read: {error}"), "check the path and its rights")
}

fn walk(folder: &Path, settings: &mut SettingsStore, plans: &mut Vec<PathBuf>, faults: &mut Vec<Fault>) {
    let before = (plans.len(), faults.len());
    let mut ignored = 0;
    let reach = settings.reach_of(folder);
    let hidden = |entry: &walkdir::DirEntry| entry.depth() > 0 && entry.file_name().to_string_lossy().starts_with('.');
    let mut entries =
        WalkDir::new(folder).follow_links(true).sort_by_file_name().into_iter().filter_entry(|entry| !hidden(entry));
    while let Some(entry) = entries.next() {
        let outside = entry.as_ref().ok().and_then(|entry| leads_outside(entry, &reach, &["plan.json"]));
        match entry {
            Ok(entry) if outside.is_some() => {
                faults.extend(outside);
                if entry.file_type().is_dir() {
                    entries.skip_current_dir();
                }
            }
            Ok(entry) if entry.file_type().is_file() && is_named(entry.path(), ".plan.json") => {
                if settings.ignores(entry.path()) {
                    ignored += 1;
                } else {
                    plans.push(without_dot(entry.into_path()));
                }
            }
            Ok(_) => {}
            Err(error) => faults.push(walk_fault(folder, &error)),
        }
    }
    if (plans.len(), faults.len()) == before {
        let (message, help) = if ignored == 0 {
            (
                "there is no plan in this folder".to_owned(),
                "plans are named `*.plan.json`; name one, or a folder above one",
            )
        } else {
            let message = format!("every plan in this folder is ignored by settings: {ignored}");
            (message, "name the plan itself, or change `ignore` in the `stillpage.settings.json` above it")
        };
        faults.push(Fault::of_file(folder.display().to_string(), message, help));
    }
}

/// The fault of a link in a folder that is walked, to a folder outside or to a file outside whose name has one of the
/// endings: it is not followed.
pub(super) fn leads_outside(entry: &walkdir::DirEntry, reach: &AllowedRoots, endings: &[&str]) -> Option<Fault> {
    let name = entry.file_name().to_string_lossy().to_lowercase();
    let has =
        |ending: &&str| name.rsplit_once(ending).is_some_and(|(stem, rest)| stem.ends_with('.') && rest.is_empty());
    let counts = entry.file_type().is_dir() || endings.iter().any(has);
    if entry.depth() == 0 || !entry.path_is_symlink() || !counts {
        return None;
    }
    let outside = reach.check(entry.path(), &shown(entry.path())).err()?;
    Some(Fault { file: entry.path().display().to_string(), ..outside.into() })
}

/// A path as people write it.
pub(super) fn shown(path: &Path) -> String {
    path.strip_prefix("./").unwrap_or(path).display().to_string()
}

/// A folder as people call it.
fn shown_folder(folder: &Path) -> String {
    if folder == Path::new(".") { "the current folder".into() } else { shown(folder) }
}

/// A path below the current folder as people write it.
fn without_dot(path: PathBuf) -> PathBuf {
    path.strip_prefix("./").map(Path::to_owned).unwrap_or(path)
}

pub(super) fn walk_fault(folder: &Path, error: &walkdir::Error) -> Fault {
    let path = error.path().unwrap_or(folder).display().to_string();
    if let Some(ancestor) = error.loop_ancestor() {
        return Fault::of_file(
            path,
            format!("this link leads back to {}, in a circle", ancestor.display()),
            "take the link away, or name the plans one by one",
        );
    }
    let reason = error.io_error().map_or_else(|| error.to_string(), ToString::to_string);
    Fault::of_file(path, format!("cannot be read: {reason}"), "check the path and its rights")
}

fn is_named(path: &Path, ending: &str) -> bool {
    path.file_name().is_some_and(|name| name.to_string_lossy().ends_with(ending))
}

/// A plan with the screens that it shows.
#[derive(Debug)]
pub(super) struct LoadedPlan {
    pub(super) plan: Plan,
    pub(super) screens: LoadedScreens,
    inputs: Inputs,
    /// All screens by the paths that the plan names.
    named: Vec<PathBuf>,
}

impl LoadedPlan {
    /// Whether its review rests on a file; of the pictures in drawings, those of drawings that were drawn.
    pub(super) fn reads(&self, file: &Path) -> bool {
        self.inputs().reads(&real(file))
    }

    /// What its review rests on; the pictures that its drawings refer to are known once they are drawn.
    pub(super) fn inputs(&self) -> Inputs {
        let mut inputs = self.inputs.clone();
        let linked = self.screens.linked.lock().unwrap_or_else(PoisonError::into_inner);
        linked.iter().chain(&self.named).for_each(|file| inputs.add_file(file));
        inputs.whole()
    }
}

/// The screen files of a plan.
#[derive(Debug)]
pub(super) struct LoadedScreens {
    files: Vec<ScreenFile>,
    panel: ForPanel,
    /// How far the pictures of drawings may lie.
    reach: AllowedRoots,
    /// The pictures that drawings referred to.
    linked: Mutex<BTreeSet<PathBuf>>,
    /// What was drawn before, and a hash of all but the file that a picture is made from.
    store: Option<(Arc<DecodedCache>, blake3::Hash)>,
}

#[derive(Debug)]
struct ScreenFile {
    path: PathBuf,
    is_svg: bool,
}

impl LoadedScreens {
    /// The path of a screen as the user knows it.
    pub(super) fn path(&self, screen: ScreenId) -> String {
        shown(&self.files[screen.0].path)
    }
}

impl ScreenSource for LoadedScreens {
    fn picture(&self, screen: ScreenId, buffer: Vec<u8>) -> Result<Picture, ScreenFault> {
        let file = &self.files[screen.0];
        let Some((store, surroundings)) = &self.store else {
            return read_screen(&file.path, file.is_svg, &self.reach, &self.panel, buffer);
        };
        let bytes = screen_bytes(&file.path, file.is_svg)?;
        let mut hasher = blake3::Hasher::new();
        hasher.update(surroundings.as_bytes()).update(&[u8::from(file.is_svg)]).update(&bytes);
        let key = *hasher.finalize().as_bytes();
        if let Some(picture) = store.get(&key) {
            return Ok(picture);
        }
        // A drawing with pictures beside it is made from more than its file.
        let is_whole = AtomicBool::new(true);
        let see = |picture: &Path| {
            is_whole.store(false, Ordering::Relaxed);
            self.linked.lock().unwrap_or_else(PoisonError::into_inner).insert(picture.to_owned());
        };
        let drawing = Drawing { path: &file.path, is_svg: file.is_svg, reach: &self.reach, bytes: &bytes };
        let picture = draw_screen(&drawing, &self.panel, &see, buffer)?;
        if is_whole.load(Ordering::Relaxed) {
            store.put(key, &picture);
        }
        Ok(picture)
    }
}

/// What a screen is read for: the panel as the reader sees it, and the faces that texts may use.
#[derive(Debug)]
pub(super) struct ForPanel {
    pub(super) size: Size,
    /// The panel's ink, turned as the reader sees it.
    pub(super) ink: Ink,
    pub(super) faces: Faces,
}

/// A screen's file, and how far the pictures that it refers to may lie.
struct Drawing<'a> {
    path: &'a Path,
    is_svg: bool,
    reach: &'a AllowedRoots,
    bytes: &'a [u8],
}

/// Reads a screen. Pictures that an SVG refers to must lie within reach.
pub(super) fn read_screen(
    path: &Path,
    is_svg: bool,
    reach: &AllowedRoots,
    panel: &ForPanel,
    buffer: Vec<u8>,
) -> Result<Picture, ScreenFault> {
    let bytes = screen_bytes(path, is_svg)?;
    draw_screen(&Drawing { path, is_svg, reach, bytes: &bytes }, panel, &|_| {}, buffer)
}

fn screen_bytes(path: &Path, is_svg: bool) -> Result<Vec<u8>, ScreenFault> {
    read_bytes(path, if is_svg { LARGEST_DRAWING } else { LARGEST_SCREEN })
        .map_err(|reason| ScreenFault { message: reason, help: "check the file and its rights".into() })
}

/// Draws a screen; `see` is told each picture that it refers to.
fn draw_screen(
    drawing: &Drawing<'_>,
    panel: &ForPanel,
    see: &(dyn Fn(&Path) + Sync),
    buffer: Vec<u8>,
) -> Result<Picture, ScreenFault> {
    if !drawing.is_svg {
        return decode_png(drawing.bytes, panel.size, &panel.ink, buffer);
    }
    let folder = drawing.path.parent().unwrap_or(Path::new("."));
    let find_image = |href: &str| {
        see(&folder.join(href));
        find_image(href, folder, drawing.reach)
    };
    draw_svg(drawing.bytes, panel.size, &panel.ink, &panel.faces, &find_image, buffer)
}

/// Whether a path is a screen by its name, and if so whether it is an SVG.
pub(super) fn is_svg(path: &Path) -> Option<bool> {
    let extension = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
    ["png", "svg"].contains(&extension.as_str()).then_some(extension == "svg")
}

/// Reads a picture that an SVG refers to, where it lies within reach.
fn find_image(href: &str, folder: &Path, reach: &AllowedRoots) -> Result<Vec<u8>, String> {
    if href.contains("://") {
        return Err("nothing is fetched from the network".into());
    }
    let path = folder.join(href);
    let real = path.canonicalize().map_err(|error| format!("it cannot be read: {error}"))?;
    if reach.check(&real, href).is_err() {
        return Err("it lies outside the plan's folder, and `--allow-outside` was not given".into());
    }
    read_bytes(&real, LARGEST_SCREEN)
}

fn read_bytes(path: &Path, largest: u64) -> Result<Vec<u8>, String> {
    let found = fs::metadata(path).map_err(|error| format!("cannot be read: {error}"))?;
    if !found.is_file() {
        return Err("this is not a file".into());
    }
    let too_large = |size: u64| Err(format!("the file has {} MB, more than {} MB", size >> 20, largest >> 20));
    if found.len() > largest {
        return too_large(found.len());
    }
    let mut bytes = Vec::with_capacity(found.len() as usize);
    // It may grow while it is read, and some files of the system do not tell their size.
    let read = fs::File::open(path).and_then(|file| file.take(largest + 1).read_to_end(&mut bytes));
    match read {
        Err(error) => Err(format!("cannot be read: {error}")),
        Ok(size) if size as u64 > largest => too_large(size as u64),
        Ok(_) => Ok(bytes),
    }
}

/// Whether a file begins with a byte order mark, which [`read_text`] leaves out.
pub(super) fn has_mark(path: &Path) -> bool {
    let mut first = [0; "\u{feff}".len()];
    let read = fs::File::open(path).and_then(|mut file| file.read_exact(&mut first));
    read.is_ok() && first == "\u{feff}".as_bytes()
}

pub(super) fn read_text(path: &Path) -> Result<Arc<Source>, Fault> {
    let name = path.display().to_string();
    let bytes = read_bytes(path, LARGEST_TEXT)
        .map_err(|reason| Fault::of_file(&name, reason, "check the file and its rights"))?;
    let text = text_of_bytes(&name, bytes)?;
    // A byte order mark is no part of the text.
    let text = text.strip_prefix('\u{feff}').map(str::to_owned).unwrap_or(text);
    Ok(Arc::new(Source { name, text }))
}

/// A path without links, as far as it is there.
pub(super) fn real(path: &Path) -> PathBuf {
    path.canonicalize().unwrap_or_else(|_| path.to_owned())
}

/// The way from a folder to a file or folder, as plans write it; both without links.
pub(super) fn way_from(folder: &Path, to: &Path) -> String {
    let way = pathdiff::diff_paths(to, folder).unwrap_or_else(|| to.to_owned());
    let way = way.to_string_lossy();
    let way = if cfg!(windows) { way.replace('\\', "/") } else { way.into_owned() };
    if way.is_empty() { ".".into() } else { way }
}

/// The folder that a file lies in.
pub(super) fn folder_of(file: &Path) -> &Path {
    file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// That a path, where one plan is wanted, is no folder of plans.
pub(super) fn check_is_one_plan(path: &Path) -> Result<(), Fault> {
    let found = fs::metadata(path).map_err(|error| no_such(path, &error))?;
    if found.is_dir() {
        let message = "this is a folder; one plan is wanted here";
        return Err(Fault::of_file(path.display().to_string(), message, "name a plan, `*.plan.json`"));
    }
    Ok(())
}

/// Reads a plan and finds all that it names.
pub(super) fn load_plan(path: &Path, settings: &mut SettingsStore) -> Result<LoadedPlan, Vec<Fault>> {
    check_is_one_plan(path)?;
    load_kept_plan(path, settings, None)
}

/// The same; pictures are kept in a store where there is one.
pub(super) fn load_kept_plan(
    path: &Path,
    settings: &mut SettingsStore,
    store: Option<&Arc<DecodedCache>>,
) -> Result<LoadedPlan, Vec<Fault>> {
    let source = read_text(path)?;
    load_text(&source, path, settings, store)
}

/// The same of a text that stands in no file yet, as if it stood at that path.
pub(super) fn load_text(
    source: &Arc<Source>,
    path: &Path,
    settings: &mut SettingsStore,
    store: Option<&Arc<DecodedCache>>,
) -> Result<LoadedPlan, Vec<Fault>> {
    let folder = folder_of(path).to_owned();
    let reach = settings.reach_of(&folder);
    let settings = settings.of_folder(&folder)?;
    let mut finder = Finder::new(folder, settings, reach);
    let plan = read_plan(source, &mut finder)?;
    let store = store.map(|store| (store.clone(), surroundings(&plan, &finder.fonts)));
    let faces = Faces::new(finder.fonts).map_err(|_| {
        vec![Fault::of_file(
            &source.name,
            "a font of this plan holds no face",
            "name TrueType or OpenType fonts in `fonts`",
        )]
    })?;
    let ink = plan.display.ink.turned(plan.rotation);
    let mut inputs = finder.inputs;
    inputs.add_file(path);
    let panel = ForPanel { size: plan.screen_size(), ink, faces };
    let screens = LoadedScreens { files: finder.files, panel, reach: finder.reach, linked: Mutex::default(), store };
    Ok(LoadedPlan { plan, screens, inputs, named: finder.by_path.into_keys().collect() })
}

/// A hash of all that a picture is made from but its file.
fn surroundings(plan: &Plan, fonts: &[Vec<u8>]) -> blake3::Hash {
    let mut hasher = blake3::Hasher::new();
    hasher.update(format!("{:?} {:?} {:?}", plan.screen_size(), plan.rotation, plan.display.ink).as_bytes());
    for font in fonts {
        hasher.update(blake3::hash(font).as_bytes());
    }
    hasher.finalize()
}

/// What stands beside a description in its folder, or ships with the program.
struct DisplayFolder<'f> {
    folder: &'f Path,
    depth: usize,
    inputs: &'f mut Inputs,
    reach: &'f AllowedRoots,
}

impl Beside for DisplayFolder<'_> {
    fn base(&mut self, name: &str) -> Result<Display, Vec<Fault>> {
        load_display(name, self.folder, self.depth + 1, self.inputs, self.reach)
    }

    fn segments(&mut self, path: &str) -> Result<Segments, Fault> {
        let file = self.folder.join(path);
        self.reach.check(&file, path)?;
        // A copy of a shipped description finds the drawing that ships with it, unless one of its own stands beside it.
        let drawn = if let Some(text) = shipped::drawing_of(path).filter(|_| !file.is_file()) {
            draw_segments(text.as_bytes())
        } else if !file.exists() {
            let message = format!("there is no drawing `{path}` beside this description");
            return Err(Fault::of_file("", message, name_help_for(self.folder, path)));
        } else {
            let bytes = read_bytes(&file, LARGEST_DRAWING).map_err(|reason| {
                Fault::of_file("", format!("the drawing `{path}` {reason}"), name_help_for(self.folder, path))
            })?;
            self.inputs.add_file(&file);
            draw_segments(&bytes)
        };
        drawn.map_err(|fault| Fault::of_file("", format!("`{path}`: {}", fault.message), fault.help))
    }
}

/// Reads a display by its shipped name, or its path from the working folder, as the user names it.
pub(super) fn load_named_display(name: &str, outside: Outside) -> Result<Display, Vec<Fault>> {
    let (here, inputs) = (Path::new("."), &mut Inputs::default());
    if shipped::text_of(name).is_some() {
        return load_display(name, here, 0, inputs, &AllowedRoots::everywhere());
    }
    // What it is based on in turn may lie beside it.
    let reach = AllowedRoots::of(folder_of(Path::new(name)), &[here.to_owned()], outside);
    read_display_file(name, here, 0, inputs, &reach)
}

/// Reads a display by its shipped name or its path.
fn load_display(
    name: &str,
    folder: &Path,
    depth: usize,
    inputs: &mut Inputs,
    reach: &AllowedRoots,
) -> Result<Display, Vec<Fault>> {
    if depth > LONGEST_CHAIN {
        return Err(vec![Fault::of_file(
            "",
            "too many descriptions are based on each other",
            "check `based_on` for a circle",
        )]);
    }
    if let Some(text) = shipped::text_of(name) {
        let source = Arc::new(Source { name: format!("the shipped display {name}"), text: text.to_owned() });
        return read_display(&source, &mut DisplayFolder { folder, depth, inputs, reach });
    }
    reach.check(&folder.join(name), name).map_err(Fault::from)?;
    read_display_file(name, folder, depth, inputs, reach)
}

fn read_display_file(
    name: &str,
    folder: &Path,
    depth: usize,
    inputs: &mut Inputs,
    reach: &AllowedRoots,
) -> Result<Display, Vec<Fault>> {
    let path = folder.join(name);
    if !path.is_file() {
        let help = if Path::new(name).extension().is_some_and(|extension| extension == "json") {
            name_help_for(folder, name)
        } else {
            format!(
                "{}; a display of your own is named by its path, relative to this file",
                did_you_mean(name, shipped::names())
            )
        };
        return Err(vec![Fault::of_file("", format!("there is no display `{name}`"), help)]);
    }
    let source = read_text(&path)?;
    inputs.add_file(&path);
    let base_folder = path.parent().unwrap_or(folder);
    read_display(&source, &mut DisplayFolder { folder: base_folder, depth, inputs, reach })
}

/// Finds what one plan names.
struct Finder {
    folder: PathBuf,
    reach: AllowedRoots,
    screens: PathBuf,
    files: Vec<ScreenFile>,
    by_path: HashMap<PathBuf, ScreenId>,
    /// Screens by the size of their files, to find those with the same content.
    by_length: HashMap<u64, Vec<ScreenId>>,
    hashes: HashMap<ScreenId, blake3::Hash>,
    fonts: Vec<Vec<u8>>,
    rules: Vec<KnownRule>,
    settings: RuleSettings,
    inputs: Inputs,
}

impl Finder {
    fn new(folder: PathBuf, settings: RuleSettings, reach: AllowedRoots) -> Self {
        Self {
            reach,
            screens: folder.clone(),
            folder,
            files: Vec::new(),
            by_path: HashMap::new(),
            by_length: HashMap::new(),
            hashes: HashMap::new(),
            fonts: Vec::new(),
            rules: known_rules(),
            settings,
            inputs: Inputs::default(),
        }
    }

    /// The number of a screen file; files with the same content share one.
    fn add(&mut self, path: PathBuf) -> Result<ScreenId, Trouble> {
        if let Some(known) = self.by_path.get(&path) {
            return Ok(*known);
        }
        let Some(is_svg) = is_svg(&path) else {
            return Err(trouble(
                format!("`{}` is neither a PNG nor an SVG by its name", shown(&path)),
                "export the screen as `.png` or `.svg`",
            ));
        };
        let found = fs::metadata(&path)
            .map_err(|error| trouble(format!("`{}` cannot be read: {error}", shown(&path)), "check its rights"))?;
        let id = ScreenId(self.files.len());
        self.files.push(ScreenFile { path: path.clone(), is_svg });
        let same = self.same_content(id, found.len());
        let id = same.unwrap_or(id);
        if same.is_some() {
            self.files.pop();
        } else {
            self.by_length.entry(found.len()).or_default().push(id);
        }
        self.by_path.insert(path, id);
        Ok(id)
    }

    /// A screen that was added before and has the same bytes and kind. Only files of one length are read for this, and no
    /// small ones: to open a file takes as long as to decode it.
    fn same_content(&mut self, id: ScreenId, length: u64) -> Option<ScreenId> {
        if length < SMALL_SCREEN {
            return None;
        }
        let others = self.by_length.get(&length)?.clone();
        let mine = self.hash(id)?;
        let kind = self.files[id.0].is_svg;
        let found =
            others.into_iter().find(|other| self.files[other.0].is_svg == kind && self.hash(*other) == Some(mine));
        self.hashes.remove(&id);
        if found.is_none() {
            self.hashes.insert(id, mine);
        }
        // An SVG may refer to pictures beside it: only in the same folder is it the same drawing.
        found.filter(|other| !kind || self.files[other.0].path.parent() == self.files[id.0].path.parent())
    }

    fn hash(&mut self, id: ScreenId) -> Option<blake3::Hash> {
        if let Some(known) = self.hashes.get(&id) {
            return Some(*known);
        }
        let bytes = read_bytes(&self.files[id.0].path, LARGEST_SCREEN).ok()?;
        let hash = blake3::hash(&bytes);
        self.hashes.insert(id, hash);
        Some(hash)
    }
}

fn trouble(message: impl Into<String>, help: impl Into<String>) -> Trouble {
    Trouble { message: message.into(), help: help.into() }
}

/// The nearest names in a folder, as help for a name that is not there.
fn name_help(folder: &Path, wanted: &str) -> String {
    let mut names: Vec<String> = match fs::read_dir(folder) {
        Ok(entries) => {
            entries.filter_map(Result::ok).map(|entry| entry.file_name().to_string_lossy().into_owned()).collect()
        }
        Err(_) => return format!("there is no folder {}", folder.display()),
    };
    names.sort();
    match crate::source::nearest_name(wanted, names.iter().map(String::as_str)) {
        Some(name) => format!("did you mean `{name}`?"),
        None => format!("looked in {}", shown_folder(folder)),
    }
}

fn name_help_for(folder: &Path, name: &str) -> String {
    let path = folder.join(name);
    let folder = path.parent().unwrap_or(folder);
    name_help(folder, &path.file_name().unwrap_or_default().to_string_lossy())
}

impl Surroundings for Finder {
    fn display(&mut self, name: &str) -> Result<Display, Vec<Fault>> {
        load_display(name, &self.folder, 0, &mut self.inputs, &self.reach)
    }

    fn screens_folder(&mut self, path: &str) -> Result<(), Trouble> {
        let folder = self.folder.join(path);
        self.reach.check(&folder, path)?;
        if !folder.is_dir() {
            return Err(trouble(
                format!("there is no folder `{path}` beside the plan"),
                name_help_for(&self.folder, path),
            ));
        }
        self.screens = folder;
        Ok(())
    }

    fn screen(&mut self, path: &str) -> Result<ScreenId, Trouble> {
        let full = self.screens.join(path);
        self.reach.check(&full, path)?;
        if !full.is_file() {
            let what = if full.is_dir() { "is a folder, not a screen" } else { "is not there" };
            return Err(trouble(format!("the screen `{path}` {what}"), name_help_for(&self.screens, path)));
        }
        self.add(full)
    }

    fn each(&mut self, pattern: &str) -> Result<Vec<ScreenId>, Trouble> {
        self.inputs.add_folder(self.screens.join(fixed_part(pattern)));
        let mut matches = matching_files(&self.screens, pattern, &self.reach)?;
        if matches.is_empty() {
            return Err(trouble(
                format!("no screen matches `{pattern}`"),
                format!("looked in {}; `*` does not cross a folder", shown_folder(&self.screens)),
            ));
        }
        matches.sort_by(|one, other| natural_order(one, other));
        matches.into_iter().map(|name| self.add(self.screens.join(name))).collect()
    }

    fn font(&mut self, path: &str) -> Result<(), Trouble> {
        let full = self.folder.join(path);
        self.reach.check(&full, path)?;
        if full.is_dir() {
            self.inputs.add_folder(full);
        } else {
            self.inputs.add_file(full);
        }
        self.fonts.extend(read_fonts(&self.folder, path, &self.reach)?);
        Ok(())
    }

    fn rules(&self) -> &[KnownRule] {
        &self.rules
    }

    fn settings(&self) -> RuleSettings {
        self.settings.clone()
    }
}

/// The faces of some fonts: each a folder, and the path of a font file or of a folder of them from there.
pub(super) fn read_faces<'p>(fonts: impl Iterator<Item = (&'p Path, &'p str)>) -> Result<Faces, Fault> {
    let mut brought = Vec::new();
    for (folder, path) in fonts {
        let read = read_fonts(folder, path, &AllowedRoots::everywhere());
        brought.extend(read.map_err(|trouble| Fault::of_file("", trouble.message, trouble.help))?);
    }
    Faces::new(brought).map_err(|_| Fault::of_file("", "a font holds no face", "name TrueType or OpenType fonts"))
}

/// The font file of that path, or the fonts of that folder.
fn read_fonts(folder: &Path, path: &str, reach: &AllowedRoots) -> Result<Vec<Vec<u8>>, Trouble> {
    let full = folder.join(path);
    let files = if full.is_dir() { fonts_in(&full)? } else { vec![full] };
    if files.is_empty() {
        return Err(trouble(format!("there is no font in `{path}`"), "fonts end in .ttf, .otf or .ttc"));
    }
    let read = |file: PathBuf| {
        reach.check(&file, &shown(&file))?;
        let bytes = read_bytes(&file, LARGEST_TEXT)
            .map_err(|reason| trouble(format!("the font `{}`: {reason}", shown(&file)), name_help_for(folder, path)))?;
        match Faces::new(vec![bytes.clone()]) {
            Ok(_) => Ok(bytes),
            Err(_) => Err(trouble(
                format!("`{}` holds no font face that can be read", shown(&file)),
                "name a TrueType or OpenType font",
            )),
        }
    };
    files.into_iter().map(read).collect()
}

/// The fonts in a folder, sorted.
pub(super) fn fonts_in(folder: &Path) -> Result<Vec<PathBuf>, Trouble> {
    let entries = fs::read_dir(folder)
        .map_err(|error| trouble(format!("`{}` cannot be read: {error}", folder.display()), "check its rights"))?;
    let is_font = |path: &PathBuf| {
        let extension = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
        matches!(extension.as_str(), "ttf" | "otf" | "ttc")
    };
    let mut files: Vec<PathBuf> = entries.filter_map(Result::ok).map(|entry| entry.path()).filter(is_font).collect();
    files.sort();
    Ok(files)
}

/// The files below a folder whose path matches a pattern, relative to the folder, with `/` between names.
fn matching_files(folder: &Path, pattern: &str, reach: &AllowedRoots) -> Result<Vec<String>, Trouble> {
    let relative = Path::new(pattern);
    if relative.components().any(|part| !matches!(part, Component::Normal(_) | Component::CurDir)) {
        return Err(trouble(
            format!("the pattern `{pattern}` leaves the folder of the screens"),
            "write it relative to `screens`",
        ));
    }
    let pattern = pattern.trim_start_matches("./");
    let glob = Pattern::new(pattern).map_err(|reason| {
        trouble(format!("the pattern `{pattern}` is wrong: {reason}"), "write names with `*` for any part of a name")
    })?;
    // The folder part without wildcards is walked, no deeper than the pattern reaches.
    let fixed = fixed_part(pattern);
    let depth = if pattern.contains("**") {
        usize::MAX
    } else {
        Path::new(pattern).components().count() - fixed.components().count()
    };
    let mut names = Vec::new();
    reach.check(&folder.join(&fixed), &fixed.to_string_lossy())?;
    for entry in WalkDir::new(folder.join(&fixed)).follow_links(true).max_depth(depth) {
        let entry = match entry {
            Ok(entry) => entry,
            Err(error) if is_refused(&error) => return Err(walk_trouble(folder, &error)),
            // What is not there matches nothing, and what lies in a circle is met on the way to it.
            Err(_) => continue,
        };
        let Ok(relative) = entry.path().strip_prefix(folder) else { continue };
        if entry.path_is_symlink() && entry.file_type().is_dir() && entry.depth() < depth {
            // It would be walked, whatever it leads to.
            reach.check(entry.path(), &relative.to_string_lossy())?;
        }
        if !entry.file_type().is_file() {
            continue;
        }
        let parts: Vec<String> =
            relative.components().map(|part| part.as_os_str().to_string_lossy().into_owned()).collect();
        let name = parts.join("/");
        if glob.is_match(&name) && shows_dotted(pattern, &parts) {
            // The folder was looked at on the way; only a link may lead out of it.
            if entry.path_is_symlink() {
                reach.check(entry.path(), &name)?;
            }
            names.push(name);
        }
    }
    Ok(names)
}

fn is_refused(error: &walkdir::Error) -> bool {
    error.io_error().is_some_and(|error| error.kind() == io::ErrorKind::PermissionDenied)
}

fn walk_trouble(folder: &Path, error: &walkdir::Error) -> Trouble {
    let Fault { file, message, help, .. } = walk_fault(folder, error);
    trouble(format!("`{file}` {message}"), help.unwrap_or_default())
}

/// The folder part of a pattern that has no wildcards.
fn fixed_part(pattern: &str) -> PathBuf {
    let fixed: PathBuf = Path::new(pattern).components().take_while(|part| !has_wildcard(part)).collect();
    if fixed == Path::new(pattern) { fixed.parent().unwrap_or(Path::new("")).to_owned() } else { fixed }
}

/// Whether every part of a path that begins with a dot is asked for by a part of the pattern that does so too.
fn shows_dotted(pattern: &str, parts: &[String]) -> bool {
    let wanted: Vec<&str> = pattern.split('/').collect();
    let same_depth = wanted.len() == parts.len();
    let dotted = parts.iter().enumerate().filter(|(_, part)| part.starts_with('.'));
    dotted.into_iter().all(|(at, _)| same_depth && wanted[at].starts_with('.'))
}

fn has_wildcard(part: &Component<'_>) -> bool {
    part.as_os_str().to_string_lossy().contains(['*', '?', '[', '{'])
}

/// Natural order: runs of digits compare as numbers; names that are equal so compare by bytes.
pub(super) fn natural_order(one: &str, other: &str) -> std::cmp::Ordering {
    let (mut left, mut right) = (one.as_bytes(), other.as_bytes());
    while let (Some(a), Some(b)) = (left.first(), right.first()) {
        if a.is_ascii_digit() && b.is_ascii_digit() {
            let (number, rest) = split_number(left);
            let (other_number, other_rest) = split_number(right);
            let order = (number.len(), number).cmp(&(other_number.len(), other_number));
            if order.is_ne() {
                return order;
            }
            (left, right) = (rest, other_rest);
        } else if a == b {
            (left, right) = (&left[1..], &right[1..]);
        } else {
            return a.cmp(b);
        }
    }
    left.len().cmp(&right.len()).then_with(|| one.cmp(other))
}

/// The digits at the beginning without leading zeros, and what follows them.
fn split_number(bytes: &[u8]) -> (&[u8], &[u8]) {
    let end = bytes.iter().position(|byte| !byte.is_ascii_digit()).unwrap_or(bytes.len());
    let (digits, rest) = bytes.split_at(end);
    let zeros = digits.iter().position(|digit| *digit != b'0').unwrap_or(digits.len());
    (&digits[zeros..], rest)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn natural_order_counts_numbers() {
        let mut names = vec!["m/10.png", "m/2.png", "m/02.png", "m/1.png", "m/a.png", "l/9.png", "m/1b.png"];
        names.sort_by(|one, other| natural_order(one, other));
        assert_eq!(names, ["l/9.png", "m/1.png", "m/1b.png", "m/02.png", "m/2.png", "m/10.png", "m/a.png"]);
    }
}
