//! Helpers that the tests of the binary share: a folder made of data, a run of the program, and its lines.
//!
//! Knows the file formats as a user would, and nothing of the library's insides.
#![allow(dead_code, reason = "every test file takes its own part of these helpers")]

use std::{
    io::Cursor,
    path::{Path, PathBuf},
    process::{Command, Output},
};

use image::{GrayImage, ImageFormat, Luma};
use serde_json::{Value, json};
use stillpage::rules::Example;
use tempfile::TempDir;

/// The folder of the project.
pub(crate) fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// A folder that is thrown away with the test, filled with plans, displays and screens.
pub(crate) struct Folder {
    place: TempDir,
}

impl Folder {
    pub(crate) fn new() -> Self {
        Self { place: tempfile::tempdir().unwrap() }
    }

    /// A folder with the example display for screens of 16 x 8 px (`panel.display.json`) and the screens `white.png`
    /// and `square.png`, a black square of 4 x 4 px at [2, 2].
    pub(crate) fn usual() -> Self {
        let folder = Self::new();
        folder.display("panel.display.json", &example_display([16, 8]));
        folder.screen("white.png", WHITE);
        folder.screen("square.png", SQUARE);
        folder
    }

    /// A folder laid out as an example of a rule's page wants it: `example.plan.json` and what it names.
    pub(crate) fn of_example(example: &Example) -> Self {
        let folder = Self::new();
        for (name, text) in &example.screens {
            folder.screen(name, text);
        }
        let (_, first) = example.screens.first().expect("an example has a screen");
        folder.display("example.display.json", &example_display(size_of(first)));
        let mut differs: Value =
            example.display.as_deref().map_or(json!({}), |text| serde_json::from_str(text).unwrap());
        differs["format"] = json!("display/1");
        differs["based_on"] = json!("example.display.json");
        folder.display("panel.display.json", &differs);
        if let Some(trace) = &example.trace {
            folder.file(example.file(), whole_trace(trace));
        }
        if let Some(flow) = &example.flow {
            folder.file(example.file(), whole_flow(flow));
        } else if example.trace.is_none() || !example.plan.is_empty() {
            folder.plan("example.plan.json", &example.plan);
        }
        folder
    }

    /// A copy of the example plans with all that they name, in which a plan may be written over.
    pub(crate) fn of_fixtures() -> Self {
        let folder = Self::new();
        let fixtures = root().join("fixtures");
        for entry in walkdir::WalkDir::new(&fixtures).into_iter().map(Result::unwrap) {
            if entry.file_type().is_file() {
                let name = entry.path().strip_prefix(&fixtures).unwrap().to_string_lossy().into_owned();
                folder.file(&name, std::fs::read(entry.path()).unwrap());
            }
        }
        folder
    }

    pub(crate) fn path(&self) -> &Path {
        self.place.path()
    }

    pub(crate) fn join(&self, name: &str) -> PathBuf {
        self.path().join(name)
    }

    /// Writes a file, with the folders above it.
    pub(crate) fn file(&self, name: &str, bytes: impl AsRef<[u8]>) {
        let path = self.join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        let mut file = std::fs::File::create(path).unwrap();
        std::io::Write::write_all(&mut file, bytes.as_ref()).unwrap();
    }

    /// Writes a plan; its format and the display `panel.display.json` are put in front of the fields of `text`.
    pub(crate) fn plan(&self, name: &str, text: &str) {
        self.file(name, whole_plan(text));
    }

    pub(crate) fn display(&self, name: &str, display: &Value) {
        self.file(name, display.to_string());
    }

    /// Writes a screen: an SVG as it is, otherwise a grid of characters as a PNG.
    pub(crate) fn screen(&self, name: &str, text: &str) {
        if text.trim_start().starts_with('<') {
            self.file(name, text);
        } else {
            self.file(name, png_of_grid(text));
        }
    }

    /// Runs `stillpage` in this folder.
    pub(crate) fn run(&self, arguments: &[&str]) -> Run {
        Run::of(self.command(arguments).output().unwrap())
    }

