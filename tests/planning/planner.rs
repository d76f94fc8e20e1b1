//! `replan`: what it chooses is as good as the best of all, not worse than plans made by hand, and written without touching
//! anything else.

use std::{
    cell::{Cell, RefCell},
    sync::Arc,
};

use proptest::{prelude::*, test_runner::TestRunner};
use serde_json::{Value, json};
use stillpage::{
    change::pipeline::ScreenSource,
    display::{Beside, Display, Ink, Segments, read_display},
    geometry::{Rect, Size, Window},
    plan::{
        Begins, Cause, KnownRule, Plan, PlanMaker, ScreenId, Shows, Step, Surroundings, Trouble, Update, Updates,
        WindowAsk, read_plan,
    },
    planner::{Effort, Score, covers, play_through, replan},
    rules::known_rules,
    screen::{Picture, ScreenFault, decode_png},
    source::{Fault, Source},
};

use crate::{
    common::{Folder, example_display, png_of, whole_plan},
    kept_failures::nothing_kept,
};

pub(crate) const WIDTH: u32 = 32;
pub(crate) const HEIGHT: u32 = 16;

/// A display in memory; screens are named by their numbers.
struct World {
    display: Value,
    rules: Vec<KnownRule>,
}

impl Beside for World {
    fn base(&mut self, name: &str) -> Result<Display, Vec<Fault>> {
        panic!("{name} is looked for")
    }

    fn segments(&mut self, path: &str) -> Result<Segments, Fault> {
        panic!("{path} is looked for")
    }
}

impl Surroundings for World {
    fn display(&mut self, _: &str) -> Result<Display, Vec<Fault>> {
        let source = Source::new("display", self.display.to_string());
        read_display(&Arc::new(source), self)
    }

    fn screens_folder(&mut self, path: &str) -> Result<(), Trouble> {
        panic!("{path} is looked for")
    }

    fn screen(&mut self, path: &str) -> Result<ScreenId, Trouble> {
        Ok(ScreenId(path.parse().unwrap()))
    }

    fn each(&mut self, pattern: &str) -> Result<Vec<ScreenId>, Trouble> {
        panic!("{pattern} is looked for")
    }

    fn font(&mut self, path: &str) -> Result<(), Trouble> {
        panic!("{path} is looked for")
    }

    fn rules(&self) -> &[KnownRule] {
        &self.rules
    }
}

/// The screens of a world, ready to be decoded.
pub(crate) struct Screens {
    bytes: Vec<Vec<u8>>,
    ink: Ink,
}

impl ScreenSource for Screens {
    fn picture(&self, screen: ScreenId, buffer: Vec<u8>) -> Result<Picture, ScreenFault> {
        decode_png(&self.bytes[screen.0], Size { width: WIDTH, height: HEIGHT }, &self.ink, buffer)
    }
}

/// A random step: a screen of up to three boxes in some level, when, and who asks for it.
#[derive(Clone, Debug)]
pub(crate) struct RandomStep {
    pub(crate) boxes: Vec<(u32, u32, u32, u32, u8)>,
    after_ms: u32,
    cause: &'static str,
}

pub(crate) fn random_step() -> impl Strategy<Value = RandomStep> {
    let rect = (0..WIDTH - 1, 0..HEIGHT - 1, 1..16_u32, 1..8_u32, prop_oneof![Just(0), Just(0), Just(119_u8)]);
    let cause = prop_oneof![Just("touch"), Just("clock"), Just("system")];
    let after_ms = prop_oneof![Just(200_u32), Just(1500), Just(60_000)];
    (prop::collection::vec(rect, 0..3), after_ms, cause).prop_map(|(boxes, after_ms, cause)| RandomStep {
        boxes,
        after_ms,
        cause,
    })
}

