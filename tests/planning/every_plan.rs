//! What is true of every plan that `replan` chooses for, on random ones: no more errors, no screen hidden, no higher cost; and
//! how often the efforts find the best of all that an enumeration finds which knows nothing of the planner's own candidates.

use std::cell::RefCell;

use proptest::{prelude::*, test_runner::TestRunner};
use stillpage::{
    geometry::{Rect, Window},
    plan::{Node, Plan, Update, Updates, WindowAsk},
    planner::{Effort, Meter, Score, cost_of_finding, replan, score_as_written},
    review::review,
    rules::Selection,
};

use crate::{
    kept_failures::{nothing_kept, times},
    planner::{HEIGHT, RandomStep, Screens, WIDTH, random_step, world},
};

/// The plan with these updates at its steps, in order.
fn with_updates(plan: &Plan, updates: &[Vec<Update>]) -> Plan {
    let (mut made, _) = world(&[], "white");
    let steps = plan.nodes.iter().zip(updates).map(|(node, updates)| {
        let Node::Step(step) = node else { panic!("the steps of these plans are not repeated") };
        let shows = match &step.shows {
            stillpage::plan::Shows::Screen(screen) => stillpage::plan::Shows::Screen(*screen),
            _ => stillpage::plan::Shows::Same,
        };
        Node::Step(std::sync::Arc::new(stillpage::plan::Step {
            pointer: step.pointer.clone(),
            after_ms: step.after_ms,
            cause: step.cause,
            updates: Updates::Listed(updates.clone()),
            ..stillpage::plan::Step::new(shows)
        }))
    });
    made.nodes = steps.collect();
    made.step_count = plan.step_count;
    made.begins = plan.begins;
    made
}

fn random_updates() -> impl Strategy<Value = Vec<Update>> {
    let window = prop_oneof![
        Just(WindowAsk::All),
        Just(WindowAsk::Changed),
        (0..4_i64, 0..12_i64).prop_map(|(x, y)| WindowAsk::Boxes(vec![Window { x: 8 * x, y, width: 8, height: 4 }])),
    ];
    let update =
        (0..3_usize, window).prop_map(|(mode, window)| Update { mode, window, drive_ms: None, with_old: false });
    prop::collection::vec(update, 0..3)
}

/// Errors, and screens that nobody sees, as a review counts them.
fn reviewed(plan: &Plan, screens: &Screens) -> (u64, u64) {
    let review = review(plan, screens, &Selection::default(), 1, &mut |_| {}).unwrap();
    let hidden = review.findings.iter().filter(|finding| finding.rule == "never-shown").map(|finding| finding.times);
    (review.summary.error, hidden.sum())
}

/// `replan --all` of a plan that somebody wrote.
#[test]
fn nothing_gets_worse_and_nothing_is_hidden() {
    let mut runner = TestRunner::new(nothing_kept(40));
    let steps = prop::collection::vec((random_step(), random_updates()), 1..=6);
    let gains = RefCell::new(Vec::new());
    runner
        .run(&(steps, prop_oneof![Just("white"), Just("unknown")]), |(steps, begins)| {
            let (random, updates): (Vec<RandomStep>, Vec<Vec<Update>>) = steps.into_iter().unzip();
            let (open, screens) = world(&random, begins);
            let plan = with_updates(&open, &updates);
            let before = score_as_written(&plan, &screens, 1).unwrap();
            let chosen = replan(&plan, &screens, 1, true, Effort::Usual).unwrap();
            let choices: Vec<Vec<Update>> = chosen.choices.iter().map(|choice| choice.updates.clone()).collect();
            let after = with_updates(&open, &choices);
            // What the search says is what the plan with its choices comes to.
            let played = score_as_written(&after, &screens, 1).unwrap();
            prop_assert_eq!(played.errors, chosen.score.errors);
            prop_assert!((played.cost - chosen.score.cost).abs() < 1e-6);
            prop_assert!(played.errors < before.errors || played.cost <= before.cost + 1e-9, "{before:?} {played:?}");
            let (was, is) = (reviewed(&plan, &screens), reviewed(&after, &screens));
            prop_assert!(is.0 <= was.0, "{} errors became {}", was.0, is.0);
            prop_assert!(is.1 <= was.1, "{} unseen screens became {}", was.1, is.1);
            gains.borrow_mut().push(before.cost - played.cost);
            Ok(())
        })
        .unwrap();
    let gains = gains.into_inner();
    let better = gains.iter().filter(|gain| **gain > 1e-9).count();
    eprintln!("{} plans, {better} of them cost less", gains.len());
    assert!(better > gains.len() / 2, "most random plans can be made better");
}

