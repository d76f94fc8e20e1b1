//! The JSON Schemas of the file formats, as they ship.

/// A schema, by the name that users give.
pub(super) struct Schema {
    pub(super) name: &'static str,
    /// What it describes.
    pub(super) about: &'static str,
    pub(super) text: &'static str,
}

/// Every schema.
pub(super) const SCHEMAS: [Schema; 12] = [
    Schema {
        name: "plan",
        about: "refresh plans (*.plan.json), written by you",
        text: include_str!("../../docs/schemas/plan.schema.json"),
    },
    Schema {
        name: "flow",
        about: "user flows (*.flow.json), written by you",
        text: include_str!("../../docs/schemas/flow.schema.json"),
    },
    Schema {
        name: "display",
        about: "display descriptions (*.display.json), written by you",
        text: include_str!("../../docs/schemas/display.schema.json"),
    },
    Schema {
        name: "trace",
        about: "one line of a trace (*.trace.jsonl), written by a device",
        text: include_str!("../../docs/schemas/trace.schema.json"),
    },
    Schema {
        name: "log-lines",
        about: "how the lines of a text log become records (`stillpage trace --lines`), written by you",
        text: include_str!("../../docs/schemas/log-lines.schema.json"),
    },
    Schema {
        name: "findings",
        about: "the report that `stillpage review --format json` prints",
        text: include_str!("../../docs/schemas/findings.schema.json"),
    },
    Schema {
        name: "facts",
        about: "one line of the file that `stillpage review --facts FILE` writes for a plan",
        text: include_str!("../../docs/schemas/facts.schema.json"),
    },
    Schema {
        name: "flow-facts",
        about: "one line of the file that `stillpage review --facts FILE` writes for a flow",
        text: include_str!("../../docs/schemas/flow-facts.schema.json"),
    },
    Schema {
        name: "story",
        about: "what `stillpage explain --format json` prints",
        text: include_str!("../../docs/schemas/story.schema.json"),
    },
    Schema {
        name: "policy",
        about: "the rule for a firmware that `stillpage replan --as-policy --emit FILE.json` writes",
        text: include_str!("../../docs/schemas/policy.schema.json"),
    },
    Schema {
        name: "known",
        about: "the list that `stillpage review --write-known FILE` writes and `--known FILE` reads",
        text: include_str!("../../docs/schemas/known.schema.json"),
    },
    Schema {
        name: "settings",
        about: "the settings of a folder (stillpage.settings.json), written by you",
        text: include_str!("../../docs/schemas/settings.schema.json"),
    },
];
