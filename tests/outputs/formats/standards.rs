//! The published schemas of SARIF and JUnit XML, as judges. Knows nothing of what the program writes.

use std::{fs, path::Path, sync::OnceLock};

use boon::{Compiler, SchemaIndex, Schemas};
use serde_json::{Value, json};
use xsd_schema::{
    SchemaSet, load_and_process_schema,
    validation::{CollectingValidationSink, SchemaValidator, ValidationFlags, drive_quick_xml},
};

/// What the schema of SARIF 2.1.0 holds against a document.
pub(crate) fn sarif_fault(document: &Value) -> Option<String> {
    static SCHEMA: OnceLock<(Schemas, SchemaIndex)> = OnceLock::new();
    let (schemas, index) = SCHEMA.get_or_init(|| {
        let mut schemas = Schemas::new();
        let mut compiler = Compiler::new();
        compiler.enable_format_assertions();
        compiler.add_resource("sarif.json", serde_json::from_str(&data("sarif-schema-2.1.0.json")).unwrap()).unwrap();
        let index = compiler.compile("sarif.json", &mut schemas).unwrap();
        (schemas, index)
    });
    schemas.validate(document, *index).err().map(|error| format!("{error:#}"))
}

/// What the schema of JUnit XML holds against a document, and what XML itself does.
pub(crate) fn junit_fault(document: &str) -> Option<String> {
    let mut schema = SchemaSet::new();
    load_and_process_schema(data("junit-10.xsd").as_bytes(), "junit-10.xsd", &mut schema, None).unwrap();
    let (mut errors, mut warnings) = (Vec::new(), Vec::new());
    let sink = CollectingValidationSink { errors: &mut errors, warnings: &mut warnings };
    let validator = SchemaValidator::new(&schema, ValidationFlags::default());
    let mut run = validator.start_run(sink);
    if let Err(error) = drive_quick_xml(document.as_bytes(), &mut run, &schema) {
        return Some(error.to_string());
    }
    drop(run);
    let faults: Vec<String> = errors.iter().map(ToString::to_string).collect();
    (!faults.is_empty()).then(|| faults.join("\n"))
}

fn data(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/report-schemas").join(name);
    fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

#[test]
fn the_judge_of_sarif_refuses_what_the_standard_refuses() {
    let good = || {
        json!({ "version": "2.1.0", "runs": [{
            "tool": { "driver": { "name": "any" } }, "columnKind": "unicodeCodePoints",
            "results": [{ "message": { "text": "seen" }, "level": "note", "locations": [{ "physicalLocation": {
                "artifactLocation": { "uri": "a%20b.json" }, "region": { "startLine": 1 } } }] }] }] })
    };
    assert_eq!(sarif_fault(&good()), None);
    let result = "/runs/0/results/0";
    for (pointer, value) in [
        ("/version".to_owned(), json!("2.0.0")),
        ("/runs/0/columnKind".to_owned(), json!("bytes")),
        ("/runs/0/tool/driver".to_owned(), json!({})),
        (format!("{result}/level"), json!("fatal")),
        (format!("{result}/message"), json!("seen")),
        (format!("{result}/locations/0/physicalLocation/region/startLine"), json!(0)),
        (format!("{result}/locations/0/physicalLocation/artifactLocation/uri"), json!("a b.json")),
    ] {
        let mut faulty = good();
        *faulty.pointer_mut(&pointer).unwrap() = value.clone();
        assert!(sarif_fault(&faulty).is_some(), "{value} at {pointer}");
    }
}

#[test]
fn the_judge_of_junit_refuses_what_the_schema_refuses() {
    let good = "<testsuites><testsuite name=\"a\" tests=\"1\" failures=\"1\" errors=\"0\"><testcase name=\"b\">\
                <failure message=\"c\">d</failure><system-out>e</system-out></testcase></testsuite></testsuites>";
    assert_eq!(junit_fault(good), None);
    for (from, to) in [
        (" tests=\"1\"", ""),
        (" name=\"b\"", ""),
        (" name=\"b\"", " name=\"b\" level=\"c\""),
        ("<testcase", "words<testcase"),
        ("<system-out>e</system-out>", "<out>e</out>"),
        ("<system-out>e</system-out>", "<testcase name=\"f\"/>"),
        ("testsuites>", "suites>"),
        (">d<", ">\u{1}<"),
        (">d<", ">&<"),
    ] {
        let faulty = good.replace(from, to);
        assert_ne!(faulty, good);
        assert!(junit_fault(&faulty).is_some(), "{faulty}");
    }
}
