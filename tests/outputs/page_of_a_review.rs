//! `review --html`: what stands in the page, its size, and what two plans beside each other say. How it behaves in a browser
//! is checked by `tests/page/check.mjs`.
#![expect(clippy::unwrap_used, reason = "a test stops at what must not happen")]

use std::{fs, path::Path, process::Command};

use serde_json::{Value, json};

use crate::common::{Folder, Run, example_display, png_of};

/// Runs a review of the fixtures that writes a page; gives the run and the page.
fn page(arguments: &[&str]) -> (Run, String) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("page.html");
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
    command.arg("review").args(arguments).arg("--html").arg(&file);
    let run = Run::of(command.current_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures")).output().unwrap());
    (run, fs::read_to_string(file).unwrap_or_default())
}

#[test]
fn the_page_of_the_logbook_is_small_and_asks_the_network_for_nothing() {
    let (run, page) = page(&["logbook", "--gate", "never"]);
    run.with_status(0);
    assert!(page.len() < 3_000_000, "{} bytes", page.len());
    assert!(page.contains("Logbook, first try") && page.contains("Logbook: a page of entries"));
    for foreign in ["http://", "https://", "url(", "<link", "src=\"/"] {
        assert!(!page.contains(foreign), "{foreign}");
    }
}

/// The page says which ghosts are outlines; a panel without them has none to mark.
#[test]
fn outlines_are_told_from_other_ghosts() {
    let marked = |plan: &str| page(&[plan, "--gate", "never"]).1.matches("\"outlines\":[[").count();
    let (_, of_counter) = page(&["gangway-count/troubled.plan.json", "--gate", "never"]);
    assert!(of_counter.contains("2 ghosts (2 of them outlines beside driven ink), the strongest pixel 4.0 L*"));
    assert_eq!(marked("gangway-count/troubled.plan.json"), 2);
    assert_eq!(marked("ship-watch/troubled.plan.json"), 0);
}

#[test]
fn the_page_tells_every_finding_and_the_caution_of_flashes() {
    let (_, page) = page(&["chart-desk/troubled.plan.json"]);
    let expected = include_str!("../data/troubled/chart-desk.txt").lines().count();
    assert_eq!(page.matches("<li id=\"finding-").count(), expected);
    assert!(page.contains(
        "Flashing can trigger seizures in people with photosensitive epilepsy; the check of flashes within a second applies"
    ));
}

#[test]
fn the_same_plan_gives_the_same_page_with_any_number_of_threads() {
    let one = page(&["tide-watch", "--threads", "1"]).1;
    assert!(!one.is_empty());
    assert_eq!(one, page(&["tide-watch", "--threads", "2"]).1);
}

#[test]
fn two_plans_stand_side_by_side_and_only_the_first_is_gated() {
    let (sound, troubled) = ("ferry-check/sound.plan.json", "ferry-check/troubled.plan.json");
    let (run, page) = self::page(&[sound, "--compare", troubled]);
    run.with_status(0);
    assert_eq!(row_of(&page, "flashing updates"), ["2", "5", "3 flashing updates more: worse"]);
    assert_eq!(
        row_of(&page, "cleanings"),
        ["2", "5", "3 cleanings more"],
        "more of them are good or bad, that depends"
    );
    let (run, page) = self::page(&[troubled, "--compare", sound]);
    run.with_status(1);
    assert_eq!(row_of(&page, "flashing updates"), ["5", "2", "3 flashing updates fewer: better"]);
    assert!(row_of(&page, "slowest first change")[2].ends_with(" sooner: better"));
    assert!(page.contains("The plans do not play equally long, 2 min 19 s before and 65.4 s after"));
}

/// The part of a page that compares two plans.
fn compared(page: &str) -> roxmltree::Document<'_> {
    let begin = page.find("<section class=\"compared\"").expect("two plans are compared");
    let end = begin + page[begin..].find("</section>").unwrap() + "</section>".len();
    roxmltree::Document::parse(&page[begin..end]).unwrap()
}

