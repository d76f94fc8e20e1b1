//! Holds the changing of JSON texts: after a change the text says what the same change makes of the value, and all that
//! was not changed stands as it stood. The values are read by `jsonc-parser` and changed by `serde_json`.

use std::sync::Arc;

use jsonc_parser::{ParseOptions, parse_to_serde_value};
use proptest::prelude::*;
use serde_json::{Map, Value, json};
use stillpage::source::{
    Source,
    edit::{EditFault, Edits},
};

fn source(text: &str) -> Arc<Source> {
    Arc::new(Source::new("plan.json", text))
}

fn changed(text: &str, change: impl FnOnce(&mut Edits) -> &mut Edits) -> String {
    let mut edits = Edits::new();
    change(&mut edits);
    edits.apply(&source(text)).unwrap()
}

fn value(text: &str) -> Value {
    parse_to_serde_value(text, &ParseOptions::default()).unwrap_or_else(|error| panic!("{error}: {text}"))
}

const PLAN: &str = "{
  // the harbour
  \"title\": \"Skerry Haven\", // a name
  \"steps\": [
    { \"screen\": \"a.png\", \"updates\": [{ \"mode\": \"full\" }] }, // first
    { \"screen\": \"b.png\", \"after_ms\": 10, /* soon */ },
    // last
    { \"screen\": \"c.png\" }
  ]
}
";

#[test]
fn a_value_is_replaced_in_its_place() {
    let text = changed(PLAN, |edits| edits.replace("/steps/0/updates/0/mode", "\"quick\""));
    assert_eq!(text, PLAN.replace("\"full\"", "\"quick\""));
}

#[test]
fn a_new_field_follows_the_style_of_its_object() {
    let in_line = changed(PLAN, |edits| edits.set_field("/steps/2", "updates", "[]"));
    assert_eq!(in_line, PLAN.replace("\"c.png\" }", "\"c.png\", \"updates\": [] }"));
    let behind_comma = changed(PLAN, |edits| edits.set_field("/steps/1", "updates", "[]"));
    assert_eq!(behind_comma, PLAN.replace("10, /*", "10, \"updates\": [], /*"));
    let in_lines = changed(PLAN, |edits| edits.set_field("", "begins", "\"white\""));
    assert_eq!(in_lines, PLAN.replace("  ]\n}", "  ],\n  \"begins\": \"white\"\n}"));
    assert_eq!(changed("{\"a\":1}", |edits| edits.set_field("", "b", "2")), "{\"a\":1,\"b\":2}");
    assert_eq!(changed("{}", |edits| edits.set_field("", "b", "2").set_field("", "c", "3")), "{ \"b\": 2, \"c\": 3 }");
    assert_eq!(
        changed("{\r\n\t\"a\": 1,\r\n}", |edits| edits.set_field("", "b", "2")),
        "{\r\n\t\"a\": 1,\r\n\t\"b\": 2,\r\n}"
    );
    assert_eq!(changed("{\n  // none\n}", |edits| edits.set_field("", "b", "2")), "{\n  \"b\": 2\n  // none\n}");
}

#[test]
fn new_elements_leave_comments_with_what_they_are_about() {
    let second = changed(PLAN, |edits| edits.insert_element("/steps", 1, "{}"));
    assert_eq!(second, PLAN.replace("// first\n", "// first\n    {},\n"));
    let last = changed(PLAN, |edits| edits.insert_element("/steps", 3, "{}"));
    assert_eq!(last, PLAN.replace("\"c.png\" }\n", "\"c.png\" },\n    {}\n"));
    assert_eq!(changed("[1, 2]", |edits| edits.insert_element("", 0, "0").insert_element("", 2, "3")), "[0, 1, 2, 3]");
    assert_eq!(changed("[1 // one\n]", |edits| edits.insert_element("", 1, "2")), "[1, 2 // one\n]");
    assert_eq!(changed("[]", |edits| edits.insert_element("", 0, "1").insert_element("", 0, "2")), "[1, 2]");
}

#[test]
fn what_is_taken_away_leaves_no_gap_and_no_comma_too_many() {
    let first = changed(PLAN, |edits| edits.remove_element("/steps", 0));
    assert_eq!(
        first,
        PLAN.replace("{ \"screen\": \"a.png\", \"updates\": [{ \"mode\": \"full\" }] }, // first", "// first")
    );
    let last = changed(PLAN, |edits| edits.remove_element("/steps", 2));
    assert_eq!(last, PLAN.replace("    { \"screen\": \"c.png\" }\n", "").replace("/* soon */ },", "/* soon */ }"));
    assert_eq!(changed("[1, 2, 3]", |edits| edits.remove_element("", 1).remove_element("", 2)), "[1]");
    assert_eq!(changed("[1, 2, 3]", |edits| edits.remove_element("", 2).insert_element("", 3, "4")), "[1, 2, 4]");
    assert_eq!(changed("{ \"a\": 1, \"b\": 2 }", |edits| edits.remove_field("", "a")), "{ \"b\": 2 }");
    assert_eq!(changed("{ \"a\": 1, }", |edits| edits.remove_field("", "a")), "{ }");
}

#[test]
fn changes_that_cannot_be_made_are_refused() {
    let refused = |change: fn(&mut Edits) -> &mut Edits| {
        let mut edits = Edits::new();
        change(&mut edits);
        edits.apply(&source(PLAN)).unwrap_err()
    };
    assert_eq!(refused(|edits| edits.replace("/stops", "1")), EditFault::NotThere("/stops".into()));
    assert_eq!(refused(|edits| edits.remove_element("/steps", 3)), EditFault::NotThere("/steps/3".into()));
    assert_eq!(refused(|edits| edits.insert_element("/steps", 4, "1")), EditFault::NotThere("/steps/3".into()));
    assert_eq!(refused(|edits| edits.set_field("/steps", "a", "1")), EditFault::WrongKind("/steps".into()));
    assert_eq!(refused(|edits| edits.replace("/title", "1 // x")), EditFault::NotAValue("1 // x".into()));
    assert_eq!(refused(|edits| edits.replace("/title", "")), EditFault::NotAValue(String::new()));
    let twice = refused(|edits| edits.replace("/title", "1").replace("/title", "2"));
    assert_eq!(twice, EditFault::Overlap("/title".into()));
    let within = refused(|edits| edits.remove_element("/steps", 0).insert_element("/steps/0/updates", 0, "1"));
    assert_eq!(within, EditFault::Overlap("/steps/0/updates".into()));
    let field = refused(|edits| edits.set_field("", "new", "1").set_field("", "new", "2"));
    assert_eq!(field, EditFault::Overlap("/new".into()));
}

fn any_value() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<i16>().prop_map(Value::from),
        "[a-z/~ ,\\]}\"*]{0,5}".prop_map(Value::from),
    ];
    leaf.prop_recursive(4, 24, 4, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..4).prop_map(Value::from),
            prop::collection::vec(("[a-d/~]{1,2}", inner), 0..4)
                .prop_map(|fields| Value::Object(fields.into_iter().collect::<Map<_, _>>())),
        ]
    })
}