    /// A command in this folder, without the environment's say in colours.
    pub(crate) fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
        command.args(arguments).current_dir(self.path()).env_remove("NO_COLOR");
        command
    }

    pub(crate) fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    /// The findings of a review of one plan, a line each: `step N ID level [x, y, w, h]` or `-` for no box; of a flow
    /// `at POINTER` instead of the step.
    pub(crate) fn findings(&self, plan: &str) -> Vec<String> {
        self.findings_with(&[plan])
    }

    /// The same of a review with these arguments.
    pub(crate) fn findings_with(&self, arguments: &[&str]) -> Vec<String> {
        let run = self.run(&[&["review"], arguments, &["--format", "json"]].concat());
        assert_eq!(run.error, "", "{arguments:?} must be read without a fault");
        finding_lines(&run.json()["plans"][0])
    }

    /// The names of the files below a folder, sorted, with `/` between the parts.
    pub(crate) fn names_below(&self, name: &str) -> Vec<String> {
        let folder = self.join(name);
        let files = walkdir::WalkDir::new(&folder)
            .into_iter()
            .filter_map(Result::ok)
            .filter(|entry| entry.file_type().is_file());
        let mut names: Vec<String> =
            files.map(|entry| entry.path().strip_prefix(&folder).unwrap().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }
}

/// A white screen of 16 x 8 px.
pub(crate) const WHITE: &str = "\
................
................
................
................
................
................
................
................";

/// A black square of 4 x 4 px at [2, 2] on white.
pub(crate) const SQUARE: &str = "\
................
................
..####..........
..####..........
..####..........
..####..........
................
................";

/// What a run of the program left.
#[derive(Debug)]
pub(crate) struct Run {
    pub(crate) status: i32,
    pub(crate) out: String,
    pub(crate) error: String,
}

impl Run {
    /// Takes the output of a command, which must never be a panic's.
    pub(crate) fn of(output: Output) -> Self {
        let run = Self {
            status: output.status.code().expect("the program ends by itself"),
            out: String::from_utf8(output.stdout).unwrap(),
            error: String::from_utf8(output.stderr).unwrap(),
        };
        assert!(!run.error.contains("panicked"), "{}", run.error);
        assert!(!run.error.contains("stillpage itself failed"), "{}", run.error);
        run
    }

    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error}: {}", self.out))
    }

    /// The same run, of which this status is expected.
    pub(crate) fn with_status(self, status: i32) -> Self {
        assert_eq!(self.status, status, "standard output:\n{}\nstandard error:\n{}", self.out, self.error);
        self
    }
}

/// A text without its line breaks, which depend on its width.
pub(crate) fn on_one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The findings of a plan of the JSON report, a line each.
pub(crate) fn finding_lines(plan: &Value) -> Vec<String> {
    let findings = plan["findings"].as_array().unwrap().iter();
    let line = |finding: &Value| match finding["step"].as_u64() {
        Some(step) => finding_line(finding, &step.to_string()),
        // In a flow the place is a move, or another field.
        None => finding_line(finding, "").replacen("step ", &format!("at {}", pointer_of(finding)), 1),
    };
    findings.map(line).collect()
}

fn pointer_of(finding: &Value) -> String {
    finding["at"]["pointer"].as_str().unwrap().to_owned()
}