fn text_of(node: roxmltree::Node<'_, '_>) -> String {
    node.descendants().filter(roxmltree::Node::is_text).filter_map(|text| text.text()).collect()
}

/// The cells behind a figure's name: before, after, change.
fn row_of(page: &str, name: &str) -> Vec<String> {
    let document = compared(page);
    let row = document.descendants().find(|node| {
        node.has_tag_name("tr") && node.children().any(|cell| cell.has_tag_name("th") && cell.text() == Some(name))
    });
    row.unwrap_or_else(|| panic!("no row {name}")).children().skip(1).map(text_of).collect()
}

/// A chart of a figure: its name as a screen reader says it, and what is drawn in it.
struct Chart {
    name: String,
    texts: Vec<String>,
    /// Of a line, the places of its upright parts from top to bottom, 0 to 1: the highest, and the last.
    highest: f64,
    last: f64,
    is_cut: bool,
    bytes: usize,
}

fn chart_of(page: &str, figure: &str, side: &str) -> Chart {
    let document = compared(page);
    let with_id = |id: &str| document.descendants().find(|node| node.attribute("id") == Some(id));
    let caption = with_id(&format!("course-{figure}-{side}")).unwrap();
    let svg = caption.parent().unwrap().children().find(|node| node.has_tag_name("svg")).unwrap();
    assert_eq!(svg.attribute("role"), Some("img"));
    let names = svg.attribute("aria-labelledby").unwrap().split(' ').map(|id| text_of(with_id(id).unwrap()));
    let class = |name: &'static str| svg.children().filter(move |node| node.attribute("class") == Some(name));
    let drawn = class("course-line").chain(class("stem")).map(|path| path.attribute("d").unwrap());
    // All between `V` and the next letter; 12 and 98 are the upper and the lower edge.
    let upright = |path: &str| -> Vec<f64> {
        path.split('V').skip(1).map(|rest| rest.split(char::is_alphabetic).next().unwrap().parse().unwrap()).collect()
    };
    let heights: Vec<f64> = drawn.flat_map(upright).map(|y| (98.0 - y) / 86.0).collect();
    Chart {
        name: names.collect::<Vec<_>>().join(" "),
        texts: svg.children().filter(|node| node.has_tag_name("text")).map(text_of).collect(),
        highest: heights.iter().copied().fold(0.0, f64::max),
        last: heights.last().copied().unwrap_or(0.0),
        is_cut: class("cut").count() == 1,
        bytes: svg.range().len(),
    }
}

/// The summary of a plan as the findings in JSON have it.
fn summary_of(plan: &str) -> Value {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
    command.args(["review", plan, "--gate", "never", "--format", "json"]);
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures");
    Run::of(command.current_dir(root).output().unwrap()).json()["plans"][0]["summary"].take()
}

#[test]
fn charts_of_two_plans_have_the_same_axes_and_say_and_draw_the_figures_of_each() {
    for fixture in ["ferry-check", "logbook", "tide-watch", "fuel-gauge"] {
        let plans = ["troubled", "sound"].map(|name| format!("{fixture}/{name}.plan.json"));
        let page = self::page(&[&plans[0], "--compare", &plans[1]]).1;
        let summaries = plans.each_ref().map(|plan| summary_of(plan));
        for (figure, key, is_sum) in [
            ("flashes", "flashing_updates", true),
            ("answers", "longest_answer_ms", false),
            ("residue", "residue_l", false),
            ("energy", "energy_mj", true),
        ] {
            let charts = ["before", "after"].map(|side| chart_of(&page, figure, side));
            assert_eq!(charts[0].texts, charts[1].texts, "{fixture}, {figure}: the axes are the same");
            let values = summaries.each_ref().map(|summary| summary[key].as_f64().unwrap());
            // The limit of residue is drawn too.
            let limits =
                summaries.each_ref().map(|summary| summary["margins"][figure]["limit"].as_f64().unwrap_or(0.0));
            let drawn_limit = if figure == "residue" { limits[0].max(limits[1]) } else { 0.0 };
            let most = values[0].max(values[1]).max(drawn_limit);
            for (chart, value) in charts.iter().zip(values) {
                let drawn = if is_sum { chart.last } else { chart.highest } * most;
                assert!((drawn - value).abs() <= 0.002 * most, "{fixture}, {figure}: {drawn} drawn, {value} expected");
                assert!(!chart.is_cut);
                if value > 0.0 {
                    assert!(chart.name.contains(&said(figure, value)), "{fixture}: {}", chart.name);
                }
            }
            assert!(charts[0].name.contains(" before ") && charts[1].name.contains(" after "));
        }
    }
}