/// Writes a value with spaces, comments and trailing commas as the choices say. Every comment has a number of its own.
struct Writer<'c> {
    choices: std::iter::Cycle<std::slice::Iter<'c, u8>>,
    comments: usize,
    text: String,
}

impl Writer<'_> {
    fn gap(&mut self) {
        let comment = self.comments;
        match self.choices.next().unwrap() % 12 {
            0..=4 => {}
            5 | 6 => self.text.push(' '),
            7 | 8 => self.text.push_str("\n  "),
            9 => self.text.push_str("\n\t"),
            10 => {
                self.text.extend([" // <", &comment.to_string(), ">, ]\n"]);
                self.comments += 1;
            }
            _ => {
                self.text.extend(["/* <", &comment.to_string(), "> } */"]);
                self.comments += 1;
            }
        }
    }

    fn members(&mut self, count: usize, ends: [char; 2], mut member: impl FnMut(&mut Self, usize)) {
        self.text.push(ends[0]);
        self.gap();
        for at in 0..count {
            member(self, at);
            self.gap();
            if at + 1 < count || self.choices.next().unwrap().is_multiple_of(3) {
                self.text.push(',');
                self.gap();
            }
        }
        self.text.push(ends[1]);
    }

    fn value(&mut self, value: &Value) {
        match value {
            Value::Array(elements) => {
                self.members(elements.len(), ['[', ']'], |writer, at| writer.value(&elements[at]));
            }
            Value::Object(fields) => {
                let fields: Vec<(&String, &Value)> = fields.iter().collect();
                self.members(fields.len(), ['{', '}'], |writer, at| {
                    writer.text.push_str(&json!(fields[at].0).to_string());
                    writer.gap();
                    writer.text.push(':');
                    writer.gap();
                    writer.value(fields[at].1);
                });
            }
            other => self.text.push_str(&other.to_string()),
        }
    }
}