/// A finding of the JSON report as a line, its steps said in these words.
pub(crate) fn finding_line(finding: &Value, steps: &str) -> String {
    let word = |name: &str| finding[name].as_str().unwrap().to_owned();
    let place = match finding["box"].as_array() {
        None => "-".to_owned(),
        Some(place) => format!("[{}]", place.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")),
    };
    format!("step {steps} {} {} {place}", word("rule"), word("level"))
}

/// The display that the examples of the rules' pages are played on.
pub(crate) fn example_display(size: [u32; 2]) -> Value {
    json!({
        "format": "display/1",
        "name": "example",
        "title": "The display of the examples",
        "family": "grey-built-in",
        "size_px": size,
        "pixels_per_inch": 100,
        "ink": { "levels": 16, "reflectance": [0.04, 0.44] },
        "windows": { "step_px": [8, 1], "smallest_px": [8, 1], "most_in_a_step": 2 },
        "link": { "megabits_per_s": 10, "bits_per_px": 4, "overhead_ms": 0 },
        "parallel_updates": 4,
        "temperature_c": [0, 50],
        "limits": { "updates_before_cleaning": 5 },
        "modes": [
            {
                "name": "full", "from": "any", "to": "any", "drives": "all", "windowed": true, "flashes": 1,
                "duration_ms": 500, "cleans": true, "residue": { "keeps": 0 },
                "energy_mj": { "start": 1, "per_cm2": 1 }
            },
            {
                "name": "grey", "from": "any", "to": "any", "drives": "all", "windowed": true, "flashes": 1,
                "duration_ms": 400, "residue": { "keeps": 0.2, "lighter": 0.004, "darker": 0.004 },
                "energy_mj": { "start": 1, "per_cm2": 1 }
            },
            {
                "name": "quick", "from": "any", "to": "two-level", "drives": "changed", "windowed": true, "flashes": 0,
                "duration_ms": 120, "residue": { "keeps": 1, "lighter": 0.005, "darker": 0.004 },
                "energy_mj": { "start": 1, "per_cm2": 1 }
            }
        ]
    })
}

/// A plan's text with its format and its display, on clean white where it does not say what it begins with.
pub(crate) fn whole_plan(text: &str) -> String {
    let rest = text.trim_start().strip_prefix('{').expect("a plan is an object");
    // On the line of the format, so that what a test says keeps its place.
    let begins = if rest.contains("\"begins\"") { "" } else { " \"begins\": \"white\"," };
    format!("{{\n  \"format\": \"refresh-plan/1\",{begins}\n  \"display\": \"panel.display.json\",{rest}\n")
}

/// The same of a flow.
pub(crate) fn whole_flow(text: &str) -> String {
    whole_plan(text).replacen("refresh-plan/1", "user-flow/1", 1)
}

/// The text of a trace with the format, the display and a white beginning in its header.
pub(crate) fn whole_trace(text: &str) -> String {
    let rest = text.trim_start().strip_prefix('{').expect("the header is an object").trim_start();
    let comma = if rest.starts_with('}') { "" } else { "," };
    format!(
        "{{ \"format\": \"update-trace/1\", \"display\": \"panel.display.json\", \"begins\": \"white\"{comma} {rest}\n"
    )
}

/// The width and height of a screen as an example writes it.
pub(crate) fn size_of(text: &str) -> [u32; 2] {
    if text.trim_start().starts_with('<') {
        return ["width", "height"].map(|name| {
            let (_, rest) = text.split_once(&format!("{name}=\"")).expect("an SVG says its size");
            rest.split_once('"').unwrap().0.parse().unwrap()
        });
    }
    let rows: Vec<&str> = text.lines().collect();
    [rows[0].len() as u32, rows.len() as u32]
}

/// A PNG of a grid of characters, one per pixel: `#` black, `.` white, a hexadecimal digit d the shade 17 d.
pub(crate) fn png_of_grid(text: &str) -> Vec<u8> {
    let rows: Vec<&[u8]> = text.lines().map(str::as_bytes).collect();
    let [width, height] = size_of(text);
    png_of(width, height, |x, y| match rows[y as usize][x as usize] {
        b'#' => 0,
        b'.' => 255,
        digit => 17 * char::from(digit).to_digit(16).expect("a pixel is #, . or a hexadecimal digit") as u8,
    })
}

/// A PNG of 8-bit greys.
pub(crate) fn png_of(width: u32, height: u32, shade: impl Fn(u32, u32) -> u8) -> Vec<u8> {
    let picture = GrayImage::from_fn(width, height, |x, y| Luma([shade(x, y)]));
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Png).unwrap();
    bytes.into_inner()
}
