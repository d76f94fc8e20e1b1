//! The settings of the rules in the schemas: made of the pages of the rules, never written by hand.
//! `INSTA_UPDATE=always cargo test --test documents rule_schemas` makes them again; without it, stale ones fail.

use std::{fmt::Write as _, fs, path::PathBuf};

use serde_json::Value;
use stillpage::rules::{Limit, Page, pages};

/// The schemas of the files that may set a rule.
const SCHEMAS: [&str; 3] = ["flow", "plan", "settings"];

#[test]
fn the_schemas_take_the_rules_and_limits_of_the_pages() {
    for name in SCHEMAS {
        let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(format!("docs/schemas/{name}.schema.json"));
        let text = fs::read_to_string(&path).unwrap();
        let made = with_rules(&text);
        if std::env::var("INSTA_UPDATE").is_ok_and(|word| word == "always") {
            fs::write(&path, &made).unwrap();
        } else {
            assert!(
                made == text,
                "docs/schemas/{name}.schema.json is stale; `INSTA_UPDATE=always cargo test --test documents rule_schemas` \
                 makes its `rules` again"
            );
        }
        let schema: Value = serde_json::from_str(&made).unwrap();
        let rules = schema["properties"]["rules"]["properties"].as_object().unwrap();
        assert_eq!(rules.len(), pages().len(), "{name}: `rules` was replaced where it stands");
    }
}

/// The text of a schema with the property `rules` made again; everything else stays as it is.
fn with_rules(text: &str) -> String {
    const BEGIN: &str = "\n    \"rules\": {\n";
    const END: &str = "\n    }";
    let begin = text.find(BEGIN).expect("a schema with `rules`") + 1;
    let end = begin + text[begin..].find(END).expect("the end of `rules`") + END.len();
    format!("{}{}{}", &text[..begin], rules(), &text[end..])
}

fn rules() -> String {
    let each: Vec<String> = pages().iter().map(rule).collect();
    format!(
        r#"    "rules": {{
      "description": "Settings by rule: `off`, a level, or an object with a level and limits.",
      "type": ["object", "null"],
      "additionalProperties": false,
      "properties": {{
{}
      }}
    }}"#,
        each.join(",\n")
    )
}

fn rule(page: &Page) -> String {
    let description = quoted(&format!("{} ({})", page.title, page.severity.word()));
    if page.limits.is_empty() {
        return format!(
            r##"        "{}": {{ "description": {description}, "$ref": "#/$defs/rule_without_limits" }}"##,
            page.id
        );
    }
    let limits = page.limits.iter().fold(String::new(), |mut text, of| {
        write!(text, ",\n{}", limit(of)).unwrap();
        text
    });
    format!(
        r##"        "{}": {{
          "description": {description},
          "anyOf": [
            {{ "$ref": "#/$defs/rule_level_word" }},
            {{
              "type": "object",
              "additionalProperties": false,
              "properties": {{
                "level": {{ "$ref": "#/$defs/rule_level" }}{limits}
              }}
            }}
          ]
        }}"##,
        page.id
    )
}

fn limit(limit: &Limit) -> String {
    let default = limit.default.map_or("the display says".to_owned(), |value| format!("default {value}"));
    let description = quoted(&format!("{} ({}, {default})", limit.about, limit.unit));
    format!(r##"                "{}": {{ "description": {description}, "$ref": "#/$defs/rule_limit" }}"##, limit.name)
}

fn quoted(text: &str) -> String {
    Value::from(text).to_string()
}