/// A plan of such steps with all updates left to choose, on the example display with these limits; made in code.
pub(crate) fn world(steps: &[RandomStep], begins: &str) -> (Plan, Screens) {
    let shade = |step: &RandomStep, x: u32, y: u32| {
        let inside = |(left, top, width, height, _): &&(u32, u32, u32, u32, u8)| {
            (*left..left + width).contains(&x) && (*top..top + height).contains(&y)
        };
        step.boxes.iter().rfind(inside).map_or(255, |rect| rect.4)
    };
    let bytes: Vec<Vec<u8>> = steps.iter().map(|step| png_of(WIDTH, HEIGHT, |x, y| shade(step, x, y))).collect();
    let display = Arc::new(nothing_else().display("it").unwrap());
    let ink = display.ink.clone();
    let begins = word_of(begins, [("white", Begins::White), ("black", Begins::Black), ("unknown", Begins::Unknown)]);
    let made =
        steps.iter().enumerate().fold(PlanMaker::new(display, steps.len()).begins(begins), |made, (at, step)| {
            made.step(Step {
                after_ms: step.after_ms.into(),
                cause: word_of(step.cause, Cause::ALL.map(|cause| (cause.word(), cause))),
                updates: Updates::Choose,
                ..Step::new(Shows::Screen(ScreenId(at)))
            })
        });
    (made.make("plan", &stillpage::rules::known_rules()).unwrap(), Screens { bytes, ink })
}

fn word_of<T, const N: usize>(word: &str, words: [(&str, T); N]) -> T {
    words.into_iter().find(|(known, _)| *known == word).unwrap().1
}

/// The example display with a low limit, and nothing beside it.
fn nothing_else() -> World {
    let mut display = example_display([WIDTH, HEIGHT]);
    display["limits"]["updates_before_cleaning"] = json!(2);
    World { display, rules: known_rules() }
}

/// Made in code or read from a text, it is the same plan.
#[test]
fn a_plan_made_in_code_is_the_one_that_a_text_says() {
    let text = json!({ "format": "refresh-plan/1", "display": "it", "begins": { "screen": "1" }, "steps": [
        { "screen": "0", "after_ms": 250, "cause": "touch", "touched": [1, 2, 3, 4], "label": "one", "updates": [
            { "mode": "quick", "window": "changed" }, { "mode": "full", "window": [0, 0, 8, 8], "drive_ms": 120 },
        ] },
        { "repeat": 3, "steps": [{ "screen": "1", "updates": "choose" }, { "power": "off" }] },
    ] });
    let mut world = nothing_else();
    let read = read_plan(&Arc::new(Source::new("plan", text.to_string())), &mut world).unwrap();
    let mode = |name: &str| read.display.mode_named(name).unwrap();
    let window = |x, y, width, height| Window { x, y, width, height };
    let boxed = Update { drive_ms: Some(120.0), ..Update::of_boxes(mode("full"), vec![window(0, 0, 8, 8)]) };
    let first = Step {
        label: Some("one".into()),
        after_ms: 250.0,
        cause: Cause::Touch,
        touched: Some(window(1, 2, 3, 4)),
        updates: Updates::Listed(vec![Update::of_changed(mode("quick")), boxed]),
        ..Step::new(Shows::Screen(ScreenId(0)))
    };
    let again = vec![
        Step { updates: Updates::Choose, ..Step::new(Shows::Screen(ScreenId(1))) },
        Step { power: Some(stillpage::plan::Power::Off), ..Step::new(Shows::Same) },
    ];
    let made = PlanMaker::new(read.display.clone(), 2).begins(Begins::Screen(ScreenId(1))).step(first);
    let made = made.repeat(3, again).make("plan", &stillpage::rules::known_rules()).unwrap();
    let all_but_the_text = |plan: Plan| {
        let source = Arc::new(Source::new("", ""));
        format!("{:#?}", Plan { source, ..plan })
    };
    assert_eq!(all_but_the_text(made), all_but_the_text(read));
}

