//! Rules for the firmware: played as they say, never worse than the plan in what counts first, and the same in C as here.

use std::{
    cell::Cell,
    fmt::Write as _,
    fs,
    path::Path,
    process::Command,
    sync::{Arc, OnceLock},
};

use proptest::{prelude::*, test_runner::TestRunner};
use serde_json::{Value, json};
use stillpage::{
    change::pipeline::ScreenSource,
    display::{Beside, Display, Ink, Segments, read_display},
    geometry::Size,
    plan::{Begins, Cause, Plan, PlanMaker, Power, ScreenId, Shows, Step, Update, Updates},
    planner::{Ask, Asker, AtStep, Cleaning, FoundPolicy, Kind, Meter, Policy, When, cost_of_finding, policy_for},
    report::policy::{PolicyReport, header},
    review::review,
    rules::{Selection, known_rules},
    screen::{Picture, ScreenFault, decode_png},
    source::{Fault, Source},
};

use crate::{
    common::{Folder, example_display, png_of, root},
    kept_failures::nothing_kept,
};

const SIZE: Size = Size { width: 32, height: 16 };
/// Screens: white, a small black box, a large one, a grey one, and black.
const SCREENS: usize = 5;

struct Nothing;

impl Beside for Nothing {
    fn base(&mut self, name: &str) -> Result<Display, Vec<Fault>> {
        panic!("{name} is looked for")
    }

    fn segments(&mut self, path: &str) -> Result<Segments, Fault> {
        panic!("{path} is looked for")
    }
}

struct Screens {
    bytes: Vec<Vec<u8>>,
    ink: Ink,
}

impl ScreenSource for Screens {
    fn picture(&self, screen: ScreenId, buffer: Vec<u8>) -> Result<Picture, ScreenFault> {
        decode_png(&self.bytes[screen.0], SIZE, &self.ink, buffer)
    }
}

/// A random step: which screen, when, who asks for it, whether the power goes off, and what the plan asks for.
#[derive(Clone, Debug)]
struct RandomStep {
    screen: Option<usize>,
    after_ms: u32,
    cause: Cause,
    goes_off: bool,
    updates: Vec<Update>,
}

fn random_step() -> impl Strategy<Value = RandomStep> {
    let screen = prop_oneof![1 => Just(None), 6 => (0..SCREENS).prop_map(Some)];
    let after_ms = prop_oneof![Just(200_u32), Just(1500), Just(2000), Just(6000), Just(60_000)];
    let cause = prop::sample::select(Cause::ALL.to_vec());
    let update = (0..3_usize, any::<bool>());
    let update = update.prop_map(|(mode, whole)| Ask { mode, whole }.update());
    let updates = prop::collection::vec(update, 0..3);
    let goes_off = prop::bool::weighted(0.1);
    (screen, after_ms, cause, goes_off, updates).prop_map(|(screen, after_ms, cause, goes_off, updates)| RandomStep {
        screen,
        after_ms,
        cause,
        goes_off,
        updates,
    })
}

/// A plan of such steps on the example display, whose controller forgets its picture when it is off.
fn plan_of(steps: &[RandomStep], begins: Begins, loops: bool) -> (Plan, Screens) {
    let boxes = [(0, 0, 0), (8, 3, 0), (30, 14, 0), (12, 8, 119), (32, 16, 0)];
    let bytes = boxes.map(|(width, height, shade)| {
        png_of(SIZE.width, SIZE.height, |x, y| if x < width && y < height { shade } else { 255 })
    });
    let mut description = example_display([SIZE.width, SIZE.height]);
    description["limits"]["updates_before_cleaning"] = json!(4);
    description["memory"] = json!("lost_when_off");
    let source = Source::new("display", description.to_string());
    let display = Arc::new(read_display(&Arc::new(source), &mut Nothing).unwrap());
    let ink = display.ink.clone();
    let made = steps.iter().fold(PlanMaker::new(display, SCREENS).begins(begins), |made, step| {
        made.step(Step {
            after_ms: step.after_ms.into(),
            cause: step.cause,
            updates: Updates::Listed(step.updates.clone()),
            power: step.goes_off.then_some(Power::Off),
            ..Step::new(step.screen.map_or(Shows::Same, |screen| Shows::Screen(ScreenId(screen))))
        })
    });
    let plan = made.make("plan", &known_rules()).unwrap();
    (Plan { loops, ..plan }, Screens { bytes: bytes.to_vec(), ink })
}

fn begins() -> impl Strategy<Value = Begins> {
    prop_oneof![Just(Begins::White), Just(Begins::Unknown)]
}