/// Errors and cost of a plan that starts again when it ends, with what a review says of its later turns.
fn over_all_turns(plan: &Plan, screens: &Screens) -> (u64, f64) {
    let mut meter = Meter::default();
    let review = review(plan, screens, &Selection::default(), 1, &mut |step| meter.step(step, plan)).unwrap();
    meter.end();
    let found = review.findings.iter().filter(|finding| finding.is_open());
    let cost = meter.cost().total() + found.map(|finding| cost_of_finding(finding.severity)).sum::<f64>();
    (review.summary.error, cost)
}

/// What costs least in the first turn may cost more in the later ones: there a step begins on what the plan itself left.
#[test]
fn a_plan_that_loops_is_chosen_for_all_its_turns() {
    let mut runner = TestRunner::new(nothing_kept(24));
    let steps = prop::collection::vec((random_step(), random_updates()), 2..=3);
    let found = RefCell::new([0_u32; 3]);
    runner
        .run(&steps, |steps| {
            let (random, updates): (Vec<RandomStep>, Vec<Vec<Update>>) = steps.into_iter().unzip();
            let (open, screens) = world(&random, "white");
            let looped = |updates: &[Vec<Update>]| Plan { loops: true, ..with_updates(&open, updates) };
            let before = over_all_turns(&looped(&updates), &screens);
            let chosen = replan(&looped(&updates), &screens, 1, true, Effort::Usual).unwrap();
            let choices: Vec<Vec<Update>> = chosen.choices.iter().map(|choice| choice.updates.clone()).collect();
            let after = over_all_turns(&looped(&choices), &screens);
            prop_assert!(
                after.0 < before.0 || after.0 == before.0 && after.1 <= before.1 + 1e-9,
                "{before:?} {after:?}"
            );
            // The same mode at every step, on the whole panel or on what changes.
            let ask = |mode: usize, window: &WindowAsk| {
                let ask = Update { mode, window: window.clone(), drive_ms: None, with_old: false };
                vec![vec![ask]; random.len()]
            };
            let all = (0..3).flat_map(|mode| [WindowAsk::All, WindowAsk::Changed].map(|window| ask(mode, &window)));
            let plain = all.map(|asks| over_all_turns(&looped(&asks), &screens));
            let best = plain.min_by(|one, other| one.0.cmp(&other.0).then(one.1.total_cmp(&other.1))).unwrap();
            let as_good = after.0 < best.0 || after.0 == best.0 && after.1 <= best.1 * 1.05;
            prop_assert!(as_good, "{best:?} with one mode for all, {after:?} chosen: {choices:?}");
            let turns_decide = chosen.choices.iter().any(|choice| choice.why.contains("over all turns"));
            let mut found = found.borrow_mut();
            found[0] += 1;
            found[1] += u32::from(turns_decide);
            found[2] += u32::from(after.1 < before.1);
            Ok(())
        })
        .unwrap();
    let [plans, turns_decide, better] = found.into_inner();
    eprintln!("{plans} plans that loop, {better} cost less than before; later turns decided in {turns_decide}");
    assert!(turns_decide > 0, "in none of them a later turn matters");
}

/// What an enumeration asks for at a step with these boxes: nothing; each mode on the whole panel, on what changes, and on all
/// boxes together; and each of those, and each mode on each box, behind an update without a flash. An update that shows one box
/// and never the other is no answer, although it costs less where the next step takes both back at once.
fn everything(step: &RandomStep, modes: usize, is_short: bool) -> Vec<Vec<Update>> {
    let boxes: Vec<Window> = step.boxes.iter().map(|shape| on_grid(*shape)).collect();
    let mut windows = vec![WindowAsk::Changed, WindowAsk::All];
    windows.extend(boxes.iter().take(2).map(|window| WindowAsk::Boxes(vec![*window])));
    if boxes.len() == 2 {
        windows.push(WindowAsk::Boxes(boxes.clone()));
    }
    let one = |mode: usize| {
        let update = move |window: &WindowAsk| Update { mode, window: window.clone(), drive_ms: None, with_old: false };
        windows.iter().map(update).collect::<Vec<_>>()
    };
    let single: Vec<Update> = (0..modes).flat_map(one).collect();
    let quick = one(modes - 1);
    let is_of_a_part =
        |update: &&Update| matches!(&update.window, WindowAsk::Boxes(windows) if windows.len() < boxes.len());
    let mut found: Vec<Vec<Update>> = vec![Vec::new()];
    found.extend(single.iter().filter(|update| !is_of_a_part(update)).map(|update| vec![update.clone()]));
    let firsts = if is_short { quick.len() } else { 1 };
    for first in &quick[..firsts] {
        let shows_all = |then: &&Update| *then != first && !(is_of_a_part(then) && then.window == first.window);
        found.extend(single.iter().filter(shows_all).map(|then| vec![first.clone(), then.clone()]));
    }
    found
}