/// The best of all courses over the candidates of each step, each of them played from the beginning.
fn best_of_all(plan: &Plan, screens: &Screens) -> (Score, usize) {
    let mut places: Vec<usize> = Vec::new();
    let mut best: Option<Score> = None;
    let mut courses = 0;
    loop {
        let mut counts = Vec::new();
        let score = play_through(plan, screens, &mut |options| {
            counts.push(options.len());
            places.get(counts.len() - 1).copied().unwrap_or(0)
        })
        .unwrap();
        courses += 1;
        if best.is_none_or(|best| (score.errors, score.cost) < (best.errors, best.cost)) {
            best = Some(score);
        }
        // The next course: one further in the last step that has one left.
        places.resize(counts.len(), 0);
        let Some(last) = (0..counts.len()).rfind(|at| places[*at] + 1 < counts[*at]) else {
            return (best.unwrap(), courses);
        };
        places[last] += 1;
        places.truncate(last + 1);
    }
}

#[test]
fn the_highest_effort_finds_the_best_of_all() {
    let mut runner = TestRunner::new(nothing_kept(6));
    let (courses, gaps) = (Cell::new(0), RefCell::new(Vec::new()));
    let begins = prop_oneof![Just("white"), Just("unknown")];
    runner
        .run(&(prop::collection::vec(random_step(), 1..=3), begins), |(steps, begins)| {
            let (plan, screens) = world(&steps, begins);
            let (best, played) = best_of_all(&plan, &screens);
            let thorough = replan(&plan, &screens, 1, false, Effort::Thorough).unwrap();
            prop_assert!(thorough.is_best, "a small plan is searched exhaustively");
            prop_assert_eq!(thorough.score, best);
            let usual = replan(&plan, &screens, 1, false, Effort::Usual).unwrap();
            prop_assert!(usual.score.errors >= best.errors);
            gaps.borrow_mut().push((usual.score.errors - best.errors, usual.score.cost - best.cost));
            courses.set(courses.get() + played);
            Ok(())
        })
        .unwrap();
    let (courses, gaps) = (courses.get(), gaps.into_inner());
    let missed = gaps.iter().filter(|gap| gap.0 > 0 || gap.1 > 1e-9).count();
    let most = gaps.iter().map(|gap| gap.1).fold(0.0, f64::max);
    eprintln!(
        "{} plans, {courses} courses; usual effort missed the best in {missed}, by {most:.2} at the most",
        gaps.len()
    );
    assert!(courses > 1000, "only {courses} courses were compared");
}

/// Where errors are left, more is tried by itself: on small plans until none is left that any choice avoids.
#[test]
fn no_error_is_left_that_another_choice_avoids() {
    let mut runner = TestRunner::new(nothing_kept(20));
    let (with_errors, rose) = (Cell::new(0), Cell::new(0));
    runner
        .run(&prop::collection::vec(random_step(), 2..=5), |steps| {
            let (plan, screens) = world(&steps, "white");
            let usual = replan(&plan, &screens, 1, false, Effort::Usual).unwrap();
            let thorough = replan(&plan, &screens, 1, false, Effort::Thorough).unwrap();
            prop_assert_eq!(usual.score.errors, thorough.score.errors);
            with_errors.set(with_errors.get() + usize::from(usual.score.errors > 0));
            rose.set(rose.get() + usize::from(usual.effort == Effort::Thorough));
            Ok(())
        })
        .unwrap();
    eprintln!("20 plans; more was tried for {}, errors are left in {}", rose.get(), with_errors.get());
}

/// Windows on a small panel with a coarse grid, against all ways to put the boxes together.
#[test]
fn windows_are_the_best_of_all_and_such_as_the_controller_takes() {
    let (plan, _) = world(&[], "white");
    let mut runner = TestRunner::new(nothing_kept(100));
    let rect = (0..WIDTH - 1, 0..HEIGHT - 1, 1..12_u32, 1..8_u32).prop_map(|(x, y, width, height)| Rect {
        x,
        y,
        width: width.min(WIDTH - x),
        height: height.min(HEIGHT - y),
    });
    runner
        .run(&prop::collection::vec(rect, 1..6), |boxes| {
            let found = covers(&boxes, &plan, 3);
            for windows in &found {
                prop_assert!(windows.len() <= 3);
                for window in windows {
                    let right = window.x + window.width;
                    prop_assert!(window.x % 8 == 0 && right % 8 == 0 && right <= WIDTH, "{window:?} is off the grid");
                }
                for rect in &boxes {
                    prop_assert!(
                        windows.iter().any(|window| window.around(*rect) == *window),
                        "{rect:?} is not covered"
                    );
                }
            }
            let least = |windows: &[Vec<Rect>]| windows.iter().map(|windows| pixels(windows)).min().unwrap();
            prop_assert_eq!(least(&found), least(&partitions(&boxes, 3)));
            Ok(())
        })
        .unwrap();
}