/// The time of the page is drawn from these figures by its script, which `tests/page/check.mjs` checks.
#[test]
fn the_time_has_residue_below_the_limit_and_the_limit() {
    let plan = "logbook/sound.plan.json";
    let summary = summary_of(plan);
    let (residue_l, limit_l) =
        (summary["residue_l"].as_f64().unwrap(), summary["margins"]["residue"]["limit"].as_f64().unwrap());
    assert!(residue_l > 0.05 && residue_l < limit_l && summary["worst_residue_l"] == 0.0, "{summary}");
    let film = film_of(&page(&[plan]).1);
    let left = |frame: &Value| frame["left"].as_f64().unwrap();
    let most = film["frames"].as_array().unwrap().iter().map(left).fold(0.0, f64::max);
    assert!((most - residue_l).abs() < 0.006, "{most} in the time, {residue_l} expected");
    assert_eq!(film["limit"].as_f64(), Some(limit_l));
}

/// The recording of the first plan of a page.
fn film_of(page: &str) -> Value {
    let begin = "<script type=\"application/json\">";
    let from = page.find(begin).unwrap() + begin.len();
    serde_json::from_str(&page[from..from + page[from..].find("</script>").unwrap()]).unwrap()
}

/// What a step shows comes from pictures laid over each other; these are the last level and the meant one of a pixel.
#[test]
fn memory_and_glass_differ_where_no_window_covers_a_change() {
    let folder = Folder::usual();
    folder.plan(
        "a.plan.json",
        r#"{ "steps": [
        { "screen": "square.png", "updates": [{ "mode": "full" }] },
        { "screen": "white.png", "after_ms": 5000, "updates": [{ "mode": "full" }] },
        { "screen": "square.png", "after_ms": 5000 },
        { "screen": "white.png", "after_ms": 5000 },
        { "screen": "square.png", "after_ms": 5000, "updates": [{ "mode": "full" }] }] }"#,
    );
    let plan = folder.join("a.plan.json").to_str().unwrap().to_owned();
    let film = film_of(&page(&[&plan, "--only", "left-behind", "--gate", "never"]).1);
    let number = |layer: &str| -> Vec<usize> {
        let frames = film["frames"].as_array().unwrap().iter();
        frames.map(|frame| frame[layer].as_array().map_or(0, Vec::len)).collect()
    };
    assert_eq!(number("glass"), [1, 1, 0, 0, 1], "the glass changes where something is sent");
    assert_eq!(number("meant"), [1, 1, 1, 1, 1], "the memory changes with every screen");
    let pictures = film["pictures"].as_array().unwrap().iter().map(|picture| picture.as_str().unwrap());
    let mut different: Vec<&str> = pictures.collect();
    let all = different.len();
    different.sort_unstable();
    different.dedup();
    assert_eq!(different.len(), all, "no picture is kept twice");
}

/// The bytes of a text of the page, five characters for four: 85 in a row from `)` on, where `!` stands for `<` and `#` for `\\`.
fn bytes_of(text: &str) -> Vec<u8> {
    let digit = |character: u8| {
        u64::from(
            match character {
                b'!' => b'<',
                b'#' => b'\\',
                other => other,
            } - b')',
        )
    };
    let of_group = |group: &[u8]| {
        let value = (0..5).fold(0, |value, at| value * 85 + group.get(at).map_or(84, |character| digit(*character)));
        (value as u32).to_be_bytes()[..group.len() - 1].to_vec()
    };
    text.as_bytes().chunks(5).flat_map(of_group).collect()
}