/// The errors and the cost of a plan, added up by a review of it and not by the planner.
fn reviewed(plan: &Plan, screens: &Screens) -> (u64, f64) {
    let mut meter = Meter::default();
    let review = review(plan, screens, &Selection::default(), 1, &mut |step| meter.step(step, plan)).unwrap();
    meter.end();
    let open = review.findings.iter().filter(|finding| finding.is_open());
    (review.summary.error, meter.cost().total() + open.map(|finding| cost_of_finding(finding.severity)).sum::<f64>())
}

/// What the search says of its rule is what a review says of the plan with it, written out: also of cleanings in pauses, and
/// of a plan that loops. It never has more errors than the plan as it was.
#[test]
fn a_rule_is_as_good_as_a_review_of_it_says() {
    let mut runner = TestRunner::new(nothing_kept(12));
    let (in_pauses, allowed) = (Cell::new(0), Cell::new(0));
    runner
        .run(&(prop::collection::vec(random_step(), 1..8), begins(), any::<bool>()), |(steps, begins, loops)| {
            let (plan, screens) = plan_of(&steps, begins, loops);
            let found = policy_for(&plan, &screens, 1, &mut |_| {}).unwrap();
            let (errors, cost) = reviewed(&found.played, &screens);
            // A screen that nobody sees counts as an error in the planner, were it only a warning.
            prop_assert!(errors <= found.score.errors, "{errors} errors, {} said", found.score.errors);
            prop_assert!((cost - found.score.cost).abs() < 1e-6 * cost.max(1.0), "{cost}, {} said", found.score.cost);
            prop_assert_eq!(&found.decisions, &found.policy.decide(&found.events));
            in_pauses.set(in_pauses.get() + found.decisions.iter().filter(|one| one.in_pause_at_ms.is_some()).count());
            if found.is_allowed() {
                allowed.set(allowed.get() + 1);
                prop_assert!(errors <= reviewed(&found.turned, &screens).0);
            }
            Ok(())
        })
        .unwrap();
    eprintln!("{} rules with no more errors; {} cleanings in pauses", allowed.get(), in_pauses.get());
    assert!(allowed.get() > 0 && in_pauses.get() > 0);
}

/// A random rule, good or not: what counts here is that both programs follow it in the same way.
fn random_policy() -> impl Strategy<Value = Policy> {
    let ask = || (0..3_usize, any::<bool>()).prop_map(|(mode, whole)| Ask { mode, whole });
    let asks = || prop::collection::vec(ask(), 0..=2);
    let at = (
        any::<bool>(),
        prop::option::of(prop::sample::select(Asker::ALL.to_vec())),
        prop::collection::vec(0..SCREENS, 0..3),
    );
    let at = at.prop_map(|(only_large, asker, screens)| {
        When::Step(AtStep { only_large, asker, screens: screens.into_iter().map(ScreenId).collect() })
    });
    let pause = prop_oneof![Just(500.0), Just(2000.0), Just(5000.0)].prop_map(|ms| When::Pause { ms });
    let cleaning = (ask(), 1..5_u32, prop_oneof![at, pause], any::<bool>()).prop_map(
        |(ask, after_updates, when, behind_answer)| {
            let behind_answer = behind_answer && matches!(when, When::Step(_));
            Cleaning { ask, after_updates, when, behind_answer }
        },
    );
    let answers = prop::collection::vec(asks(), Kind::COUNT);
    let large = prop::option::of(0..1001_u32);
    (large, answers, asks(), prop::collection::vec(cleaning, 0..3), prop_oneof![Just(0.0), Just(2000.0)]).prop_map(
        |(large_from_permille, answers, start, cleanings, quiet_ms)| Policy {
            large_from_permille,
            answers,
            start,
            cleanings,
            quiet_ms,
        },
    )
}

/// Whether there is a C compiler; where there is none, the tests that need it say so.
fn has_compiler() -> bool {
    static FOUND: OnceLock<bool> = OnceLock::new();
    *FOUND.get_or_init(|| {
        let found = Command::new("cc").arg("--version").output().is_ok_and(|output| output.status.success());
        if !found {
            eprintln!("SKIPPED: there is no C compiler `cc`, so no header was compiled and no decision was compared");
        }
        found
    })
}

