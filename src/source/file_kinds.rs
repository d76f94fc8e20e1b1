//! The kinds of files, by how their names end: one list for whoever looks for them, names outputs after them, or must not
//! overwrite them.

/// How the names of plans end.
pub const PLAN: &str = ".plan.json";

/// How the names of traces end.
pub const TRACE: &str = ".trace.jsonl";

/// How the names of user flows end.
pub const FLOW: &str = ".flow.json";

/// How the names of all files end that a review takes.
pub const REVIEWED: [&str; 3] = [PLAN, TRACE, FLOW];

/// How the names of display descriptions end.
pub const DISPLAY: &str = ".display.json";

/// The name of the settings of a folder.
pub const SETTINGS: &str = "stillpage.settings.json";

/// How the names of pictures end that are screens or frames of a trace.
const PICTURES: [&str; 4] = [".svg", ".png", ".pgm", ".raw"];

/// How the names of fonts end.
const FONTS: [&str; 3] = [".ttf", ".otf", ".ttc"];

/// Whether a file of this name is one that the program reads, so that no output may overwrite it by accident.
pub fn is_input(name: &str) -> bool {
    let name = name.to_lowercase();
    let mut endings = REVIEWED.iter().chain(&[DISPLAY, SETTINGS]).chain(&PICTURES).chain(&FONTS);
    endings.any(|ending| name.ends_with(ending))
}

/// What outputs of a review are named after: the name of the reviewed file without its ending. What is not a plan keeps
/// its kind as a word, so that `day.plan.json` and `day.trace.jsonl` do not write into one place; without a full stop,
/// because pages of test results take one for the end of a package's name.
pub fn output_name(reviewed: &str) -> String {
    let kinds = [(PLAN, ""), (TRACE, "-trace"), (FLOW, "-flow")];
    let found = kinds.iter().find_map(|(ending, word)| Some(format!("{}{word}", reviewed.strip_suffix(ending)?)));
    found.unwrap_or_else(|| reviewed.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_of_one_name_and_different_kinds_have_different_outputs() {
        let names = ["quay/day.plan.json", "quay/day.trace.jsonl", "quay/day.flow.json", "quay/day.json"];
        assert_eq!(names.map(output_name), ["quay/day", "quay/day-trace", "quay/day-flow", "quay/day.json"]);
    }

    #[test]
    fn everything_that_a_plan_a_trace_or_a_flow_can_name_is_an_input() {
        for name in
            ["A.PLAN.JSON", "a.trace.jsonl", "a.flow.json", "a.display.json", "stillpage.settings.json", "f.raw"]
        {
            assert!(is_input(name), "{name}");
        }
        assert!(!is_input("findings.json") && !is_input("facts.jsonl") && !is_input("page.html"));
    }
}
