//! What only the model's second edition has, drawn onto displays, steps and updates that are drawn already.

use serde_json::{Value, json};

use super::{dice::Dice, displays::residue};

/// `levels`: the levels of the ink, as files call them.
pub(super) fn display(dice: &mut Dice, levels: &[Value], display: &mut Value) {
    if dice.chance(35) {
        display["when_busy"] = (*dice.pick(&["drops", "drops", "waits"])).into();
    }
    if dice.chance(75) {
        display["memory"] = (*dice.pick(&["lost_when_off", "lost_when_asleep", "lost_when_asleep"])).into();
    }
    if dice.chance(30) {
        // It says how sure the figures are, and changes none.
        display["certainty"] = json!({ "residue": 2, "durations": 1.3, "energy": 1 });
    }
    for mode in display["modes"].as_array_mut().into_iter().flatten() {
        self::mode(dice, levels, mode);
    }
}

fn mode(dice: &mut Dice, levels: &[Value], mode: &mut Value) {
    // A cleaning leaves the same again and again, so that a panel can come back to what it was.
    if mode["name"] != "full" && dice.chance(70) {
        let entry = |dice: &mut Dice| {
            let mut entry = residue(dice);
            if dice.chance(60) {
                entry["pairs"] = pairs(dice, levels);
            }
            entry
        };
        mode["residue"] = if dice.chance(50) {
            json!({ "0": entry(dice), "14.5": entry(dice), "25": entry(dice) })
        } else {
            entry(dice)
        };
    }
    if dice.chance(50) {
        mode["beside"] = json!({ "lighter": dice.thousandths(-20, 60), "darker": dice.thousandths(-20, 60) });
        if dice.chance(60) {
            mode["beside"]["most_l"] = (*dice.pick(&[0.0, 0.8, 2.5, 9.0])).into();
        }
    }
    let flashes = mode["flashes"].as_u64().unwrap_or(0);
    if flashes > 0 && dice.chance(60) {
        mode["flash_at"] = flash_at(dice, flashes);
    }
}

/// Each pair of levels once.
fn pairs(dice: &mut Dice, levels: &[Value]) -> Value {
    let mut pairs: Vec<Value> = Vec::new();
    for _ in 0..dice.between(1, 6) {
        let (from, to) = (dice.pick(levels).clone(), dice.pick(levels).clone());
        if !pairs.iter().any(|pair| (&pair[0], &pair[1]) == (&from, &to)) {
            pairs.push(json!([from, to, dice.thousandths(-4000, 4000)]));
        }
    }
    pairs.into()
}

/// Off the even places, and rising.
fn flash_at(dice: &mut Dice, flashes: u64) -> Value {
    let part = 1000 / flashes as i64;
    (0..flashes as i64).map(|flash| dice.thousandths(flash * part, (flash + 1) * part - 1)).collect()
}

pub(super) fn step(dice: &mut Dice, step: &mut Value) {
    if dice.chance(15) {
        step["temperature_c"] = (*dice.pick(&[-6.5, 0.0, 8.0, 14.5, 24.0, 25.0, 33.0])).into();
    }
    if dice.chance(22) {
        step["power"] = "sleep".into();
    }
}

pub(super) fn update(dice: &mut Dice, update: &mut Value) {
    if dice.chance(20) {
        update["with_old"] = dice.chance(80).into();
    }
}