/// What a firmware in C does with a header, one line a decision.
fn decisions_in_c(folder: &Path, header: &str, found: &FoundPolicy) -> String {
    fs::write(folder.join("policy.h"), header).unwrap();
    fs::write(folder.join("main.c"), driver(found)).unwrap();
    let flags = ["-Wall", "-Wextra", "-Werror", "-std=c99", "-pedantic", "-o", "driver", "main.c"];
    let built = Command::new("cc").args(flags).current_dir(folder).output().unwrap();
    assert!(built.status.success(), "{}\n{header}", String::from_utf8_lossy(&built.stderr));
    let run = Command::new(folder.join("driver")).output().unwrap();
    assert!(run.status.success());
    String::from_utf8(run.stdout).unwrap()
}

/// A firmware that lives through the events of a plan and prints what it asks for.
fn driver(found: &FoundPolicy) -> String {
    let names_of_screens = c_names_of_screens(&found.policy);
    let mut steps = String::new();
    for event in &found.events.list {
        let screen = event.screen.and_then(|screen| names_of_screens.iter().find(|(id, _)| *id == screen));
        let (levels, permille) = event.change.map_or((0, 0), |change| (change.levels as u32, change.permille));
        let _ = writeln!(
            steps,
            "    {{ {{ {}u, {}, {}, (enum policy_levels){levels}, {permille}u, {}, {}, {} }}, {}u, {}, {} }},",
            event.asked_ms,
            event.screen.is_some(),
            event.change.is_some(),
            event.asker == Asker::Person,
            event.by_pen,
            screen.map_or("POLICY_SCREEN_OTHER", |(_, name)| name),
            event.at_ms,
            event.forgets,
            event.goes_off,
        );
    }
    let unknown = found.events.begins_unknown;
    format!(
        r#"#include <stdio.h>
#include "policy.h"

struct happening {{ struct policy_step step; uint64_t at_ms; bool forgets; bool goes_off; }};
static const struct happening happenings[] = {{
{steps}}};

static void show(const char *what, struct policy_updates updates)
{{
    printf("%s", what);
    for (int at = 0; at < updates.count; at++)
        printf(" %d%s", updates.list[at].mode, updates.list[at].window == POLICY_WINDOW_WHOLE ? "w" : "c");
    printf("\n");
}}

int main(void)
{{
    struct policy_state state;
    size_t count = sizeof happenings / sizeof happenings[0];
    policy_begin(&state, {unknown});
    for (size_t at = 0; at < count; at++) {{
        const struct happening *now = &happenings[at];
        show("step", policy_at_step(&state, &now->step));
        if (now->forgets)
            policy_forgotten(&state);
        uint32_t pause_ms = policy_pause_ms(&state);
        bool is_long = at + 1 == count || now->step.now_ms + pause_ms < happenings[at + 1].at_ms;
        if (pause_ms != POLICY_NEVER && is_long && !now->goes_off)
            show("pause", policy_in_pause(&state));
    }}
    return 0;
}}
"#
    )
}

/// The names that the header gives to the screens which a rule names: those of their numbers.
fn c_names_of_screens(policy: &Policy) -> Vec<(ScreenId, String)> {
    let of_cleaning = |cleaning: &Cleaning| match &cleaning.when {
        When::Step(at) => at.screens.clone(),
        When::Pause { .. } => Vec::new(),
    };
    let named = policy.cleanings.iter().flat_map(of_cleaning);
    named.map(|screen| (screen, format!("POLICY_SCREEN_FACE_{}", screen.0))).collect()
}

fn decisions_here(found: &FoundPolicy) -> String {
    let ask = |ask: &Ask| format!(" {}{}", ask.mode, if ask.whole { "w" } else { "c" });
    let line = |decision: &stillpage::planner::Decision| {
        let asks: String = decision.asks.iter().map(ask).collect();
        format!("{}{asks}\n", if decision.in_pause_at_ms.is_some() { "pause" } else { "step" })
    };
    found.decisions.iter().map(line).collect()
}

/// Random rules through random plans: the header compiles without a warning, and asks for the same at every step.
#[test]
fn a_firmware_in_c_decides_as_the_program_does() {
    if !has_compiler() {
        return;
    }
    let folder = Folder::new();
    let mut runner = TestRunner::new(nothing_kept(24));
    let (cleanings, pauses) = (Cell::new(0), Cell::new(0));
    let plans = (prop::collection::vec(random_step(), 4..40), begins(), random_policy());
    runner
        .run(&plans, |(steps, begins, policy)| {
            let (plan, screens) = plan_of(&steps, begins, false);
            let events = stillpage::planner::events_of(&plan, &screens, 1).unwrap();
            let decisions = policy.decide(&events);
            let (turned, played) = (plan_of(&[], begins, false).0, plan_of(&[], begins, false).0);
            let (score, before) = (stillpage::planner::Score::default(), None);
            let found = FoundPolicy { policy, score, before, turned, played, turns: 1, events, decisions, tried: 0 };
            let screen_name = |screen: ScreenId| format!("face {}", screen.0);
            let report = PolicyReport {
                name: "a */ plan",
                plan: &plan,
                found: &found,
                certainty: plan.display.certainty,
                screen_name: &screen_name,
            };
            let in_c = decisions_in_c(folder.path(), &header(report), &found);
            prop_assert_eq!(&in_c, &decisions_here(&found));
            pauses.set(pauses.get() + in_c.matches("pause").count());
            cleanings.set(cleanings.get() + found.policy.cleanings.len());
            Ok(())
        })
        .unwrap();
    eprintln!("{} cleanings in the rules, {} in pauses", cleanings.get(), pauses.get());
    assert!(cleanings.get() > 10 && pauses.get() > 10);
}