fn written(value: &Value, choices: &[u8]) -> String {
    let mut writer = Writer { choices: choices.iter().cycle(), comments: 0, text: String::new() };
    writer.gap();
    writer.value(value);
    writer.gap();
    writer.text
}

fn pointers(value: &Value, at: String, found: &mut Vec<String>) {
    match value {
        Value::Array(elements) => {
            elements.iter().enumerate().for_each(|(index, element)| pointers(element, format!("{at}/{index}"), found));
        }
        Value::Object(fields) => {
            for (name, field) in fields {
                pointers(field, format!("{at}/{}", name.replace('~', "~0").replace('/', "~1")), found);
            }
        }
        _ => {}
    }
    found.push(at);
}

/// Makes one change of a value at a pointer that a number chooses, in the edits and in the value.
fn change(edits: &mut Edits, value: &mut Value, choice: usize, new: &Value) {
    let mut all = Vec::new();
    pointers(value, String::new(), &mut all);
    let pointer = &all[choice % all.len()];
    let at = choice / all.len();
    let text = new.to_string();
    match value.pointer_mut(pointer).unwrap() {
        Value::Array(elements) if at.is_multiple_of(3) || (at % 3 == 1 && elements.is_empty()) => {
            let index = at / 3 % (elements.len() + 1);
            edits.insert_element(pointer, index, text);
            elements.insert(index, new.clone());
        }
        Value::Array(elements) if at % 3 == 1 => {
            let index = at / 3 % elements.len();
            edits.remove_element(pointer, index);
            elements.remove(index);
        }
        Value::Object(fields) if at.is_multiple_of(3) || (at % 3 == 1 && fields.is_empty()) => {
            let name = ["new", "a", "b~", "/"][at / 3 % 4];
            edits.set_field(pointer, name, text);
            fields.insert(name.into(), new.clone());
        }
        Value::Object(fields) if at % 3 == 1 => {
            let name = fields.keys().nth(at / 3 % fields.len()).unwrap().clone();
            edits.remove_field(pointer, &name);
            fields.remove(&name);
        }
        other => {
            edits.replace(pointer, text);
            *other = new.clone();
        }
    }
}

/// The comments of a text, in order; none of the written texts holds their marks elsewhere.
fn comments(text: &str) -> Vec<&str> {
    text.split('<').skip(1).filter_map(|rest| rest.split_once('>')).map(|(number, _)| number).collect()
}