/// A box on the grid of the example display.
fn on_grid((left, top, width, height, _): (u32, u32, u32, u32, u8)) -> Window {
    let right = (left + width).min(WIDTH).div_ceil(8) * 8;
    let (x, bottom) = (left / 8 * 8, (top + height).min(HEIGHT));
    Rect { x, y: top, width: right - x, height: bottom - top }.to_window()
}

/// The best of everything: every combination is played from the beginning.
fn best_of_everything(plan: &Plan, steps: &[RandomStep], screens: &Screens) -> (Score, usize, Vec<Vec<Update>>) {
    let is_short = steps.len() < 3;
    let options: Vec<Vec<Vec<Update>>> = steps.iter().map(|step| everything(step, 3, is_short)).collect();
    let mut places = vec![0; steps.len()];
    let (mut best, mut played) = (None::<(Score, Vec<Vec<Update>>)>, 0);
    loop {
        let updates: Vec<Vec<Update>> =
            places.iter().zip(&options).map(|(at, options): (&usize, _)| options[*at].clone()).collect();
        let score = score_as_written(&with_updates(plan, &updates), screens, 1).unwrap();
        played += 1;
        if best.as_ref().is_none_or(|(best, _)| (score.errors, score.cost) < (best.errors, best.cost)) {
            best = Some((score, updates));
        }
        let Some(at) = (0..places.len()).rfind(|at| places[*at] + 1 < options[*at].len()) else {
            let (best, updates) = best.unwrap();
            return (best, played, updates);
        };
        places[at] += 1;
        places[at + 1..].fill(0);
    }
}

/// A few plans of two steps every day; `tests/long` takes 300 plans of up to three steps, and takes its time.
#[test]
fn how_often_the_best_of_everything_is_found() {
    let is_long = times() > 1;
    let mut runner = TestRunner::new(nothing_kept(if is_long { 30 } else { 8 }));
    let counts = RefCell::new((0, 0, 0, 0));
    let most = if is_long { 3 } else { 2 };
    let missed = RefCell::new(Vec::new());
    runner
        .run(&prop::collection::vec(random_step(), 1..=most), |mut steps| {
            for step in &mut steps {
                step.boxes.truncate(2);
            }
            let (plan, screens) = world(&steps, "white");
            let (best, played, updates) = best_of_everything(&plan, &steps, &screens);
            let reaches = |effort| {
                let found = replan(&plan, &screens, 1, false, effort).unwrap();
                let score = found.score;
                let is_reached = score.errors < best.errors || score.errors == best.errors && score.cost <= best.cost + 1e-6;
                if !is_reached {
                    let chosen: Vec<_> = found.choices.iter().map(|choice| &choice.updates).collect();
                    missed.borrow_mut().push(format!(
                        "{effort:?} finds {score:?} with {chosen:?}, the best is {best:?} with {updates:?}, in {steps:?}"
                    ));
                }
                usize::from(is_reached)
            };
            let mut counts = counts.borrow_mut();
            *counts = (
                counts.0 + 1,
                counts.1 + played,
                counts.2 + reaches(Effort::Usual),
                counts.3 + reaches(Effort::Thorough),
            );
            Ok(())
        })
        .unwrap();
    let (plans, played, usual, thorough) = counts.into_inner();
    eprintln!("{plans} plans, {played} courses: usual finds the best of everything in {usual}, thorough in {thorough}");
    missed.borrow().iter().for_each(|words| eprintln!("{words}"));
    assert_eq!(thorough, plans, "{:?}", missed.borrow());
    assert!(100 * usual >= 90 * plans, "{:?}", missed.borrow());
}