/// What driven pixels leave beside them lies outside of the window that was sent, here [0, 0, 8, 8]; the page shows it all the same.
#[test]
fn what_is_left_beside_a_window_is_in_the_pictures() {
    let folder = Folder::new();
    let mut display = example_display([24, 16]);
    let quick = display["modes"].as_array().unwrap().iter().position(|mode| mode["name"] == "quick").unwrap();
    display["modes"][quick]["beside"] = json!({ "lighter": 0.1, "darker": 0.1 });
    folder.display("panel.display.json", &display);
    folder.screen("white.png", &"........................\n".repeat(16));
    folder.screen(
        "square.png",
        &format!("{}{}", "########................\n".repeat(8), "........................\n".repeat(8)),
    );
    folder.plan(
        "a.plan.json",
        r#"{ "steps": [
        { "screen": "white.png", "updates": [{ "mode": "full" }] },
        { "screen": "square.png", "after_ms": 5000, "updates": [{ "mode": "quick", "window": "changed" }] }] }"#,
    );
    let plan = folder.join("a.plan.json").to_str().unwrap().to_owned();
    let film = film_of(&page(&[&plan, "--gate", "never"]).1);
    let last = &film["frames"][1];
    assert_eq!(last["updates"][0]["sent"], json!([[0, 0, 8, 8]]), "{last}");
    let [x, y, number] = [0, 1, 2].map(|at| last["residue"][0][at].as_u64().unwrap());
    let picture = film["pictures"][number as usize].as_str().unwrap();
    let picture = image::load_from_memory(&bytes_of(picture)).unwrap();
    // The square goes to the edges of the panel above and at its left; a pixel more is pushed at its right and below.
    assert_eq!((x, y, picture.width(), picture.height()), (0, 0, 9, 9), "{last}");
}

/// A figure as a chart's text says it.
fn said(figure: &str, value: f64) -> String {
    match figure {
        "flashes" => format!("{value} flashing update"),
        "answers" => format!("after {value:.0} ms"),
        "residue" => format!("{value:.1} L*"),
        _ => format!("{value:.0} mJ in all"),
    }
}