proptest! {
    #![proptest_config(crate::kept_failures::with_cases(500))]

    #[test]
    fn the_text_says_what_the_changed_value_says(
        before in any_value(),
        choices in prop::collection::vec(any::<u8>(), 1..60),
        choice in 0..1000_usize,
        new in any_value(),
    ) {
        let text = written(&before, &choices);
        let (mut edits, mut after) = (Edits::new(), before.clone());
        change(&mut edits, &mut after, choice, &new);
        let result = edits.apply(&source(&text)).unwrap();
        prop_assert_eq!(value(&result), after, "{}\n->\n{}", text, result);
    }

    #[test]
    fn what_is_put_in_and_taken_away_again_leaves_the_text_as_it_was(
        elements in prop::collection::vec(any_value(), 1..4),
        choices in prop::collection::vec(any::<u8>(), 1..60),
        index in 0..4_usize,
    ) {
        let (count, text) = (elements.len(), written(&Value::from(elements), &choices));
        let index = index % (count + 1);
        let more = changed(&text, |edits| edits.insert_element("", index, "[7, 7]"));
        // All that stood there before stands there still, and in its order: only the new element and one comma come.
        let without = more.replacen("[7, 7]", "", 1).chars().filter(|one| !one.is_whitespace()).collect::<String>();
        let shown = |text: &str| text.chars().filter(|one| !one.is_whitespace() && *one != ',').collect::<String>();
        prop_assert_eq!(shown(&without), shown(&text));
        prop_assert_eq!(without.len(), text.chars().filter(|one| !one.is_whitespace()).collect::<String>().len() + 1);
        let again = changed(&more, |edits| edits.remove_element("", index));
        let bare = |text: &str| text.chars().filter(|one| !one.is_whitespace()).collect::<String>();
        prop_assert_eq!(bare(&again), bare(&text), "{}\n->\n{}", text, more);
    }

    #[test]
    fn comments_outside_what_is_replaced_survive(
        elements in prop::collection::vec(any_value(), 1..4),
        choices in prop::collection::vec(any::<u8>(), 1..60),
        index in 0..4_usize,
    ) {
        let (index, list) = (index % elements.len(), Value::from(elements));
        let text = written(&list, &choices);
        // With the element made one without comments, all comments of the text stand outside it.
        let text = changed(&text, |edits| edits.replace(format!("/{index}"), "7"));
        let before: Vec<String> = comments(&text).into_iter().map(str::to_owned).collect();
        let removed = changed(&text, |edits| edits.remove_element("", index));
        prop_assert_eq!(comments(&removed), before.clone(), "{}\n->\n{}", text, removed);
        let replaced = changed(&text, |edits| edits.replace(format!("/{index}"), "88"));
        let same = text.len() - 1;
        prop_assert_eq!(replaced.len(), same + 2);
        let start = replaced.bytes().zip(text.bytes()).take_while(|(one, other)| one == other).count();
        prop_assert_eq!(&replaced[start + 2..], &text[start + 1..]);
    }

    #[test]
    fn several_changes_at_once_are_the_same_as_one_after_the_other(
        lists in prop::collection::vec(prop::collection::vec(any_value(), 1..4), 2..4),
        choices in prop::collection::vec(any::<u8>(), 1..60),
        picks in prop::collection::vec((0..4_usize, 0..3_usize), 2..4),
    ) {
        let text = written(&json!(lists), &choices);
        let (mut edits, mut after) = (Edits::new(), json!(lists));
        for (at, (index, kind)) in picks.iter().enumerate().take(lists.len()) {
            let list = after[at].as_array_mut().unwrap();
            let index = index % list.len();
            match kind {
                0 => { edits.insert_element(format!("/{at}"), index, "7"); list.insert(index, json!(7)); }
                1 => { edits.remove_element(format!("/{at}"), index); list.remove(index); }
                _ => { edits.replace(format!("/{at}/{index}"), "7"); list[index] = json!(7); }
            }
        }
        let result = edits.apply(&source(&text)).unwrap();
        prop_assert_eq!(value(&result), after, "{}\n->\n{}", text, result);
    }

    #[test]
    fn many_changes_of_one_list(
        count in 0..6_usize,
        choices in prop::collection::vec(any::<u8>(), 1..60),
        removed in prop::collection::btree_set(0..6_usize, 0..5),
        inserted in prop::collection::btree_set(0..6_usize, 0..4),
    ) {
        let list: Vec<usize> = (0..count).collect();
        let text = written(&json!(list), &choices);
        let mut edits = Edits::new();
        removed.iter().filter(|index| **index < count).for_each(|index| { edits.remove_element("", *index); });
        inserted.iter().filter(|index| **index <= count).for_each(|index| { edits.insert_element("", *index, format!("{}", 100 + index)); });
        let mut after = Vec::new();
        for index in 0..=count {
            if inserted.contains(&index) { after.push(100 + index); }
            if index < count && !removed.contains(&index) { after.push(index); }
        }
        let result = edits.apply(&source(&text)).unwrap();
        prop_assert_eq!(value(&result), json!(after), "{}\n->\n{}", text, result);
    }
}
