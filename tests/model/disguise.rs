//! Writes a plan a second time in a form that must mean the same: the display described as changes to another one, both
//! files with comments and trailing commas.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::{plain::Fault, random_plans::write_text};

/// Writes `again.plan.json`, `again.display.json` and `base.display.json` beside a random plan; gives the plan's path.
pub(crate) fn write_again(path: &Path) -> Result<PathBuf, Fault> {
    let read = |path: &Path| -> Result<Value, Fault> {
        serde_json::from_slice(&std::fs::read(path).map_err(|e| e.to_string())?).map_err(|e| e.to_string())
    };
    let display = read(&path.with_file_name("random.display.json"))?;
    write_text(&path.with_file_name("base.display.json"), &chatty(&base_of(&display)))?;
    write_text(&path.with_file_name("again.display.json"), &chatty(&changes_of(&display)))?;
    let mut plan = read(path)?;
    plan["display"] = "again.display.json".into();
    let again = path.with_file_name("again.plan.json");
    write_text(&again, &chatty(&plan))?;
    Ok(again)
}

/// Another panel: other figures everywhere that [`changes_of`] sets right again.
fn base_of(display: &Value) -> Value {
    let mut base = display.clone();
    base["name"] = "base".into();
    base["pixels_per_inch"] = 100.into();
    // Segments must lie on a panel of the drawing's size.
    if base["ink"]["segments"].is_null() {
        base["size_px"] = json!([3, 4]);
    }
    base["parallel_updates"] = 7.into();
    base["link"]["megabits_per_s"] = 3.into();
    for mode in base["modes"].as_array_mut().into_iter().flatten() {
        mode["duration_ms"] = 77.into();
        let is_table = mode["residue"].get("keeps").is_none();
        if is_table {
            mode["residue"] = json!({ "keeps": 0.5 });
        }
        mode["residue"]["keeps"] = 0.5.into();
        mode.as_object_mut().into_iter().for_each(|mode| drop(mode.remove("flash_at")));
        mode["otherwise"] = "nearest".into();
        mode["flashes"] = 9.into();
    }
    // What stands in both is taken from the changes, what stands in neither stays away.
    base["modes"].as_array_mut().into_iter().flatten().skip(1).for_each(|mode| mode["about"] = "of the base".into());
    base
}

/// Only what differs from the base, modes by their names, the last one first.
fn changes_of(display: &Value) -> Value {
    let modes = display["modes"].as_array().into_iter().flatten().rev().map(|mode| {
        let residue = match mode["residue"].get("keeps") {
            Some(keeps) => json!({ "keeps": keeps }),
            None => mode["residue"].clone(),
        };
        json!({
            "name": mode["name"],
            "duration_ms": mode["duration_ms"],
            "residue": residue,
            "otherwise": mode.get("otherwise").cloned().unwrap_or("nearest".into()),
            "flashes": mode["flashes"],
            "flash_at": mode["flash_at"],
        })
    });
    json!({
        "format": "display/1",
        "based_on": "base.display.json",
        "name": display["name"],
        "pixels_per_inch": display["pixels_per_inch"],
        "size_px": display["size_px"],
        "parallel_updates": display["parallel_updates"],
        "link": { "megabits_per_s": display["link"]["megabits_per_s"] },
        "modes": modes.collect::<Vec<_>>(),
    })
}

/// JSON with a comment at every value, and a comma behind the last one of every list and object.
fn chatty(json: &Value) -> String {
    match json {
        Value::Object(fields) => {
            let lines = fields
                .iter()
                .map(|(name, value)| format!("{}: /* {name} , }} */ {},\n", Value::from(name.as_str()), chatty(value)));
            format!("{{ // an object: \" ] /*\n{}}}", lines.collect::<String>())
        }
        Value::Array(values) => {
            let values = values.iter().map(|value| format!("{}, // \" }}\n", chatty(value)));
            format!("[\n{}]", values.collect::<String>())
        }
        other => other.to_string(),
    }
}