/// A key is answered at once by what a quick mode can show, and the greys come behind it.
#[test]
fn the_part_that_a_quick_mode_can_show_is_shown_first() {
    let step = RandomStep { boxes: vec![(0, 0, 8, 8, 0), (24, 4, 8, 8, 119)], after_ms: 60_000, cause: "touch" };
    let (plan, screens) = world(&[step], "white");
    let chosen = replan(&plan, &screens, 1, false, Effort::Usual).unwrap();
    let updates = &chosen.choices[0].updates;
    let modes: Vec<&str> = updates.iter().map(|update| plan.display.modes[update.mode].name.as_str()).collect();
    assert_eq!(modes[0], "quick", "{updates:?}");
    assert_eq!(modes.len(), 2, "{updates:?}");
    let black = Rect { x: 0, y: 0, width: 8, height: 8 };
    assert_eq!(updates[0].window, WindowAsk::Boxes(vec![black.to_window()]), "not the grey box, not all between them");
    assert_eq!(chosen.score.errors, 0);
}

fn pixels(windows: &[Rect]) -> u64 {
    windows.iter().map(|window| window.pixels()).sum()
}

/// All ways to put boxes into at most so many groups, each group as the window around it on a grid of 8 columns.
fn partitions(boxes: &[Rect], most: usize) -> Vec<Vec<Rect>> {
    let mut found = Vec::new();
    let groups = boxes.len().min(most);
    for number in 0..groups.pow(boxes.len() as u32) {
        let mut windows: Vec<Option<Rect>> = vec![None; groups];
        let mut rest = number;
        for rect in boxes {
            let window = &mut windows[rest % groups];
            *window = Some(window.map_or(*rect, |known| known.around(*rect)));
            rest /= groups;
        }
        let widen = |rect: Rect| {
            let x = rect.x / 8 * 8;
            Rect { x, width: (rect.x + rect.width).div_ceil(8) * 8 - x, ..rect }
        };
        found.push(windows.into_iter().flatten().map(widen).collect());
    }
    found
}

/// What a plan is read through stays: a byte order mark, and a link to it.
#[test]
#[cfg(unix)]
fn a_plan_behind_a_link_and_with_a_mark_is_written_where_it_lies() {
    let folder = Folder::usual();
    let plan = whole_plan(r#"{ "steps": [{ "screen": "square.png", "updates": "choose" }] }"#);
    folder.file(
        "kept/real.plan.json",
        format!("\u{feff}{}", plan.replace("square", "../square").replace("panel", "../panel")),
    );
    std::os::unix::fs::symlink("kept/real.plan.json", folder.join("a.plan.json")).unwrap();
    let run = folder.run(&["replan", "kept/real.plan.json"]).with_status(0);
    assert!(run.out.contains("Nothing was written"), "{}", run.out);
    // Through the link, names are looked for beside the link.
    folder.file("kept/real.plan.json", format!("\u{feff}{plan}"));
    folder.run(&["replan", "a.plan.json", "--write"]).with_status(0);
    assert!(folder.join("a.plan.json").is_symlink(), "the link stays one");
    let written = folder.read("kept/real.plan.json");
    assert!(written.starts_with('\u{feff}') && !written.contains("choose"), "{written}");
    folder.run(&["review", "a.plan.json"]).with_status(0);
}