/// A watch in a folder: twelve minutes, then a grey page, on a display of the first edition.
fn watch() -> Folder {
    let folder = Folder::new();
    let display = root().join("tests/data/first-edition-displays/watch-1in3.display.json");
    folder.file("watch.display.json", fs::read(display).unwrap());
    let face = |left: u32, shade: &str| {
        format!(
            r##"<svg xmlns="http://www.w3.org/2000/svg" width="240" height="240"><rect width="240" height="240" fill="#fff"/><rect x="{left}" y="60" width="40" height="60" fill="{shade}"/></svg>"##
        )
    };
    for minute in 0..12 {
        folder.file(&format!("minutes/{minute:02}.svg"), face(10 + minute * 12, "#000"));
    }
    folder.file("menu.svg", face(100, "#777"));
    folder.file(
        "watch.plan.json",
        r#"{ "format": "refresh-plan/1", "display": "watch.display.json", "begins": "unknown", "loops": true, "steps": [
            { "screen": "minutes/00.svg", "after_ms": 60000, "cause": "clock", "updates": [{ "mode": "full" }] },
            { "each": "minutes/*.svg", "after_ms": 60000, "cause": "clock", "updates": [{ "mode": "full" }] },
            { "label": "menu", "screen": "menu.svg", "after_ms": 5000, "cause": "key", "updates": [{ "mode": "full" }] }
        ] }"#,
    );
    folder
}

#[test]
fn a_rule_is_shown_and_written() {
    let folder = watch();
    let run = folder.run(&["replan", "watch.plan.json", "--as-policy", "--emit", "policy.json"]).with_status(0);
    insta::with_settings!({ omit_expression => true, prepend_module_to_snapshot => false }, {
        insta::assert_snapshot!("rule_for_a_watch", run.out);
    });
    let policy: Value = serde_json::from_str(&folder.read("policy.json")).unwrap();
    let quick = json!([{ "mode": "quick", "window": "changed" }]);
    assert_eq!(policy["answers"][1]["updates"], quick, "minutes are two-level, small, and asked for by the device");
    assert!(policy["turns"].as_u64().unwrap() > 1, "a plan that loops is played more than once");
    // What the table on the screen says stands in the file.
    let row = run.out.lines().find(|line| line.starts_with("flashing updates")).unwrap();
    let last: f64 = row.split_whitespace().last().unwrap().parse().unwrap();
    assert_eq!(policy["figures"]["policy"]["flashing_updates"], last);
    let before = &policy["figures"]["before"];
    assert!(policy["figures"]["policy"]["cost"].as_f64() < before["cost"].as_f64());
    assert!(policy["figures"]["policy"]["errors"].as_f64() <= before["errors"].as_f64());
}

#[test]
fn a_header_that_was_written_compiles() {
    let folder = watch();
    folder.run(&["replan", "watch.plan.json", "--as-policy", "--emit", "policy.h"]).with_status(0);
    if !has_compiler() {
        return;
    }
    folder.file(
        "main.c",
        "#include \"policy.h\"\nint main(void) { struct policy_state s; policy_begin(&s, true); return s.updates; }\n",
    );
    let flags = ["-Wall", "-Wextra", "-Werror", "-std=c99", "-pedantic", "-o", "driver", "main.c"];
    let built = Command::new("cc").args(flags).current_dir(folder.path()).output().unwrap();
    assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
}

#[test]
fn a_rule_is_not_written_over_a_plan() {
    let folder = watch();
    for name in ["watch.plan.json", "policy.txt"] {
        let run = folder.run(&["replan", "watch.plan.json", "--as-policy", "--emit", name]).with_status(2);
        assert!(run.error.contains("give a name that ends in .json"), "{}", run.error);
    }
    folder.run(&["replan", "watch.plan.json", "--emit", "policy.h"]).with_status(2);
}