#[test]
fn fewer_days_a_charge_are_worse() {
    let folder = Folder::new();
    let plan = |updates: &str| {
        format!(
            r#"{{ "format": "refresh-plan/1", "display": "watch-1in3", "begins": "white", "battery_mwh": 100, "steps": [
            {{ "updates": [{updates}] }}, {{ "after_ms": 60000, "updates": [{{ "mode": "full" }}] }}] }}"#
        )
    };
    folder.file("once.plan.json", plan(""));
    folder.file("twice.plan.json", plan(r#"{ "mode": "full" }"#));
    let at = |name: &str| folder.join(name).to_str().unwrap().to_owned();
    let page = self::page(&[&at("once.plan.json"), "--compare", &at("twice.plan.json"), "--gate", "never"]).1;
    assert!(row_of(&page, "days a charge")[2].ends_with(" fewer: worse"));
    assert!(row_of(&page, "mean power")[2].ends_with(" more: worse"));
    assert_eq!(row_of(&page, "slowest first change"), ["none is seen", "none is seen", "the same"]);
    assert!(!page.contains("do not play equally long"));
}

#[test]
fn charts_go_on_where_there_is_no_room_for_more_pictures() {
    let folder = Folder::new();
    folder.display("panel.display.json", &example_display([400, 400]));
    let noise = |seed: u32| png_of(400, 400, move |x, y| (noise_of(x + 400 * y + seed) % 16 * 17) as u8);
    let mut steps = Vec::new();
    for number in 0..30 {
        folder.file(&format!("{number}.png"), noise(number * 1_000_000));
        steps.push(format!(r#"{{ "screen": "{number}.png", "after_ms": 1000, "updates": [{{ "mode": "full" }}] }}"#));
    }
    folder.plan("a.plan.json", &format!(r#"{{ "steps": [{}] }}"#, steps.join(", ")));
    let plan = folder.join("a.plan.json").to_str().unwrap().to_owned();
    let page = self::page(&[&plan, "--compare", &plan, "--only", "not-decided"]).1;
    assert!(page.contains("The page has room for the pictures of "), "the pictures are too many for the page");
    let chart = chart_of(&page, "flashes", "after");
    assert!(chart.name.contains("30 flashing updates") && !chart.is_cut, "{}", chart.name);
}

/// The film of a page with so many plans of noise that there is no room for all pictures: the steps of the errors are last.
#[test]
fn steps_with_findings_have_their_pictures_first() {
    let folder = Folder::new();
    folder.display("panel.display.json", &example_display([400, 400]));
    let steps = 30;
    let mut text = Vec::new();
    for number in 0..steps {
        let seed = number * 1_000_000;
        folder.file(
            &format!("{number}.png"),
            png_of(400, 400, move |x, y| (noise_of(x + 400 * y + seed) % 16 * 17) as u8),
        );
        // The last but one leaves the older picture where no window is.
        let updates = if number == steps - 2 { "" } else { r#"{ "mode": "full" }"# };
        let after_ms = if number == steps - 1 { 9000 } else { 1000 };
        text.push(format!(r#"{{ "screen": "{number}.png", "after_ms": {after_ms}, "updates": [{updates}] }}"#));
    }
    folder.plan("a.plan.json", &format!(r#"{{ "steps": [{}] }}"#, text.join(", ")));
    let plan = folder.join("a.plan.json").to_str().unwrap().to_owned();
    let film = film_of(&page(&[&plan, "--only", "left-behind", "--gate", "never"]).1);
    let pictured = film["pictured"].as_array().unwrap();
    let rows: Vec<[u64; 2]> = pictured.iter().map(|row| [0, 1].map(|end| row[end].as_u64().unwrap())).collect();
    let number: u64 = rows.iter().map(|[first, last]| last + 1 - first).sum();
    assert!(number < u64::from(steps), "the pictures are too many for the page: {rows:?}");
    let sought = u64::from(steps - 2);
    assert!(rows.iter().any(|[first, last]| (*first..=*last).contains(&sought)), "step {sought}: {rows:?}");
    assert_eq!(film["steps"], steps);
    // A step without a picture has no patches; the picture of the one after it brings the glass up to date.
    let frames = film["frames"].as_array().unwrap();
    let first_without = rows[0][1] as usize + 1;
    assert!(frames[first_without]["glass"].is_null() && frames[first_without]["updates"].is_array());
    assert!(!frames[sought as usize]["glass"].is_null() || !frames[sought as usize]["meant"].is_null());
}

/// The strongest ghost leads to the finding that it belongs to.
#[test]
fn the_strongest_ghost_leads_to_its_finding() {
    let plan = "logbook/troubled.plan.json";
    let page = page(&[plan, "--gate", "never"]).1;
    let (_, link) = page.split_once("strongest single ghost pixel</dt> <dd><a href=\"#").unwrap();
    let link: Vec<&str> = link.split('"').next().unwrap().split("&amp;").collect();
    let value = |name: &str| link.iter().find_map(|part| part.strip_prefix(name)).unwrap();
    let step: u64 = value("step=").parse().unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpage"));
    command.args(["review", plan, "--gate", "never", "--format", "json"]);
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures");
    let review = Run::of(command.current_dir(root).output().unwrap()).json();
    let findings = review["plans"][0]["findings"].as_array().unwrap();
    let finding = findings.iter().find(|finding| finding["fingerprint"] == value("finding=")).unwrap();
    let worst_l = &review["plans"][0]["summary"]["worst_residue_l"];
    assert_eq!(finding["figures"]["worst_l"], *worst_l, "{finding}");
    let [first, last] = ["step", "last_step"].map(|name| finding[name].as_u64().unwrap());
    assert!((first..=last).contains(&step), "{finding}");
}

/// A finding that lasts says until which step, so that nothing is said of it later.
#[test]
fn the_page_knows_how_long_each_finding_applies() {
    let page = page(&["logbook/troubled.plan.json", "--gate", "never"]).1;
    let (_, item) = page.split_once("-5aa2d5dd7e489ea5\"").expect("the outline of step 40");
    let item = item.split('>').next().unwrap();
    assert!(item.contains("data-step=\"40\"") && item.contains("data-last=\"69\""), "{item}");
}

/// A number that looks like any other, the same at every run.
fn noise_of(number: u32) -> u32 {
    let mixed = (number ^ number >> 15).wrapping_mul(0x2c1b_3c6d);
    (mixed ^ mixed >> 12).wrapping_mul(0x297a_2d39) >> 16
}

#[test]
fn what_cannot_be_compared_is_told() {
    let (run, page) = page(&["ferry-check", "--compare", "tide-watch/sound.plan.json"]);
    assert_eq!(page, "");
    assert!(run.with_status(2).error.contains("2 plans cannot be compared with one"));
    let (run, page) = self::page(&["tide-watch/sound.plan.json", "--compare", "nowhere.plan.json"]);
    run.with_status(2);
    assert!(page.contains("This plan could not be read."));
}

#[test]
fn texts_of_a_plan_cannot_become_markup() {
    let folder = tempfile::tempdir().unwrap();
    let plan = folder.path().join("a.plan.json");
    let text = r#"{ "format": "refresh-plan/1", "title": "</title><script>alert(1)</script>", "display": "label-2in1",
        "begins": "white", "steps": [{ "label": "</script><b>&", "updates": [{ "mode": "full" }] }] }"#;
    fs::write(&plan, text).unwrap();
    let (run, page) = page(&[plan.to_str().unwrap()]);
    run.with_status(0);
    assert!(!page.contains("<script>alert") && !page.contains("</script><b>"), "a text became markup");
    assert!(page.contains("&lt;/script&gt;&lt;b&gt;&amp;"));
}

#[test]
fn the_page_of_a_long_plan_is_bounded() {
    let folder = tempfile::tempdir().unwrap();
    let plan = folder.path().join("a.plan.json");
    // 60 mJ an update: more than 100 J in the steps that the chart shows.
    let thirsty = r#"{ "format": "display/1", "based_on": "label-2in1", "name": "thirsty",
        "modes": [{ "name": "full", "energy_mj": { "start": 60, "per_cm2": 0 } }] }"#;
    fs::write(folder.path().join("thirsty.display.json"), thirsty).unwrap();
    let step = r#"{ "after_ms": 1000, "updates": [{ "mode": "full" }] }"#;
    let text = format!(
        r#"{{ "format": "refresh-plan/1", "display": "thirsty.display.json", "begins": "white", "steps": [{}] }}"#,
        vec![step; 5_000].join(", ")
    );
    fs::write(&plan, text).unwrap();
    let (run, page) = page(&[plan.to_str().unwrap(), "--only", "not-decided"]);
    run.with_status(0);
    assert!(page.len() < 3_000_000, "{} bytes", page.len());
    assert!(page.contains("The page has room for the pictures of 2000 of the 5000 steps"), "what is left out is said");
    assert!(page.contains("only its first 80 kinds of step are shown small"));

    let (run, page) =
        self::page(&["tide-watch/sound.plan.json", "--compare", plan.to_str().unwrap(), "--only", "not-decided"]);
    run.with_status(0);
    assert!(page.len() < 3_000_000, "{} bytes", page.len());
    let [short, long] = ["before", "after"].map(|side| chart_of(&page, "flashes", side));
    assert!(long.is_cut && !short.is_cut);
    let where_it_ends = "All this up to step 1999, where the chart ends, 3000 steps before the plan does.";
    assert!(long.name.ends_with(where_it_ends) && !short.name.contains("where the chart ends"), "{}", long.name);
    let energy = chart_of(&page, "energy", "after");
    let all_mj: f64 = energy.name.split(" mJ in all").next().unwrap().rsplit(' ').next().unwrap().parse().unwrap();
    assert!(all_mj > 100_000.0, "{}", energy.name);
    assert_eq!(energy.texts[0], format!("{:.0} J", all_mj / 1000.0), "short enough for its place");
    assert!(long.bytes < 20_000, "a chart is bounded whatever the plan: {} bytes", long.bytes);
}
